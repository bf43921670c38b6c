"""Film a scene: every frame as the camera would gather it, and the truth beside it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from blinkspan.errors import UnwritableOutput
from blinkspan.footage.film import encode_film
from blinkspan.stage.camera import (
    Luma,
    Shots,
    code_table,
    coded,
    exposed,
    plan_shots,
    plan_sway,
)
from blinkspan.stage.lamp import glow, hand_px, lamp_light, lamp_patch
from blinkspan.stage.lens import moved
from blinkspan.stage.light import Pulse, flicker
from blinkspan.stage.looks import Look, looks
from blinkspan.stage.panel import PanelView, Shown, gather, project, settle, view_panel
from blinkspan.stage.room import paint_room, with_pad
from blinkspan.stage.scene import Scene
from blinkspan.stage.timeline import Timeline, plan
from blinkspan.stage.truth import Truth, write_truth
from blinkspan.stage.truth_of import truth_of
from blinkspan.stage.world import Film, draw, moves_by_itself, paint_world

Progress = Callable[[int, int], None]

_SUFFIX = {"h264": ".mp4", "hevc": ".mp4", "mjpeg": ".mov", "prores": ".mov"}


@dataclass(frozen=True, slots=True)
class StagedTake:
    """A rendered take and what is true of it."""

    path: Path
    truth: Truth


def render_scene(
    scene: Scene,
    out_dir: Path,
    progress: Progress | None = None,
    *,
    background: Film | None = None,
    threads: int = 0,
) -> StagedTake:
    """Return the take filmed of a scene, written to ``out_dir`` with its truth.

    Parameters
    ----------
    progress : callable, optional
        Called with the frames done and the frames in all.
    background : ndarray of uint8, shape (n, height, width), optional
        Film that the game shows behind everything, at 25 frames a second.
    threads : int
        Encoder threads; 0 leaves the number to the encoder.

    Raises
    ------
    UnwritableOutput
        The folder cannot be made or written to.
    """
    try:
        out_dir.mkdir(parents=True, exist_ok=True)
    except OSError as refusal:
        raise UnwritableOutput(
            f"{out_dir}: the folder cannot be made ({(refusal.strerror or str(refusal)).lower()}); "
            "choose another"
        ) from refusal
    rng = np.random.default_rng(scene.seed)
    timeline = plan(scene, rng)
    shots = plan_shots(scene.camera, scene.film, timeline.duration_s, rng)
    truth = truth_of(scene, timeline, shots)
    path = out_dir / f"{scene.name}{_SUFFIX[scene.film.codec]}"
    stated = scene.film.stamped_hz or scene.camera.rate_hz
    tags = None
    if scene.film.stamped_hz is not None and scene.film.capture_tag:
        tags = {"com.android.capture.fps": f"{float(scene.camera.rate_hz):.6f}"}
    pictures = film_frames(scene, timeline, shots, rng, background)
    encode_film(
        path,
        _counted(pictures, shots.start_s.size, progress),
        width_px=scene.camera.width_px,
        height_px=scene.camera.height_px,
        rate_hz=stated,
        codec=scene.film.codec,
        quality=scene.film.quality,
        key_interval=scene.film.key_interval,
        stamps=None if shots.even else shots.stamps,
        metadata=tags,
        threads=threads,
    )
    write_truth(truth, path.with_suffix(".truth.json"))
    return StagedTake(path, truth)


def film_frames(
    scene: Scene,
    timeline: Timeline,
    shots: Shots,
    rng: np.random.Generator,
    background: Film | None = None,
) -> Iterator[Luma]:
    """Yield the luma of each frame that the camera takes."""
    camera, display, lamp = scene.camera, scene.display, scene.lamp
    view = view_panel(display, camera.width_px, camera.height_px)
    room = paint_room(scene, view.corners_px, rng)
    sway = plan_sway(camera, rng)
    panel = _shown(scene, timeline, view, background, rng)
    course = glow(timeline, lamp.rise_ms / 1e3)
    backlight = _backlight(scene, rng)
    ripple_phase = rng.uniform(0.0, 2 * np.pi)
    table = code_table(camera.curve)
    scan_s = display.scan_fraction / float(display.refresh_hz)
    rows = np.arange(camera.height_px)
    resting = with_pad(room, (0.0, 0.0))
    active = [next(panel), next(panel)]
    for start_s in shots.start_s:
        middle_s = start_s + camera.exposure_s / 2 + camera.readout_ms / 2e3
        by_px = sway.at(middle_s) if sway is not None else (0.0, 0.0)
        # a row of the scene is gathered by the camera row it is moved to
        row_s = start_s + (rows + by_px[1]) * camera.row_s
        last_s = row_s[-1] + camera.exposure_s
        while active[-1].change_s <= last_s:
            active.append(next(panel))
        while len(active) > 1 and active[1].change_s + scan_s < row_s[0]:
            active.pop(0)
        moved_px = hand_px(lamp, middle_s, camera.height_px)
        reflects, spilled = with_pad(room, moved_px) if lamp.motion_px > 0 else resting
        ripple = flicker(
            row_s, camera.exposure_s, scene.room.flicker_hz, scene.room.flicker_depth, ripple_phase
        )
        light = reflects * (scene.room.ambient * ripple)[:, None].astype(np.float32)
        on_panel = gather(view, active, display, row_s[view.box[0]], camera.exposure_s, backlight)
        light[view.box] += on_panel
        if scene.room.spill > 0:
            light += spilled * on_panel.mean()
        at_px = (
            lamp.place[0] * camera.width_px + moved_px[0],
            lamp.place[1] * camera.height_px + moved_px[1],
        )
        lamp_rows, lamp_columns, lamp_full = lamp_patch(
            lamp, at_px, camera.width_px, camera.height_px
        )
        share = lamp_light(lamp, course, row_s[lamp_rows], camera.exposure_s)
        light[lamp_rows, lamp_columns] += lamp_full * share[:, None].astype(np.float32)
        if sway is not None:
            light = moved(light, by_px)
        yield coded(exposed(light, camera, rng), table)


def _shown(
    scene: Scene,
    timeline: Timeline,
    view: PanelView,
    background: Film | None,
    rng: np.random.Generator,
) -> Iterator[Shown]:
    """Yield the frames that change the panel, in order, and then none for ever."""
    size_px = _game_size_px(view)
    px_per_row = size_px[1] / (np.ptp(view.corners_px[:, 1]) / scene.camera.height_px * 360)
    world = paint_world(scene, size_px, px_per_row, background, rng)
    lag_s = scene.display.lag_ms / 1e3
    moving = moves_by_itself(scene, background) or scene.world.breathing_px > 0
    before: Shown | None = None
    last_look: Look | None = None
    for tick, look in looks(scene, timeline, px_per_row, moving=moving):
        if look == last_look:
            continue
        picture = draw(world, look, scene) * np.float32(scene.display.brightness)
        full = project(picture, view, scene.camera.blur_px)
        change_s = timeline.tick_s(tick) + lag_s
        before = (
            Shown(change_s, full)
            if before is None
            else settle(before, full, change_s, scene.display)
        )
        last_look = look
        yield before
    assert before is not None
    while True:
        yield Shown(np.inf, before.full)


def _game_size_px(view: PanelView) -> tuple[int, int]:
    """Return the game picture's size: about the camera's own pixels on the panel."""
    return (
        max(64, round(float(np.ptp(view.corners_px[:, 0])))),
        max(36, round(float(np.ptp(view.corners_px[:, 1])))),
    )


def _backlight(scene: Scene, rng: np.random.Generator) -> Pulse | None:
    """Return the backlight's pulses, or None for a steady one."""
    phase = rng.uniform(0.0, 1.0)
    if scene.display.backlight_duty >= 1.0:
        return None
    period_s = 1.0 / scene.display.backlight_hz
    return Pulse(period_s, scene.display.backlight_duty, phase * period_s)


def _counted(frames: Iterator[Luma], total: int, progress: Progress | None) -> Iterator[Luma]:
    """Pass the frames on and report every twentieth and the last."""
    for done, frame in enumerate(frames, start=1):
        yield frame
        if progress is not None and (done % 20 == 0 or done == total):
            progress(done, total)
