"""A lamp that hardly stands out of what encoder and camera make of its place."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest

from blinkspan.footage.frames import Luma
from blinkspan.presses.press import Reason
from presses.array_film import LAMP, ArrayFilm, measured, staged


@dataclass(frozen=True)
class RestlessLamp(ArrayFilm):
    """A lamp whose whole box strays from frame to frame, as a coarse encoder draws a weak one."""

    stray: float = 40.0

    def __iter__(self) -> Iterator[Luma]:
        rng = np.random.default_rng(7)
        box = slice(LAMP.y, LAMP.y + LAMP.height), slice(LAMP.x, LAMP.x + LAMP.width)
        for luma in super().__iter__():
            drawn = luma.astype(float)
            drawn[box] += rng.normal(0, self.stray)
            yield np.clip(np.rint(drawn), 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("stray", "reason"), [(2.0, None), (18.0, Reason.UNSTEADY_LAMP)])
def test_a_lamp_that_hardly_stands_out_of_its_noise_is_not_believed(stray, reason):
    film = staged()
    told = {name: getattr(film, name) for name in ("lamp_on_s", "responses_s", "seconds")}
    presses = measured(RestlessLamp(**told, stray=stray)).presses
    assert len(presses) == len(film.lamp_on_s)
    assert {press.reason for press in presses} == {reason}
