"""What the form of a press says, read without scripts: one correction with its author."""

from dataclasses import dataclass
from typing import TypedDict
from urllib.parse import parse_qs

from fastapi import Request

from blinkspan.errors import BadSetting
from blinkspan.jobs.take_review import TakeReview
from blinkspan.presses.press import Reason, Verdict
from blinkspan.quantities import Measured
from blinkspan.traces.trace import Trace
from blinkspan.web.api.states import Version

DEEDS = ("accepted", "doubtful", "rejected", "lamp", "response", "none")


class Words(TypedDict, total=False):
    """What `blinkspan.jobs.review.correct` is told besides the press."""

    by: str
    why: str
    lamp_on: Measured | None
    response: Measured | None
    no_response: bool
    verdict: Verdict | None
    reason: Reason | None
    seen: int | None


@dataclass(frozen=True, slots=True)
class Said:
    """The form as it was sent: ``do`` is one of `DEEDS`, ``frame`` the frame it speaks of."""

    do: str
    by: str
    why: str
    reason: str
    frame: str
    seen: str

    def as_correction(self, review: TakeReview, person: str) -> Words:
        """Return what the job is told.

        Raises
        ------
        BadSetting
            What is to be done, the frame, the reason or the version cannot be read.
        """
        version = Version.read(self.seen)
        if self.do not in DEEDS or version is None:
            raise BadSetting("the form was sent incomplete; open the press again")
        told = Words(by=self.by or person, why=self.why, seen=version.last)
        if self.do in ("lamp", "response"):
            at = _shown_first(review, self.do, self.frame)
            if self.do == "lamp":
                told["lamp_on"] = at
            else:
                told["response"] = at
        elif self.do == "none":
            told["no_response"] = True
        else:
            told["verdict"] = Verdict(self.do)
            if self.reason and self.do != "accepted":
                told["reason"] = _reason(self.reason)
        return told


async def read_form(request: Request) -> Said:
    """Return the fields of the form; those not sent are empty."""
    fields = parse_qs((await request.body()).decode("utf-8", "replace"))

    def field(name: str) -> str:
        return fields.get(name, [""])[0].strip()

    return Said(
        field("do"), field("by"), field("why"), field("reason"), field("frame"), field("seen")
    )


def _shown_first(review: TakeReview, kind: str, frame: str) -> Measured:
    """Return the instant of an onset that a frame is the first to show.

    It lies between the end of the exposure before and the end of the frame's
    own, one frame's time in which no instant is likelier than another
    (GUM 4.3.7).
    """
    found = review.measurement
    if found is None:
        raise BadSetting("this take has no traces any more; measure it again to move an onset")
    trace: Trace = found.lamp_trace if kind == "lamp" else found.response_trace
    if not (frame.isascii() and frame.isdigit() and int(frame) < trace.start_s.size):
        raise BadSetting(
            f"there is no frame {frame!r}; give one from 0 to {trace.start_s.size - 1}"
        )
    period_s = 1.0 / found.take.rate_hz
    end_s = float(trace.start_s[int(frame)]) + found.camera.exposure_s.value
    return Measured(end_s - period_s / 2, period_s / 12**0.5)


def _reason(text: str) -> Reason:
    try:
        return Reason(text)
    except ValueError as error:
        raise BadSetting(f"{text!r} is none of the reasons on the list") from error
