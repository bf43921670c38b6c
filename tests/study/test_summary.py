"""Summaries: exact numbers by hand, NumPy as judge, notes that are told and not told, words."""

import json

import numpy as np
import pytest

from blinkspan.errors import BadSample, BadSetting
from blinkspan.study.summary import summarise

SPANS = [57.0, 61.0, 66.0, 70.0, 63.0, 59.0, 72.0, 64.0]


def test_numbers_of_a_setup():
    found = summarise(SPANS, 0.0, doubtful=2, rejected=1, game_rate_hz=60.0)
    assert (found.n, found.doubtful, found.rejected) == (8, 2, 1)
    assert found.median_ms.value == 63.5
    assert (found.low_ms, found.high_ms) == (57.0, 72.0)
    assert found.lower_quartile_ms == np.quantile(SPANS, 0.25)
    assert found.upper_quartile_ms == np.quantile(SPANS, 0.75)
    assert found.spread_ms == pytest.approx(np.std(SPANS, ddof=1))
    assert found.median_game_frames.value == pytest.approx(63.5 * 60 / 1000)
    assert found.median_game_frames.high == pytest.approx(found.median_ms.high * 60 / 1000)
    assert found.outliers == ()
    assert found.notes() == ()


def test_a_shared_doubt_widens_the_median_alone():
    plain, doubtful = summarise(SPANS, 0.5), summarise(SPANS, 0.5, 3.0)
    assert doubtful.median_ms.high - doubtful.median_ms.low > 2 * 1.96 * 3.0
    assert doubtful.spread_ms == plain.spread_ms
    assert doubtful.median_ms.value == plain.median_ms.value


def test_no_accepted_press_is_no_error():
    found = summarise([], 0.0, doubtful=3, rejected=1, game_rate_hz=60.0)
    assert (found.n, found.median_ms, found.spread_ms) == (0, None, None)
    assert str(found) == "No accepted press (3 doubtful, 1 rejected)."
    assert found.to_dict()["median_ms"] is None


def test_one_press_claims_nothing_of_the_next():
    found = summarise([60.0], 0.5)
    assert found.median_ms.level == 0.0
    assert found.spread_ms is None
    assert "One press says nothing of the next" in str(found)
    assert "% interval" not in str(found)


def test_few_presses_say_what_they_hold():
    found = summarise(SPANS[:4], 0.5)
    assert found.median_ms.level == 0.875
    assert found.notes() == (
        "4 accepted presses hold the median with 88 % confidence at most; "
        "press 6 times or more for 95 %.",
    )


def test_an_outlier_is_named_by_its_number_and_kept():
    found = summarise([*SPANS, 160.0], 0.5, numbers=[1, 2, 3, 5, 6, 7, 8, 9, 12])
    (outlier,) = found.outliers
    assert (outlier.press, outlier.value_ms) == (12, 160.0)
    assert found.high_ms == 160.0
    assert found.notes() == (
        "Press 12 (160.0 ms) lies far from the median; it is kept in all numbers.",
    )


def test_a_drift_is_told():
    rng = np.random.default_rng(1)
    found = summarise(60.0 + np.arange(30) + rng.uniform(-4, 4, 30), 0.5)
    assert found.drift.over_session.low > 20.0
    assert any(
        note.startswith("The presses drift over the session, by 2") for note in found.notes()
    )


def test_presses_in_step_with_the_picture_are_told():
    steady = 60.0 + np.random.default_rng(4).normal(0.0, 0.8, 12)
    found = summarise(steady, 0.5, game_rate_hz=60.0)
    assert found.chance_of_reach < 1e-4
    assert found.notes()[0].startswith("The presses differ by less than waiting for a game frame")
    assert summarise(steady, 0.5).chance_of_reach is None


def test_presses_at_random_are_not():
    rng = np.random.default_rng(5)
    told = [
        summarise(rng.uniform(50.0, 66.7, 10), 0.5, game_rate_hz=60.0).chance_of_reach <= 0.01
        for _ in range(1000)
    ]
    assert np.mean(told) == pytest.approx(0.01, abs=0.008)


def test_presses_in_pairs_are_told_to_resemble_each_other():
    rng = np.random.default_rng(2)
    found = summarise(np.repeat(rng.uniform(50, 66, 20), 2) + rng.normal(0, 0.2, 40), 0.2)
    assert found.autocorrelation.lag_1 > 0.3
    assert any("resembles the one before" in note for note in found.notes())


def test_two_heaps_are_told_and_not_called_outliers():
    rng = np.random.default_rng(3)
    x = rng.permutation(np.concatenate([rng.uniform(50, 55, 20), rng.uniform(83, 88, 7)]))
    notes = summarise(x, 0.3).notes()
    assert len(notes) == 1
    assert notes[0].startswith("The presses fall into two heaps: 20 near 5")


def test_plain_values_make_json():
    found = summarise([*SPANS, 160.0], 0.5, game_rate_hz=30.0)
    again = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert again["median_ms"]["low"] == found.median_ms.low
    assert again["outliers"] == [{"press": 9, "value_ms": 160.0, "from_median_ms": 96.0}]
    assert again["notes"] == list(found.notes())


def test_what_cannot_be_summarised_is_refused():
    with pytest.raises(BadSetting, match="game rate of 0 Hz"):
        summarise(SPANS, 0.5, game_rate_hz=0.0)
    with pytest.raises(BadSample, match="not finite"):
        summarise([60.0, float("nan")], 0.5)
    with pytest.raises(BadSample, match="2 numbers"):
        summarise(SPANS, 0.5, numbers=[1, 2])
