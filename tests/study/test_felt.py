"""Felt or not: exact placing of an interval, and that every threshold names its source."""

import pytest

from blinkspan.quantities import Estimate
from blinkspan.study.felt import (
    CASUAL_PLAYER,
    SENSITIVE_PLAYER,
    THRESHOLDS,
    Kind,
    Place,
    Standing,
    place_difference,
    place_latency,
)


def interval(value, low, high):
    return Estimate(value, low, high, 0.95, "")


@pytest.mark.parametrize(
    ("low", "high", "sensitive", "casual"),
    [
        (10.0, 15.0, Place.BELOW, Place.BELOW),
        (15.0, 25.0, Place.OPEN, Place.BELOW),
        (25.0, 35.0, Place.ABOVE, Place.BELOW),
        (41.0, 49.0, Place.ABOVE, Place.INSIDE),
        (35.0, 45.0, Place.ABOVE, Place.OPEN),
        (52.0, 60.0, Place.ABOVE, Place.ABOVE),
        (-60.0, -52.0, Place.ABOVE, Place.ABOVE),
        (-15.0, 12.0, Place.BELOW, Place.BELOW),
        (-25.0, 12.0, Place.OPEN, Place.BELOW),
        (20.0, 30.0, Place.ABOVE, Place.BELOW),
    ],
)
def test_a_difference_is_placed_with_its_whole_interval(low, high, sensitive, casual):
    felt = place_difference(
        interval((low + high) / 2, low, high), (SENSITIVE_PLAYER, CASUAL_PLAYER)
    )
    assert [one.place for one in felt.placed] == [sensitive, casual]


def test_an_interval_that_holds_too_little_places_nothing():
    # Two presses against one: all their differences together hold 1 in 3.
    few = Estimate(3.0, 0.0, 6.0, 1.0 / 3.0, "")
    assert {one.place for one in place_difference(few).placed} == {Place.OPEN}
    assert {one.place for one in place_difference(interval(3.0, 0.0, 6.0)).placed} == {Place.BELOW}


def test_differences_and_latencies_are_held_against_their_own_thresholds():
    apart = place_difference(interval(18.0, 16.0, 20.0))
    latency = place_latency(interval(72.0, 70.0, 74.0))
    assert {one.threshold.kind for one in apart.placed} == {Kind.DIFFERENCE}
    assert {one.threshold.kind for one in latency.placed} == {Kind.LATENCY}
    assert len(apart.placed) + len(latency.placed) == len(THRESHOLDS)


def test_every_threshold_says_who_says_so_and_how_firmly_it_stands():
    for threshold in THRESHOLDS:
        assert 0.0 < threshold.low_ms <= threshold.high_ms
        assert threshold.source in str(threshold)
        assert str(threshold.standing) in str(threshold)
        published = any(digit.isdigit() for digit in threshold.source)
        assert published is (threshold.standing is not Standing.COMMON_PRACTICE)


def test_words_claim_no_more_than_the_interval():
    felt = place_difference(interval(-18.0, -25.0, -11.0), (SENSITIVE_PLAYER, CASUAL_PLAYER))
    said = str(felt)
    assert said.startswith(
        "The difference of 18.0 ms (11.0 to 25.0) is below 40 to 50 ms (noticed by a casual"
    )
    assert "not placed by these presses against 20 ms (noticed by a sensitive player" in said
    assert felt.to_dict()["placed"][0]["place"] == "open"
