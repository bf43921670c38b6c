"""Where to look for the answer, from cells whose following is known: exact."""

import numpy as np
import pytest

from blinkspan.traces.regions import Rectangle
from blinkspan.traces.survey import Survey, survey_take
from blinkspan.traces.watch_place import Following, watched_part
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
    return Following(extra, 10 * extra)


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
