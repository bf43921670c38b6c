"""The shift between tied, unlike samples: published data, exact symmetries, known truth.

Hollander and Wolfe's permeability data (1973, pp. 68-75; see test_ranks): without ties
or uncertainty the interval must come near the exact one. Coverage over more cases is in
``benchmarks/statistics.py``.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blinkspan.study.ranks import hodges_lehmann, shift_interval
from blinkspan.study.shift import shift_between

TERM = np.array([0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46])
EARLY = np.array([1.15, 0.88, 0.90, 0.74, 1.21])
SPANS = st.lists(st.floats(20.0, 200.0), min_size=2, max_size=12)
ROOT6 = math.sqrt(6.0)


def test_permeability_is_near_the_exact_interval():
    found = shift_between(TERM, 0.0, EARLY, 0.0).interval()
    exact = shift_interval(TERM, EARLY)
    assert found.value == pytest.approx(0.305)
    assert found.value == pytest.approx(hodges_lehmann(TERM, EARLY))
    assert [found.low, found.high] == pytest.approx([exact.low, exact.high], abs=0.12)


def test_like_samples_without_ties_agree_with_the_exact_interval():
    rng = np.random.default_rng(4)
    for _ in range(20):
        x, y = rng.uniform(0.0, 16.7, 30), rng.uniform(3.0, 19.7, 30)
        found, exact = shift_between(x, 0.0, y, 0.0).interval(), shift_interval(x, y)
        assert [found.low, found.high] == pytest.approx([exact.low, exact.high], abs=0.8)


@settings(max_examples=30)
@given(SPANS, SPANS, st.floats(0.01, 3.0))
def test_swapping_the_samples_turns_the_interval_round(first, second, u):
    plain = shift_between(first, u, second, 0.4).interval()
    swapped = shift_between(second, 0.4, first, u).interval()
    assert [swapped.low, swapped.high] == pytest.approx([-plain.high, -plain.low], abs=1e-4)


@settings(max_examples=30)
@given(SPANS, SPANS, st.floats(-40.0, 40.0))
def test_moving_one_sample_moves_the_interval(first, second, by):
    plain = shift_between(first, 0.5, second, 0.5).interval()
    moved = shift_between(np.array(first) + by, 0.5, second, 0.5).interval()
    assert [moved.value, moved.low, moved.high] == pytest.approx(
        [plain.value + by, plain.low + by, plain.high + by], abs=1e-4
    )


@settings(max_examples=30)
@given(SPANS, SPANS, st.floats(-60.0, 60.0), st.sampled_from([0.2, 0.1, 0.05]))
def test_p_and_interval_say_the_same(first, second, at, alpha):
    shift = shift_between(first, 0.5, second, 0.5, 0.3)
    found = shift.interval(1.0 - alpha)
    if found.level < 1.0 - alpha:
        assert shift.p_two_sided(at) > alpha
        return
    outside = not found.low <= at <= found.high
    assert shift.excludes(at, alpha) is outside
    assert (shift.p_two_sided(at) <= alpha * (1 + 1e-5)) >= outside
    assert shift.p_at_least(at) + shift.p_at_most(at) == pytest.approx(1.0)


def test_small_samples_say_what_they_can_hold():
    # 3 and 3 numbers: the least two-sided p is 2 / C(6, 3) = 0.1.
    shift = shift_between([1.0, 2.0, 3.0], 0.1, [101.0, 102.0, 103.0], 0.1)
    assert shift.interval(0.95).level == pytest.approx(0.9)
    assert shift.p_two_sided(0.0) == pytest.approx(0.1)
    assert not shift.excludes(0.0, 0.05)


def test_a_systematic_doubt_stays_whatever_the_number():
    rng = np.random.default_rng(1)
    x, y = rng.normal(60, 1, 200), rng.normal(50, 1, 200)
    found = shift_between(x, 0.5, y, 0.5, 4.0).interval()
    assert found.high - found.value == pytest.approx(1.96 * 4.0, rel=0.01)


def test_ties_all_of_one_value_still_leave_the_measurements_doubt():
    found = shift_between([50.0] * 8, 1.7, [54.0] * 8, 1.7).interval()
    assert found.value == pytest.approx(-4.0)
    assert found.high - found.value == pytest.approx(1.96 * 1.7 * math.sqrt(2 / 8), rel=1e-3)


@pytest.mark.parametrize(
    ("waits_ms", "counted_hz", "sizes"),
    [
        ((16.7, 16.7), 240, (10, 10)),
        ((16.7, 33.3), 240, (30, 10)),
        ((33.3, 33.3), 60, (20, 20)),
        ((16.7, 33.3), 960, (5, 20)),
    ],
)
def test_the_interval_holds_the_true_shift_of_tied_unlike_samples(waits_ms, counted_hz, sizes):
    # Known truth: 60 and 52 ms in the middle, waits spread evenly, whole frames counted.
    rng = np.random.default_rng(12)
    frame = 1000.0 / counted_hz
    held = 0
    for _ in range(500):
        samples = []
        for middle, wait, n in zip((60.0, 52.0), waits_ms, sizes, strict=True):
            lamp = rng.uniform(0.0, frame, n)
            end = lamp + middle + rng.uniform(-wait / 2, wait / 2, n)
            samples.append(frame * np.floor(end / frame))
        # Dearer than this test of the one shift, the interval is all shifts that pass it.
        held += not shift_between(samples[0], frame / ROOT6, samples[1], frame / ROOT6).excludes(
            8.0
        )
    assert 0.925 <= held / 500 <= 0.985
