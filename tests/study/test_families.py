"""Holm's adjustment: published examples, exact properties, statsmodels as judge.

Four p values: the textbook example of Holm, Scandinavian Journal of Statistics 6 (1979)
65-70. Fifteen: Benjamini and Hochberg, JRSS-B 57 (1995) 289 (values from memory; Holm's
decisions, three rejections, are theirs).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from blinkspan.errors import BadSample
from blinkspan.study.families import holm

FIFTEEN = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240]
FIFTEEN += [0.4262, 0.5719, 0.6528, 0.7590, 1.0]


def test_the_textbook_example():
    adjusted = holm([0.01, 0.04, 0.03, 0.005])
    assert adjusted.tolist() == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert (adjusted <= 0.05).tolist() == [True, False, False, True]


def test_benjamini_and_hochbergs_fifteen():
    adjusted = holm(FIFTEEN)
    assert adjusted[:9].tolist() == pytest.approx(
        [0.0015, 0.0056, 0.0247, 0.114, 0.2211, 0.278, 0.278, 0.278, 0.3213]
    )
    assert (adjusted <= 0.05).sum() == 3


@given(st.lists(st.floats(0.0, 1.0, allow_subnormal=False), min_size=1, max_size=20))
def test_statsmodels_agrees(p_values):
    assert holm(p_values) == pytest.approx(multipletests(p_values, method="holm")[1])


def test_one_question_needs_no_adjustment():
    assert holm([0.037]).tolist() == [0.037]


@pytest.mark.parametrize("p_values", [[0.1, 1.1], [-0.1], [float("nan")]])
def test_what_is_no_p_value_is_refused(p_values):
    with pytest.raises(BadSample, match="0 to 1"):
        holm(p_values)
