"""What to do to the rig so that a press is known better, from the budgets of its presses.

Each source of doubt has one remedy. What it would bring is worked out by putting the
remedied term into the budget in place of the present one, and the remedies are
ordered by that.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from blinkspan.presses.measurement import CameraFindings
from blinkspan.presses.press import Press
from blinkspan.profiles import DisplayProfile
from blinkspan.quantities import Budget, Measured, Term

_LONGEST_SHARE = 0.9  # of a frame: what most cameras allow as exposure (common practice)
_LONG_SHARE = 0.8  # from here on a longer exposure brings little
_TONE_CURVE = 0.03  # of an exposure: what remains of a lamp's onset within a partial frame
_WORTH = 0.03  # of the present uncertainty: less is not worth a change of the rig


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to do, the term it lessens, and a press's uncertainty before and after.

    ``u_now_s`` and ``u_then_s`` are those of the net latency where the display's lag is
    known, else of the span.
    """

    action: str
    term: str
    u_now_s: float
    u_then_s: float


def usual_budget(presses: Sequence[Press], display: DisplayProfile) -> Budget | None:
    """Return the root mean square of each term over all presses that have a span, or None.

    The display's lag is one of its terms where it is known.
    """
    budgets = [press.budget for press in presses if press.span is not None]
    if not budgets:
        return None
    terms = [
        Term(
            term.name,
            math.sqrt(sum(b.terms[i].u_s ** 2 for b in budgets) / len(budgets)),
            term.shared,
        )
        for i, term in enumerate(budgets[0].terms)
    ]
    if display.lag_s is not None:
        terms.append(Term("display lag", display.lag_s.u, True))
    return Budget(tuple(terms))


def advice_on(budget: Budget, camera: CameraFindings, period_s: float) -> tuple[Advice, ...]:
    """Return what would lessen a press's uncertainty, the most helpful first."""
    now = budget.u_s
    found = []
    for index, term in enumerate(budget.terms):
        remedy = _remedy(term, camera, period_s)
        if remedy is None:
            continue
        action, u_s = remedy
        terms = list(budget.terms)
        terms[index] = Term(term.name, min(u_s, term.u_s), term.shared)
        then = Budget(tuple(terms)).u_s
        if now - then > _WORTH * now:
            found.append(Advice(action, term.name, now, then))
    return tuple(sorted(found, key=lambda advice: advice.u_then_s))


def _remedy(term: Term, camera: CameraFindings, period_s: float) -> tuple[str, float] | None:
    """Return what to do about a term and what would remain of it."""
    share = camera.exposure_s.value / period_s
    if term.name == "lamp onset":
        if share < _LONG_SHARE:
            return (
                "Expose longer, up to nearly the whole frame: less of the lamp's onsets then falls "
                "between two exposures.",
                _lamp_u_s(_LONGEST_SHARE, period_s),
            )
        return "Film the lamp steadier and clear of the top of the range.", term.u_s / 2
    if term.name == "rolling shutter":
        action = (
            "Give the camera's readout, or measure it."
            if camera.readout_source == "assumed"
            else "Put the lamp at the height of the watched part of the screen, or nearer to it."
        )
        return action, _known_readout_u_s(term.u_s, camera.readout_s)
    if term.name == "display lag":
        return "Measure the display's lag again, with more repeats.", term.u_s / 2
    halved = {
        "response onset": "Choose an action that changes more of the screen at once, or use "
        "more light and a higher bit rate.",
        "panel step": "Make more presses in one take: all of them share this step.",
        "faint change": "Choose an action that changes the picture more, or a higher bit rate.",
    }
    return None if term.name not in halved else (halved[term.name], term.u_s / 2)


def _lamp_u_s(share: float, period_s: float) -> float:
    """Return the usual doubt of an onset at an exposure of that share of the frame.

    With the chance ``share`` it is read from a partial frame, else it lies in the gap
    (rectangular, JCGM 100:2008, 4.3.7).
    """
    read = _TONE_CURVE * share * period_s
    gap = (1 - share) * period_s / math.sqrt(12.0)
    return math.sqrt(share * read**2 + (1 - share) * gap**2)


def _known_readout_u_s(u_s: float, readout: Measured) -> float:
    """Return what remains of the rolling shutter's doubt with a readout known to 2 %."""
    if readout.u <= 0:
        return u_s
    return u_s * min(0.5, 0.02 * readout.value / readout.u)
