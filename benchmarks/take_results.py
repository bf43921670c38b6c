"""Measure one staged take with the product and by counting, and hold both against its truth."""

import os
import time
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import cv2
import numpy as np

from blinkspan.errors import BlinkspanError
from blinkspan.footage.video import open_take
from blinkspan.jobs.measure import MeasuredTake, measure_take
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.presses.correction import same_press
from blinkspan.quantities import Measured
from blinkspan.stage.backlight import flashes_of
from blinkspan.stage.lens import on_panel
from blinkspan.stage.truth import Truth
from frame_counting import count_frames, perfect_eye
from staged_takes import StagedScene, keep_take


@dataclass(frozen=True, slots=True)
class PressResult:
    """One true press: what it was, what was measured of it and what was counted.

    Attributes
    ----------
    true_ms : float | None
        None for a press that the game did not answer.
    found : bool
        Whether the program found the press at all.
    ms, u_ms : float | None
        The measured span and its standard uncertainty.
    lamp_error_ms, response_error_ms : float | None
        Measured less true instant; both share the doubt of the camera's readout.
    verdict, reason : str | None
    counted_ms, eye_ms : float | None
        Counted by a careful person, and by a perfect eye.
    """

    number: int
    true_ms: float | None
    found: bool
    ms: float | None
    u_ms: float | None
    lamp_error_ms: float | None
    response_error_ms: float | None
    verdict: str | None
    reason: str | None
    counted_ms: float | None
    eye_ms: float | None

    @property
    def error_ms(self) -> float | None:
        """Measured less true; None where either is missing."""
        return None if self.ms is None or self.true_ms is None else self.ms - self.true_ms

    @property
    def accepted(self) -> bool:
        """Whether the program stands by its number."""
        return self.verdict == "accepted"


@dataclass(frozen=True, slots=True)
class TakeResult:
    """One take against its truth.

    Attributes
    ----------
    refused : str | None
        The program's one line, where it would not measure the take.
    invented_presses : int
        Presses found where there were none.
    strays, strays_found, strays_invented : int
        Answers without a press: true ones, those of them told, told ones that were none.
    readout_ms, exposure_ms : tuple of float
        As the program used them: value, standard uncertainty and the truth; empty if refused.
    readout_source : str | None
    notes : tuple of str
        What the program says of the take.
    """

    row: str
    scene: str
    seed: int
    path: str
    game_ms: float
    seconds: float
    refused: str | None
    presses: tuple[PressResult, ...]
    invented_presses: int
    strays: int
    strays_found: int
    strays_invented: int
    readout_ms: tuple[float, ...]
    exposure_ms: tuple[float, ...]
    readout_source: str | None
    notes: tuple[str, ...]


def be_a_worker() -> None:
    """Keep a worker process to one thread, since two of them share the machine."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    cv2.setNumThreads(1)


class Told(StrEnum):
    """What the program is told of a take besides the rate of slow motion."""

    NOTHING = "nothing"
    USUAL = "usual"
    READOUT = "readout"


def result_of(staged: StagedScene, folder: Path, told: Told) -> TakeResult:
    """Return what measuring and counting make of a scene's take, rendered where it is not kept."""
    take = keep_take(staged, folder, lambda: None)
    truth = take.truth
    started = time.perf_counter()
    measured, refused = _measured(take.path, _settings(truth, staged.capture_rate_hz, told))
    seconds = time.perf_counter() - started
    presses = [] if measured is None else list(measured.measurement.presses)
    strays = (
        [] if measured is None else [at.value for at in measured.measurement.unpaired_responses]
    )
    onsets_s = [press.lamp_on_s for press in truth.presses]
    found = {same_press(press.lamp_on.value, onsets_s): press for press in reversed(presses)}
    counted_ms, eye_ms = _counted(take.path, truth, staged.capture_rate_hz)
    camera = None if measured is None else measured.measurement.camera
    game_s = 1.0 / truth.game_rate_hz
    told = [s for s in truth.stray_responses_s if any(abs(s - t) <= game_s for t in strays)]
    later_s = 0.0 if measured is None else _later_s(staged, truth, measured)
    results = []
    for place, true in enumerate(truth.presses):
        press = found.get(place)
        span = None if press is None else press.span
        response_s = None if true.response_s is None else true.response_s + later_s
        results.append(
            PressResult(
                number=true.number,
                true_ms=None if true.span_ms is None else true.span_ms + 1e3 * later_s,
                found=press is not None,
                ms=None if span is None else 1e3 * span.value,
                u_ms=None if span is None else 1e3 * span.u,
                lamp_error_ms=_error_ms(None if press is None else press.lamp_on, true.lamp_on_s),
                response_error_ms=_error_ms(None if press is None else press.response, response_s),
                verdict=None if press is None else str(press.verdict),
                reason=None if press is None or press.reason is None else str(press.reason),
                counted_ms=counted_ms.get(place),
                eye_ms=eye_ms[place],
            )
        )
    return TakeResult(
        row=staged.row,
        scene=staged.scene.name,
        seed=staged.seed,
        path=str(take.path),
        game_ms=1e3 * game_s,
        seconds=seconds,
        refused=refused,
        presses=tuple(results),
        invented_presses=len(presses) - sum(result.found for result in results),
        strays=len(truth.stray_responses_s),
        strays_found=len(told),
        strays_invented=sum(
            all(abs(s - t) > game_s for s in truth.stray_responses_s) for t in strays
        ),
        readout_ms=() if camera is None else _beside(camera.readout_s, truth.readout_ms),
        exposure_ms=() if camera is None else _beside(camera.exposure_s, truth.exposure_ms),
        readout_source=None if camera is None else camera.readout_source,
        notes=() if measured is None else measured.measurement.notes,
    )


def _later_s(staged: StagedScene, truth: Truth, measured: MeasuredTake) -> float:
    """Return how much later than at the truth's row the panel answers at the measured one.

    Where the program looks for the watched part itself, its middle is another row's.
    """
    if flashes_of(staged.scene) is not None:  # a flash shows all rows at once
        return 0.0
    x_px = truth.watch.x + truth.watch.width / 2
    rows_px = (truth.response_row_px, measured.measurement.regions.watch.middle_row_px)
    places = on_panel(np.array([[x_px, row] for row in rows_px]), np.array(truth.panel.corners))
    return float(places[1, 1] - places[0, 1]) * truth.scan_fraction / truth.refresh_hz


def _beside(measured: Measured, true_ms: float) -> tuple[float, float, float]:
    return 1e3 * measured.value, 1e3 * measured.u, true_ms


def _error_ms(measured: Measured | None, true_s: float | None) -> float | None:
    return None if measured is None or true_s is None else 1e3 * (measured.value - true_s)


def _settings(truth: Truth, capture_rate_hz: float | None, told: Told) -> MeasureSettings:
    """Return what a person in front of the gear would say, or less, or the readout too."""
    if told is Told.NOTHING:
        return MeasureSettings(capture_rate_hz=capture_rate_hz)
    return MeasureSettings(
        lamp=truth.lamp,
        panel=truth.panel,
        watch=truth.watch,
        capture_rate_hz=capture_rate_hz,
        refresh_hz=truth.refresh_hz,
        game_rate_hz=truth.game_rate_hz,
        readout_ms=truth.readout_ms if told is Told.READOUT else None,
    )


def _measured(path: Path, settings: MeasureSettings) -> tuple[MeasuredTake | None, str | None]:
    """Return the take measured, or the refusal."""
    try:
        for step in measure_take(path, settings, threads=1):
            if isinstance(step, MeasuredTake):
                return step, None
    except BlinkspanError as refusal:
        return None, str(refusal)
    return None, None


def _counted(
    path: Path, truth: Truth, capture_rate_hz: float | None
) -> tuple[dict[int, float | None], list[float | None]]:
    """Return the counted span of each true press that counting finds, and the perfect eye's."""
    with open_take(path, capture_rate_hz, threads=1) as take:
        period_ms = 1e3 * take.clock.period_s
        start_s = take.clock.start_s
        counted = count_frames(take, truth.lamp, truth.watch)
    # The film says when a frame starts at its top; the lamp's row starts later.
    row_s = truth.readout_ms / 1e3 / (truth.height_px - 1) * truth.lamp.middle_row_px
    onsets_s = [press.lamp_on_s for press in truth.presses]
    spans: dict[int, float | None] = {}
    for each in counted:
        place = same_press(float(start_s[each.lamp_frame]) + row_s, onsets_s)
        if place is not None:
            spans.setdefault(place, None if each.frames is None else each.frames * period_ms)
    eye = [None if n is None else n * period_ms for n in perfect_eye(truth, start_s)]
    return spans, eye
