"""Comparisons: exact (shared doubts, the four answers), known truth (false alarms), words.

Correlated input quantities: JCGM 100:2008, 5.2.2 (from memory): those that share one cause
add linearly, so that in a difference equal ones vanish.
"""

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blinkspan.errors import BadSample, BadSetting
from blinkspan.study.comparison import Answer, Margin, compare, compare_all, one_frame
from blinkspan.study.sample import Sample, SharedDoubt, doubt_of_difference
from blinkspan.study.shift import shift_between

LAG = SharedDoubt("display lag", "the panel in game mode", 2.0)
GAME_FRAME = one_frame(60.0, "game")


def presses(name, middle_ms, n, seed, *, shared=(), wait_ms=16.7):
    rng = np.random.default_rng(seed)
    return Sample(
        name, middle_ms + rng.uniform(-wait_ms / 2, wait_ms / 2, n), np.full(n, 0.5), tuple(shared)
    )


@pytest.mark.parametrize(
    ("apart_ms", "margin_ms", "answer", "differs"),
    [
        (30.0, 16.7, Answer.DIFFERENT, True),
        (8.0, 16.7, Answer.DIFFERENT_UNDER, True),
        (0.0, 8.0, Answer.SAME, False),
        (0.0, 1.0, Answer.UNDECIDED, False),
        (12.0, 12.0, Answer.UNDECIDED, True),
    ],
)
def test_the_four_answers(apart_ms, margin_ms, answer, differs):
    found = compare(
        presses("Anvil", 60.0 + apart_ms, 30, 1), presses("Bellows", 60.0, 30, 2), Margin(margin_ms)
    )
    assert found.answer is answer
    assert found.differs is differs


@pytest.mark.parametrize(
    ("apart_ms", "margin_ms"), [(30, 16.7), (8, 16.7), (0, 8), (0, 1), (-12, 12)]
)
def test_the_answer_claims_what_the_intervals_show(apart_ms, margin_ms):
    found = compare(
        presses("Anvil", 60.0 + apart_ms, 20, 3), presses("Bellows", 60.0, 25, 4), Margin(margin_ms)
    )
    shift, inner = found.shift_ms, found.inner_ms
    nearest = max(shift.low, -shift.high, 0.0)
    assert found.differs is (nearest > 0.0)
    assert (found.answer is Answer.DIFFERENT) is (nearest > margin_ms)
    within = -margin_ms < inner.low and inner.high < margin_ms
    assert (found.answer in {Answer.SAME, Answer.DIFFERENT_UNDER}) is within


def test_a_display_lag_of_one_profile_cancels():
    first = presses("Anvil", 66.0, 30, 5, shared=[LAG])
    second = presses("Bellows", 60.0, 30, 6, shared=[LAG])
    bare = compare(presses("Anvil", 66.0, 30, 5), presses("Bellows", 60.0, 30, 6), GAME_FRAME)
    found = compare(first, second, GAME_FRAME)
    assert found.shift_ms == bare.shift_ms
    assert found.doubt.cancelled == ("display lag",)
    assert found.doubt.left_u_ms == 0.0
    # Each setup's own median carries it whole.
    median = first.summary().median_ms
    assert median.high - median.low > 2 * 1.96 * 2.0


def test_display_lags_of_two_profiles_do_not_cancel():
    other = SharedDoubt("display lag", "the panel in cinema mode", 1.5)
    found = compare(
        presses("Anvil", 66.0, 400, 5, shared=[LAG]),
        presses("Bellows", 60.0, 400, 6, shared=[other]),
        GAME_FRAME,
    )
    assert found.doubt.left_u_ms == pytest.approx(2.5)  # 2.0 and 1.5 in quadrature
    assert found.shift_ms.high - found.shift_ms.value > 1.96 * 2.5
    assert found.doubt.cancelled == ()


def test_unequal_parts_of_one_cause_leave_their_difference():
    near = SharedDoubt("rolling shutter", "the camera", 0.3)
    far = SharedDoubt("rolling shutter", "the camera", 1.1)
    alone = SharedDoubt("camera clock", "another camera", 0.6)
    left = doubt_of_difference(
        presses("Anvil", 60.0, 5, 1, shared=[near, alone]),
        presses("Bellows", 60.0, 5, 2, shared=[far]),
    )
    assert left.left_u_ms == pytest.approx(1.0)  # 0.8 and 0.6 in quadrature
    assert left.cancelled == ("rolling shutter",)


@given(st.integers(2, 30), st.integers(2, 30), st.integers(0, 99))
def test_swapping_two_setups_turns_the_comparison_round(m, n, seed):
    first, second = presses("Anvil", 63.0, m, seed), presses("Bellows", 60.0, n, seed + 1)
    plain, swapped = compare(first, second, GAME_FRAME), compare(second, first, GAME_FRAME)
    assert swapped.answer is plain.answer
    assert swapped.shift_ms.low == pytest.approx(-plain.shift_ms.high, abs=1e-5)
    assert swapped.first_beats.value == pytest.approx(1.0 - plain.first_beats.value)
    assert swapped.p_difference == pytest.approx(plain.p_difference, rel=1e-4)


def test_a_family_is_harder_to_convince():
    samples = [presses(name, 60.0 + 3 * i, 14, i) for i, name in enumerate(["A", "B", "C", "D"])]
    family = compare_all(samples, GAME_FRAME)
    assert len(family) == 6
    for found in family:
        first, second = (
            next(one for one in samples if one.name == name) for name in (found.first, found.second)
        )
        alone = compare(first, second, GAME_FRAME)
        assert found.p_difference >= alone.p_difference
        assert found.shift_ms == alone.shift_ms
    assert max(found.p_difference for found in family) <= 1.0
    smallest = min(compare_all(samples, GAME_FRAME), key=lambda found: found.p_difference)
    alone = compare(
        *(next(s for s in samples if s.name == n) for n in (smallest.first, smallest.second)),
        GAME_FRAME,
    )
    assert smallest.p_difference == pytest.approx(6 * alone.p_difference)


def test_against_one_setup_compares_each_other_with_it():
    samples = [presses(name, 60.0, 10, i) for i, name in enumerate(["A", "B", "C"])]
    found = compare_all(samples, GAME_FRAME, against="B")
    assert [(one.first, one.second, one.family) for one in found] == [("A", "B", 2), ("C", "B", 2)]


def test_false_alarms_in_tied_presses():
    # Known truth: no difference, whole frames counted at 240 Hz. 1,000 studies, at most 1 in 20.
    rng = np.random.default_rng(9)
    frame = 1000.0 / 240.0
    wrong = 0
    for _ in range(1000):
        lamp = rng.uniform(0.0, frame, (2, 15))
        spans = frame * np.floor((lamp + 57.0 + rng.uniform(0.0, 16.7, (2, 15))) / frame)
        wrong += shift_between(
            spans[0], frame / math.sqrt(6.0), spans[1], frame / math.sqrt(6.0)
        ).excludes(0.0)
    assert wrong / 1000 <= 0.064  # 0.05 and two standard errors


def test_undecided_says_how_many_presses_would_decide():
    found = compare(
        presses("Anvil", 60.0, 10, 1),
        presses("Bellows", 60.0, 10, 2),
        Margin(4.2, "one camera frame"),
        rng=np.random.default_rng(3),
    )
    assert found.answer is Answer.UNDECIDED
    assert 15 <= found.plan.presses <= 120
    assert found.plan.reached == pytest.approx(0.8, abs=0.07)
    more = found.plan.presses - min(found.n_first, found.n_second)
    said = f"About {found.plan.presses} accepted presses of each ({more} more than now) would"
    assert more > 0
    assert said in str(found)


def test_a_doubt_that_presses_cannot_mend_is_told():
    found = compare(
        presses("Anvil", 60.0, 12, 1, shared=[LAG]),
        presses("Bellows", 60.0, 12, 2),
        Margin(2.0),
        rng=np.random.default_rng(3),
    )
    assert found.plan.presses is None
    assert "doubt of 2.0 ms that the presses share must be measured down first." in str(found)


def test_a_smaller_shared_doubt_is_named_among_what_may_be_in_the_way():
    lag = SharedDoubt("display lag", "panel in game mode", 0.4)
    near = [
        presses(*each, 12, seed) for seed, each in enumerate((("Anvil", 62.0), ("Bellows", 60.0)))
    ]
    alone = compare(*near, Margin(2.0), rng=np.random.default_rng(3))
    assert str(alone).endswith("the presses spread too widely for it.")
    shared = compare(
        presses("Anvil", 62.0, 12, 0, shared=[lag]),
        near[1],
        Margin(2.0),
        rng=np.random.default_rng(3),
    )
    assert str(shared).endswith("or the doubt of 0.4 ms that they share is in the way.")


def test_words_of_a_clear_difference():
    found = compare(presses("Anvil", 90.0, 30, 1), presses("Bellows", 60.0, 30, 2), GAME_FRAME)
    assert str(found).startswith(
        "Anvil answers later than Bellows, by at least one game frame (16.7 ms): 30.6 ms ("
    )
    assert str(found).endswith("95 % interval, 30 and 30 presses.")


def test_words_never_name_the_sooner_setup_later():
    found = compare(presses("Anvil", 60.0, 30, 1), presses("Bellows", 90.0, 30, 2), GAME_FRAME)
    assert str(found).startswith("Bellows answers later than Anvil")


def test_plain_values_make_json():
    found = compare(
        presses("Anvil", 60.0, 6, 1),
        presses("Bellows", 62.0, 6, 2),
        Margin(4.2, "one camera frame"),
        rng=np.random.default_rng(1),
    )
    again = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert again["shift_ms"]["low"] == found.shift_ms.low
    assert again["answer"] == "undecided"
    assert again["permutation_method"] == "exact"


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: compare_all([presses("A", 60.0, 5, 1)], GAME_FRAME), "two or more"),
        (lambda: compare_all([presses("A", 60.0, 5, i) for i in (1, 2)], GAME_FRAME), "named A"),
        (
            lambda: compare_all([presses(n, 60.0, 5, 1) for n in "AB"], GAME_FRAME, against="C"),
            "no setup is named C",
        ),
        (lambda: Margin(0.0), "margin of 0 ms"),
        (lambda: one_frame(0.0, "camera"), "camera rate"),
        (lambda: SharedDoubt("display lag", "a panel", -1.0), "display lag"),
        (
            lambda: Sample("A", np.array([1.0]), np.array([0.1]), (LAG, LAG)),
            "A: a shared doubt is given twice",
        ),
    ],
)
def test_settings_that_cannot_be_are_refused(call, said):
    with pytest.raises(BadSetting, match=said):
        call()


def test_an_empty_setup_is_refused_by_name():
    empty = Sample("Anvil", np.array([]), np.array([]))
    other = Sample("Bellows", np.array([60.0, 61.0]), np.array([0.5, 0.5]))
    with pytest.raises(BadSample, match="Anvil has no accepted press"):
        compare(other, empty, Margin(4.0))
    with pytest.raises(BadSample, match="Anvil has no accepted press"):
        compare_all([other, empty], Margin(4.0))
