"""Regions proposed from a take: exact (rooms filmed into arrays) and known footage (staged)."""

from dataclasses import replace

import numpy as np
import pytest

from blinkspan.errors import BadRegion, NothingToMeasure
from blinkspan.footage.video import open_take
from blinkspan.traces import survey
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions
from traces.filmed_room import ANSWER, CORNERS, WIDTH, FilmedRoom, proposed

ROOM = FilmedRoom()
SPOT = Rectangle(27, 77, 6, 6)  # the six pixels a side that light up


def middle(box: Rectangle) -> tuple[float, float]:
    return box.x + box.width / 2, box.y + box.height / 2


def holds(outer: Rectangle, inner: Rectangle) -> bool:
    return (
        outer.x <= inner.x
        and outer.y <= inner.y
        and inner.x + inner.width <= outer.x + outer.width
        and inner.y + inner.height <= outer.y + outer.height
    )


@pytest.fixture(scope="module")
def regions() -> Regions:
    """Return what is proposed for the plain room."""
    return proposed(ROOM)


def test_all_three_are_named_as_proposed(regions):
    assert regions.proposed == ("lamp", "panel", "watch")


def test_the_lamps_box_holds_its_spot_with_a_rim(regions):
    assert middle(regions.lamp) == pytest.approx(middle(SPOT), abs=0.5)
    assert holds(regions.lamp, Rectangle(26, 76, 8, 8))
    assert max(regions.lamp.width, regions.lamp.height) <= 2 * SPOT.width


def test_the_panels_corners_are_found_within_a_fraction_of_a_pixel(regions):
    assert np.array(regions.panel.corners) == pytest.approx(np.array(CORNERS), abs=0.15)


def test_the_watched_part_is_where_the_screen_answers(regions):
    assert holds(regions.watch, ANSWER)
    assert regions.watch.width <= ANSWER.width + 12
    assert regions.watch.height <= ANSWER.height + 12


def test_a_film_of_ten_bits_gives_the_same(regions):
    deep = proposed(replace(ROOM, bit_depth=10))
    assert (deep.lamp, deep.watch) == (regions.lamp, regions.watch)
    assert np.array(deep.panel.corners) == pytest.approx(np.array(regions.panel.corners), abs=0.02)


def test_a_mirrored_film_gives_mirrored_regions(regions):
    mirrored = proposed(replace(ROOM, mirrored=True))
    assert mirrored.lamp == replace(regions.lamp, x=WIDTH - regions.lamp.x - regions.lamp.width)
    a, b, c, d = [(WIDTH - x, y) for x, y in mirrored.panel.corners]
    assert np.array([b, a, d, c]) == pytest.approx(np.array(regions.panel.corners), abs=0.02)


def test_a_moving_lamp_is_covered_wherever_it_was_lit():
    places = ((22.0, 72.0), (32.0, 86.0), (44.0, 90.0))
    box = proposed(replace(ROOM, lamps=places)).lamp
    assert all(holds(box, Rectangle(int(x) - 3, int(y) - 3, 6, 6)) for x, y in places)
    assert box.width <= 22 + 2 * SPOT.width
    assert box.height <= 18 + 2 * SPOT.height


def test_room_light_that_flickers_hides_nothing():
    regions = proposed(replace(ROOM, flicker=0.3))
    assert middle(regions.lamp) == pytest.approx(middle(SPOT), abs=0.5)
    assert np.array(regions.panel.corners) == pytest.approx(np.array(CORNERS), abs=0.3)


def test_two_late_presses_are_enough():
    regions = proposed(replace(ROOM, presses=(180, 290), lamps=((30.0, 80.0),) * 2))
    assert middle(regions.lamp) == pytest.approx(middle(SPOT), abs=0.5)
    assert holds(regions.watch, ANSWER)


def test_the_lamp_comes_before_a_light_on_the_screen_that_answers_it():
    """No panel is seen, so that only the order of the two lights tells them apart."""
    regions = proposed(replace(ROOM, panel=False, indicator=True))
    assert regions.panel is None
    assert regions.proposed == ("lamp", "watch")
    assert middle(regions.lamp) == pytest.approx(middle(SPOT), abs=0.5)


def test_the_lamp_is_the_light_that_the_screen_follows():
    """A standby light blinks as often and as clearly, but nothing answers it."""
    regions = proposed(replace(ROOM, standby=True))
    assert middle(regions.lamp) == pytest.approx(middle(SPOT), abs=0.5)


def test_without_an_answer_the_middle_of_the_panel_is_watched():
    watch = proposed(replace(ROOM, answers=False)).watch
    box = Quadrilateral(CORNERS).bounding_box()
    assert middle(watch) == pytest.approx(middle(box), abs=1.0)
    assert (watch.width, watch.height) == pytest.approx((0.6 * box.width, 0.6 * box.height), abs=1)


@pytest.mark.parametrize(
    "film",
    [
        replace(ROOM, lamp_light=0.0),
        replace(ROOM, lamp_light=0.0, flicker=0.3),
        replace(ROOM, presses=(60,), lamps=((30.0, 80.0),)),
        replace(ROOM, held=400),
        replace(ROOM, count=2),
    ],
    ids=["never lit", "flicker only", "lit once", "always on", "too short"],
)
def test_without_a_lamp_one_line_says_what_to_do(film):
    with pytest.raises(NothingToMeasure, match=r"no lamp found: .*; give --lamp X,Y,W,H$"):
        proposed(film)


class Unread(FilmedRoom):
    """A film that may not be read."""

    def __iter__(self):
        raise AssertionError("the film was read")


def test_what_is_given_is_kept_and_nothing_is_read():
    panel, watch = Quadrilateral(CORNERS), Rectangle(90, 20, 30, 30)
    given = proposed(Unread(), SPOT, panel, watch)
    assert given == Regions(SPOT, panel, watch)


def test_a_given_lamp_finds_the_watched_part(regions):
    found = proposed(ROOM, lamp=SPOT)
    assert found.lamp == SPOT
    assert found.proposed == ("panel", "watch")
    assert found.watch == regions.watch


def test_a_single_frame_with_a_given_lamp_leaves_the_middle_to_watch():
    found = proposed(replace(ROOM, count=1), lamp=SPOT, panel=Quadrilateral(CORNERS))
    assert found.watch == proposed(replace(ROOM, answers=False), lamp=SPOT, panel=found.panel).watch


def test_a_given_panel_and_watched_part_are_kept():
    panel, watch = Quadrilateral(CORNERS), Rectangle(90, 20, 30, 30)
    found = proposed(ROOM, panel=panel, watch=watch)
    assert (found.panel, found.watch, found.proposed) == (panel, watch, ("lamp",))


def test_for_the_panel_alone_two_seconds_are_read():
    read = 0

    class Counted(FilmedRoom):
        def __iter__(self):
            nonlocal read
            for plane in super().__iter__():
                read += 1
                yield plane

    film = Counted(presses=(), lamps=(), count=520)
    found = proposed(film, lamp=SPOT, watch=ANSWER)
    assert found.proposed == ("panel",)
    assert np.array(found.panel.corners) == pytest.approx(np.array(CORNERS), abs=0.15)
    assert read <= 481


@pytest.mark.parametrize("name", ["lamp", "watch"])
def test_a_given_region_outside_the_picture_is_refused(name):
    with pytest.raises(BadRegion, match="leaves the 192x108 picture"):
        proposed(Unread(), **{name: Rectangle(180, 4, 20, 20)})


def test_the_small_film_grows_coarser_with_the_takes_length(monkeypatch):
    monkeypatch.setattr(survey, "_MOST_FILM_BYTES", 200_000)
    *_, short = survey.survey_take(replace(ROOM, count=100), None)
    *_, long = survey.survey_take(replace(ROOM, count=380), None)
    assert short.film.nbytes <= 200_000
    assert long.film.nbytes <= 200_000
    assert long.factor > short.factor


def test_progress_counts_the_frames_done():
    counts = [step for step in survey.survey_take(ROOM, None) if isinstance(step, int)]
    assert counts == [60, 120, 180, 240, 300, 360]


def test_regions_of_a_staged_take_are_the_true_ones(small_take):
    truth = small_take.truth
    with open_take(small_take.path) as take:
        found = proposed(take)
    assert middle(found.lamp) == pytest.approx(middle(truth.lamp), abs=1.0)
    assert found.lamp.width == pytest.approx(truth.lamp.width, abs=3)
    assert np.array(found.panel.corners) == pytest.approx(np.array(truth.panel.corners), abs=0.4)
    x, y = middle(truth.watch)
    assert holds(found.watch, Rectangle(int(x), int(y), 1, 1))
    assert found.watch.width <= 2 * truth.watch.width
    assert found.watch.height <= 2 * truth.watch.height
