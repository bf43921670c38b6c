"""What the interface sends and takes: times of the take in seconds, durations in milliseconds."""

from datetime import datetime
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from blinkspan.jobs.task import Stage
from blinkspan.presses.press import Reason, Verdict

Finite = Annotated[float, Field(allow_inf_nan=False)]
# SQLite keeps keys in 64 bits with a sign.
Key = Annotated[int, Field(ge=1, lt=2**63)]
Box = Annotated[
    tuple[int, int, int, int], Field(description="x, y, width and height in whole pixels.")
]
Corner = tuple[Finite, Finite]
Name = Annotated[str, Field(min_length=1, max_length=200)]
# What FastAPI takes for the answers of a route besides the usual one.
Answers = dict[int | str, dict[str, Any]]
_MOST_WORDS = 2000


class Sent(BaseModel):
    """What the interface answers."""

    model_config = ConfigDict(frozen=True)


class Given(BaseModel):
    """What the interface is given; a name it does not know is refused, not passed over."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Refusal(Sent):
    """Why something was not done."""

    error: str


class Instant(Sent):
    """An instant of the take with its standard uncertainty."""

    at_s: float
    u_ms: float


class Duration(Sent):
    """A duration with its standard uncertainty."""

    ms: float
    u_ms: float


class BudgetTerm(Sent):
    """One source of doubt."""

    name: str
    u_ms: float
    shared: bool = Field(description="True where all presses of the take share it.")


class OtherResponse(Sent):
    """Another instant that could be the response."""

    at_s: float
    u_ms: float
    frame: int
    source: str = Field(description="Where it is from, in plain words.")


class PressState(Sent):
    """A press as it stands, with the corrections in force laid over it."""

    id: int
    number: int
    lamp_on: Instant
    lamp_off_s: float | None
    response: Instant | None
    lamp_on_frame: int
    response_frame: int | None
    span: Duration | None
    net: Duration | None
    verdict: Verdict
    reason: Reason | None
    budget: tuple[BudgetTerm, ...]
    leading: str | None = Field(description="The largest term's name.")
    candidates: tuple[OtherResponse, ...]
    measured_lamp_on_s: float
    measured_response_s: float | None
    measured_verdict: Verdict
    corrections: tuple[int, ...] = Field(description="Keys of the corrections in force on it.")
    version: str = Field(description="To be sent as If-Match with a correction of this press.")


class CorrectionState(Sent):
    """A correction, or the undoing of one."""

    id: int
    press_id: int
    corrects: str | None = Field(description="None for an undoing.")
    to: Instant | None
    verdict: Verdict | None
    reason: Reason | None
    why: str
    by: str
    made_at: datetime
    undoes: int | None


class SummaryState(Sent):
    """The accepted presses together, as they stand."""

    n: int
    doubtful: int
    rejected: int
    median_ms: float | None
    interval_ms: tuple[float, float] | None
    level: float | None
    low_ms: float | None
    high_ms: float | None
    spread_ms: float | None
    net_median_ms: float | None
    net_interval_ms: tuple[float, float] | None
    sentence: str = Field(description="Of net latencies where the display's lag is known.")


class RegionsState(Sent):
    """The places in the picture."""

    lamp: Box
    panel: tuple[Corner, Corner, Corner, Corner] | None
    watch: Box
    proposed: tuple[str, ...] = ()


class RegionsGiven(Given):
    """The places that a person gives."""

    lamp: Box
    panel: tuple[Corner, Corner, Corner, Corner] | None
    watch: Box
    by: str = Field(min_length=1, max_length=200)


class TakeState(Sent):
    """A take, without its presses."""

    id: int
    name: str
    study: str
    setup: str
    setup_id: int
    size_bytes: int
    measured: bool
    frames: int | None
    width_px: int | None
    height_px: int | None
    rate_hz: float | None
    exposure_ms: float | None
    readout_ms: float | None
    regions: RegionsState | None
    given_regions: RegionsState | None
    notes: tuple[str, ...]
    undo: int | None = Field(description="Key of the correction that an undo would undo.")
    redo: int | None = Field(description="Key of the undoing that a redo would undo.")
    version: str = Field(description="To be sent as If-Match with an undo or a redo.")


class PressesOfTake(Sent):
    """The presses of a take, and what they say together."""

    take: TakeState
    presses: tuple[PressState, ...]
    order: tuple[int, ...] = Field(description="Keys of the presses, the most doubtful first.")
    summary: SummaryState


class FrameTimes(Sent):
    """When each frame's exposure began at the picture's first row."""

    rate_hz: float
    source: str
    width_px: int
    height_px: int
    start_s: tuple[float, ...]


class CorrectionGiven(Given):
    """One thing a person says of a press; a verdict may go with a moved onset."""

    by: str = Field(min_length=1, max_length=200)
    why: str = Field("", max_length=_MOST_WORDS)
    lamp_on_s: Finite | None = None
    response_s: Finite | None = None
    u_ms: Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)] | None = Field(
        None, description="Standard uncertainty of the instant; by default a third of a frame."
    )
    no_response: bool = False
    verdict: Verdict | None = None
    reason: Reason | None = None


class StepGiven(Given):
    """Who undoes or brings back."""

    by: str = Field(min_length=1, max_length=200)
    why: str = Field("", max_length=_MOST_WORDS)


class SetupGlance(Sent):
    """A setup at a glance; times in milliseconds, None where no press is accepted."""

    id: int
    name: str
    takes: int
    measured: int
    n: int
    doubtful: int
    rejected: int
    median_ms: float | None
    low_ms: float | None
    high_ms: float | None
    median_net_ms: float | None


class StudyGlance(Sent):
    """A study and its setups at a glance."""

    name: str
    question: str
    setups: tuple[SetupGlance, ...]


class ClipState(Sent):
    """One clip of a task; ``share`` is how much of it is read, 0 to 1."""

    name: str
    take_id: int | None
    stage: Stage
    doing: str
    share: float | None
    told: str


class InspectionState(Sent):
    """What a take shows of its rig, in plain words."""

    seen: tuple[tuple[str, str], ...] = Field(description="What is seen, each with its name.")
    advice: tuple[str, ...] = Field(description="What would help, the most helpful first.")
    notes: tuple[str, ...]
    measurable: bool = Field(description="Whether presses were found to advise on.")


class TaskState(Sent):
    """Work in the background."""

    key: int
    kind: str
    title: str
    stage: Stage
    told: str
    can_pause: bool
    done: int = Field(description="Clips that have ended.")
    of: int
    clips: tuple[ClipState, ...]
    regions: RegionsState | None = Field(description="What a search for regions found.")
    inspection: InspectionState | None = Field(description="What an inspection found.")


class MeasureGiven(Given):
    """What to measure: what is new or stale in a study, a setup of it, or one take."""

    study: Name
    setup: Name | None = None
    take_id: Key | None = None
    again: bool = Field(False, description="Measure what is neither new nor stale, too.")
    game_rate_hz: float | None = Field(
        None, description="Kept with these takes: the game's frames a second; null unsays it."
    )
    capture_rate_hz: float | None = Field(
        None, description="Kept with these takes: the rate filmed at, where the file is wrong."
    )

    @property
    def known(self) -> dict[str, float | None]:
        """What is said of the takes, by the names of `MeasureSettings`; what is not said is out."""
        said = self.model_fields_set & {"game_rate_hz", "capture_rate_hz"}
        return {name: getattr(self, name) for name in sorted(said)}


class FolderGiven(Given):
    """Which of the named folders to add or to watch, and for which setup."""

    folder: Annotated[int, Field(ge=0, lt=1000)]
    study: Name
    setup: Name


class FolderState(Sent):
    """A folder from which clips may be added; named by the one who started the page."""

    number: int
    name: str
    clips: int


class AddedState(Sent):
    """What became of a clip that was sent."""

    take_id: int
    name: str
    new: bool
    told: str


class StudyGiven(Given):
    """A study to make."""

    name: Name
    question: str = Field("", max_length=_MOST_WORDS)


class SetupGiven(Given):
    """A setup's conditions and the names of its profiles, said anew."""

    conditions: dict[str, Annotated[str, Field(max_length=_MOST_WORDS)]]
    display: Name | None = None
    camera: Name | None = None


class SetupState(Sent):
    """A setup as it is kept."""

    id: int
    study: str
    name: str
    conditions: dict[str, str]
    display: str | None
    camera: str | None
    tags: tuple[str, ...]
    version: str = Field(description="To be sent as If-Match with a change.")


class SpotState(Sent):
    """Whether a take seems to be shot at its setup's spot."""

    same: bool | None = Field(description="None where there is nothing to compare with.")
    similarity: float | None
    told: str


class ListedTake(Sent):
    """A take in a list; presses are None where it is not measured."""

    id: int
    name: str
    setup: str
    measured: bool
    presses: int | None
    doubtful: int | None
