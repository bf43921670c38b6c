"""What a person is told of work in the background: each order, its clips, how far they are."""

import threading
from dataclasses import dataclass, field
from enum import StrEnum

from blinkspan.rig.inspection import Inspection
from blinkspan.traces.regions import Regions


class Stage(StrEnum):
    """How far a task or one of its clips is."""

    WAITING = "waiting"
    RUNNING = "running"
    PAUSED = "paused"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"


ENDED = frozenset({Stage.DONE, Stage.FAILED, Stage.CANCELLED})


@dataclass(slots=True)
class Clip:
    """One clip of a task; ``share`` is how much of it is read, None where that cannot be told."""

    name: str
    take_id: int | None = None
    stage: Stage = Stage.WAITING
    doing: str = ""
    share: float | None = None
    told: str = ""


@dataclass(slots=True)
class Task:
    """One order: what it is, how far it is, and its clips."""

    key: int
    kind: str
    title: str
    stage: Stage = Stage.WAITING
    told: str = ""
    clips: list[Clip] = field(default_factory=list)
    regions: Regions | None = None
    inspection: Inspection | None = None
    can_pause: bool = True
    going: threading.Event = field(default_factory=threading.Event)
    halt: threading.Event = field(default_factory=threading.Event)

    @property
    def done(self) -> int:
        """How many clips have ended."""
        return sum(clip.stage in ENDED for clip in self.clips)
