"""The truth of a scene, from its timeline and geometry alone."""

import numpy as np

from blinkspan.stage.backlight import first_light_s, flashes_of
from blinkspan.stage.camera import Shots, plan_shots
from blinkspan.stage.lens import Places, in_picture, on_panel
from blinkspan.stage.panel import PanelView, view_panel
from blinkspan.stage.scene import Scene
from blinkspan.stage.timeline import Timeline, plan
from blinkspan.stage.truth import TruePress, Truth
from blinkspan.stage.world import action_box
from blinkspan.traces.regions import Quadrilateral, Rectangle

_LAMP_RADII = 1.6  # half the side of the lamp's box


def expected_truth(scene: Scene) -> Truth:
    """Return the truth that filming the scene will write, without filming it."""
    rng = np.random.default_rng(scene.seed)
    timeline = plan(scene, rng)
    return truth_of(scene, timeline, plan_shots(scene.camera, scene.film, timeline.duration_s, rng))


def truth_of(scene: Scene, timeline: Timeline, shots: Shots) -> Truth:
    """Return what is true of the take that this timeline and these shots make."""
    camera, display = scene.camera, scene.display
    view = view_panel(display, camera.width_px, camera.height_px)
    watch = _watch_box(scene, view)
    row_px = watch.middle_row_px
    height = _height_on_panel(view, watch.x + watch.width / 2, row_px)
    down_s = display.lag_ms / 1e3 + height * display.scan_fraction / float(display.refresh_hz)
    flashes = flashes_of(scene)

    def seen_s(tick: int) -> float:
        return first_light_s(timeline.tick_s[tick] + down_s, flashes)

    presses = []
    for number, press in enumerate(timeline.presses, start=1):
        response_s = None if press.tick is None else seen_s(press.tick)
        presses.append(
            TruePress(
                number=number,
                lamp_on_s=press.lamp_on_s,
                lamp_off_s=press.lamp_off_s,
                response_s=response_s,
                span_ms=None if response_s is None else (response_s - press.lamp_on_s) * 1e3,
                missed=press.tick is None,
                queue_frames=press.queue_frames,
            )
        )
    return Truth(
        name=scene.name,
        seed=scene.seed,
        action=scene.action.kind.value,
        frames=shots.start_s.size,
        dropped_frames=shots.dropped,
        width_px=camera.width_px,
        height_px=camera.height_px,
        rate_hz=camera.true_rate_hz,
        stated_rate_hz=float(scene.film.stamped_hz or camera.rate_hz),
        exposure_ms=camera.exposure_s * 1e3,
        readout_ms=camera.readout_ms,
        transfer=camera.curve.value,
        refresh_hz=float(display.refresh_hz),
        game_rate_hz=1.0 / timeline.period_s,
        scan_fraction=display.scan_fraction,
        top_row_lag_ms=display.lag_ms,
        display_lag_ms=down_s * 1e3,
        grid_s=timeline.tick_s[0] + display.lag_ms / 1e3,
        response_row_px=row_px,
        lamp=_lamp_box(scene),
        panel=_quadrilateral(view.corners_px),
        watch=watch,
        presses=tuple(presses),
        stray_responses_s=tuple(seen_s(tick) for tick in timeline.stray_ticks),
    )


def _quadrilateral(corners_px: Places) -> Quadrilateral:
    """Return four corners as plain numbers."""
    a, b, c, d = ((float(x), float(y)) for x, y in corners_px)
    return Quadrilateral((a, b, c, d))


def _height_on_panel(view: PanelView, x_px: float, y_px: float) -> float:
    """Return how far down the panel a place in the picture lies, 0 top to 1 bottom."""
    place = on_panel(np.array([[x_px, y_px]]), view.corners_px)
    return float(np.clip(place[0, 1], 0.0, 1.0))


def _watch_box(scene: Scene, view: PanelView) -> Rectangle:
    """Return the box in the picture in which the action shows."""
    x, y, w, h = action_box(scene.action.kind)
    places = np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
    box = _quadrilateral(in_picture(places, view.corners_px)).bounding_box()
    return box.within(scene.camera.width_px, scene.camera.height_px, "watched")


def _lamp_box(scene: Scene) -> Rectangle:
    """Return a box round the lamp, wide enough for wherever the hand takes it."""
    camera, lamp = scene.camera, scene.lamp
    half = _LAMP_RADII * lamp.radius * camera.height_px
    half += (lamp.motion_px + 2 * camera.shake_px) * camera.height_px / 360
    x, y = lamp.place[0] * camera.width_px, lamp.place[1] * camera.height_px
    left, top = max(0, int(x - half)), max(0, int(y - half))
    right, bottom = (
        min(camera.width_px, int(x + half) + 1),
        min(camera.height_px, int(y + half) + 1),
    )
    return Rectangle(left, top, right - left, bottom - top)
