"""The box of a lamp that is all one light: exact, as on a grabbed screen without noise."""

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np

from blinkspan.footage.frames import Clock, Luma, PictureFormat, TransferCurve
from blinkspan.traces.lamp_box import lamp_box
from blinkspan.traces.proposal import find_lamp, propose_regions
from blinkspan.traces.regions import Rectangle, Regions
from blinkspan.traces.survey import Survey, survey_take
from traces.filmed_room import HEIGHT, WIDTH, FilmedRoom

LAMP = Rectangle(50, 165, 40, 40)  # far larger than a cell of the survey
LIT = ((240, 280), (460, 490), (700, 740))


class GrabbedScreen:
    """A lamp, a panel and its answers, drawn without noise; satisfies the Frames protocol."""

    format = PictureFormat(640, 360, 8, False, TransferCurve.BT709)
    clock = Clock(np.arange(900) / 240, Fraction(240), "made of arrays")

    def __iter__(self) -> Iterator[Luma]:
        for i in range(900):
            luma = np.full((360, 640), 40, np.uint8)
            luma[20:340, 150:620] = 215
            luma[28:332, 158:612] = 100
            if any(a <= i < b for a, b in LIT):
                luma[165:205, 50:90] = 222
            if any(a + 14 <= i < a + 40 for a, _ in LIT):
                luma[120:230, 420:550] = 200
            yield luma


def test_a_large_lamp_without_noise_is_boxed():
    *_, regions = propose_regions(GrabbedScreen(), None, None, None)
    assert isinstance(regions, Regions)
    lamp = regions.lamp
    assert lamp.x <= LAMP.x
    assert lamp.x + lamp.width >= LAMP.x + LAMP.width
    assert lamp.y <= LAMP.y
    assert lamp.y + lamp.height >= LAMP.y + LAMP.height
    assert max(lamp.width, lamp.height) <= 2 * LAMP.width


def test_a_lamp_told_by_its_glow_is_boxed_about_its_core():
    """Cells beside a bright core keep their two levels better: the box still holds the core."""
    room = FilmedRoom(presses=(60, 150, 240), lamp_light=60.0)

    class Glowing:
        format, clock = room.format, room.clock

        def __iter__(self) -> Iterator[Luma]:
            y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
            glow = 60 * np.exp(-((x - 29.5) ** 2 + (y - 79.5) ** 2) / (2 * 8.0**2))
            for i, luma in enumerate(room):
                lit = any(press <= i < press + room.held for press in room.presses)
                yield np.clip(np.rint(luma + lit * glow), 0, 255).astype(np.uint8)

    *_, survey = survey_take(Glowing(), None)
    assert isinstance(survey, Survey)
    spot = find_lamp(survey, None)
    core = Rectangle(27, 77, 6, 6)
    for rows, columns in ((0, 0), (-5, 3), (0, 6)):
        moved = [
            replace(pulse, row=pulse.row + rows, column=pulse.column + columns)
            for pulse in spot.pulses
        ]
        *_, box = lamp_box(Glowing(), survey, replace(spot, pulses=tuple(moved)))
        assert isinstance(box, Rectangle)
        assert box.x <= core.x
        assert box.y <= core.y
        assert core.x + core.width <= box.x + box.width
        assert core.y + core.height <= box.y + box.height


def test_a_lamp_that_an_encoder_draws_once_more_beside_it_is_boxed_where_it_blinks():
    class Drawn:
        format, clock = GrabbedScreen.format, GrabbedScreen.clock

        def __iter__(self) -> Iterator[Luma]:
            for i in range(900):
                luma = np.full((360, 640), 40, np.uint8)
                if any(a <= i < b for a, b in LIT):
                    luma[320:332, 400:412] = 200
                    luma[292:295, 392:395] = 230  # a few pixels, brighter yet
                yield luma

    *_, survey = survey_take(Drawn(), None)
    assert isinstance(survey, Survey)
    spot = find_lamp(survey, None)
    pulses = tuple(replace(pulse, row=40, column=50) for pulse in spot.pulses)
    *_, box = lamp_box(Drawn(), survey, replace(spot, pulses=pulses))
    assert isinstance(box, Rectangle)
    assert box.y > 300
    assert box.x <= 400
    assert box.x + box.width >= 412
