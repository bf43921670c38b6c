"""What gathers speed: its greatest jump comes some game frames after its first."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest

from blinkspan.footage.frames import Luma
from blinkspan.presses.press import Verdict
from presses.array_film import HEIGHT, LAMP, WATCH, WIDTH, ArrayFilm, measured, staged

_GAME_S = 1 / 60
_FIGURE = 14, 10  # pixels high and wide
_GROUND = WATCH.y + WATCH.height - 2


@dataclass(frozen=True)
class Leap(ArrayFilm):
    """A figure that leaps from the ground at each answer, farther from game frame to game frame.

    ``rises_px`` are its heights in the game frames from the answer on; it lands when they end.
    """

    rises_px: tuple[float, ...] = (1.0, 3.0, 9.0, 15.0, 15.0, 15.0, 15.0, 15.0)

    def __iter__(self) -> Iterator[Luma]:
        rng = np.random.default_rng(self.seed)
        still = rng.uniform(20, 40, (HEIGHT, WIDTH))
        rows = np.arange(HEIGHT) + 0.5
        answers = [r for r in self.responses_s if r is not None]
        poses = np.stack([self._pose(rise) for rise in (0.0, *self.rises_px)])
        for start in self.clock.start_s:
            begin = start + rows * self.readout_s / HEIGHT
            lit = self._share(begin, self.lamp_on_s, self.lamp_held_s, 0.0)
            light = still.copy()
            light[LAMP.y : LAMP.y + 8, LAMP.x : LAMP.x + 8] += 150 * lit[LAMP.y : LAMP.y + 8, None]
            shares = np.stack(
                [
                    self._share(
                        begin - self.scan_s,
                        [r + k * _GAME_S for r in answers],
                        _GAME_S,
                        self.response_time_s,
                    )
                    for k in range(len(self.rises_px))
                ]
            )
            shares = np.concatenate([[1 - shares.sum(axis=0)], shares])
            light += np.einsum("pr,prc->rc", shares, poses)
            light += rng.normal(0, self.noise, light.shape)
            yield np.clip(np.rint(light), 0, 255).astype(np.uint8)

    def _pose(self, rise_px: float) -> np.ndarray:
        """Return the figure's light at a height, its feet between two rows where that is broken."""
        rows = np.arange(HEIGHT)[:, None]
        feet = _GROUND - rise_px
        covered = np.clip(feet - rows, 0, 1) - np.clip(feet - _FIGURE[0] - rows, 0, 1)
        columns = np.zeros(WIDTH)
        middle = WATCH.x + WATCH.width // 2
        columns[middle - _FIGURE[1] // 2 : middle + _FIGURE[1] // 2] = self.strength
        return covered * columns


def leap(**settings) -> Leap:
    film = staged(count=10)
    told = {name: getattr(film, name) for name in ("lamp_on_s", "responses_s", "seconds")}
    return replace(Leap(**told), **settings)


@pytest.mark.parametrize("response_time_s", [0.0, 0.003])
@pytest.mark.parametrize("first_px", [(1.0, 3.0, 9.0), (0.5, 2.0, 8.0)])
def test_a_leap_begins_with_its_first_game_frame(first_px, response_time_s):
    film = leap(rises_px=(*first_px, *[16.0] * 5), response_time_s=response_time_s)
    presses = measured(film).presses
    assert [press.verdict for press in presses] == [Verdict.ACCEPTED] * len(presses)
    off = [
        press.span.value - (there - on)
        for press, on, there in zip(presses, film.lamp_on_s, film.responses_s, strict=True)
    ]
    assert max(map(abs, off)) < _GAME_S / 2
    assert all(abs(each) < 2 * press.span.u for each, press in zip(off, presses, strict=True))
