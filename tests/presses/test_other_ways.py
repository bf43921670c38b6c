"""What the first way of looking misses: views that turn, numbers that count, busy scenes."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from blinkspan.presses.measuring import TakePresses, measure_presses
from blinkspan.presses.press import Verdict
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Regions
from presses.array_film import LAMP, PANEL, WATCH, ArrayFilm, series_of, staged

READOUT_S, EXPOSURE_S, REFRESH_HZ = 0.002, 0.003, 60.0
PHASE_S = 0.031  # of the refreshes on which a staged film answers


def filmed(film: ArrayFilm, series: Series, pictures: list[np.ndarray], noise: float) -> Series:
    """Return the series with the watched part showing pictures, one a refresh from the phase on.

    Exact: each row's share of an exposure before and after the one refresh it may hold.
    """
    row_px = series.watch_row_px
    scan_s = (row_px - WATCH.middle_row_px) * 0.96 / REFRESH_HZ / 50.0
    begin = series.clock.start_s[:, None] + row_px * READOUT_S / film.format.height_px - scan_s
    ends = (begin + EXPOSURE_S - PHASE_S) * REFRESH_HZ
    number = np.clip(np.floor(ends).astype(int), 1, len(pictures) - 1)
    share = np.clip((ends - np.floor(ends)) / REFRESH_HZ / EXPOSURE_S, 0, 1)
    shown = np.stack(pictures)
    rows = np.arange(row_px.size)
    light = np.empty((begin.shape[0], row_px.size, shown.shape[2]))
    for i in range(begin.shape[0]):
        now, before = shown[number[i], rows], shown[number[i] - 1, rows]
        light[i] = share[i, :, None] * now + (1 - share[i, :, None]) * before
    light += np.random.default_rng(8).normal(0, noise, light.shape)
    watch = np.clip(np.rint(light * 65535), 0, 65535).astype(np.uint16)
    return replace(series, watch=watch)


def refresh_of(film: ArrayFilm) -> list[int]:
    return [round((t - PHASE_S) * REFRESH_HZ) for t in film.responses_s]


def measure(series: Series) -> TakePresses:
    return measure_presses(
        series,
        Regions(LAMP, PANEL, WATCH),
        CameraProfile(None, Measured(READOUT_S, 1e-5)),
        DisplayProfile(refresh_hz=REFRESH_HZ, game_rate_hz=REFRESH_HZ),
    )


@pytest.fixture(scope="module")
def film() -> ArrayFilm:
    return staged(count=12, readout_s=READOUT_S, exposure_s=EXPOSURE_S, refresh_hz=REFRESH_HZ)


def assert_found(
    film: ArrayFilm, found: TakePresses, *, within_s: float, at_least: int = 10
) -> None:
    true = np.array(film.responses_s) - np.array(film.lamp_on_s)
    kept = [press.verdict is Verdict.ACCEPTED for press in found.presses]
    assert sum(kept) >= at_least
    spans = np.array([press.span.value for press in found.presses if press.span is not None])
    u = np.array([press.span.u for press in found.presses if press.span is not None])
    assert spans.size == true.size
    off = np.abs(spans - true)[kept]
    assert off.max() < within_s
    assert (off < 2 * u[kept]).all()


def wide_texture(rows: int, seed: int) -> np.ndarray:
    """Return a texture, wider than a view, of blotches some cells across."""
    blotches = np.random.default_rng(seed).standard_normal((rows, 900))
    return 0.3 + 0.4 * ndimage.gaussian_filter(blotches, 2.0)


def test_a_view_that_turns_while_a_figure_stays(film):
    series = series_of(film)
    _, rows, columns = series.watch.shape
    texture = wide_texture(rows, 3)
    at, speed, pictures = 30.0, 0.0, []
    begins = refresh_of(film)
    for n in range(round(film.seconds * REFRESH_HZ)):
        since = min((n - b for b in begins if n >= b), default=999)
        speed = speed + 0.25 if since < 8 else max(0.0, speed - 0.4)
        at += speed + 0.02 * np.sin(n / 6)
        picture = ndimage.shift(texture, (0, -at), order=3, mode="grid-wrap")[:, :columns].copy()
        picture[rows // 2 :, 4:10] = 0.8
        pictures.append(picture)
    found = measure(filmed(film, series, pictures, 0.003))
    assert_found(film, found, within_s=0.002, at_least=7)


@pytest.mark.parametrize("seed", [3, 4])
def test_a_view_that_turns_out_of_a_slow_sway(film, seed):
    """The sway takes the picture farther than the turn's first frames do."""
    series = series_of(film)
    _, rows, columns = series.watch.shape
    texture = wide_texture(rows, seed)
    at, speed, pictures = 30.0, 0.0, []
    begins = refresh_of(film)
    for n in range(round(film.seconds * REFRESH_HZ)):
        since = min((n - b for b in begins if n >= b), default=999)
        speed = min(speed + 0.2, 1.5) if since < 8 else max(0.0, speed - 0.4)
        at += speed
        sway = 0.3 * np.sin(2 * np.pi * 0.7 * n / REFRESH_HZ), 0.3 * np.sin(n / 17)
        across = at + sway[0]
        pictures.append(
            ndimage.shift(texture, (sway[1], -across), order=3, mode="grid-wrap")[:, :columns]
        )
    found = measure(filmed(film, series, pictures, 0.003))
    assert_found(film, found, within_s=0.002, at_least=11)


def test_a_number_that_counts_up_shows_something_else_each_time(film):
    rng = np.random.default_rng(6)
    series = series_of(film)
    _, rows, columns = series.watch.shape
    begins = refresh_of(film)
    numbers = [rng.integers(0, 2, (4, 4)).repeat(3, 0).repeat(3, 1) for _ in range(13)]
    pictures = []
    for n in range(round(film.seconds * REFRESH_HZ)):
        picture = np.full((rows, columns), 0.2)
        count = sum(n >= b for b in begins)
        picture[8:20, 12:24] = 0.1 + 0.6 * numbers[count]
        pictures.append(picture)
    assert_found(film, measure(filmed(film, series, pictures, 0.002)), within_s=0.0015)


def test_a_scene_livelier_than_its_answers(film):
    rng = np.random.default_rng(9)
    series = series_of(film)
    _, rows, columns = series.watch.shape
    begins = refresh_of(film)
    scene = np.full((rows, columns), 0.3)
    pictures = []
    for n in range(round(film.seconds * REFRESH_HZ)):
        if rng.random() < 0.25:  # a patch anywhere changes, and stays so
            y, x = rng.integers(0, rows - 6), rng.integers(0, columns - 6)
            scene[y : y + 6, x : x + 6] = rng.uniform(0.1, 0.5)
        picture = scene.copy()
        if any(0 <= n - b < 12 for b in begins):
            picture[6:14, 8:20] += 0.3
        pictures.append(picture)
    assert_found(film, measure(filmed(film, series, pictures, 0.003)), within_s=0.0015)
