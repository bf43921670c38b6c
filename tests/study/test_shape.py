"""Outliers, two modes and the trimmed spread: exact, a linear programme as judge, known truth.

The dip is checked against its definition (Hartigan and Hartigan 1985): the least distance
to a distribution function convex up to some mode and concave after it, found by SciPy's
``linprog`` over all modes. The range of uniform draws: David and Nagaraja 2003, 2.3, and
SciPy's beta distribution.
"""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.stats import beta

from blinkspan.study.dip import dip, dip_p, spread_ties
from blinkspan.study.shape import chance_of_reach, outliers, trimmed_spread, two_modes


def distance_to_one_mode(x):
    """Return the dip by its definition; ``x`` sorted, without ties."""
    return min(distance_to_mode_at(x, mode) for mode in range(x.size))


def distance_to_mode_at(x, mode):
    # Unknowns: G at each value (at the mode: before its jump), G after the jump, the distance.
    n = x.size
    jump, far = n, n + 1
    rows, ends = [], []

    def at_most(end, **parts):
        rows.append(np.zeros(n + 2))
        rows[-1][[at[name] for name in parts]] = list(parts.values())
        ends.append(end)

    after = [jump if i == mode else i for i in range(n)]
    for i in range(n):
        for place, share in ((i, i / n), (after[i], (i + 1) / n)):
            at = {"g": place, "far": far}
            at_most(share, g=1.0, far=-1.0)
            at_most(-share, g=-1.0, far=-1.0)
    at = {"before": mode, "after": jump}
    at_most(0.0, before=1.0, after=-1.0)
    for steps, sign in (
        ([(i, i, i + 1) for i in range(mode)], 1.0),  # slopes rise up to the mode
        ([(i, after[i], i + 1) for i in range(mode, n - 1)], -1.0),  # and fall after it
    ):
        slopes = []
        for left, start, right in steps:
            slope = np.zeros(n + 2)
            slope[[right, start]] = np.array([1.0, -1.0]) / (x[right] - x[left])
            slopes.append(slope)
            rows.append(-slope)
            ends.append(0.0)
        for first, second in pairwise(slopes):
            rows.append(sign * (first - second))
            ends.append(0.0)
    aim = np.zeros(n + 2)
    aim[far] = 1.0
    return linprog(aim, A_ub=np.array(rows), b_ub=ends, bounds=(0.0, 1.0)).fun


@pytest.mark.parametrize("seed", range(8))
def test_the_dip_is_the_distance_to_the_nearest_single_mode(seed):
    rng = np.random.default_rng(seed)
    x = np.sort(np.concatenate([rng.normal(0, 1, 6), rng.normal(seed, 1, 6)]))
    assert dip(x) == pytest.approx(distance_to_one_mode(x), abs=1e-7)


def test_two_far_heaps_have_the_largest_dip_there_is():
    x = np.concatenate([np.linspace(0, 1e-6, 500), np.linspace(1, 1 + 1e-6, 500)])
    assert dip(x) == pytest.approx(0.25, abs=1e-3)


def test_evenly_spaced_values_have_the_least():
    assert dip(np.arange(20.0)) == pytest.approx(1 / 40)


@given(st.lists(st.integers(0, 9), min_size=2, max_size=25))
def test_ties_are_spread_within_their_step(values):
    spread = spread_ties(np.array(values, dtype=float))
    distinct = np.unique(values)
    step = np.diff(distinct).min() if distinct.size > 1 else 1.0
    assert np.abs(spread - np.sort(values)).max() <= step / 2
    assert (np.diff(spread) > 0).all()


def test_even_waits_are_rarely_told_for_two_modes():
    # Known truth: one mode, spread evenly over a game frame, with and without ties.
    rng = np.random.default_rng(1)
    plain = [dip_p(dip(rng.uniform(0, 16.7, 30)), 30) <= 0.05 for _ in range(1000)]
    assert np.mean(plain) == pytest.approx(0.05, abs=0.02)
    tied = [two_modes(np.floor(rng.uniform(0, 16.7, 30) / 4.17) * 4.17) for _ in range(500)]
    assert sum(found is not None for found in tied) <= 10


def test_two_heaps_are_told_apart():
    rng = np.random.default_rng(2)
    x = rng.permutation(np.concatenate([rng.uniform(50, 58, 14), rng.uniform(83, 91, 9)]))
    found = two_modes(x)
    assert (found.lower_n, found.upper_n) == (14, 9)
    assert found.lower_ms == np.median(x[x < 70])
    assert found.upper_ms == np.median(x[x > 70])
    assert found.p <= 0.01


def test_few_presses_are_not_told_for_two_modes():
    assert two_modes([50.0, 50.1, 50.2, 90.0, 90.1, 90.2]) is None


def test_an_outlier_is_named_by_its_press():
    values = [57.0, 61.0, 66.0, 70.0, 63.0, 140.0, 59.0]
    (found,) = outliers(values, 0.5, [1, 2, 4, 5, 6, 8, 9])
    assert (found.press, found.value_ms, found.from_median_ms) == (8, 140.0, 77.0)


def test_ties_do_not_make_their_neighbours_outliers():
    # 9 of 11 tie: the median absolute deviation is 0, the counting's doubt is not.
    values = [58.3] * 9 + [62.5, 54.2]
    assert outliers(values, 1.7, range(1, 12)) == ()
    assert [one.press for one in outliers(values, 0.5, range(1, 12))] == [10, 11]


def test_one_more_game_frame_is_no_outlier_among_even_waits():
    x = np.concatenate([np.linspace(50, 66, 12), [70.0]])
    assert outliers(x, 0.5, range(1, 14)) == ()


def test_a_third_of_the_presses_is_a_shape_and_no_outlier():
    # half of a game frame crowded together, the rest of it a frame away: as filmed at 30 fps
    x = [129.1, 138.1, 138.1, 138.6, 138.7, 138.9, 140.8, 141.9, 153.4, 153.5, 154.0, 156.2]
    assert outliers(x, 0.5, range(1, 13)) == ()
    assert [one.press for one in outliers([*x[1:8], 230.0], 0.5, range(1, 9))] == [8]


def test_the_trimmed_spread_leaves_a_tenth_off_either_end():
    assert trimmed_spread(np.arange(101.0)) == pytest.approx(80.0)
    assert trimmed_spread([*np.arange(10.0), 1e6]) < 10.0


@given(st.integers(2, 40), st.floats(0.05, 0.999))
def test_the_reach_of_even_waits_follows_the_beta_distribution(n, share):
    values = np.linspace(50.0, 50.0 + 16.0 * share, n)
    assert chance_of_reach(values, 16.0) == pytest.approx(beta.cdf(share, n - 1, 2), abs=1e-9)


def test_a_reach_of_more_than_a_frame_is_what_waiting_makes():
    assert chance_of_reach([50.0, 67.0, 55.0], 16.7) == 1.0
    assert chance_of_reach([50.0], 16.7) == 1.0


def test_counted_presses_that_differ_by_rounding_alone_tie():
    counts = np.repeat([12.0, 13.0, 14.0, 15.0], [60, 90, 90, 60]) * 1000.0 / 240.0
    noisy = counts + np.resize([0.0, 7e-15, -7e-15], counts.size)
    assert np.unique(noisy).size > 4
    assert dip(noisy) == pytest.approx(dip(counts), abs=1e-9)
