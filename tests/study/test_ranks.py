"""Rank tests: published (Hollander and Wolfe, R's manual), exact (enumeration), SciPy as judge.

Hollander and Wolfe 1973: membrane permeability (pp. 68-75) and Hamilton's depression
scale (pp. 27-33), data as in R's documented examples of ``wilcox.test``; statistics
and p values read there and recomputed, the shift's interval from memory and recomputed.
New York air quality, ozone in May and August: the same page prints W = 127.5 and,
with R's continuity correction, p = 0.0001208; the 52 values are typed from memory.
A12 and Cliff's delta: Vargha and Delaney 2000, and the example of R's package effsize.
Where numbers tie, R falls back on a normal approximation; the exact p here is that of
all deals, listed one by one below.
"""

import math
from itertools import combinations, product

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from blinkspan.errors import BadSample
from blinkspan.study.ranks import (
    hodges_lehmann,
    pair_count_chances,
    probability_less,
    pseudo_median,
    rank_sum_test,
    shift_interval,
    signed_rank_test,
)

TERM = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46]
EARLY = [1.15, 0.88, 0.90, 0.74, 1.21]
BEFORE = np.array([1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30])
AFTER = np.array([0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29])
MAY = [41, 36, 12, 18, 28, 23, 19, 8, 7, 16, 11, 14, 18, 14, 34, 6, 30, 11, 1, 11, 4, 32, 23]
MAY += [45, 115, 37]
AUGUST = [39, 9, 16, 78, 35, 66, 122, 89, 110, 44, 28, 65, 22, 59, 23, 31, 44, 21, 9, 45, 168]
AUGUST += [73, 76, 118, 84, 85]
FEW = st.lists(st.integers(0, 6), min_size=2, max_size=5)


def test_hollander_and_wolfe_permeability():
    found = rank_sum_test(TERM, EARLY)
    assert found.statistic == 35.0
    assert found.p_greater == pytest.approx(382 / 3003, rel=1e-12)
    assert found.p == pytest.approx(0.2544123, abs=5e-8)
    assert found.method == "exact"


def test_hollander_and_wolfe_permeability_shift():
    found = shift_interval(TERM, EARLY)
    assert [found.value, found.low, found.high] == pytest.approx([0.305, -0.15, 0.76])
    assert found.level == pytest.approx(0.9600400, abs=5e-8)
    assert hodges_lehmann(TERM, EARLY) == pytest.approx(0.305)


def test_hollander_and_wolfe_depression():
    found = signed_rank_test(BEFORE - AFTER)
    assert found.statistic == 40.0
    assert found.p_greater == 10 / 512
    assert found.p == 20 / 512
    middle = pseudo_median(BEFORE - AFTER)
    assert [middle.value, middle.low, middle.high] == pytest.approx([0.46, 0.010, 0.786])
    assert middle.level == 0.9609375


def test_effect_size_of_the_permeability():
    assert probability_less(EARLY, TERM).value == pytest.approx(35 / 50)


def test_cliffs_delta_of_the_effsize_example():
    treatment = [10, 10, 20, 20, 20, 30, 30, 30, 40, 50]
    control = [10, 20, 30, 40, 40, 50]
    delta = 2.0 * probability_less(control, treatment).value - 1.0
    assert delta == pytest.approx(-0.25)


def test_ozone_ties_statistic_and_normal_approximation():
    found = rank_sum_test(MAY, AUGUST)
    assert found.statistic == 127.5
    # The manual's p has a continuity correction and no exact count; both are near.
    assert found.p == pytest.approx(0.0001208, rel=0.5)
    corrected = scipy.stats.mannwhitneyu(MAY, AUGUST, method="asymptotic", use_continuity=True)
    assert corrected.pvalue == pytest.approx(0.0001208, abs=5e-8)
    many = rank_sum_test(MAY * 3, AUGUST * 3)
    plain = scipy.stats.mannwhitneyu(MAY * 3, AUGUST * 3, method="asymptotic", use_continuity=False)
    assert many.method == "normal approximation"
    assert many.p == pytest.approx(plain.pvalue, rel=1e-9)


def test_groups_that_do_not_overlap():
    found = rank_sum_test([1.0, 2.0, 3.0], [4.0, 5.0, 6.0, 7.0])
    assert found.statistic == 0.0
    assert found.p == pytest.approx(2 / math.comb(7, 3))


@given(FEW, FEW)
@settings(max_examples=60)
def test_tied_rank_sums_agree_with_every_deal_listed(first, second):
    ranks = scipy.stats.rankdata(first + second)
    m = len(first)
    sums = np.array([ranks[list(taken)].sum() for taken in combinations(range(ranks.size), m)])
    own, mean = ranks[:m].sum(), m * (ranks.size + 1) / 2
    found = rank_sum_test(first, second)
    assert found.p == pytest.approx(np.mean(np.abs(sums - mean) >= abs(own - mean)))
    assert found.p_greater == pytest.approx(np.mean(sums >= own))
    assert found.p_less == pytest.approx(np.mean(sums <= own))


@given(st.lists(st.integers(-4, 4).filter(bool), min_size=1, max_size=8))
@settings(max_examples=60)
def test_tied_signed_ranks_agree_with_every_sign_pattern_listed(values):
    ranks = scipy.stats.rankdata(np.abs(values))
    sums = np.array([ranks @ pattern for pattern in product([0, 1], repeat=len(values))])
    own, mean = ranks[np.array(values) > 0].sum(), ranks.sum() / 2
    found = signed_rank_test(values)
    assert found.statistic == own
    assert found.p == pytest.approx(np.mean(np.abs(sums - mean) >= abs(own - mean)))
    assert found.p_less == pytest.approx(np.mean(sums <= own))


def test_untied_p_values_agree_with_scipy():
    rng = np.random.default_rng(8)
    x, y = rng.normal(size=14), rng.normal(0.7, 1.0, 9)
    theirs = scipy.stats.mannwhitneyu(x, y, method="exact")
    assert rank_sum_test(x, y).p == pytest.approx(theirs.pvalue)
    paired = scipy.stats.wilcoxon(x, method="exact")
    assert signed_rank_test(x).p == pytest.approx(paired.pvalue)


def test_long_signed_ranks_agree_with_scipys_approximation():
    x = np.random.default_rng(9).normal(0.1, 1.0, 150).round(1)
    theirs = scipy.stats.wilcoxon(x, method="asymptotic", correction=False)
    found = signed_rank_test(x)
    assert found.method == "normal approximation"
    assert found.p == pytest.approx(theirs.pvalue, rel=1e-9)


def test_pair_counts_agree_with_the_small_table():
    # 2 and 3 numbers: 1 1 2 2 2 1 1 of 10 deals (Hollander and Wolfe, table A.5).
    assert (10 * pair_count_chances(2, 3)).round(12).tolist() == [1, 1, 2, 2, 2, 1, 1]


def test_the_exact_interval_is_the_shifts_the_exact_test_does_not_reject():
    low, high = shift_interval(TERM, EARLY).low, shift_interval(TERM, EARLY).high
    alpha = 1.0 - shift_interval(TERM, EARLY).level
    first = np.array(TERM)
    for shift, inside in [(low - 1e-6, False), (low + 1e-6, True), (high + 1e-6, False)]:
        assert (rank_sum_test(first - shift, EARLY).p > alpha + 1e-12) == inside


def test_the_closed_interval_holds_a_shift_of_tied_numbers():
    rng = np.random.default_rng(23)
    held = [
        found.low <= 2.0 <= found.high
        for found in (
            shift_interval(rng.integers(0, 4, 10) + 2.0, rng.integers(0, 4, 10)) for _ in range(500)
        )
    ]
    assert np.mean(held) >= 0.95


@given(FEW, FEW)
def test_swapping_the_groups_turns_the_probability_round(first, second):
    plain, swapped = probability_less(first, second), probability_less(second, first)
    assert swapped.value == pytest.approx(1.0 - plain.value)
    assert [swapped.low, swapped.high] == pytest.approx([1 - plain.high, 1 - plain.low], abs=1e-9)


def test_the_interval_of_the_probability_holds_the_truth():
    # Normal groups one standard deviation apart: P(X < Y) = Phi(1 / sqrt 2) = 0.760.
    rng = np.random.default_rng(31)
    truth = scipy.stats.norm.cdf(1.0 / math.sqrt(2.0))
    held = []
    for _ in range(1000):
        found = probability_less(rng.normal(0, 1, 12), rng.normal(1, 1, 15))
        held.append(found.low <= truth <= found.high)
    assert 0.93 <= np.mean(held) <= 0.98


def test_groups_that_do_not_overlap_leave_some_doubt():
    found = probability_less([1.0, 2.0, 3.0], [4.0, 5.0, 6.0])
    assert found.value == found.high == 1.0
    assert 0.4 < found.low < 0.9


@pytest.mark.parametrize(
    "call",
    [
        lambda: rank_sum_test([], [1.0]),
        lambda: signed_rank_test([0.0, 0.0]),
        lambda: shift_interval(np.arange(61.0), np.arange(60.0)),
        lambda: probability_less([1.0], [math.inf]),
    ],
)
def test_samples_that_cannot_be_ranked_are_refused(call):
    with pytest.raises(BadSample):
        call()
