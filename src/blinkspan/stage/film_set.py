"""The film set: everything prepared before the first frame, and one frame's light from it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.stage.backlight import backlight_of
from blinkspan.stage.camera import Sway, plan_sway
from blinkspan.stage.lamp import Glow, Patch, glow, hand_px, lamp_light, lamp_patch
from blinkspan.stage.lens import Light, moved
from blinkspan.stage.light import Instants, Pulse, flicker
from blinkspan.stage.looks import Look, looks
from blinkspan.stage.panel import PanelView, Shown, gather, in_bands, project, settle, view_panel
from blinkspan.stage.room import Room, paint_room, with_pad
from blinkspan.stage.scene import Scene
from blinkspan.stage.timeline import Timeline
from blinkspan.stage.world import Film, draw, moves_by_itself, paint_world

_BANDS = 16  # of the panel, each lighting up the room as one
_SPILL_ROWS = 25  # of the picture, where that light is worked out


@dataclass(frozen=True, slots=True)
class FilmSet:
    """What stays the same through a take.

    Attributes
    ----------
    scan_offset_s : ndarray
        From the start of a scan-out to the turn of each place in the panel's box.
    band_edges, band_offset_s : ndarray
        First row of each band of the panel's box, and its own turn.
    """

    scene: Scene
    view: PanelView
    room: Room
    resting: tuple[Light, Light]
    resting_lamp: Patch
    sway: Sway | None
    lamp: Glow
    backlight: Pulse | None
    ripple_phase: float
    scan_offset_s: Instants
    band_edges: npt.NDArray[np.intp]
    band_offset_s: Instants


@dataclass(frozen=True, slots=True)
class Gathered:
    """The light of one frame, with the part that is the lamp's."""

    light: Light
    lamp_box: tuple[slice, slice]
    lamp: Light


def build_set(scene: Scene, timeline: Timeline, rng: np.random.Generator) -> FilmSet:
    """Return the set of a scene; the generator gives what the scene leaves to chance."""
    camera, display = scene.camera, scene.display
    view = view_panel(display, camera.width_px, camera.height_px)
    room = paint_room(scene, view.corners_px, rng)
    scan_s = display.scan_fraction / float(display.refresh_hz)
    edges = np.linspace(0, view.height, _BANDS, endpoint=False).astype(np.intp)
    middle = np.minimum(edges + view.height // (2 * _BANDS), view.height - 1)
    sway = plan_sway(camera, rng)
    rng.random()  # the backlight's phase once: what is drawn after it keeps its place
    return FilmSet(
        scene=scene,
        view=view,
        room=room,
        resting=with_pad(room, (0.0, 0.0)),
        resting_lamp=_patch(scene, (0.0, 0.0)),
        sway=sway,
        lamp=glow(timeline, scene.lamp.rise_ms / 1e3),
        backlight=backlight_of(scene),
        ripple_phase=rng.uniform(0.0, 2 * np.pi),
        scan_offset_s=view.height_at * scan_s,
        band_edges=edges,
        band_offset_s=view.height_at[middle].mean(axis=1) * scan_s,
    )


def panel_frames(
    film_set: FilmSet, timeline: Timeline, background: Film | None, rng: np.random.Generator
) -> Iterator[tuple[Shown, Shown]]:
    """Yield each frame that changes the panel, whole and in bands; the last lasts for ever."""
    scene, view = film_set.scene, film_set.view
    size_px = (
        max(64, round(float(np.ptp(view.corners_px[:, 0])))),
        max(36, round(float(np.ptp(view.corners_px[:, 1])))),
    )
    px_per_row = size_px[1] / (np.ptp(view.corners_px[:, 1]) / scene.camera.height_px * 360)
    world = paint_world(scene, size_px, px_per_row, background, rng)
    moving = moves_by_itself(scene, background)
    before: Shown | None = None
    last_look: Look | None = None
    for tick, look in looks(scene, timeline, px_per_row, moving=moving):
        if look == last_look:
            continue
        picture = draw(world, look, scene) * np.float32(scene.display.brightness)
        full = project(picture, view, scene.camera.blur_px)
        change_s = timeline.tick_s[tick] + scene.display.lag_ms / 1e3
        if before is not None and (torn_at := timeline.torn_at[tick]) is not None:
            lower = view.height_at.mean(axis=1, keepdims=True) > torn_at
            mixed = np.where(lower, full, before.full)
            early_s = change_s - 1 / float(scene.display.refresh_hz)
            before = settle(before, mixed, early_s, scene.display)
            yield before, in_bands(before, film_set.band_edges)
        before = (
            Shown(change_s, full)
            if before is None
            else settle(before, full, change_s, scene.display)
        )
        last_look = look
        yield before, in_bands(before, film_set.band_edges)
    assert before is not None, "the first tick is always delivered"
    for_ever = Shown(np.inf, before.full)
    yield for_ever, in_bands(for_ever, film_set.band_edges)


def gather_frame(
    film_set: FilmSet,
    shown: Sequence[Shown],
    in_bands_shown: Sequence[Shown],
    row_start_s: Instants,
    by_px: tuple[float, float],
) -> Gathered:
    """Return the light of one frame, moved by the hand's sway, before noise.

    Parameters
    ----------
    row_start_s : ndarray, shape (height,)
        When each row of the scene starts to be gathered.
    """
    scene, view = film_set.scene, film_set.view
    exposure_s = scene.camera.exposure_s
    middle_s = float(row_start_s.mean()) + exposure_s / 2
    hand = hand_px(scene.lamp, middle_s, scene.camera.height_px)
    reflects, spills = film_set.resting if hand == (0.0, 0.0) else with_pad(film_set.room, hand)
    ripple = flicker(
        row_start_s,
        exposure_s,
        scene.room.flicker_hz,
        scene.room.flicker_depth,
        film_set.ripple_phase,
    )
    light: Light = reflects * (scene.room.ambient * ripple)[:, None].astype(np.float32)
    light[view.box] += gather(
        shown,
        film_set.scan_offset_s,
        row_start_s[view.box[0]],
        exposure_s,
        scene.display,
        film_set.backlight,
        view.width if view.leans else None,
    )
    if scene.room.spill > 0:
        light += spills * _spill(film_set, in_bands_shown, row_start_s)[:, None]
    box, lamp = _lamp(film_set, hand, row_start_s)
    light[box] += lamp
    return Gathered(moved(light, by_px), box, lamp)


def _spill(film_set: FilmSet, in_bands_shown: Sequence[Shown], row_start_s: Instants) -> Light:
    """Return the panel's mean light while each row of the picture is gathered."""
    scene = film_set.scene
    rows = np.linspace(0, row_start_s.size - 1, _SPILL_ROWS).astype(np.intp)
    offset = np.broadcast_to(film_set.band_offset_s, (_SPILL_ROWS, _BANDS))
    bands = gather(
        in_bands_shown,
        offset,
        row_start_s[rows],
        scene.camera.exposure_s,
        scene.display,
        film_set.backlight,
    )
    every_row = np.interp(np.arange(row_start_s.size), rows, bands.mean(axis=1))
    return np.asarray(every_row, np.float32)


def _lamp(
    film_set: FilmSet, hand: tuple[float, float], row_start_s: Instants
) -> tuple[tuple[slice, slice], Light]:
    """Return the lamp's box and its light there."""
    scene = film_set.scene
    resting = hand == (0.0, 0.0)
    rows, columns, full = film_set.resting_lamp if resting else _patch(scene, hand)
    share = lamp_light(scene.lamp, film_set.lamp, row_start_s[rows], scene.camera.exposure_s)
    return (rows, columns), full * share[:, None].astype(np.float32)


def _patch(scene: Scene, hand: tuple[float, float]) -> Patch:
    """Return the fully lit lamp where the hand has taken it."""
    width, height = scene.camera.width_px, scene.camera.height_px
    at_px = (scene.lamp.place[0] * width + hand[0], scene.lamp.place[1] * height + hand[1])
    return lamp_patch(scene.lamp, at_px, width, height)
