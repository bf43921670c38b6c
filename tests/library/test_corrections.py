"""Corrections: exact (hand-computed spans), properties (undo is an exact undo, any depth)."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_takes import LAG_SETUP, LAG_STUDY, measured_take, write_clip

from blinkspan.errors import BadSetting, LibraryConflict, NotInLibrary
from blinkspan.library.corrections import in_force
from blinkspan.library.kept import KeptCorrection
from blinkspan.library.runs import Inputs
from blinkspan.presses.correction import Correction, Corrects, corrected
from blinkspan.presses.press import Press, Reason, Verdict
from blinkspan.quantities import Budget, Measured, Term

BY = {"by": "Ida", "why": "seen on the frames"}

FOUND = Press(
    number=1,
    lamp_on=Measured(1.000, 0.003),
    lamp_off=None,
    response=Measured(1.062, 0.004),
    response_row_px=180.0,
    span=Measured(0.060, 0.005),  # 2 ms of shutter skew taken out
    net=Measured(0.048, 0.013),
    budget=Budget((Term("lamp onset", 0.003), Term("response onset", 0.004))),
    verdict=Verdict.DOUBTFUL,
    reason=Reason.TWO_CANDIDATES,
)


def moved(kind, to=None, verdict=None, reason=None):
    return Correction(1.000, kind, to, verdict, reason, "")


def test_a_moved_response_keeps_skew_and_lag():
    now = corrected(FOUND, [moved(Corrects.RESPONSE, Measured(1.052, 0.003))], None)
    assert now.span.value == pytest.approx(0.050, abs=1e-12)
    assert now.span.u == pytest.approx(0.003 * 2**0.5)  # 3 ms and 3 ms, GUM 5.1.2
    assert now.net.value == pytest.approx(0.038, abs=1e-12)
    # the lag's own u: sqrt(13^2 - 5^2) = 12 ms
    assert now.net.u == pytest.approx((2 * 0.003**2 + 0.012**2) ** 0.5)
    assert now.verdict is Verdict.DOUBTFUL


def test_a_persons_doubt_stands_for_all_that_the_program_left_open_of_the_response():
    terms = (
        Term("lamp onset", 0.003),
        Term("response onset", 0.001),
        Term("panel step", 0.004, shared=True),
        Term("rolling shutter", 0.0, shared=True),
    )
    found = replace(FOUND, budget=Budget(terms))
    now = corrected(found, [moved(Corrects.RESPONSE, Measured(1.052, 0.004))], None)
    assert {term.name: term.u_s for term in now.budget.terms} == {
        "response onset": 0.004,
        "lamp onset": 0.003,
        "rolling shutter": 0.0,
    }
    assert now.span.u == pytest.approx(0.005)  # 3 ms and 4 ms, GUM 5.1.2


def test_a_moved_lamp_onset_shortens_the_span():
    now = corrected(FOUND, [moved(Corrects.LAMP_ON, Measured(1.004, 0.003))], None)
    assert now.span.value == pytest.approx(0.056, abs=1e-12)
    assert now.span.u == pytest.approx(0.005)


def test_a_response_taken_away_leaves_no_span_and_no_accepted_press():
    said = [moved(Corrects.VERDICT, verdict=Verdict.ACCEPTED), moved(Corrects.RESPONSE)]
    now = corrected(FOUND, said, None)
    assert (now.span, now.net) == (None, None)
    assert (now.verdict, now.reason) == (Verdict.REJECTED, Reason.NO_RESPONSE)


def test_a_response_the_program_missed():
    missed = replace(FOUND, response=None, span=None, net=None)
    said = [moved(Corrects.RESPONSE, Measured(1.07, 0.004), Verdict.ACCEPTED)]
    now = corrected(missed, said, Measured(0.010, 0.001))
    assert now.span.value == pytest.approx(0.07)
    assert now.net.value == pytest.approx(0.06)
    assert (now.verdict, now.reason) == (Verdict.ACCEPTED, None)


def test_no_correction_is_no_change():
    assert corrected(FOUND, [], None) == FOUND


@pytest.fixture
def take(library, tmp_path):
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    take = library.add_take(write_clip(tmp_path / "a.mp4", 1), setup).take
    library.keep_run(take, measured_take(tmp_path / "a.mp4"), Inputs("0.1.0", {}))
    return take


def test_a_verdict_is_changed_and_brought_back(library, take):
    before = library.presses(take=take)
    first = library.correct(
        before[0].id, Corrects.VERDICT, verdict=Verdict.REJECTED, reason=Reason.BOUNCE, **BY
    )
    now = library.presses(take=take)
    assert now[0].press.verdict is Verdict.REJECTED
    assert now[0].measured == before[0].press
    assert now[0].corrections == (first.id,)
    assert list(now)[1:] == list(before)[1:]
    undoing = library.undo(first, by="Ida")
    assert list(library.presses(take=take)) == list(before)
    library.undo(undoing, by="Ida")
    assert list(library.presses(take=take)) == list(now)
    kept = library.corrections(take)
    assert [row.undoes_id for row in kept] == [None, first.id, undoing.id]
    assert kept[0].by == "Ida"
    assert kept[0].correction.why == "seen on the frames"


def test_corrections_survive_measuring_anew(library, take, tmp_path):
    before = library.presses(take=take)
    to = Measured(before[2].press.response.value - 0.004, 0.001)
    library.correct(before[2].id, Corrects.RESPONSE, to=to, **BY)
    found = measured_take(tmp_path / "a.mp4")
    # a later program finds one press more at the start, and onsets a millisecond later
    extra = replace(found.presses[0], lamp_on=Measured(0.01, 0.0004))
    later = [replace(p, lamp_on=p.lamp_on + 0.001) for p in found.presses]
    renumbered = tuple(replace(p, number=n) for n, p in enumerate([extra, *later], start=1))
    library.keep_run(take, replace(found, presses=renumbered), Inputs("0.2.0", {}))
    now = library.presses(take=take)
    assert [bool(kept.corrections) for kept in now] == [False, False, False, True, False]
    assert now[3].press.response == to
    assert len(library.runs(take)) == 2


def test_a_correction_whose_press_is_gone_waits(library, take, tmp_path):
    before = library.presses(take=take)
    library.correct(before[1].id, Corrects.VERDICT, verdict=Verdict.REJECTED, **BY)
    found = measured_take(tmp_path / "a.mp4")
    without = (found.presses[0], *found.presses[2:])
    library.keep_run(take, replace(found, presses=without), Inputs("0.2.0", {}))
    assert not any(kept.corrections for kept in library.presses(take=take))
    library.keep_run(take, found, Inputs("0.3.0", {}))
    assert library.presses(take=take)[1].press.verdict is Verdict.REJECTED


@given(st.lists(st.none() | st.integers(0, 30), max_size=30))
def test_undoing_and_undoing_an_undoing_agree_with_a_plain_model(steps):
    """None adds a correction, a number undoes one of the rows not undone yet."""
    moment = datetime(2026, 1, 1, tzinfo=UTC)
    rows, holds, open_ids = [], {}, []

    def switch(row, on):
        holds[row.id] = on
        if row.undoes_id is not None:
            switch(rows[row.undoes_id], not on)

    for step in steps:
        key = len(rows)
        said, undoes = moved(Corrects.RESPONSE), None
        if step is not None:
            if not open_ids:
                continue
            said, undoes = None, open_ids.pop(step % len(open_ids))
        rows.append(KeptCorrection(key, 1, 1, said, "Ida", moment, undoes))
        open_ids.append(key)
        switch(rows[key], True)
    expected = [row.id for row in rows if row.undoes_id is None and holds[row.id]]
    assert [row.id for row in in_force(tuple(rows))] == expected


def test_corrections_that_say_nothing_are_refused(library, take):
    press = library.presses(take=take)[0]
    with pytest.raises(BadSetting, match="verdict is missing"):
        library.correct(press.id, Corrects.VERDICT, **BY)
    with pytest.raises(BadSetting, match="reject it"):
        library.correct(press.id, Corrects.LAMP_ON, **BY)
    with pytest.raises(BadSetting, match="name of who"):
        library.correct(press.id, Corrects.VERDICT, verdict=Verdict.REJECTED, by=" ", why="")
    with pytest.raises(NotInLibrary, match="no press has the key 10000"):
        library.correct(10_000, Corrects.VERDICT, verdict=Verdict.REJECTED, **BY)
    kept = library.correct(press.id, Corrects.VERDICT, verdict=Verdict.REJECTED, **BY)
    library.undo(kept, by="Ida")
    with pytest.raises(LibraryConflict, match="undone already"):
        library.undo(kept, by="Ida")
