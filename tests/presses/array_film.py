"""A film made of arrays, exact in time: no encoder between the light and the measurement."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np

from blinkspan.footage.frames import Clock, Luma, PictureFormat, Shutter, TransferCurve
from blinkspan.presses.measuring import TakePresses, measure_presses
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.reduction import Series, reduce_take
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions

WIDTH, HEIGHT = 96, 64
LAMP = Rectangle(4, 48, 8, 8)
WATCH = Rectangle(36, 14, 40, 30)
PANEL = Quadrilateral(((22.0, 4.0), (90.0, 4.0), (90.0, 54.0), (22.0, 54.0)))
_PATCH = (slice(18, 40), slice(42, 70))


@dataclass(frozen=True)
class ArrayFilm:
    """Presses filmed without a codec; satisfies the Frames protocol.

    Times are real seconds; ``responses_s`` are stated at the watched region's middle row.
    """

    lamp_on_s: tuple[float, ...]
    responses_s: tuple[float | None, ...]
    seconds: float = 8.0
    rate_hz: int = 240
    exposure_s: float = 0.003
    readout_s: float = 0.0
    refresh_hz: float = 60.0
    response_time_s: float = 0.0
    lamp_held_s: float | tuple[float, ...] = 0.1
    flash_s: float = 0.05
    noise: float = 1.0
    brightness: float = 1.0
    mirrored: bool = False
    stray_s: tuple[float, ...] = ()
    seed: int = 5
    kept: tuple[int, ...] | None = None
    strength: float = 110.0
    scanned: bool = True
    format: PictureFormat = field(
        default=PictureFormat(WIDTH, HEIGHT, 8, True, TransferCurve.LINEAR)
    )

    @property
    def frames(self) -> np.ndarray:
        n = round(self.seconds * self.rate_hz)
        return np.arange(n) if self.kept is None else np.array(self.kept)

    @property
    def clock(self) -> Clock:
        return Clock(self.frames / self.rate_hz, Fraction(self.rate_hz), "made of arrays")

    @property
    def scan_s(self) -> np.ndarray:
        """When the panel's scan reaches each row, counted from the watched region's middle."""
        rows = np.arange(HEIGHT) + 0.5
        return (rows - WATCH.middle_row_px) * 0.96 / self.refresh_hz / 50.0 * self.scanned

    def __iter__(self) -> Iterator[Luma]:
        rng = np.random.default_rng(self.seed)
        still = rng.uniform(20, 70, (HEIGHT, WIDTH))
        rows = np.arange(HEIGHT) + 0.5
        up = self.format.shutter is Shutter.UP
        row_s = (HEIGHT - rows if up else rows) * self.readout_s / HEIGHT
        scan_s = self.scan_s
        answers = [r for r in self.responses_s if r is not None] + list(self.stray_s)
        for start in self.clock.start_s:
            begin = start + row_s
            lit = self._share(begin, self.lamp_on_s, self.lamp_held_s, 0.0)
            shown = self._share(begin - scan_s, answers, self.flash_s, self.response_time_s)
            light = still.copy()
            light[LAMP.y : LAMP.y + 8, LAMP.x : LAMP.x + 8] += (
                150 * np.reshape(lit, (-1, 1))[LAMP.y : LAMP.y + 8]
            )
            light[_PATCH] += self.strength * np.reshape(shown, (-1, 1))[_PATCH[0]]
            light = light * self.brightness + rng.normal(0, self.noise, light.shape)
            luma = np.clip(np.rint(light), 0, 255).astype(np.uint8)
            yield luma[:, ::-1] if self.mirrored else luma

    def _share(
        self, begin: np.ndarray, on: Sequence[float], held_s: float | tuple[float, ...], tau: float
    ) -> np.ndarray:
        """Share of each row's exposure in which any of some spells of light is on."""
        spells = zip(on, np.broadcast_to(held_s, len(on)).tolist(), strict=True)
        near = [(t, h) for t, h in spells if t - self.exposure_s - 0.1 < begin[0] < t + h + 0.1]
        share = np.zeros(begin.size)
        for t, held in near:
            a, b = begin - t, begin + self.exposure_s - t
            rise = _integral(b, tau) - _integral(a, tau)
            share += rise - _integral(b - held, tau) + _integral(a - held, tau)
        return share / self.exposure_s


def _integral(t: np.ndarray, tau: float) -> np.ndarray:
    t = np.maximum(t, 0.0)
    return t - tau * (1 - np.exp(-t / tau)) if tau > 0 else t


def staged(count: int = 10, seed: int = 2, refresh_hz: float = 60.0, **settings) -> ArrayFilm:
    """Return a film of presses at random moments, answered on a refresh grid."""
    rng = np.random.default_rng(seed)
    on = 0.55 + 0.7 * np.arange(count) + rng.uniform(0, 0.05, count)
    tick = np.ceil((on + 0.02) * refresh_hz) / refresh_hz + 0.031
    film = ArrayFilm(
        tuple(on.tolist()), tuple(tick.tolist()), seconds=0.9 + 0.7 * count, refresh_hz=refresh_hz
    )
    return replace(film, **settings)


def series_of(film: ArrayFilm, lamp: Rectangle = LAMP, watch: Rectangle = WATCH) -> Series:
    """Return the film's series."""
    *_, series = reduce_take(film, lamp, watch)
    assert isinstance(series, Series)
    return series


def measured(film: ArrayFilm, **known) -> TakePresses:
    """Measure a film whose camera's readout is known."""
    lamp, watch, panel = LAMP, WATCH, known.get("panel", PANEL)
    if film.mirrored:
        lamp = replace(lamp, x=WIDTH - lamp.x - lamp.width)
        watch = replace(watch, x=WIDTH - watch.x - watch.width)
    camera = CameraProfile(None, Measured(film.readout_s, 1e-5))
    display = DisplayProfile(None, film.refresh_hz, film.refresh_hz)
    return measure_presses(
        series_of(film, lamp, watch),
        Regions(lamp, panel, watch),
        known.get("camera", camera),
        known.get("display", display),
    )
