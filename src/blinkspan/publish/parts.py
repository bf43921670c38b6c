"""The parts of the take document: its keys, units and meanings, in the order they are written.

``docs/result-format.md`` tells the same to a reader. Times are real seconds from
the start of the first frame's exposure; every ``u`` is a standard uncertainty;
null means that there is none. A new key may join version 1; a key that changes
its meaning or leaves makes version 2.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from blinkspan.presses.press import Reason, Verdict

SCHEMA = "blinkspan.take/1"


class TakePart(Struct, frozen=True, kw_only=True):
    """The recording, as the file itself tells it."""

    name: Annotated[str, Meta(description="The file's name without its folder.")]
    sha256: Annotated[str, Meta(description="SHA-256 of the file, hexadecimal.")]
    codec: Annotated[str, Meta(description="How the pictures are coded.")]
    width_px: Annotated[int, Meta(description="Width of the picture as shown.")]
    height_px: Annotated[int, Meta(description="Height of the picture as shown.")]
    bit_depth: Annotated[int, Meta(description="Bits of one luma sample.")]
    frames: Annotated[int, Meta(description="Frames in the recording.")]
    duration_s: Annotated[float, Meta(description="Real duration.")]
    rate_hz: Annotated[float, Meta(description="Real frames a second.")]
    rate_source: Annotated[str, Meta(description="Where the rate came from, in plain words.")]
    dropped_frames: Annotated[
        int, Meta(description="Frames missing between the first and the last.")
    ]


class RegionsPart(Struct, frozen=True, kw_only=True):
    """The places in the picture that were measured, in pixels from its top left corner."""

    lamp: Annotated[
        tuple[int, int, int, int], Meta(description="The lamp's box: x, y, width, height.")
    ]
    panel: Annotated[
        tuple[tuple[float, float], tuple[float, float], tuple[float, float], tuple[float, float]]
        | None,
        Meta(description="The panel's corners from top left clockwise, each x, y."),
    ]
    watch: Annotated[
        tuple[int, int, int, int], Meta(description="The watched box: x, y, width, height.")
    ]
    proposed: Annotated[
        tuple[str, ...], Meta(description="Names of the regions that the program chose itself.")
    ]


class CameraPart(Struct, frozen=True, kw_only=True):
    """How the camera gathered light; a source is given, from the take, or assumed."""

    exposure_ms: Annotated[float, Meta(description="How long one row gathers light.")]
    exposure_u_ms: Annotated[float, Meta(description="Its standard uncertainty.")]
    exposure_source: Annotated[str, Meta(description="Where the exposure came from.")]
    readout_ms: Annotated[
        float, Meta(description="From the first row's start of exposure to the last row's.")
    ]
    readout_u_ms: Annotated[float, Meta(description="Its standard uncertainty.")]
    readout_source: Annotated[str, Meta(description="Where the readout came from.")]


class DisplayPart(Struct, frozen=True, kw_only=True):
    """What was known of the display and the game's rate."""

    lag_ms: Annotated[
        float | None, Meta(description="The display's own delay at the response's row.")
    ]
    lag_u_ms: Annotated[float | None, Meta(description="Its standard uncertainty.")]
    refresh_hz: Annotated[float | None, Meta(description="Refresh rate of the signal.")]
    game_rate_hz: Annotated[
        float | None, Meta(description="Frames a second that the game delivers.")
    ]


class TermPart(Struct, frozen=True, kw_only=True):
    """One source of doubt."""

    name: Annotated[str, Meta(description="What the doubt is about.")]
    u_ms: Annotated[float, Meta(description="Its standard uncertainty.")]
    shared: Annotated[bool, Meta(description="True where all presses of the take share it.")]


class BudgetPart(Struct, frozen=True, kw_only=True):
    """The terms that make up one press's u_ms, taken as uncorrelated."""

    leading: Annotated[str | None, Meta(description="The largest term's name.")]
    own_u_ms: Annotated[
        float, Meta(description="The terms that this press does not share, combined.")
    ]
    terms: Annotated[tuple[TermPart, ...], Meta(description="Every term.")]


class PressPart(Struct, frozen=True, kw_only=True):
    """One press, from lamp to response."""

    number: Annotated[int, Meta(description="1 for the first press of the take.")]
    lamp_on_s: Annotated[float, Meta(description="When the lamp lit.")]
    lamp_on_u_ms: Annotated[float, Meta(description="Its standard uncertainty.")]
    lamp_off_s: Annotated[float | None, Meta(description="When the lamp went dark.")]
    lamp_off_u_ms: Annotated[float | None, Meta(description="Its standard uncertainty.")]
    response_s: Annotated[
        float | None,
        Meta(description="When the panel began to show the response at response_row_px."),
    ]
    response_u_ms: Annotated[float | None, Meta(description="Its standard uncertainty.")]
    response_row_px: Annotated[
        float | None, Meta(description="The row of the picture that response_s is stated at.")
    ]
    span_ms: Annotated[
        float | None,
        Meta(description="response_s less lamp_on_s, shutter skew between their rows taken out."),
    ]
    u_ms: Annotated[float | None, Meta(description="Standard uncertainty of span_ms.")]
    net_ms: Annotated[
        float | None, Meta(description="span_ms less the display's lag, where that is known.")
    ]
    net_u_ms: Annotated[float | None, Meta(description="Standard uncertainty of net_ms.")]
    verdict: Annotated[Verdict, Meta(description="What is held of the press.")]
    reason: Annotated[Reason | None, Meta(description="Why it is not simply accepted.")]
    budget: Annotated[BudgetPart, Meta(description="The terms of u_ms.")]


class ChangePart(Struct, frozen=True, kw_only=True):
    """A change like a response that no press explains."""

    at_s: Annotated[float, Meta(description="When the panel began to show it.")]
    u_ms: Annotated[float, Meta(description="Its standard uncertainty.")]


class SummaryPart(Struct, frozen=True, kw_only=True):
    """The accepted presses together: their spans, or their net latencies."""

    n: Annotated[int, Meta(description="Accepted presses; the numbers below are theirs.")]
    doubtful: Annotated[int, Meta(description="Presses kept apart as doubtful.")]
    rejected: Annotated[int, Meta(description="Presses not used.")]
    median_ms: Annotated[float | None, Meta(description="Median.")]
    median_interval_ms: Annotated[
        tuple[float, float] | None, Meta(description="Low and high end of the median's interval.")
    ]
    interval_level: Annotated[
        float | None, Meta(description="Confidence level of the intervals, 0 to 1.")
    ]
    interval_method: Annotated[str | None, Meta(description="How the intervals were made.")]
    low_ms: Annotated[float | None, Meta(description="The shortest.")]
    lower_quartile_ms: Annotated[float | None, Meta(description="A quarter are below it.")]
    upper_quartile_ms: Annotated[float | None, Meta(description="A quarter are above it.")]
    high_ms: Annotated[float | None, Meta(description="The longest.")]
    spread_ms: Annotated[float | None, Meta(description="Standard deviation, n - 1.")]
    median_game_frames: Annotated[
        float | None, Meta(description="The median in frames of the game.")
    ]
    median_interval_game_frames: Annotated[
        tuple[float, float] | None, Meta(description="The interval in frames of the game.")
    ]


class TakeDocument(Struct, frozen=True, kw_only=True):
    """One measured take."""

    schema: Annotated[Literal["blinkspan.take/1"], Meta(description="Format and version.")] = (
        "blinkspan.take/1"
    )
    program: Annotated[str, Meta(description="The program that wrote it, with its version.")]
    take: Annotated[TakePart, Meta(description="The recording.")]
    conditions: Annotated[
        dict[str, str], Meta(description="The setup in free words: what was held equal.")
    ]
    regions: Annotated[RegionsPart, Meta(description="The places in the picture.")]
    camera: Annotated[CameraPart, Meta(description="Exposure and readout as used.")]
    display: Annotated[DisplayPart, Meta(description="Lag, refresh and the game's rate.")]
    presses: Annotated[tuple[PressPart, ...], Meta(description="Every press in order of time.")]
    unpaired_responses: Annotated[
        tuple[ChangePart, ...], Meta(description="Responses that no press explains.")
    ]
    summary: Annotated[SummaryPart, Meta(description="The accepted presses' spans together.")]
    net_summary: Annotated[
        SummaryPart | None,
        Meta(description="Their net latencies together; null where the display's lag is unknown."),
    ] = None
    notes: Annotated[tuple[str, ...], Meta(description="What a person should know.")]
