"""What the library hands out: plain values with the keys by which they are kept."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from blinkspan.presses.correction import Correction
from blinkspan.presses.press import Press
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.study.setup import Setup, Study
from blinkspan.traces.regions import Quadrilateral


class Keeping(StrEnum):
    """Where the bytes of a take lie."""

    COPY = "copy"
    LINK = "link"  # a second name, in the library, of the same file on the same disk
    IN_PLACE = "in place"
    ELSEWHERE = "elsewhere"  # results came in a data package, the clip did not


@dataclass(frozen=True, slots=True)
class KeptStudy:
    """A study as kept; ``revision`` rises with every edit."""

    id: int
    study: Study
    made_at: datetime
    revision: int


@dataclass(frozen=True, slots=True)
class KeptDisplay:
    """A display profile under its name; ``made_at`` is when it was last said."""

    id: int
    name: str
    profile: DisplayProfile
    notes: str
    made_at: datetime
    revision: int


@dataclass(frozen=True, slots=True)
class KeptCamera:
    """A camera profile under its name; ``made_at`` is when it was last said."""

    id: int
    name: str
    profile: CameraProfile
    notes: str
    made_at: datetime
    revision: int


@dataclass(frozen=True, slots=True)
class KeptSetup:
    """A setup as kept, in the study of that name."""

    id: int
    study: str
    setup: Setup
    still_sha256: str | None
    made_at: datetime
    revision: int


@dataclass(frozen=True, slots=True)
class Still:
    """A picture of a setup's spot as PNG, and the panel's corners in it where known."""

    png: bytes
    panel: Quadrilateral | None


@dataclass(frozen=True, slots=True)
class KeptTake:
    """A take as kept; ``source`` is where its file lay when it was added."""

    id: int
    sha256: str
    name: str
    size_bytes: int
    setup_id: int
    keeping: Keeping
    source: str
    added_at: datetime


@dataclass(frozen=True, slots=True)
class KeptRun:
    """One measuring of one take: what made it, without the presses."""

    id: int
    take_id: int
    made_at: datetime
    program_version: str
    parameters: dict[str, Any]
    display: str | None
    camera: str | None
    fingerprint: str
    press_count: int
    traces_sha256: str
    seal: str


@dataclass(frozen=True, slots=True)
class KeptCorrection:
    """A correction, or (``correction`` None) the undoing of the one at ``undoes_id``."""

    id: int
    take_id: int
    press_id: int
    correction: Correction | None
    by: str
    made_at: datetime
    undoes_id: int | None


@dataclass(frozen=True, slots=True)
class KeptPress:
    """A press as it stands, with all that is needed to trace it back.

    Attributes
    ----------
    press : Press
        With the corrections in force laid over it.
    measured : Press
        As the run found it.
    corrections : tuple of int
        Ids of the corrections in force on it.
    lamp_on_frame, response_frame : int | None
        The take's frames, counted from 0, in whose exposure the measured instants fall.
    """

    id: int
    run_id: int
    take_id: int
    setup_id: int
    press: Press
    measured: Press
    corrections: tuple[int, ...]
    lamp_on_frame: int | None
    response_frame: int | None
