"""The median's interval: published ranks, exact (by hand, symmetries), and its coverage.

Ranks of the distribution-free interval of a median: binomial tables, as in any
handbook of order statistics (n = 10: 2nd and 9th, 0.9785; n = 20: 6th and 15th,
0.9586). Quantile type 5: Hyndman and Fan 1996, and NumPy's "hazen". The interpolated
interval: Hettmansperger and Sheather 1986, whose weight is recomputed by hand here.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blinkspan.errors import BadSample
from blinkspan.study.median import median_interval, sign_test_reach
from blinkspan.study.smoothing import REACH, part_below, spread

SPANS = st.lists(st.floats(20.0, 200.0), min_size=2, max_size=30)


@pytest.mark.parametrize(
    ("n", "low", "high"),
    [(6, 1, 6), (10, 2, 9), (15, 4, 12), (20, 6, 15), (25, 8, 18), (50, 18, 33), (100, 40, 61)],
)
def test_the_interval_lies_between_the_published_ranks_and_the_next_ones(n, low, high):
    found = median_interval(np.arange(1.0, n + 1.0), 0.0)
    assert low <= found.low < low + 1
    assert high - 1 < found.high <= high
    assert found.level == 0.95


def test_the_weight_between_ranks_is_that_of_hettmansperger_and_sheather():
    # n = 10: 0.978516 between ranks 2 and 9, 0.890625 between 3 and 8.
    excess = (0.978515625 - 0.95) / (0.978515625 - 0.890625)
    weight = 8 * excess / (2 + 6 * excess)
    assert median_interval(np.arange(1.0, 11.0), 0.0).low == pytest.approx(2.0 + weight)


@pytest.mark.parametrize("n", range(1, 6))
def test_too_few_presses_say_how_little_they_hold(n):
    # The range of n presses misses the median where all lie on one side: 2 / 2**n.
    assert sign_test_reach(n, 0.95)[1] == 1.0 - 2.0 / 2**n
    found = median_interval(np.arange(float(n)), 0.0)
    assert (found.low, found.high) == (0.0, n - 1.0)


def test_quantiles_without_uncertainty_are_type_5_of_hyndman_and_fan():
    x = np.arange(1.0, 11.0)
    step = spread(x, np.zeros(10))
    assert step.quantiles([0.25, 0.9]).tolist() == pytest.approx([3.0, 9.5])
    odd = np.random.default_rng(3).normal(size=17)
    p = np.linspace(0.05, 0.95, 19)
    assert spread(odd, np.zeros(17)).quantiles(p) == pytest.approx(
        np.quantile(odd, p, method="hazen")
    )


def test_two_neighbouring_ties_have_their_median_where_their_mean_is():
    # 3 of 10 presses one frame later: frames of 1, u = 1/sqrt(6), each spread over +-1.
    x = np.array([0.0] * 7 + [1.0] * 3)
    smooth = spread(x, np.full(10, REACH / math.sqrt(6.0)))
    assert float(np.interp(0.5, smooth.share, smooth.at)) == pytest.approx(0.3)


def test_spreading_over_whole_steps_leaves_no_ripple():
    # Presses on every step of a grid: the density between is flat.
    smooth = spread(np.arange(20.0), np.full(20, 1.0))
    inner = np.linspace(2.0, 17.0, 61)
    shares = [smooth.share_below(at) for at in inner]
    assert np.diff(shares) == pytest.approx(np.full(60, 0.25 / 20.0))


def test_the_distribution_function_is_the_mean_of_the_parts_below():
    rng = np.random.default_rng(5)
    x, h = rng.normal(60.0, 5.0, 12), rng.uniform(0.1, 3.0, 12)
    smooth = spread(x, h)
    for at in (52.0, 60.0, 61.7):
        assert smooth.share_below(at) == pytest.approx(part_below(at - x, h).mean())


@given(SPANS, st.floats(0.0, 3.0, allow_subnormal=False), st.floats(-50.0, 50.0))
def test_shifting_all_presses_shifts_the_interval(spans, u, by):
    plain, moved = median_interval(spans, u), median_interval(np.array(spans) + by, u)
    assert [moved.value, moved.low, moved.high] == pytest.approx(
        [plain.value + by, plain.low + by, plain.high + by], abs=1e-5
    )


@given(SPANS, st.floats(0.0, 3.0, allow_subnormal=False))
def test_turning_time_round_turns_the_interval_round(spans, u):
    plain, turned = median_interval(spans, u), median_interval(-np.array(spans), u)
    assert [turned.low, turned.high] == pytest.approx([-plain.high, -plain.low], abs=1e-5)


@given(
    SPANS, st.floats(0.0, 3.0, allow_subnormal=False), st.floats(0.0, 5.0, allow_subnormal=False)
)
def test_the_interval_holds_its_value_and_what_the_presses_share(spans, u, shared):
    found = median_interval(spans, u, shared)
    assert found.low <= found.value <= found.high
    assert (
        found.high - found.low
        >= 2 * 1.95996 * math.hypot(shared, u / math.sqrt(len(spans))) - 1e-12
    )


def test_a_shared_doubt_does_not_shrink_with_more_presses():
    found = median_interval(np.full(10_000, 60.0), 0.5, 2.0)
    assert found.high - found.value == pytest.approx(1.959964 * math.hypot(2.0, 0.005), rel=1e-6)


@pytest.mark.parametrize(
    ("game_hz", "counted_hz", "n"), [(60, 240, 20), (30, 240, 10), (60, 60, 20), (60, 960, 50)]
)
def test_the_interval_of_tied_frame_counts_holds_the_true_median(game_hz, counted_hz, n):
    # Known truth: 50 ms and a wait spread evenly over a game frame, counted in whole frames.
    rng = np.random.default_rng(17)
    wait, frame = 1000.0 / game_hz, 1000.0 / counted_hz
    held = 0
    for _ in range(600):
        true = 50.0 + rng.uniform(0.0, wait, n)
        lamp = rng.uniform(0.0, frame, n)
        spans = frame * np.floor((lamp + true) / frame)
        found = median_interval(spans, frame / math.sqrt(6.0))
        held += found.low <= 50.0 + wait / 2.0 <= found.high
    assert 0.92 <= held / 600 <= 0.99


@pytest.mark.parametrize(
    ("values", "u", "said"),
    [
        ([], 0.0, "no value"),
        ([1.0, math.nan], 0.0, "not finite"),
        ([1.0, 2.0], -0.1, "negative"),
        ([1.0, 2.0], [0.1, 0.1, 0.1], "3 uncertainties"),
    ],
)
def test_numbers_that_cannot_be_are_refused(values, u, said):
    with pytest.raises(BadSample, match=said):
        median_interval(values, u)


def test_an_uncertainty_too_small_to_divide_by_counts_as_none():
    spans = [30.0, 40.0, 50.0, 60.0, 70.0, 80.0]
    assert median_interval(spans, 5e-324) == median_interval(spans, 0.0)


def test_counted_frames_of_a_lopsided_wait_keep_their_true_median():
    # An exponential tail of 8 ms with median 60 ms, counted in frames of 1/240 s: noise and
    # smoothing move the median by some 0.5 ms, so that 92 in 100 held it with 50 presses.
    frame = 1000.0 / 240.0
    rng, held = np.random.default_rng(4), 0
    for _ in range(1000):
        truth = 60.0 + 8.0 * (rng.exponential(1.0, 50) - math.log(2.0))
        start = rng.uniform(0.0, frame, 50)
        spans = (np.ceil((start + truth) / frame) - np.ceil(start / frame)) * frame
        found = median_interval(spans, frame / math.sqrt(6.0))
        held += found.low <= 60.0 <= found.high
    assert 0.94 <= held / 1000 <= 0.975
