"""What each refresh changes alike after every press, over a film and where presses alternate."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest

from blinkspan.footage.frames import Luma
from blinkspan.onsets import refresh_changes, refresh_pictures
from blinkspan.onsets.idle import idle_moments, learn_idle
from blinkspan.onsets.refresh_changes import LEAST_LIKE, shared_answers
from blinkspan.onsets.refresh_pictures import changes_of
from blinkspan.onsets.ticks import Ticks
from blinkspan.presses.press import Verdict
from blinkspan.quantities import Measured
from blinkspan.traces.reduction import Series
from presses.array_film import HEIGHT, LAMP, WATCH, WIDTH, ArrayFilm, measured, series_of, staged

_SIZE = WATCH.height, WATCH.width
_ACTION = slice(8, 22), slice(12, 30)
_MOVES = 8  # game frames of an action


@dataclass(frozen=True)
class OverFilm(ArrayFilm):
    """A small action over a film that changes all of the picture by more, every other refresh.

    ``first`` is how strong the action's first game frame is; where presses ``alternate``, every
    other one does something else.
    """

    first: float = 1.0
    alternate: bool = False
    film_strength: float = 40.0
    action_strength: float = 30.0

    def __iter__(self) -> Iterator[Luma]:
        rng = np.random.default_rng(self.seed)
        pictures = self._pictures(rng)
        still = rng.uniform(20, 70, (HEIGHT, WIDTH))
        rows = np.arange(HEIGHT) + 0.5
        inside = slice(WATCH.y, WATCH.y + WATCH.height), slice(WATCH.x, WATCH.x + WATCH.width)
        for start in self.clock.start_s:
            begin = start + rows * self.readout_s / HEIGHT
            lit = self._share(begin, self.lamp_on_s, self.lamp_held_s, 0.0)
            light = still.copy()
            light[LAMP.y : LAMP.y + 8, LAMP.x : LAMP.x + 8] += 150 * lit[LAMP.y : LAMP.y + 8, None]
            light[inside] = 0.0
            # Some instants of each exposure stand for all of it.
            for part in (np.arange(4) + 0.5) / 4:
                tick = self._tick(begin - self.scan_s + part * self.exposure_s)
                shown = pictures[tick[WATCH.y : WATCH.y + WATCH.height], np.arange(WATCH.height)]
                light[inside] += shown / 4
            light += rng.normal(0, self.noise, light.shape)
            yield np.clip(np.rint(light), 0, 255).astype(np.uint8)

    def _tick(self, at_s: np.ndarray) -> np.ndarray:
        zero_s = self.responses_s[0] % (1 / self.refresh_hz)
        return np.floor((at_s - zero_s) * self.refresh_hz + 1e-6).astype(int) + 1

    def _pictures(self, rng: np.random.Generator) -> np.ndarray:
        """Return what the watched part shows at each refresh."""
        count = round(self.seconds * self.refresh_hz) + 3
        film = rng.uniform(0, self.film_strength, (count // 2 + 1, *_SIZE))
        pictures = 60 + np.repeat(film, 2, axis=0)[:count]
        height, width = (each.stop - each.start for each in _ACTION)
        actions = rng.uniform(-1, 1, (2, _MOVES, height, width)) * self.action_strength
        actions[:, 0] *= self.first
        for k, begin in enumerate(self._tick(np.array(self.responses_s))):
            gone = np.cumsum(actions[k % 2 if self.alternate else 0], axis=0)
            for n, away in enumerate(gone):
                pictures[begin + n, *_ACTION] += away
            # Held for a while, then back at once.
            pictures[begin + _MOVES : begin + _MOVES + 12, *_ACTION] += gone[-1]
        return pictures


def over_film(**settings) -> OverFilm:
    film = staged(count=12)
    told = {name: getattr(film, name) for name in ("lamp_on_s", "responses_s", "seconds")}
    return replace(OverFilm(**told), **settings)


def shared_of(film: OverFilm):
    """Return the answers in common, and on which tick each truly begins."""
    series = series_of(film)
    assert isinstance(series, Series)
    start_s, period_s = series.clock.start_s, series.clock.period_s
    lamps = np.searchsorted(start_s, film.lamp_on_s).tolist()
    idle = learn_idle(series.watch, idle_moments(start_s, lamps, period_s), period_s)
    slant = 0.96 / film.refresh_hz / 50.0
    row_px, zero_s = WATCH.middle_row_px, film.responses_s[0] % (1 / film.refresh_hz)
    ticks = Ticks(
        Measured(zero_s, 1e-4), 1 / film.refresh_hz, 60.0, Measured(slant, 0.0), row_px, 30.0
    )
    exposure = Measured(film.exposure_s, 1e-4)
    shared = shared_answers(changes_of(series, lamps, idle, ticks, exposure))
    there = np.rint((np.array(film.responses_s) - zero_s) * film.refresh_hz).astype(int)
    return shared, there


@pytest.mark.parametrize("alternate", [False, True])
@pytest.mark.parametrize("first", [1.0, 0.4])
def test_presses_have_nothing_in_common_until_the_tick_of_their_answers(first, alternate):
    shared, there = shared_of(over_film(first=first, alternate=alternate))
    assert shared is not None
    assert shared.first_tick_clear
    assert shared.sure.all()
    assert shared.half.max() == int(alternate)
    np.testing.assert_array_equal(shared.numbers, there)


def test_of_many_presses_some_tell_what_all_have_in_common(monkeypatch):
    monkeypatch.setattr(refresh_changes, "_MOST_ASKED", 6)
    monkeypatch.setattr(refresh_pictures, "_MOST_IN_ALL", 100_000)
    shared, there = shared_of(over_film())
    assert shared is not None
    np.testing.assert_array_equal(shared.numbers, there)


def test_a_film_alone_has_nothing_in_common():
    shared, _ = shared_of(over_film(action_strength=0.0))
    assert shared is None


def test_a_first_tick_hardly_seen_is_not_clear():
    shared, there = shared_of(over_film(first=0.13))
    assert shared is None or not shared.first_tick_clear or (shared.numbers == there).all()


def test_a_press_without_an_answer_is_unlike_the_others():
    film = over_film()
    answered = replace(film, responses_s=(*film.responses_s[:5], *film.responses_s[6:]))
    shared, _ = shared_of(answered)
    assert shared is not None
    assert not shared.sure[5]
    assert shared.like[5] < LEAST_LIKE


@pytest.mark.parametrize("alternate", [False, True])
def test_answers_over_a_film_are_measured(alternate):
    film = over_film(alternate=alternate, first=0.4)
    presses = measured(film).presses
    off_s = {
        press.number: press.span.value - (there - on)
        for press, on, there in zip(presses, film.lamp_on_s, film.responses_s, strict=True)
        if press.verdict is Verdict.ACCEPTED
    }
    assert len(off_s) >= 10
    assert max(map(abs, off_s.values())) < 0.004
