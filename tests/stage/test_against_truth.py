"""How far a measurement is off the truth: exact, on presses made by hand."""

import math
from dataclasses import replace

import pytest

from blinkspan.presses.press import Press, Verdict
from blinkspan.quantities import Budget, Measured
from blinkspan.stage.against_truth import against_truth, joined
from blinkspan.stage.catalogue import CATALOGUE
from blinkspan.stage.truth import TruePress
from blinkspan.stage.truth_of import expected_truth


def truth(*spans_ms):
    """Return a truth of presses one second apart, None for one that is not answered."""
    presses = tuple(
        TruePress(n, float(n), n + 0.1, None if ms is None else n + ms / 1e3, ms, ms is None, None)
        for n, ms in enumerate(spans_ms, start=1)
    )
    return replace(expected_truth(CATALOGUE["flash-oled-60"]), presses=presses)


def found(at_s, span_ms, u_ms=1.0):
    span = None if span_ms is None else Measured(span_ms / 1e3, u_ms / 1e3)
    return Press(
        1, Measured(at_s, 1e-4), None, None, None, span, None, Budget(()), Verdict.ACCEPTED, None
    )


def test_errors_are_of_presses_that_carry_a_span_and_truly_had_one():
    score = against_truth(
        [
            found(1.001, 41.0),
            found(2.0, 49.0),
            found(3.0, None),
            found(4.0, None),
            found(5.0, 30.0),
        ],
        truth(40.0, 52.0, 60.0, None, None),
    )
    assert score.errors_ms == pytest.approx((1.0, -3.0))
    assert score.true_spans_ms == (40.0, 52.0)
    assert score.bias_ms == pytest.approx(-1.0)
    assert score.rmse_ms == pytest.approx(math.sqrt(5.0))
    assert score.within_2u == 1
    assert (score.presses, score.found, score.invented) == (5, 5, 0)
    assert (score.missed, score.missed_told, score.unanswered) == (2, 1, 1)


def test_a_press_that_was_none_is_invented_and_one_not_found_is_not_found():
    score = against_truth([found(1.5, 41.0), found(2.0, 50.0)], truth(40.0, 50.0))
    assert (score.found, score.invented) == (1, 1)
    assert score.errors_ms == pytest.approx((0.0,))


def test_one_press_measured_twice_is_invented_once():
    score = against_truth([found(1.0, 40.0), found(1.01, 40.0)], truth(40.0))
    assert (score.presses, score.found, score.invented) == (1, 1, 1)


def test_joined_scores_are_those_of_all_presses_together():
    one = against_truth([found(1.0, 41.0)], truth(40.0, None))
    other = against_truth([found(1.0, 37.0)], truth(40.0))
    both = joined([one, other])
    assert (both.presses, both.found, both.missed, both.missed_told) == (3, 2, 1, 0)
    assert both.bias_ms == pytest.approx(-1.0)
    assert joined([]).bias_ms is None
    assert joined([]).rmse_ms is None
