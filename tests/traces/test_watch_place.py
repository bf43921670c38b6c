"""Where to look for the answer, from cells whose following is known: exact."""

from fractions import Fraction

import numpy as np
import pytest

from blinkspan.footage.frames import Clock, PictureFormat, TransferCurve
from blinkspan.traces.following import Following
from blinkspan.traces.following import following as follows
from blinkspan.traces.regions import Rectangle
from blinkspan.traces.survey import Survey, survey_take
from blinkspan.traces.watch_place import watched_part
from traces.filmed_room import FilmedRoom

LAMP = Rectangle(60, 50, 8, 8)


@pytest.fixture(scope="module")
def survey() -> Survey:
    *_, found = survey_take(FilmedRoom(count=60), None)
    assert isinstance(found, Survey)
    return found


def following(survey: Survey, *answers: tuple[Rectangle, float]) -> Following:
    extra = np.zeros(survey.film.shape[1:])
    for box, strength in answers:
        extra[survey.cell_box(box)] = strength
    return Following(extra, 10 * extra, extra > 0)


def touches(one: Rectangle, other: Rectangle) -> bool:
    return (
        one.x < other.x + other.width
        and other.x < one.x + one.width
        and one.y < other.y + other.height
        and other.y < one.y + one.height
    )


def test_answers_on_both_sides_of_the_lamp_are_watched_on_the_greater_without_it(survey):
    less, more = Rectangle(8, 44, 16, 20), Rectangle(108, 40, 60, 28)
    part = watched_part(survey, following(survey, (less, 20.0), (more, 20.0)), LAMP, None)
    assert not touches(part, LAMP)
    assert not touches(part, less)
    assert part.x <= more.x + survey.factor
    assert part.x + part.width >= more.x + more.width - survey.factor


def test_an_answer_clear_of_the_lamp_is_watched_whole(survey):
    answer = Rectangle(108, 40, 60, 28)
    part = watched_part(survey, following(survey, (answer, 20.0)), LAMP, None)
    assert touches(part, answer)
    assert not touches(part, LAMP)


PRESSES, LATER = [300 + 200 * k for k in range(12)], 20


def filmed(
    changes: dict[Rectangle, list[int]], alone: dict[Rectangle, list[int]] | None = None
) -> Survey:
    """Return a small film in which boxes light up for a moment after the presses named.

    Those in ``alone`` light up somewhat at some frames too, where nothing is pressed.
    """
    factor, count = 4, 3000
    film = np.random.default_rng(4).integers(80, 83, (count, 27, 48), np.uint8)
    empty = np.zeros((27 * factor, 48 * factor), np.float32)
    clock = Clock(np.arange(count) / 240, Fraction(240), "made of arrays")
    picture = PictureFormat(48 * factor, 27 * factor, 8, True, TransferCurve.LINEAR)
    survey = Survey(clock, picture, factor, film, 1, empty, empty, None)
    for box, presses in changes.items():
        for press in presses:
            first = PRESSES[press] + LATER
            film[(slice(first, first + 15), *survey.cell_box(box))] += 40
    for box, firsts in (alone or {}).items():
        for first in firsts:
            film[(slice(first, first + 15), *survey.cell_box(box))] += 12
    return survey


def test_a_scene_lively_by_chance_after_some_presses_is_not_watched():
    answer, chance = Rectangle(100, 76, 20, 20), Rectangle(140, 12, 20, 20)
    survey = filmed({answer: list(range(12)), chance: [1, 5, 6, 9]}, alone={chance: [30, 90, 150]})
    part = watched_part(survey, follows(survey, PRESSES, LAMP, None), LAMP, None)
    assert touches(part, answer)
    assert not touches(part, chance)


def test_places_that_answer_by_turns_are_all_watched():
    places = [Rectangle(100 + 20 * k, 20, 16, 16) for k in range(4)]
    survey = filmed({place: list(range(k, 12, 4)) for k, place in enumerate(places)})
    part = watched_part(survey, follows(survey, PRESSES, LAMP, None), LAMP, None)
    assert all(touches(part, place) for place in places)


def test_a_lone_cell_that_always_follows_does_not_turn_an_answer_away(survey):
    answer = Rectangle(108, 40, 60, 28)
    seen = following(survey, (answer, 20.0))
    seen.always[:] = False
    rows, columns = survey.cell_box(answer)
    seen.always[rows.start, columns.start] = True
    assert watched_part(survey, seen, LAMP, None) == watched_part(
        survey, following(survey, (answer, 20.0)), LAMP, None
    )
