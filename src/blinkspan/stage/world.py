"""The pictures of an invented game: a canyon town at dusk and a wanderer with a lantern.

Everything is painted in linear light, 0 black to 1 the panel's white, from one
seed. The view is a panorama that wraps round, so it can be turned for ever.
"""

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from blinkspan.stage.lens import Light, blurred, moved
from blinkspan.stage.looks import Look
from blinkspan.stage.play import ActionKind
from blinkspan.stage.scene import Scene

Film = npt.NDArray[np.uint8]

_PANORAMA_WIDTHS = 3  # of the game's picture
_HORIZON = 0.58
# Boxes in shares of the game's picture: left, top, width, height.
WANDERER_BOX = (0.36, 0.38, 0.17, 0.52)
FLASH_BOX = (0.53, 0.46, 0.15, 0.22)
MENU_BOX = (0.62, 0.14, 0.30, 0.56)
_UNSEEN = 1e-4  # opacity below which nothing is left to see
_FILM_HZ = 25.0  # a filmed background is shown at its usual speed


@dataclass(frozen=True, slots=True)
class Sprite:
    """A painted figure with its own opacity, cut out to where it is."""

    light: Light
    opacity: Light
    box: tuple[slice, slice]


@dataclass(frozen=True, slots=True)
class World:
    """Everything painted once for a take.

    Attributes
    ----------
    panorama : ndarray of float32
        Wraps round from right to left.
    wanderer, arm : Sprite
        The figure, and its arm as it reaches out.
    flash, menu : Sprite
    sparks : ndarray of float64, shape (n, 5)
        Start x, start y, speed x, speed y, brightness; in shares of the picture and a second.
    film : ndarray of uint8, shape (n, height, width) or None
        A filmed background that takes the panorama's place.
    """

    size_px: tuple[int, int]
    px_per_row: float
    panorama: Light
    wanderer: Sprite
    arm: Sprite
    flash: Sprite
    menu: Sprite
    sparks: npt.NDArray[np.float64]
    film: Film | None


def paint_world(
    scene: Scene,
    size_px: tuple[int, int],
    px_per_row: float,
    film: Film | None,
    rng: np.random.Generator,
) -> World:
    """Return the painted world for a game picture of that width and height."""
    sparks = np.column_stack(
        (
            rng.uniform(0.0, 1.0, (scene.world.particles, 2)),
            rng.normal(0.0, 0.05, scene.world.particles),
            rng.uniform(-0.18, -0.05, scene.world.particles),
            rng.uniform(0.2, 0.7, scene.world.particles),
        )
    )
    margin_px = 3 + int(scene.world.breathing_px * px_per_row)
    return World(
        size_px=size_px,
        px_per_row=px_per_row,
        panorama=_panorama(size_px, rng),
        wanderer=_wanderer(size_px, margin_px, rng),
        arm=_arm(size_px, scene.action.strength, margin_px),
        flash=_flash(size_px, scene.action.strength),
        menu=_menu(size_px, rng),
        sparks=sparks,
        film=film,
    )


def draw(world: World, look: Look, scene: Scene) -> Light:
    """Return one game frame in linear light, shape (height, width)."""
    picture = _background(world, look)
    sway_px = look.breath * scene.world.breathing_px * world.px_per_row
    _lay(picture, world.wanderer, 0.25 * sway_px, sway_px)
    if look.pose > 0.0:
        _lay(picture, world.arm, 0.25 * sway_px, sway_px, look.pose)
    if world.sparks.size:
        _scatter(picture, world.sparks, look.moment_s)
    if look.flash > 0.0:
        picture[world.flash.box] += look.flash * world.flash.light
    if look.menu > 0.0:
        _lay(picture, world.menu, 0.0, 0.0, look.menu)
    if scene.world.grain > 0.0:
        rng = np.random.default_rng((scene.seed, round(look.moment_s * 1e4)))
        picture *= 1.0 + scene.world.grain * rng.standard_normal(picture.shape, np.float32)
    return np.clip(picture, 0.0, 1.0, out=picture)


def moves_by_itself(scene: Scene, film: Film | None) -> bool:
    """Return whether every game frame differs from the one before."""
    return film is not None or scene.world.particles > 0 or scene.world.grain > 0.0


def action_box(kind: ActionKind) -> tuple[float, float, float, float]:
    """Return where an action shows, as left, top, width, height in shares of the game's picture."""
    if kind is ActionKind.FLASH:
        return FLASH_BOX
    if kind is ActionKind.POSE:
        return WANDERER_BOX[0] + 0.07, WANDERER_BOX[1] + 0.05, 0.20, 0.25
    if kind is ActionKind.FADE:
        return MENU_BOX
    return 0.08, 0.12, 0.84, 0.76


def _background(world: World, look: Look) -> Light:
    """Return the panorama turned by a sub-pixel amount, or the film's frame of the moment."""
    width, height = world.size_px
    if world.film is not None:
        shown = world.film[int(look.moment_s * _FILM_HZ) % len(world.film)]
        sized = cv2.resize(shown, (width, height), interpolation=cv2.INTER_AREA)
        # a display's gamma, near enough to how the film was meant to be seen
        return np.asarray((sized.astype(np.float32) / 255.0) ** 2.2 * 0.6, np.float32)
    whole = int(np.floor(look.scroll_px))
    part = np.float32(look.scroll_px - whole)
    columns = np.arange(whole, whole + width + 1) % world.panorama.shape[1]
    strip = world.panorama[:, columns]
    return np.asarray((1 - part) * strip[:, :-1] + part * strip[:, 1:], np.float32)


def _lay(picture: Light, sprite: Sprite, dx: float, dy: float, level: float = 1.0) -> None:
    """Paint a figure over the picture, moved by a sub-pixel amount."""
    light = moved(sprite.light, (dx, dy))
    opacity = moved(sprite.opacity, (dx, dy), empty=True)
    under = picture[sprite.box]
    under += np.float32(level) * opacity * (light - under)


def _scatter(picture: Light, sparks: npt.NDArray[np.float64], moment_s: float) -> None:
    """Add soft drifting sparks."""
    height, width = picture.shape
    dots = np.zeros_like(picture)
    xs = (sparks[:, 0] + sparks[:, 2] * moment_s) % 1.0 * (width - 2)
    ys = (sparks[:, 1] + sparks[:, 3] * moment_s) % 1.0 * (height - 2)
    left, top = xs.astype(np.intp), ys.astype(np.intp)
    fx, fy = xs - left, ys - top
    for right, weight_x in ((0, 1 - fx), (1, fx)):
        for down, weight_y in ((0, 1 - fy), (1, fy)):
            np.add.at(dots, (top + down, left + right), sparks[:, 4] * weight_x * weight_y)
    picture += 4.0 * blurred(dots, 1.2)


def _noise(shape: tuple[int, int], slope: float, rng: np.random.Generator) -> Light:
    """Return cloud-like noise that wraps round, mean 0 and standard deviation 1."""
    white = rng.standard_normal(shape)
    fy = np.fft.fftfreq(shape[0])[:, None] * shape[0]
    fx = np.fft.rfftfreq(shape[1])[None, :] * shape[0]
    spectrum = np.fft.rfft2(white) * (1.0 + np.hypot(fx, fy)) ** -slope
    spectrum[0, 0] = 0.0
    field = np.fft.irfft2(spectrum, shape)
    return np.asarray(field / field.std(), np.float32)


def _panorama(size_px: tuple[int, int], rng: np.random.Generator) -> Light:
    """Return dusk over a canyon town: sky, ridges, houses with lit windows, paved ground."""
    width, height = size_px[0] * _PANORAMA_WIDTHS, size_px[1]
    rows = np.linspace(0.0, 1.0, height, dtype=np.float32)[:, None]
    sky = 0.10 + 0.30 * (rows / _HORIZON) ** 2 + 0.035 * _noise((height, width), 1.6, rng)
    picture = np.clip(sky, 0.02, 0.6)
    for depth, (base, tall, light) in enumerate(((0.42, 0.10, 0.13), (0.52, 0.08, 0.07))):
        profile = base - tall * 0.5 * _noise((height, width), 1.2, rng)[depth]
        rock = light * (1.0 + 0.35 * _noise((height, width), 0.9, rng))
        picture = np.where(rows > profile[None, :], rock, picture)
    _houses(picture, rng)
    paving = (
        1.0 + 0.30 * _noise((height, width), 1.1, rng) + 0.12 * _noise((height, width), 0.3, rng)
    )
    ground = (0.05 + 0.12 * (rows - _HORIZON)) * paving
    depth_of = np.maximum(rows - _HORIZON, 1e-3)
    joints = 0.7 + 0.3 * (np.sin(3.0 / (depth_of + 0.04)) > -0.85)
    picture = np.where(rows > _HORIZON, ground * joints, picture)
    clipped = np.clip(picture, 0.004, 0.9).astype(np.float32)
    return blurred(clipped, 0.6)


def _houses(picture: npt.NDArray[np.floating], rng: np.random.Generator) -> None:
    """Paint a row of houses with lit windows along the horizon."""
    height, width = picture.shape
    unit = height / 60
    foot = int(_HORIZON * height) + 1
    left = 0.0
    while left < width:
        wide = int(rng.uniform(5, 11) * unit)
        tall = int(rng.uniform(6, 20) * unit)
        wall = rng.uniform(0.03, 0.09)
        face = picture[foot - tall : foot, int(left) : int(left) + wide]
        face[...] = wall * (1.0 + 0.2 * rng.standard_normal(face.shape))
        for y in np.arange(1.5 * unit, tall - 2 * unit, 3 * unit):
            for x in np.arange(1.2 * unit, wide - 1.5 * unit, 2.4 * unit):
                if rng.random() < 0.45:
                    pane = face[int(y) : int(y + 1.5 * unit), int(x) : int(x + 1.1 * unit)]
                    pane[...] = rng.uniform(0.25, 0.75)
        left += wide + rng.uniform(0, 5) * unit


def _canvas(size_px: tuple[int, int]) -> tuple[Light, Light]:
    """Return empty light and opacity of the game's size."""
    shape = (size_px[1], size_px[0])
    return np.zeros(shape, np.float32), np.zeros(shape, np.float32)


def _cut_out(light: Light, opacity: Light, margin_px: int) -> Sprite:
    """Return the figure cut out with a margin for its movement."""
    rows = np.flatnonzero(opacity.max(axis=1) > _UNSEEN)
    columns = np.flatnonzero(opacity.max(axis=0) > _UNSEEN)
    box = (
        slice(max(0, int(rows[0]) - margin_px), int(rows[-1]) + 1 + margin_px),
        slice(max(0, int(columns[0]) - margin_px), int(columns[-1]) + 1 + margin_px),
    )
    return Sprite(light[box].copy(), opacity[box].copy(), box)


def _shape(opacity: Light, size_px: tuple[int, int], corners: list[tuple[float, float]]) -> None:
    """Fill a polygon given in shares of the picture."""
    points = np.array([(x * size_px[0] * 16, y * size_px[1] * 16) for x, y in corners], np.int32)
    cv2.fillPoly(opacity, [points], 1.0, lineType=cv2.LINE_AA, shift=4)


def _wanderer(size_px: tuple[int, int], margin_px: int, rng: np.random.Generator) -> Sprite:
    """Return a cloaked figure seen from behind, with a lantern at its hip."""
    light, opacity = _canvas(size_px)
    _shape(opacity, size_px, [(0.44, 0.47), (0.39, 0.88), (0.51, 0.88), (0.47, 0.47)])
    _shape(opacity, size_px, [(0.425, 0.50), (0.40, 0.66), (0.49, 0.66), (0.485, 0.50)])
    centre = (int(0.455 * size_px[0]), int(0.435 * size_px[1]))
    cv2.circle(opacity, centre, int(0.045 * size_px[1]), 1.0, -1, cv2.LINE_AA)
    folds = _noise((size_px[1], size_px[0]), 1.0, rng)
    light += 0.03 * (1.0 + 0.3 * folds)
    lantern = (int(0.488 * size_px[0]), int(0.68 * size_px[1]))
    cv2.circle(light, lantern, int(0.018 * size_px[1]), 0.7, -1, cv2.LINE_AA)
    np.clip(light, 0.01, 1.0, out=light)
    return _cut_out(light, np.clip(opacity, 0.0, 1.0), margin_px)


def _arm(size_px: tuple[int, int], strength: float, margin_px: int) -> Sprite:
    """Return the arm held out, brighter than the cloak by ``strength``."""
    light, opacity = _canvas(size_px)
    _shape(opacity, size_px, [(0.475, 0.51), (0.565, 0.49), (0.57, 0.535), (0.475, 0.57)])
    light += 0.03 + np.float32(strength)
    return _cut_out(light, opacity, margin_px)


def _flash(size_px: tuple[int, int], strength: float) -> Sprite:
    """Return a bright star-shaped burst that is added to the picture."""
    width, height = size_px
    x0, y0, w, h = FLASH_BOX
    xs = (np.arange(width) / width - x0 - w / 2)[None, :] / (w / 2)
    ys = (np.arange(height) / height - y0 - h / 2)[:, None] / (h / 2)
    radius, angle = np.hypot(xs, ys), np.arctan2(ys, xs)
    reach = 0.55 + 0.25 * np.cos(6 * angle)
    light = np.asarray(strength / (1.0 + (radius / reach) ** 6), np.float32)
    return _cut_out(light, light, 0)


def _menu(size_px: tuple[int, int], rng: np.random.Generator) -> Sprite:
    """Return a panel with lines of made-up writing."""
    light, opacity = _canvas(size_px)
    x0, y0, w, h = MENU_BOX
    _shape(opacity, size_px, [(x0, y0), (x0 + w, y0), (x0 + w, y0 + h), (x0, y0 + h)])
    opacity *= 0.85
    light += 0.035
    for row in np.arange(y0 + 0.06, y0 + h - 0.05, 0.075):
        x = x0 + 0.03
        end = x0 + w * rng.uniform(0.6, 0.95)
        while x < end:
            wide = rng.uniform(0.008, 0.03)
            stroke = [(x, row), (x + wide, row), (x + wide, row + 0.028), (x, row + 0.028)]
            _shape_lit(light, size_px, stroke, 0.55)
            x += wide + 0.008
    return _cut_out(light, opacity, 0)


def _shape_lit(
    light: Light, size_px: tuple[int, int], corners: list[tuple[float, float]], level: float
) -> None:
    """Paint a polygon of one level of light."""
    cover = np.zeros_like(light)
    _shape(cover, size_px, corners)
    light += cover * (np.float32(level) - light)
