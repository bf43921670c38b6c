"""A person's word on a press, and the press as it stands after it.

A correction never touches what was measured: it is laid over it. It is bound to
the lamp onset the program found, so that it finds its press again when the take
is measured anew and the presses are numbered differently.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from blinkspan.presses.press import Press, Reason, Verdict
from blinkspan.quantities import Budget, Measured, Term

# Two operations of one control lie further apart than this (common practice: quick
# double presses stay above 60 ms), and two measurings of one onset far closer.
SAME_PRESS_S = 0.025

LAMP_TERM = "lamp onset"
RESPONSE_TERM = "response onset"
# What the program's own response onset leaves open; a person's stated doubt stands for all of it.
_OF_RESPONSE = (RESPONSE_TERM, "panel step", "faint change")


class Corrects(StrEnum):
    """What a person may correct."""

    LAMP_ON = "lamp onset"
    RESPONSE = "response"
    VERDICT = "verdict"


@dataclass(frozen=True, slots=True)
class Correction:
    """One thing a person says of one press.

    Attributes
    ----------
    anchor_s : float
        The press's lamp onset as the program measured it.
    to : Measured | None
        The instant moved to, in seconds of the take. For a response, None says
        that there was none; for a verdict it is not used.
    verdict : Verdict | None
        What is held of the press; None leaves it, and so does a moved onset.
    why : str
        The person's reason in words.
    """

    anchor_s: float
    kind: Corrects
    to: Measured | None
    verdict: Verdict | None
    reason: Reason | None
    why: str


def corrected(press: Press, corrections: Iterable[Correction], lag: Measured | None) -> Press:
    """Return the press with corrections laid over it, the latest of each kind last.

    The shutter skew that the program took out of the span (the difference
    between the span and the bare difference of its two instants) stays taken
    out. Where the program found no response there is no skew to keep, and the
    span is the bare difference.

    Parameters
    ----------
    corrections : iterable of Correction
        In the order in which they were made; all belong to this press.
    lag : Measured | None
        The display's own delay, used where the program knew no net latency.

    Examples
    --------
    >>> from blinkspan.quantities import Budget
    >>> found = Press(1, Measured(1.0, 0.001), None, Measured(1.060, 0.001), 180.0,
    ...     Measured(0.060, 0.001), None, Budget(()), Verdict.DOUBTFUL, None)
    >>> moved = Correction(1.0, Corrects.RESPONSE, Measured(1.052, 0.002), None, None, "late")
    >>> f"{1e3 * corrected(found, [moved], None).span.value:.1f} ms"
    '52.0 ms'
    """
    now = press
    for correction in corrections:
        if correction.kind is Corrects.LAMP_ON and correction.to is not None:
            now = replace(now, lamp_on=correction.to)
            now = replace(now, budget=_with_term(now.budget, (LAMP_TERM,), correction.to.u))
        elif correction.kind is Corrects.RESPONSE:
            now = replace(now, response=correction.to)
            if correction.to is not None:
                now = replace(now, budget=_with_term(now.budget, _OF_RESPONSE, correction.to.u))
        if correction.verdict is not None:
            now = replace(now, verdict=correction.verdict, reason=correction.reason)
    if now.response is None and now.verdict is Verdict.ACCEPTED:
        now = replace(now, verdict=Verdict.REJECTED, reason=Reason.NO_RESPONSE)
    if now.lamp_on == press.lamp_on and now.response == press.response:
        return now
    span = _span(press, now)
    return replace(now, span=span, net=_net(press, span, lag))


def same_press(anchor_s: float, onsets_s: Sequence[float]) -> int | None:
    """Return which lamp onset a correction belongs to, or None where none is near enough.

    Examples
    --------
    >>> same_press(2.001, [1.0, 2.0, 3.0]), same_press(2.5, [1.0, 2.0, 3.0])
    (1, None)
    """
    off_s = [abs(onset_s - anchor_s) for onset_s in onsets_s]
    nearest = min(range(len(off_s)), key=off_s.__getitem__, default=None)
    return None if nearest is None or off_s[nearest] > SAME_PRESS_S else nearest


def _with_term(budget: Budget, names: tuple[str, ...], u_s: float) -> Budget:
    """Return the budget with one term, under the first name, in place of those named."""
    others = tuple(term for term in budget.terms if term.name not in names)
    return Budget((Term(names[0], u_s), *others))


def _span(found: Press, now: Press) -> Measured | None:
    if now.response is None:
        return None
    skew_s = 0.0
    if found.response is not None and found.span is not None:
        skew_s = found.response.value - found.lamp_on.value - found.span.value
    return Measured(now.response.value - now.lamp_on.value - skew_s, now.budget.u_s)


def _net(found: Press, span: Measured | None, lag: Measured | None) -> Measured | None:
    if span is None:
        return None
    if found.net is not None and found.span is not None:
        lag_s = found.span.value - found.net.value
        lag_u_s = math.sqrt(max(found.net.u**2 - found.span.u**2, 0.0))
        return span - Measured(lag_s, lag_u_s)
    return None if lag is None else span - lag
