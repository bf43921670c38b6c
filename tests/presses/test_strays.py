"""Responses that no press explains: known footage made of arrays."""

from dataclasses import replace

from blinkspan.onsets.edge import lit_spells
from blinkspan.presses.finding import find_answers
from blinkspan.presses.searching import searches
from blinkspan.presses.strays import stray_answers
from blinkspan.traces.lamp import lamp_trace
from presses.array_film import ArrayFilm, series_of, staged


def strays_of(film: ArrayFilm) -> list[float]:
    series = series_of(film)
    spells = lit_spells(lamp_trace(series, row_s=0.0).trace)
    todo = searches(series.clock.start_s, [s.first for s in spells], series.clock.period_s)
    return stray_answers(series, todo, find_answers(series, todo))


def test_what_follows_most_answers_is_no_answer_without_a_press():
    film = staged(count=8)
    after = tuple(t + 0.35 for t in film.responses_s)
    assert strays_of(replace(film, stray_s=after)) == []
    assert len(strays_of(replace(film, stray_s=after[1:3]))) == 2


def test_an_answer_without_a_press_is_told_only_where_some_press_taught_what_an_answer_is():
    film = replace(staged(count=8), seconds=8.6, stray_s=(7.6,))
    series = series_of(film)
    spells = lit_spells(lamp_trace(series, row_s=0.0).trace)
    todo = searches(series.clock.start_s, [s.first for s in spells], series.clock.period_s)
    found = find_answers(series, todo)
    (stray,) = stray_answers(series, todo, found)
    assert abs(stray - 7.6) < 0.02
    untaught = replace(found, answers=[None] * len(todo))
    assert stray_answers(series, todo, untaught) == []
