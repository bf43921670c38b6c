"""What truly happened in a staged take, as written beside it.

Times are real seconds from the start of the first frame's exposure at row 0.
"""

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from blinkspan.errors import UnwritableOutput
from blinkspan.traces.regions import Quadrilateral, Rectangle


@dataclass(frozen=True, slots=True)
class TruePress:
    """One press as it was.

    Attributes
    ----------
    lamp_on_s, lamp_off_s : float
        First closing and last opening of the control.
    response_s : float | None
        When the panel begins to show the answer at ``response_row_px``; None for a missed press.
    span_ms : float | None
        ``response_s`` less ``lamp_on_s``.
    queue_frames : int | None
        Game frames from the tick that took the press to the one that showed it.
    """

    number: int
    lamp_on_s: float
    lamp_off_s: float
    response_s: float | None
    span_ms: float | None
    missed: bool
    queue_frames: int | None


@dataclass(frozen=True, slots=True)
class Truth:
    """Everything a measurement of the take can be held against.

    Attributes
    ----------
    display_lag_ms : float
        The display's own delay at ``response_row_px``: its lag and the scan-out down to there.
    grid_s : float
        When the scan-out of one refresh starts in the top row; the others lie
        whole refresh periods away.
    stray_responses_s : tuple of float
        Answers that no press caused, at the same row.
    """

    name: str
    seed: int
    action: str
    frames: int
    dropped_frames: int
    width_px: int
    height_px: int
    rate_hz: float
    stated_rate_hz: float
    exposure_ms: float
    readout_ms: float
    transfer: str
    refresh_hz: float
    game_rate_hz: float
    scan_fraction: float
    top_row_lag_ms: float
    display_lag_ms: float
    grid_s: float
    response_row_px: float
    lamp: Rectangle
    panel: Quadrilateral
    watch: Rectangle
    presses: tuple[TruePress, ...]
    stray_responses_s: tuple[float, ...]


def write_truth(truth: Truth, path: Path) -> None:
    """Write the truth as JSON, whole or not at all.

    Raises
    ------
    UnwritableOutput
        The folder is missing, not writable or full.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_text(json.dumps(asdict(truth), indent=1) + "\n", encoding="utf-8")
        part.replace(path)
    except OSError as refusal:
        part.unlink(missing_ok=True)
        raise UnwritableOutput(
            f"{path}: cannot be written ({(refusal.strerror or str(refusal)).lower()}); "
            "choose another folder or free space"
        ) from refusal


def read_truth(path: Path) -> Truth:
    """Return the truth written beside a take."""
    held: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    held["presses"] = tuple(TruePress(**press) for press in held["presses"])
    held["stray_responses_s"] = tuple(held["stray_responses_s"])
    held["lamp"] = Rectangle(**held["lamp"])
    held["watch"] = Rectangle(**held["watch"])
    corners = [(float(x), float(y)) for x, y in held["panel"]["corners"]]
    held["panel"] = Quadrilateral((corners[0], corners[1], corners[2], corners[3]))
    return Truth(**held)
