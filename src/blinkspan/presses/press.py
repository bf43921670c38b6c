"""One press and everything held of it: a lamp, its response, the span and the verdict."""

from dataclasses import dataclass
from enum import StrEnum

from blinkspan.quantities import Budget, Measured


class Verdict(StrEnum):
    """What is held of a press."""

    ACCEPTED = "accepted"
    DOUBTFUL = "doubtful"
    REJECTED = "rejected"


class Reason(StrEnum):
    """Why a press is not simply accepted; the whole list."""

    NO_RESPONSE = "no response"
    TWO_CANDIDATES = "two candidates"
    WEAK_RESPONSE = "weak response"
    TOO_SOON = "too soon"
    BOUNCE = "bounce"
    OVERLAP = "overlap"
    UNSTEADY_LAMP = "unsteady lamp"
    CLIPPED_LAMP = "clipped lamp"
    DROPPED_FRAMES = "dropped frames"
    CUT_OFF = "cut off"
    SLOW_MOTION = "slow motion"


@dataclass(frozen=True, slots=True)
class Press:
    """One operation of the control, from lamp to answer.

    Times are real seconds from the start of the first frame's exposure.

    Attributes
    ----------
    number : int
        1 for the first press of the take.
    lamp_on, lamp_off, response : Measured | None
        ``response`` is when the panel begins to show the answer at ``response_row_px``;
        ``lamp_off`` is None where the take ends first.
    span : Measured | None
        Response less lamp onset, in seconds, shutter skew taken out.
    net : Measured | None
        Span less display lag, in seconds; None where no lag is known.
    budget : Budget
        The terms of the span's uncertainty (without the display lag).
    """

    number: int
    lamp_on: Measured
    lamp_off: Measured | None
    response: Measured | None
    response_row_px: float | None
    span: Measured | None
    net: Measured | None
    budget: Budget
    verdict: Verdict
    reason: Reason | None
