"""Undo and redo by the rows alone, and what else could be a response; exact."""

from datetime import UTC, datetime

import numpy as np
import pytest

from blinkspan.jobs.take_review import doubt, next_steps, rises
from blinkspan.library.kept import KeptCorrection
from blinkspan.presses.press import Press, Verdict
from blinkspan.quantities import Budget, Measured
from blinkspan.traces.trace import Trace


def said(*undoes):
    """Return rows 1, 2, 3 … that undo the rows given, None for a correction."""
    now = datetime(2026, 1, 1, tzinfo=UTC)
    return [KeptCorrection(k, 1, 1, None, "Mara", now, u) for k, u in enumerate(undoes, start=1)]


@pytest.mark.parametrize(
    ("rows", "undo", "redo"),
    [
        ((), None, None),
        ((None, None), 2, None),
        ((None, None, 2), 1, 3),  # the second undone
        ((None, None, 2, 1), None, 4),  # both undone
        ((None, None, 2, 1, 4), 5, 3),  # the first brought back
        ((None, None, 2, None), 4, None),  # a new word closes the way forward
        ((None, 1, 2, 3), None, 4),  # undone, brought back, undone again
    ],
)
def test_the_next_steps_follow_from_the_rows(rows, undo, redo):
    assert next_steps(said(*rows)) == (undo, redo)


def test_a_trace_rises_where_it_leaves_rest_and_only_there():
    values = np.array([0, 0, 1, 1, 0.4, 1, 0, 0.1, 0.9, 0.0])
    found = rises(Trace(values, np.arange(10) / 100), 0.0)
    # from 0.4 it does not rise from rest; the half step over the root of three is GUM 4.3.7
    assert [round(each.value, 6) for each in found] == [0.015, 0.075]
    assert found[0].u == pytest.approx(0.005 / 3**0.5)
    assert [round(each.value, 6) for each in rises(Trace(values, np.arange(10) / 100), 0.05)] == [
        0.075
    ]


def test_the_most_doubtful_press_comes_first():
    def press(number, verdict, u):
        span = None if u is None else Measured(0.06, u)
        lamp = Measured(1.0, 0.001)
        return Press(number, lamp, None, None, None, span, None, Budget(()), verdict, None)

    presses = [
        press(1, Verdict.REJECTED, 0.009),
        press(2, Verdict.ACCEPTED, 0.001),
        press(3, Verdict.ACCEPTED, 0.002),
        press(4, Verdict.DOUBTFUL, 0.001),
        press(5, Verdict.DOUBTFUL, None),
    ]
    assert [p.number for p in sorted(presses, key=doubt)] == [5, 4, 3, 2, 1]
