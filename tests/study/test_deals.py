"""The permutation test behind a shift: published (Brunner and Munzel), exact, SciPy as judge.

Pain scores of two treatments: Brunner and Munzel, Biometrical Journal 42 (2000) 17-25, as
in SciPy's and R's documented examples of the test: statistic 3.1375 with 17.683 degrees of
freedom, p 0.005786 (values from memory, and SciPy agrees).
"""

import math
from itertools import combinations

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from blinkspan.study.deals import deals, place_among
from blinkspan.study.shift import shift_between
from blinkspan.study.studentised import as_normal, parts_below, scores

PAIN_FIRST = [1, 2, 1, 1, 1, 1, 1, 1, 1, 1, 2, 4, 1, 1]
PAIN_SECOND = [3, 3, 4, 3, 1, 2, 3, 1, 1, 5, 4]


def score(first, second):
    values = np.concatenate([first, second]).astype(float)
    own = (np.arange(values.size) < len(first)).astype(float)[:, None]
    return float(scores(parts_below(values, np.zeros(values.size)), own)[0])


def test_pain_scores_give_the_published_statistic():
    published = float(as_normal(np.array([3.1374675]), np.array([17.682842]))[0])
    assert score(PAIN_SECOND, PAIN_FIRST) == pytest.approx(published, rel=1e-6)
    assert score(PAIN_FIRST, PAIN_SECOND) == pytest.approx(-published, rel=1e-6)
    assert 2.0 * scipy.stats.norm.sf(published) == pytest.approx(0.005786, rel=0.01)


@given(st.integers(0, 10_000))
def test_scipy_finds_the_same_p(seed):
    rng = np.random.default_rng(seed)
    x, y = rng.normal(0.0, 1.0, 9), rng.normal(0.3, 3.0, 14)
    judged = scipy.stats.brunnermunzel(x, y)
    assert 2.0 * scipy.stats.norm.sf(abs(score(x, y))) == pytest.approx(judged.pvalue, rel=0.05)
    assert np.sign(score(x, y)) == -np.sign(judged.statistic)  # theirs: the second less the first


@pytest.mark.parametrize("alpha", [0.02, 0.05, 0.1, 0.3])
@pytest.mark.parametrize("u", [0.0, 1.0])
def test_no_more_deals_are_told_different_than_promised(alpha, u):
    # Exact: each of the 252 deals of ten numbers into fives is as likely as any other. Deals
    # that tie in their score count half, so that one pair of them may go over.
    numbers = np.array([0.0, 1.3, 2.1, 2.9, 4.4, 5.1, 7.7, 8.2, 9.0, 13.0])
    told = 0
    for chosen in combinations(range(10), 5):
        first = np.isin(np.arange(10), chosen)
        told += shift_between(numbers[first], u, numbers[~first], u).excludes(0.0, alpha)
    assert alpha - 0.025 <= told / 252 <= alpha + 2 / 252


def test_ties_count_half():
    # All equal: every deal ties with the one that was seen, and its mean rank is the middle.
    same = shift_between([50.0] * 4, 0.0, [50.0] * 4, 0.0)
    assert same.p_two_sided(0.0) == 1.0
    assert place_among(1.0, np.array([3.0, 1.0, 1.0, 1.0, 0.0]), 5) == pytest.approx(3.0 / 5.0)


@pytest.mark.parametrize("apart", [0.0, 0.5, 1.0, 1.5, 3.0])
def test_the_deals_drawn_stand_for_all(apart):
    # 20 numbers are dealt in 184,756 ways, few enough to list here.
    rng = np.random.default_rng(3)
    values = np.concatenate([rng.normal(apart, 1.0, 10), rng.normal(0.0, 1.5, 10)])
    order = np.argsort(values)
    below = parts_below(values[order], np.full(20, 0.2))
    own = float(scores(below, (order < 10).astype(float)[:, None])[0])
    every = np.array(list(combinations(range(20), 10)))
    listed = np.zeros((20, every.shape[0]))
    np.put_along_axis(listed, every.T, 1.0, axis=0)
    exact = place_among(own, scores(below, listed), every.shape[0])
    found = place_among(own, scores(below, deals(10, 10)), every.shape[0])
    # 20,000 were drawn, of which every tenth is kept
    assert found == pytest.approx(exact, abs=3.0 * math.sqrt(exact / 20_000) + 1.0 / 2001)


def test_far_beyond_the_deals_drawn_the_rank_sums_chance_is_told():
    # 12 against 12 without overlap: one deal in 2,704,156, to either side.
    x, y = np.arange(12.0), np.arange(100.0, 112.0)
    assert shift_between(x, 0.0, y, 0.0).p_two_sided(0.0) == pytest.approx(2 / math.comb(24, 12))


def test_drawn_deals_are_closed_under_exchange():
    drawn = deals(9, 9)
    assert drawn.shape == (18, 2000)
    assert (drawn.sum(axis=0) == 9).all()
    assert {column.tobytes() for column in drawn.T} == {column.tobytes() for column in 1 - drawn.T}
    assert deals(3, 4).shape == (7, math.comb(7, 3))


def test_few_widely_spread_numbers_are_not_judged_by_deals_alone():
    # SciPy as judge: the p told is at least that of Brunner and Munzel's own test, which does
    # not take the samples to spread alike. Wallace's quantile is a hundredth or two off.
    rng = np.random.default_rng(5)
    for _ in range(20):
        steady, wide = rng.normal(0.0, 0.2, 30), rng.uniform(-13.0, 20.0, 10)
        judged = scipy.stats.brunnermunzel(steady, wide).pvalue
        assert shift_between(steady, 0.0, wide, 0.0).p_two_sided(0.0) >= 0.97 * judged
