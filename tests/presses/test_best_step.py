"""Which way of looking is believed: steps made up, each told by what it states of itself."""

from types import SimpleNamespace

import numpy as np
import pytest

from blinkspan.onsets.grid import Grid
from blinkspan.onsets.ticks import Ticks
from blinkspan.presses import best_step as module
from blinkspan.quantities import Measured

PERIOD_S = 1 / 240
TICK_S = 1 / 60
LAMPS = Measured(0.0021, 0.0004)
TICKS = Ticks(Measured(0.004, 4e-4), TICK_S, 60.0, Measured(4e-5, 1e-6), 100.0, 200.0)


def stepped(
    answered: int,
    *,
    at_s: float = 0.0,
    exposure_s: float = 0.002,
    alike: bool = True,
    shared_u_s: float = 3e-4,
    jumps_s: list[float] | None = None,
    begins_s: tuple[float, ...] = (0.0, 1.0, 2.0, 3.0, 4.0),
):
    """Return a step of five presses at row 150 whose grid lies so long after the panel's ticks."""
    zero_s = TICKS.zero_at(150.0).value + 3 * TICK_S + at_s
    step = SimpleNamespace(
        grid=Grid(zero_s, TICK_S, np.arange(5), 60.0),
        row_px=150.0,
        shared_u_s=2e-4,
        on_ticks=False,
        response_s=0.001,
        wanted_exposure_s=Measured(exposure_s, 2e-4),
        begins=[Measured(at, 2e-4) for at in begins_s],
    )
    learnt = SimpleNamespace(moving=None, template=SimpleNamespace(alike=alike), jumps_s=jumps_s)
    found = SimpleNamespace(learnt=learnt, answers=[True] * answered + [None] * (5 - answered))
    return found, SimpleNamespace(step=step, shared_u_s=shared_u_s, hold_s=TICK_S), []


def chosen(monkeypatch, other, ticks: Ticks | None = TICKS, first=None):
    first = first or stepped(3)
    monkeypatch.setattr(module, "other_answers", lambda *_: [other])
    series = SimpleNamespace(clock=SimpleNamespace(period_s=PERIOD_S))
    best = module.best_step(
        series,
        [None] * 5,
        first[0],
        LAMPS,
        ticks,
        lambda f: first if f is first[0] else f,
        lambda _: None,
    )
    return "other" if best is other else "first"


def test_a_way_that_finds_more_presses_on_the_panels_ticks_is_believed(monkeypatch):
    assert chosen(monkeypatch, stepped(5)) == "other"


@pytest.mark.parametrize("at_s", [0.0025, -0.0025, TICK_S - 0.0025])
def test_a_grid_beside_the_panels_ticks_is_not(monkeypatch, at_s):
    assert chosen(monkeypatch, stepped(5, at_s=at_s)) == "first"
    assert chosen(monkeypatch, stepped(5, at_s=at_s), ticks=None) == "other"


@pytest.mark.parametrize("exposure_s", [0.0004, 0.0041])
def test_an_exposure_that_the_lamp_contradicts_is_not(monkeypatch, exposure_s):
    assert chosen(monkeypatch, stepped(5, exposure_s=exposure_s)) == "first"


def test_answers_that_look_alike_are_better_than_others_that_leave_as_much_doubt(monkeypatch):
    growing = stepped(5, alike=False, shared_u_s=0.0084)
    assert chosen(monkeypatch, stepped(5, shared_u_s=0.0085), first=growing) == "other"
    assert chosen(monkeypatch, stepped(4, shared_u_s=0.0085), first=growing) == "first"
    sure = stepped(5, alike=False, shared_u_s=0.0014)
    assert chosen(monkeypatch, stepped(5, shared_u_s=0.0085), first=sure) == "first"


@pytest.mark.parametrize(
    ("begins_s", "best"),
    [
        ((0.0, 1.0, 2.0, 3.0, 4.0), "other"),
        ((0.0, 1.0, 2.0, 3.0 - TICK_S, 4.0), "first"),  # one a game frame early
        ((0.05, 1.05, 2.05, 3.05, 4.05), "first"),  # all of them later than what is shared
    ],
)
def test_where_all_presses_share_a_jump_others_have_to_begin_at_it(monkeypatch, begins_s, best):
    first = stepped(3, jumps_s=[-0.008, 0.991, 1.992, 2.993, 3.992])
    assert chosen(monkeypatch, stepped(5, begins_s=begins_s), first=first) == best


def test_what_presses_have_in_common_refresh_for_refresh_comes_before_other_ways(monkeypatch):
    monkeypatch.setattr(module, "other_answers", lambda *_: pytest.fail("not asked"))
    first, shared = stepped(3), stepped(5)
    series = SimpleNamespace(clock=SimpleNamespace(period_s=PERIOD_S))
    best = module.best_step(
        series, [None] * 5, first[0], LAMPS, TICKS, lambda _: first, lambda _: shared
    )
    assert best is shared
