"""Equivalence: published (R's tost output, Lakens 2017), statsmodels and pingouin as judges.

The clinic's two columns and R's results (package equivalence, eps 0.6) are those kept in
statsmodels' own tests. The two-sample summaries are the worked example of Lakens, Social
Psychological and Personality Science 8 (2017) 355-362, inputs from memory, recomputed.
Schuirmann's identity: sameness is shown exactly when the 1 - 2 alpha interval is inside.
"""

import math

import numpy as np
import pingouin
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

from blinkspan.errors import BadSample, BadSetting
from blinkspan.study.equivalence import (
    same_in_pairs,
    same_means,
    same_means_from_summaries,
    same_shift,
)
from blinkspan.study.shift import shift_between

ONE = (
    np.array(
        [2.84, 2.51, 2.41, 2.95, 3.14, 3.79, 4.14, 3.85, 3.02, 3.45, 5.37, 3.81, 4.19, 3.16, 3.84]
    ),
    np.array(
        [2.60, 2.82, 2.18, 3.46, 4.01, 3.04, 3.47, 4.06, 2.91, 3.59, 4.51, 3.16, 3.86, 3.31, 3.02]
    ),
)
TWO = (
    np.array(
        [4.00, 3.26, 4.14, 3.42, 3.25, 4.34, 4.97, 4.31, 3.11, 3.41, 5.02, 4.21, 4.59, 5.30, 4.32]
    ),
    np.array(
        [3.76, 3.66, 3.65, 3.60, 3.48, 2.87, 3.24, 3.92, 3.99, 4.21, 4.21, 3.31, 3.61, 2.97, 2.73]
    ),
)


@pytest.mark.parametrize(
    ("clinic", "p", "low", "high", "same"),
    [
        (ONE, 0.003166881489, -0.0744336621, 0.4037669954, True),
        (TWO, 0.441203404602, 0.1261653305, 0.9991680028, False),
    ],
)
def test_pairs_as_r_judges_them(clinic, p, low, high, same):
    found = same_in_pairs(clinic[0] - clinic[1], 0.6)
    assert found.p == pytest.approx(p, abs=1e-11)
    assert [found.difference.low, found.difference.high] == pytest.approx([low, high], abs=1e-9)
    assert found.same is same
    assert found.p == pytest.approx(ttost_paired(clinic[0], clinic[1], -0.6, 0.6)[0])


@pytest.mark.parametrize(
    ("clinic", "p", "low", "high", "same"),
    [
        (ONE, 0.04853084, -0.2666863, 0.5960196, True),
        (TWO, 0.431793681259, 0.1949162507, 0.9304170826, False),
    ],
)
def test_independent_samples_as_r_judges_them(clinic, p, low, high, same):
    found = same_means(clinic[0], clinic[1], 0.6)
    assert found.p == pytest.approx(p, abs=1e-8)
    assert [found.difference.low, found.difference.high] == pytest.approx([low, high], abs=1e-7)
    assert found.same is same
    statsmodels = ttost_ind(clinic[0], clinic[1], -0.6, 0.6, usevar="unequal")
    assert found.p == pytest.approx(statsmodels[0])
    judged = pingouin.tost(clinic[0], clinic[1], bound=0.6, correction=True)
    assert found.p == pytest.approx(judged["pval"].iloc[0], abs=1e-6)


def test_lakens_example_from_summaries():
    margin = 0.43 * math.sqrt((0.95**2 + 0.83**2) / 2.0)
    found = same_means_from_summaries((5.25, 5.22), (0.95, 0.83), (95, 89), margin)
    assert found.p_low == pytest.approx(0.000956008, abs=5e-9)
    assert found.p_high == pytest.approx(0.003875522, abs=5e-9)
    assert [found.difference.low, found.difference.high] == pytest.approx(
        [-0.187084, 0.247084], abs=5e-7
    )
    assert found.same


@given(st.floats(-3.0, 3.0), st.floats(0.2, 4.0))
def test_sameness_is_the_interval_lying_inside(apart, margin):
    rng = np.random.default_rng(2)
    x, y = rng.normal(apart, 1.0, 12), rng.normal(0.0, 2.0, 9)
    for found in (same_means(x, y, margin), same_shift(shift_between(x, 0.1, y, 0.1), margin)):
        inside = -margin < found.difference.low and found.difference.high < margin
        assert found.same is inside


def test_a_shift_of_the_margins_size_is_rarely_called_the_same():
    # Known truth: 4 ms apart, margin 4 ms, waits spread over 16.7 ms: wrong at most 1 in 20.
    rng = np.random.default_rng(6)
    wrong = 0
    for _ in range(600):
        x, y = rng.uniform(4.0, 20.7, 40), rng.uniform(0.0, 16.7, 40)
        wrong += same_shift(shift_between(x, 0.5, y, 0.5), 4.0).same
    assert 0.02 <= wrong / 600 <= 0.07


def test_samples_too_small_are_never_the_same():
    assert not same_shift(shift_between([5.0], 0.1, [5.0], 0.1), 100.0).same


@pytest.mark.parametrize("margin", [0.0, -1.0, math.inf, math.nan])
def test_margins_that_cannot_be_are_refused(margin):
    with pytest.raises(BadSetting, match="margin"):
        same_means([1.0, 2.0], [1.0, 3.0], margin)


@pytest.mark.parametrize(
    "call",
    [
        lambda: same_means([1.0], [1.0, 2.0], 1.0),
        lambda: same_means([1.0, 1.0], [2.0, 2.0], 1.0),
        lambda: same_in_pairs([1.0, 1.0], 1.0),
    ],
)
def test_samples_without_spread_are_refused(call):
    with pytest.raises(BadSample, match="spread"):
        call()
