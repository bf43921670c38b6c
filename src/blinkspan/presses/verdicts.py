"""One good rule for what is held of a press.

A number is accepted when nothing speaks against it. What speaks against it is
one of a short list, the gravest first.
"""

from dataclasses import dataclass

from blinkspan.presses.press import Reason, Verdict

# No game answers sooner: the control must be read and a frame scanned (common practice).
FLOOR_S = 0.004
_CLEAR_ANSWER = 8.0  # idle standard deviations of the whole answer


@dataclass(frozen=True, slots=True)
class Circumstances:
    """All that bears on one press's verdict.

    ``confirmed`` tells that the answer is like the other presses' or lies on
    their refresh grid; nothing else would show that it was taken one frame off.
    """

    span_s: float | None
    placed_u_s: float | None
    strength: float
    confirmed: bool
    rival: bool
    bounced: bool
    clipped: bool
    unsteady: bool
    overlapped: bool
    near_gap: bool
    cut_off: bool
    hold_s: float


def verdict_of(press: Circumstances) -> tuple[Verdict, Reason | None]:
    """Return the verdict and, unless accepted, the gravest reason."""
    doubts = [
        (press.cut_off, Reason.CUT_OFF),
        (press.overlapped, Reason.OVERLAP),
        (press.span_s is None, Reason.NO_RESPONSE),
        (press.span_s is not None and press.span_s < FLOOR_S, Reason.TOO_SOON),
        (press.near_gap, Reason.DROPPED_FRAMES),
        (press.rival, Reason.TWO_CANDIDATES),
        (press.strength < _CLEAR_ANSWER or not press.confirmed, Reason.WEAK_RESPONSE),
        (
            press.placed_u_s is not None and press.placed_u_s > press.hold_s / 2,
            Reason.WEAK_RESPONSE,
        ),
        (press.bounced, Reason.BOUNCE),
        (press.clipped, Reason.CLIPPED_LAMP),
        (press.unsteady, Reason.UNSTEADY_LAMP),
    ]
    for speaks_against, reason in doubts:
        if speaks_against:
            return Verdict.DOUBTFUL, reason
    return Verdict.ACCEPTED, None
