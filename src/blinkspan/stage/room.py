"""The room round the panel: wall, stand and pad, painted once in reflected light."""

from dataclasses import dataclass

import cv2
import numpy as np

from blinkspan.stage.lens import Light, Places, blurred, moved, softened
from blinkspan.stage.scene import Scene

_BEZEL = 0.012  # width of the panel's frame as a share of the picture's height


@dataclass(frozen=True, slots=True)
class Room:
    """What the room gives back of the light that falls on it.

    Attributes
    ----------
    reflects : ndarray
        Share of the room's own light, pad left out.
    spill : ndarray
        Share of the panel's mean light that comes back from each place.
    pad, pad_opacity : ndarray
        The control in its resting place.
    """

    reflects: Light
    spill: Light
    pad: Light
    pad_opacity: Light


def paint_room(scene: Scene, corners_px: Places, rng: np.random.Generator) -> Room:
    """Return the room for the scene's picture size."""
    width, height = scene.camera.width_px, scene.camera.height_px
    ys = np.linspace(0.0, 1.0, height)[:, None]
    xs = np.linspace(0.0, 1.0, width)[None, :]
    wall = 0.42 + 0.12 * np.cos(2.2 * (xs - 0.1)) - 0.10 * ys
    wall = wall * (1.0 + 0.05 * _uneven((height, width), (6, 6), rng))
    table = 0.20 + 0.025 * _uneven((height, width), (2, width // 8), rng)  # grain of wood
    edge = corners_px[:, 1].max() / height + 0.055
    reflects = np.where(ys > edge, table, wall)
    reflects = np.where((ys > edge - 0.012) & (ys <= edge), 0.5, reflects).astype(np.float32)
    centre = corners_px.mean(axis=0)
    grown = centre + (corners_px - centre) * (1.0 + 2 * _BEZEL * height / np.ptp(corners_px[:, 1]))
    _fill(reflects, grown, 0.035)
    _fill(reflects, corners_px, 0.02)
    reach = 0.45 * height
    nearness = softened(_filled((height, width), grown), reach / 2)
    spill = (nearness * reflects * scene.room.spill / 0.3).astype(np.float32)
    _fill(spill, grown, 0.0)
    pad, opacity = _pad(scene, width, height)
    blur_px = scene.camera.blur_px
    return Room(
        reflects=blurred(reflects, blur_px),
        spill=spill,
        pad=blurred(pad, blur_px),
        pad_opacity=blurred(opacity, blur_px),
    )


def with_pad(room: Room, moved_px: tuple[float, float]) -> tuple[Light, Light]:
    """Return what reflects the room's light and the panel's, the pad moved so far."""
    pad = moved(room.pad, moved_px)
    opacity = moved(room.pad_opacity, moved_px, empty=True)
    reflects = room.reflects + opacity * (pad - room.reflects)
    return reflects, room.spill * (1.0 - 0.6 * opacity)


def _uneven(shape: tuple[int, int], grain_px: tuple[int, int], rng: np.random.Generator) -> Light:
    """Return soft noise whose grains are so high and so wide."""
    count = tuple(max(2, size // grain) for size, grain in zip(shape, grain_px, strict=True))
    coarse = rng.standard_normal(count, np.float32)
    return np.asarray(cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC), np.float32)


def _fill(picture: Light, corners: Places, level: float) -> None:
    """Paint a quadrilateral of one level with soft edges."""
    picture += _filled((picture.shape[0], picture.shape[1]), corners) * (
        np.float32(level) - picture
    )


def _filled(shape: tuple[int, int], corners: Places) -> Light:
    """Return the coverage of a polygon, 0 to 1."""
    cover = np.zeros(shape, np.float32)
    points = np.rint((corners - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(cover, [points], 1.0, lineType=cv2.LINE_AA, shift=4)
    return np.clip(cover, 0.0, 1.0)


def _pad(scene: Scene, width: int, height: int) -> tuple[Light, Light]:
    """Return a two-gripped pad with sticks and buttons, the lamp's place at its top middle."""
    x, y = scene.lamp.place[0] * width, scene.lamp.place[1] * height
    unit = height / 360
    opacity = np.zeros((height, width), np.float32)
    light = np.full((height, width), 0.10, np.float32)

    def spot(dx: float, dy: float, radius: float) -> tuple[tuple[int, int], int]:
        return (round((x + dx * unit) * 16), round((y + dy * unit) * 16)), round(radius * unit * 16)

    body = np.array([(-58, -12), (58, -12), (66, 26), (52, 60), (34, 54), (22, 34), (-22, 34),
                     (-34, 54), (-52, 60), (-66, 26)], np.float64) * unit + (x, y)  # fmt: skip
    opacity += _filled((height, width), body)
    for dx in (-44, 44):
        centre, radius = spot(dx, 8, 22)
        cv2.circle(opacity, centre, radius, 1.0, -1, cv2.LINE_AA, shift=4)
    for dx, dy, radius, level in (
        (-44, 2, 8, 0.05), (-22, 20, 10, 0.04), (22, 20, 10, 0.04),
        (44, -6, 4, 0.28), (44, 12, 4, 0.22), (35, 3, 4, 0.3), (53, 3, 4, 0.25), (0, 0, 9, 0.03),
    ):  # fmt: skip
        cv2.circle(light, *spot(dx, dy, radius), level, -1, cv2.LINE_AA, shift=4)
    return light, np.clip(opacity, 0.0, 1.0)
