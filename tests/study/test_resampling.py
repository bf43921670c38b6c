"""Bootstrap and permutation: published (Efron, Efron and Tibshirani), exact, SciPy as judge.

Law school data: Efron and Tibshirani 1993, table 3.1 (values from memory; the correlation
0.776 agrees). BCa 90 %: Efron, JASA 82 (1987), prints 0.43 to 0.92 (from memory). Spatial
test data: table 14.1, acceleration 0.061 (from memory, recomputed). Mouse data: table 2.1,
the exact bootstrap standard error of the treatment group's median is 37.83.
"""

import math

import numpy as np
import pytest
import scipy.stats

from blinkspan.errors import BadSample, BadSetting
from blinkspan.study.ranks import rank_sum_test
from blinkspan.study.resampling import (
    acceleration,
    bca_interval,
    bootstrap,
    jackknife,
    percentile_interval,
    permutation_p,
)

LSAT = [576, 635, 558, 578, 666, 580, 555, 661, 651, 605, 653, 575, 545, 572, 594]
GPA = [3.39, 3.30, 2.81, 3.03, 3.44, 3.07, 3.00, 3.43, 3.36, 3.13, 3.12, 2.74, 2.76, 2.88, 2.96]
SCHOOLS = np.column_stack([LSAT, GPA])
SPATIAL = np.array(
    [
        48,
        36,
        20,
        29,
        42,
        42,
        20,
        42,
        22,
        41,
        45,
        14,
        6,
        0,
        33,
        28,
        34,
        4,
        32,
        24,
        47,
        41,
        24,
        26,
        30,
        41.0,
    ]
)
MICE = [94.0, 197.0, 16.0, 38.0, 99.0, 141.0, 23.0]


def correlation(rows):
    apart = rows - rows.mean(axis=1, keepdims=True)
    x, y = apart[..., 0], apart[..., 1]
    return (x * y).sum(axis=1) / np.sqrt((x * x).sum(axis=1) * (y * y).sum(axis=1))


def plug_in_variance(rows):
    return rows.var(axis=1)


def middle(rows):
    return np.median(rows, axis=1)


def gap(x, y):
    return x.mean(axis=1) - y.mean(axis=1)


def test_law_school_correlation_and_jackknife():
    assert correlation(SCHOOLS[None])[0] == pytest.approx(0.776374491, abs=5e-10)
    left_out = jackknife(SCHOOLS, correlation)
    error = math.sqrt(14 / 15 * ((left_out - left_out.mean()) ** 2).sum())
    assert error == pytest.approx(0.142518619, abs=5e-10)
    assert acceleration(SCHOOLS, correlation) == pytest.approx(-0.0756716, abs=5e-8)


def test_law_school_bootstrap_error():
    drawn = bootstrap(SCHOOLS, correlation, 40_000, np.random.default_rng(1))
    assert drawn.std(ddof=1) == pytest.approx(0.1335, abs=0.002)


def test_law_school_intervals():
    rng = np.random.default_rng(2)
    bca = bca_interval(SCHOOLS, correlation, draws=40_000, rng=rng, level=0.90)
    assert [bca.low, bca.high] == pytest.approx([0.43, 0.925], abs=0.015)
    assert bca.method == "bootstrap BCa"
    plain = percentile_interval(SCHOOLS, correlation, draws=40_000, rng=rng, level=0.90)
    assert [plain.low, plain.high] == pytest.approx([0.523, 0.948], abs=0.01)


def test_spatial_variance():
    assert plug_in_variance(SPATIAL[None])[0] == pytest.approx(171.534, abs=5e-4)
    assert acceleration(SPATIAL, plug_in_variance) == pytest.approx(0.0612401, abs=5e-8)
    rng = np.random.default_rng(3)
    found = bca_interval(SPATIAL, plug_in_variance, draws=40_000, rng=rng, level=0.90)
    assert [found.low, found.high] == pytest.approx([115.6, 260.6], abs=3.0)


def test_scipy_draws_the_same_bca_interval():
    rng = np.random.default_rng(4)
    ours = bca_interval(SPATIAL, plug_in_variance, draws=30_000, rng=rng)
    theirs = scipy.stats.bootstrap(
        (SPATIAL,), np.var, n_resamples=30_000, method="BCa", rng=np.random.default_rng(5)
    ).confidence_interval
    assert [ours.low, ours.high] == pytest.approx([theirs.low, theirs.high], abs=3.0)


def test_exact_bootstrap_error_of_a_median():
    drawn = bootstrap(MICE, middle, 60_000, np.random.default_rng(6))
    assert drawn.std() == pytest.approx(37.8346744, abs=0.4)


def test_ties_count_half_towards_the_bias():
    # All draws tie with the sample's own value: no bias, and the interval is that value.
    found = bca_interval([60.0] * 6, middle, draws=100, rng=np.random.default_rng(7))
    assert (found.low, found.high, found.method) == (60.0, 60.0, "bootstrap BCa")


def test_the_same_seed_draws_the_same():
    draws = [bootstrap(MICE, middle, 500, np.random.default_rng(8)) for _ in range(2)]
    assert draws[0].tolist() == draws[1].tolist()


def test_listed_deals_agree_with_counted_ones():
    x, y = [50.0, 54.0, 54.0, 58.0], [54.0, 58.0, 58.0, 62.0, 62.0]
    ranks = scipy.stats.rankdata(x + y)
    p, method = permutation_p(ranks[:4], ranks[4:], gap, rng=np.random.default_rng(9))
    assert method == "exact"
    assert p == pytest.approx(rank_sum_test(x, y).p)


def test_groups_that_do_not_overlap():
    p, _ = permutation_p([1.0, 2.0, 3.0], [4.0, 5.0, 6.0, 7.0], gap, rng=np.random.default_rng())
    assert p == pytest.approx(2 / math.comb(7, 3))


def test_random_deals_agree_with_scipy():
    rng = np.random.default_rng(10)
    x, y = rng.normal(0.0, 1.0, 25), rng.normal(0.5, 1.0, 25)
    p, method = permutation_p(x, y, gap, rng=rng, draws=20_000)
    theirs = scipy.stats.permutation_test(
        (x, y), lambda a, b: a.mean() - b.mean(), n_resamples=20_000, rng=11
    )
    assert method == "20000 random deals"
    assert p == pytest.approx(theirs.pvalue, abs=0.01)


def test_draws_and_samples_that_cannot_be_are_refused():
    rng = np.random.default_rng(12)
    with pytest.raises(BadSetting, match="0 draws"):
        bootstrap(MICE, middle, 0, rng)
    with pytest.raises(BadSample, match="no number"):
        bootstrap([], middle, 10, rng)
    with pytest.raises(BadSample, match="left out"):
        jackknife([1.0], middle)
