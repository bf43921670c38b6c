"""What the presses of one take say together: each one's own doubt apart from what all share."""

import math
from statistics import median

import numpy as np
import numpy.typing as npt

from blinkspan.presses.press import Press, Verdict
from blinkspan.profiles import DisplayProfile
from blinkspan.study.summary import Summary, summarise


def summary_of(
    presses: tuple[Press, ...], display: DisplayProfile
) -> tuple[Summary, Summary | None]:
    """Return the summary of the accepted presses' spans, and of their net latencies where known."""
    accepted = [p for p in presses if p.verdict is Verdict.ACCEPTED and p.span is not None]
    doubtful = sum(p.verdict is Verdict.DOUBTFUL for p in presses)
    rejected = sum(p.verdict is Verdict.REJECTED for p in presses)
    numbers = [p.number for p in accepted]
    rate = display.game_rate_hz

    def of(values_ms: npt.NDArray[np.float64], shared_u_ms: float) -> Summary:
        return summarise(
            values_ms,
            own_ms,
            shared_u_ms,
            doubtful=doubtful,
            rejected=rejected,
            game_rate_hz=rate,
            numbers=numbers,
        )

    own_ms = np.array([1e3 * p.budget.own_u_s for p in accepted])
    shared_ms = median([1e3 * _shared_u_s(p) for p in accepted]) if accepted else 0.0
    span_ms = np.array([1e3 * p.span.value for p in accepted if p.span is not None])
    spans = of(span_ms, shared_ms)
    if display.lag_s is None:
        return spans, None
    net_ms = span_ms - 1e3 * display.lag_s.value
    return spans, of(net_ms, math.hypot(shared_ms, 1e3 * display.lag_s.u))


def _shared_u_s(press: Press) -> float:
    return math.sqrt(sum(term.u_s**2 for term in press.budget.terms if term.shared))
