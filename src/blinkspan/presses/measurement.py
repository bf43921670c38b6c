"""All that measuring one take found: facts, regions, camera, presses and the traces behind them."""

from dataclasses import dataclass

from blinkspan.presses.press import Press
from blinkspan.profiles import DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.regions import Regions
from blinkspan.traces.trace import Trace


@dataclass(frozen=True, slots=True)
class TakeFacts:
    """What the file itself says, as read.

    Attributes
    ----------
    name : str
        The file's name without its folder.
    rate_hz : float
        True frames a second; ``rate_source`` says in plain words where it came from.
    dropped_frames : int
        Frames missing between the first and the last, by the container's times.
    """

    name: str
    sha256: str
    codec: str
    width_px: int
    height_px: int
    bit_depth: int
    frames: int
    duration_s: float
    rate_hz: float
    rate_source: str
    dropped_frames: int


@dataclass(frozen=True, slots=True)
class CameraFindings:
    """Exposure and readout as used; each source is "given", "from the take" or "assumed"."""

    exposure_s: Measured
    exposure_source: str
    readout_s: Measured
    readout_source: str


@dataclass(frozen=True, slots=True)
class Findings:
    """What measuring one take found, without the traces behind it.

    Attributes
    ----------
    unpaired_responses : tuple[Measured, ...]
        Changes like a response that no press explains, in seconds.
    notes : tuple[str, ...]
        What a person should know, each a plain sentence.
    """

    take: TakeFacts
    regions: Regions
    camera: CameraFindings
    display: DisplayProfile
    presses: tuple[Press, ...]
    unpaired_responses: tuple[Measured, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Measurement(Findings):
    """One take, measured.

    Attributes
    ----------
    lamp_trace : Trace
        Linear light of the lamp, 0 dark to 1 lit.
    response_trace : Trace
        How far the watched region has gone from its look before the press
        towards the look of the response: 0 to 1 in a full response.
    """

    lamp_trace: Trace
    response_trace: Trace
