"""A calm scene: the first change after each press is its answer, whatever comes after it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest

from blinkspan.footage.frames import Luma
from blinkspan.presses.press import Verdict
from presses.array_film import HEIGHT, LAMP, WATCH, WIDTH, ArrayFilm, measured, staged

_GAME_S = 1 / 60
# How many columns of a menu are seen, game frame after game frame; it ends as it begins.
_SEEN_PX = 0, 1, 2, 4, 8, 12, 16, 20, 22, 23, 24
_MOVING = len(_SEEN_PX) - 1


@dataclass(frozen=True)
class Moving(ArrayFilm):
    """A view of which each answer shows another place, game frame after game frame.

    A menu glides in at one press and out at the next, or the view turns one way and the other.
    """

    turns: bool = False

    def __iter__(self) -> Iterator[Luma]:
        rng = np.random.default_rng(self.seed)
        still = rng.uniform(20, 40, (HEIGHT, WIDTH))
        rows = np.arange(HEIGHT) + 0.5
        answers = [r for r in self.responses_s if r is not None]
        views = self._views(rng, 2 * _MOVING if self.turns else _MOVING)
        for start in self.clock.start_s:
            begin = start + rows * self.readout_s / HEIGHT
            lit = self._share(begin, self.lamp_on_s, self.lamp_held_s, 0.0)
            light = still.copy()
            light[LAMP.y : LAMP.y + 8, LAMP.x : LAMP.x + 8] += 150 * lit[LAMP.y : LAMP.y + 8, None]
            # Some instants of each exposure stand for all of it.
            for part in (np.arange(4) + 0.5) / 4:
                at = begin - self.scan_s + part * self.exposure_s
                light += views[self._place(at, answers), np.arange(HEIGHT)] / 4
            light += rng.normal(0, self.noise, light.shape)
            yield np.clip(np.rint(light), 0, 255).astype(np.uint8)

    def _place(self, at_s: np.ndarray, answers_s: list[float]) -> np.ndarray:
        """Return which view each instant shows: there and back again, by turns."""
        place = np.zeros(at_s.size, int)
        for k, answer_s in enumerate(answers_s):
            gone = np.clip(np.floor((at_s - answer_s) / _GAME_S) + 1, 0, _MOVING).astype(int)
            place += gone if k % 2 == 0 else -gone
        return place

    def _views(self, rng: np.random.Generator, most: int) -> np.ndarray:
        views = np.zeros((most + 1, HEIGHT, WIDTH))
        inside = slice(WATCH.y, WATCH.y + WATCH.height), slice(WATCH.x, WATCH.x + WATCH.width)
        wide = rng.uniform(0, self.strength, (WATCH.height // 2, WATCH.width // 2 + most))
        wide = wide.repeat(2, axis=0).repeat(2, axis=1)
        for k in range(most + 1):
            if self.turns:
                views[k][inside] = wide[: WATCH.height, 2 * k : 2 * k + WATCH.width]
                continue
            width = _SEEN_PX[k]
            views[k][inside][:, :width] = wide[: WATCH.height, -width or WATCH.width :][:, :width]
        return views


def moving(**settings) -> Moving:
    film = staged(count=12)
    told = {name: getattr(film, name) for name in ("lamp_on_s", "responses_s", "seconds")}
    return replace(Moving(**told), **settings)


@pytest.mark.parametrize("turns", [False, True])
def test_the_first_change_answers_whatever_comes_after_it(turns):
    film = moving(turns=turns)
    presses = measured(film).presses
    off = [
        press.span.value - (there - on)
        for press, on, there in zip(presses, film.lamp_on_s, film.responses_s, strict=True)
    ]
    assert [press.verdict for press in presses] == [Verdict.ACCEPTED] * len(presses)
    assert np.abs(off).max() < _GAME_S / 4
