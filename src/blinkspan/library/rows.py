"""A measurement as the values of its rows, and back: nothing is lost on the way."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from types import SimpleNamespace
from typing import Any

import numpy as np

from blinkspan.presses.measurement import CameraFindings, Measurement, TakeFacts
from blinkspan.presses.press import Press, Reason, Verdict
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Budget, Measured, Term
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions
from blinkspan.traces.trace import Samples, Trace

Values = dict[str, Any]


def pair(measured: Measured | None) -> tuple[float | None, float | None]:
    """Return the value and its uncertainty as two columns."""
    return (None, None) if measured is None else (float(measured.value), float(measured.u))


def measured(value: float | None, u: float | None) -> Measured | None:
    """Return two columns as one value with its uncertainty."""
    return None if value is None or u is None else Measured(value, u)


class Named(SimpleNamespace):
    """A mapping read like a row of the database, each value by its name."""

    def __init__(self, values: Mapping[str, Any]) -> None:
        super().__init__(**values)


PRESS_COLUMNS = (
    "number",
    "lamp_on_s",
    "lamp_on_u_s",
    "lamp_off_s",
    "lamp_off_u_s",
    "response_s",
    "response_u_s",
    "response_row_px",
    "span_s",
    "span_u_s",
    "net_s",
    "net_u_s",
    "budget",
    "verdict",
    "reason",
)


def press_row(press: Press) -> tuple[Any, ...]:
    """Return one press as a row of plain values, in the order of its columns."""
    row_px = press.response_row_px
    return (
        int(press.number),
        *pair(press.lamp_on),
        *pair(press.lamp_off),
        *pair(press.response),
        None if row_px is None else float(row_px),
        *pair(press.span),
        *pair(press.net),
        [[term.name, float(term.u_s), bool(term.shared)] for term in press.budget.terms],
        press.verdict.value,
        None if press.reason is None else press.reason.value,
    )


def press_from(row: Any) -> Press:
    """Return the press of a row that has the columns by name."""
    return Press(
        number=row.number,
        lamp_on=Measured(row.lamp_on_s, row.lamp_on_u_s),
        lamp_off=measured(row.lamp_off_s, row.lamp_off_u_s),
        response=measured(row.response_s, row.response_u_s),
        response_row_px=row.response_row_px,
        span=measured(row.span_s, row.span_u_s),
        net=measured(row.net_s, row.net_u_s),
        budget=Budget(tuple(Term(name, u_s, shared) for name, u_s, shared in row.budget)),
        verdict=Verdict(row.verdict),
        reason=None if row.reason is None else Reason(row.reason),
    )


def region_values(regions: Regions) -> Values:
    """Return the columns of a set of regions."""
    return {
        "lamp": _box(regions.lamp),
        "panel": corner_values(regions.panel),
        "watch": _box(regions.watch),
        "proposed": list(regions.proposed),
    }


def regions_from(row: Any) -> Regions:
    """Return the regions of a row."""
    return Regions(
        Rectangle(*row.lamp),
        corners_from(row.panel),
        Rectangle(*row.watch),
        tuple(row.proposed),
    )


def corner_values(panel: Quadrilateral | None) -> list[list[float]] | None:
    """Return the column of a panel's corners."""
    return None if panel is None else [[float(x), float(y)] for x, y in panel.corners]


def corners_from(corners: list[list[float]] | None) -> Quadrilateral | None:
    """Return the panel of its column."""
    if corners is None:
        return None
    a, b, c, d = ((x, y) for x, y in corners)
    return Quadrilateral((a, b, c, d))


def run_values(measurement: Measurement, presses: list[tuple[Any, ...]]) -> Values:
    """Return the columns of a run that the measurement itself fills, seal included.

    Parameters
    ----------
    presses : list of tuple
        The `press_row` of each of its presses.
    """
    values: Values = {
        "facts": plain(asdict(measurement.take)),
        "camera": plain(asdict(measurement.camera)),
        "display": plain(asdict(measurement.display)),
        "unpaired": [list(pair(found)) for found in measurement.unpaired_responses],
        "notes": list(measurement.notes),
        "press_count": len(measurement.presses),
        "traces_sha256": traces_digest(measurement.lamp_trace, measurement.response_trace),
    }
    return values | {"seal": seal(values, region_values(measurement.regions), presses)}


def seal(run: Values, regions: Values, presses: list[tuple[Any, ...]]) -> str:
    """Return the hash of everything one run found, as hexadecimal SHA-256."""
    return digest([{key: run[key] for key in _SEALED}, regions, presses])


_SEALED = ("facts", "camera", "display", "unpaired", "notes", "press_count", "traces_sha256")


def digest(value: Any) -> str:
    """Return the SHA-256 of plain values, the same however they are ordered in memory."""
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


def facts_from(values: Values) -> TakeFacts:
    """Return the facts of a take from their column."""
    return TakeFacts(**values)


def camera_from(values: Values) -> CameraFindings:
    """Return the camera's findings from their column."""
    return CameraFindings(
        exposure_s=Measured(**values["exposure_s"]),
        exposure_source=values["exposure_source"],
        readout_s=Measured(**values["readout_s"]),
        readout_source=values["readout_source"],
    )


def display_from(values: Values) -> DisplayProfile:
    """Return the display profile that a run used from its column."""
    lag = values["lag_s"]
    return DisplayProfile(
        lag_s=None if lag is None else Measured(**lag),
        refresh_hz=values["refresh_hz"],
        game_rate_hz=values["game_rate_hz"],
    )


def display_columns(profile: DisplayProfile) -> Values:
    """Return the columns of a kept display profile."""
    lag_s, lag_u_s = pair(profile.lag_s)
    return {
        "lag_s": lag_s,
        "lag_u_s": lag_u_s,
        "refresh_hz": profile.refresh_hz,
        "game_rate_hz": profile.game_rate_hz,
    }


def camera_columns(profile: CameraProfile) -> Values:
    """Return the columns of a kept camera profile."""
    exposure_s, exposure_u_s = pair(profile.exposure_s)
    readout_s, readout_u_s = pair(profile.readout_s)
    return {
        "exposure_s": exposure_s,
        "exposure_u_s": exposure_u_s,
        "readout_s": readout_s,
        "readout_u_s": readout_u_s,
    }


def traces_digest(lamp: Trace, response: Trace) -> str:
    """Return the hash of both traces' samples and times."""
    whole = hashlib.sha256()
    for series in (lamp.values, lamp.start_s, response.values, response.start_s):
        whole.update(len(series).to_bytes(8, "little"))
        whole.update(np.ascontiguousarray(series, dtype="<f8").tobytes())
    return whole.hexdigest()


def frames_at(start_s: Samples, instants: Sequence[Measured | None]) -> list[int | None]:
    """Return the frame in whose time each instant falls, None where there is no instant."""
    at_s = [0.0 if instant is None else instant.value for instant in instants]
    frames = np.maximum(np.searchsorted(start_s, at_s, side="right") - 1, 0).tolist()
    return [
        None if instant is None or not start_s.size else frame
        for instant, frame in zip(instants, frames, strict=True)
    ]


def plain(value: Any) -> Any:
    """Return nested values with the numbers of arrays turned into Python's own."""
    if isinstance(value, dict):
        return {key: plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [plain(inner) for inner in value]
    if isinstance(value, np.generic):
        return value.item()
    return value


def _box(box: Rectangle) -> list[int]:
    return [int(box.x), int(box.y), int(box.width), int(box.height)]
