"""The answers of a panel with a strobed backlight: each begins with a flash.

Between two flashes nothing is seen, so that the first flash that shows something new is
when the answer begins, to a small part of a camera frame. What remains is to tell which
flash that was.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.alignment import Course
from blinkspan.onsets.grid import KNOWN_RATES_HZ, Grid
from blinkspan.onsets.pattern import FEATURES, UNLIKE
from blinkspan.onsets.step import Step
from blinkspan.onsets.strobe import Strobe, find_strobe, held_film
from blinkspan.presses.late import without_late_answers
from blinkspan.presses.panel_step import PanelStep
from blinkspan.presses.searching import Found, Learnt, Search, settled
from blinkspan.presses.shutter import Readout
from blinkspan.profiles import CameraProfile, DisplayProfile, usual_readout
from blinkspan.quantities import Measured, rectangular
from blinkspan.traces.reduction import Series
from blinkspan.traces.regions import Regions
from blinkspan.traces.trace import Samples

_AROUND = np.arange(-5, 6)  # flashes about the aligned one
_RESTING = _AROUND < -2
_SHIFTS = (-2, -1, 0, 1, 2)  # flashes by which alignment may be off
_ROUNDS = 4
_FIRST = 0.04  # of the answer's height: so much of it is the first sight of it
_WHOLE = 0.9  # a flash that shows less fell while the panel was changing, or soon after
_CLEAR = 4.0  # standard errors over resting flashes
_MIDDLE = 0.3  # of the watched height about its middle row, at which the answer is stated
_TOLD = 0.5  # of the doubt beforehand: with less, the flashes have told the readout
_SEEN = 0.3  # of the strongest band's height


@dataclass(frozen=True, slots=True)
class Strobed:
    """A take whose panel flashes.

    Attributes
    ----------
    series : Series
        With the watched film held from flash to flash.
    flash, seen : ndarray, shape (n,)
        Which flash each frame shows, and whether any exposure saw it.
    """

    series: Series
    strobe: Strobe
    flash: npt.NDArray[np.intp]
    seen: npt.NDArray[np.bool_]

    @property
    def readout(self) -> Readout:
        """The camera's readout, which alone makes rows see a flash apart."""
        picture, slant = self.series.picture, self.strobe.slant_s_per_px
        told = slant.u < _TOLD * _usual_row(self.series).u
        whole_s = -picture.shutter.down * slant.value * picture.height_px
        longest_s = self.series.clock.period_s
        return Readout(
            Measured(min(max(whole_s, 0.0), longest_s), slant.u * picture.height_px),
            "from the take" if told else "assumed",
            picture,
        )


def strobed(
    series: Series, exposure_s: Measured, camera: CameraProfile, display: DisplayProfile
) -> Strobed | None:
    """Return the take without its strobe, None where the panel's light does not flash."""
    row_s, down = _usual_row(series), series.picture.shutter.down
    if camera.readout_s is not None:
        row_s = camera.readout_s * (down / series.picture.height_px)
    rates = [display.refresh_hz] if display.refresh_hz is not None else list(KNOWN_RATES_HZ)
    film, rows, clock = series.watch, series.watch_row_px, series.clock
    strobe = find_strobe(film, rows, clock, exposure_s, row_s, rates)
    if strobe is None:
        return None
    held, flash, seen = held_film(film, rows, clock, strobe)
    return Strobed(replace(series, watch=held), strobe, flash, seen)


def _usual_row(series: Series) -> Measured:
    """Return a row's readout where nothing is known of it."""
    picture = series.picture
    row_s = usual_readout(series.clock.period_s) * (picture.shutter.down / picture.height_px)
    return replace(row_s, u=max(1e-9, row_s.u))


def strobed_step(
    take: Strobed, regions: Regions, todo: list[Search], found: Found, display: DisplayProfile
) -> tuple[Found, PanelStep | None, list[float]]:
    """Return the answers and the step they share, as ``panel_step`` does for steady panels."""
    series, strobe = take.series, take.strobe
    found, late = without_late_answers(found, todo, series.clock.start_s)
    if found.learnt is None or not any(found.answers):
        return found, None, late
    if display.refresh_hz is None:
        display = replace(display, refresh_hz=strobe.nominal_hz)
    hold_s = 1 / (display.game_rate_hz or strobe.nominal_hz)
    found = settled(series, todo, found, hold_s)
    assert found.learnt is not None  # settling keeps what was learnt
    answered = [k for k, answer in enumerate(found.answers) if answer is not None]
    aligned = [a.fit.at_s for a in found.answers if a is not None]
    row_px = regions.watch.middle_row_px
    sights = _first_sights(
        take, [found.courses[k] for k in answered], aligned, found.learnt, row_px
    )
    begins = strobe.begins_s(sights.flash, row_px)
    own_s = np.where(sights.sure, 0.0, hold_s)
    length = strobe.length_s
    if sights.share < _WHOLE:  # the row may have changed while the flash was on
        begins = begins + (1 - sights.share) * length / 4
    blurred_s = 0.0 if sights.share >= _WHOLE else rectangular(length / 2) * (1 - sights.share)
    step = Step(
        row_px,
        tuple(Measured(float(t), float(u)) for t, u in zip(begins, own_s, strict=True)),
        math.hypot(strobe.zero_s.u, blurred_s),
        Grid(float(begins[0]), 1 / strobe.rate_hz, sights.flash, strobe.nominal_hz),
        0.0,
        strobe.slant_s_per_px,
        strobe.exposure_s,
        strobe.exposure_s,
        sights.direction,
        sights.strength,
    )
    panel = PanelStep(step, strobe.exposure_s, Measured(0.0, 0.0), 0.0, hold_s, display)
    return found, panel, late


@dataclass(frozen=True, slots=True)
class _Sights:
    """Which flash first showed each answer.

    Attributes
    ----------
    flash : ndarray of int, shape (presses,)
    sure : ndarray of bool, shape (presses,)
        Whether that flash and the one before were both seen by the camera.
    share : float
        How much of the answer the first flash shows, as a mean.
    direction : ndarray, shape (bands, FEATURES)
    strength : ndarray, shape (bands,)
    """

    flash: npt.NDArray[np.intp]
    sure: npt.NDArray[np.bool_]
    share: float
    direction: Samples
    strength: Samples


def _first_sights(
    take: Strobed, courses: list[Course], aligned_s: list[float], learnt: Learnt, row_px: float
) -> _Sights:
    start_s, flash = take.series.clock.start_s, take.flash
    near = np.clip(np.searchsorted(start_s, aligned_s), 0, flash.size - 1)
    numbers = flash[near][:, None] + _AROUND
    looks = np.stack(
        [_by_flash(c, start_s, flash, each) for c, each in zip(courses, numbers, strict=True)]
    )
    looks = looks - looks[:, _RESTING].mean(axis=1, keepdims=True)
    if not learnt.template.alike:  # answers then agree in being unlike before alone
        looks[..., :UNLIKE] = 0.0
    middle = np.median(looks, axis=0)[_AROUND > 1].mean(axis=0)
    strength = np.linalg.norm(middle, axis=1)
    strength = np.where(strength > _SEEN * strength.max(), strength, 0.0)
    direction = middle / np.maximum(np.linalg.norm(middle, axis=1), 1e-9)[:, None]
    along = np.einsum("kfbq,bq->kfb", looks, direction)
    whole = (along * strength).sum(axis=2)
    shift = _shifts(whole)
    rows = learnt.pattern.row_px
    about = np.abs(rows - row_px) <= _MIDDLE * take.series.watch_region.height
    about &= strength > 0
    bands = strength * about if about.any() else strength
    heights = (along * bands).sum(axis=2)
    inner = _AROUND[2:-2]
    moved = np.stack([h[2 + s : h.size - 2 + s] for h, s in zip(heights, shift, strict=True)])
    mean, error = moved.mean(axis=0), moved.std(axis=0) / np.sqrt(max(1, moved.shape[0] - 1))
    top = max(float(np.max(mean)), 1e-9)
    floor = np.maximum(_FIRST * top, _CLEAR * np.maximum(error, np.median(error)))
    first = int(np.argmax(mean > floor))
    answer = numbers[:, 0] - _AROUND[0] + shift + inner[first]
    shown = np.searchsorted(flash, answer)
    before = np.searchsorted(flash, answer - 1)
    last = flash.size - 1
    sure = take.seen[np.minimum(shown, last)] & take.seen[np.minimum(before, last)]
    return _Sights(
        answer, sure, min(1.0, float(mean[first] / top)), direction.reshape(-1, FEATURES), strength
    )


def _by_flash(
    course: Course, start_s: Samples, flash: npt.NDArray[np.intp], numbers: npt.NDArray[np.intp]
) -> Samples:
    """Return a course at given flashes, shape (flashes, bands, FEATURES)."""
    first = int(np.searchsorted(start_s, course.start_s[0]))
    shown = flash[first : first + course.start_s.size]
    at = np.clip(np.searchsorted(shown, numbers), 0, shown.size - 1)
    values: Samples = course.values[at]
    return values


def _shifts(heights: Samples) -> npt.NDArray[np.intp]:
    """Return by how many flashes each answer lies later than aligned, against the mean of all."""
    shift = np.zeros(heights.shape[0], np.intp)
    reach = max(_SHIFTS)
    for _ in range(_ROUNDS):
        moved = [h[reach + s : h.size - reach + s] for h, s in zip(heights, shift, strict=True)]
        mean = np.median(np.stack(moved), axis=0)
        left = np.stack(
            [
                ((heights[:, reach + s : heights.shape[1] - reach + s] - mean) ** 2).sum(axis=1)
                for s in _SHIFTS
            ],
            axis=1,
        )
        best = np.array(_SHIFTS)[np.argmin(left, axis=1)]
        if np.array_equal(best, shift):
            break
        shift = best
    return shift
