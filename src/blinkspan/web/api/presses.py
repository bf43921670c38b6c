"""Presses of a take as they stand, and what a person says of them."""

from typing import Annotated

from fastapi import APIRouter, Header

from blinkspan.errors import BadSetting, LibraryConflict
from blinkspan.jobs.take_review import TakeReview
from blinkspan.quantities import Measured
from blinkspan.web.api.states import Version, correction_states, presses_state
from blinkspan.web.api.values import (
    Answers,
    CorrectionGiven,
    CorrectionState,
    Key,
    PressesOfTake,
    Refusal,
    StepGiven,
)
from blinkspan.web.desk import TheDesk

router = APIRouter(prefix="/api/takes/{take_id}", tags=["presses"])

IfMatch = Annotated[str, Header(description="The version that was seen.", max_length=60)]
_CHANGED: Answers = {409: {"model": Refusal, "description": "It changed since it was seen."}}

# Half-way between the frame seen and its neighbours: a person who marks a frame is
# within half a frame either way (GUM 4.3.7: a half width over the root of three).
_SHARE_OF_FRAME = 0.5 / 3**0.5
# Frames to have ready on each side of a press that waits.
_AHEAD_FRAMES = 30


@router.get("/presses")
def presses(desk: TheDesk, take_id: Key) -> PressesOfTake:
    """Return a take's presses in order of time, their order of doubt and their summary."""
    return presses_state(desk.reviews.of(take_id))


@router.get("/corrections")
def corrections(desk: TheDesk, take_id: Key) -> tuple[CorrectionState, ...]:
    """Return everything that was said of a take's presses, undoings among it."""
    return correction_states(desk.reviews.of(take_id))


@router.post("/frames/ahead", status_code=202)
def make_ahead(desk: TheDesk, take_id: Key) -> dict[str, int]:
    """Begin to make the frames around every press, the most doubtful first."""
    state = presses_state(desk.reviews.of(take_id))
    by_key = {press.id: press for press in state.presses}
    stretches = [
        (
            max(0, by_key[key].lamp_on_frame - _AHEAD_FRAMES),
            (by_key[key].response_frame or by_key[key].lamp_on_frame) + _AHEAD_FRAMES,
        )
        for key in state.order
    ]
    desk.frames.make_ahead(take_id, stretches)
    return {"presses": len(stretches)}


@router.post("/presses/{press_id}/corrections", responses=_CHANGED, status_code=201)
def correct(
    desk: TheDesk, take_id: Key, press_id: Key, given: CorrectionGiven, if_match: IfMatch
) -> PressesOfTake:
    """Return the presses as they stand after one was corrected and that was kept."""
    before = desk.reviews.of(take_id)
    if press_id not in {each.kept.id for each in before.presses}:
        raise LibraryConflict("this take was measured anew since you opened it; load it again")
    desk.reviews.correct(
        press_id,
        by=given.by,
        why=given.why,
        lamp_on=_at(given.lamp_on_s, given.u_ms, before),
        response=_at(given.response_s, given.u_ms, before),
        no_response=given.no_response,
        verdict=given.verdict,
        reason=given.reason,
        seen=_seen(if_match).last,
    )
    return presses_state(desk.reviews.of(take_id))


@router.post("/undo", responses=_CHANGED)
def undo(desk: TheDesk, take_id: Key, given: StepGiven, if_match: IfMatch) -> PressesOfTake:
    """Return the presses as they stand after the last correction in force was undone."""
    before = desk.reviews.of(take_id)
    return _step(desk, before, before.undo, "undo", given, if_match)


@router.post("/redo", responses=_CHANGED)
def redo(desk: TheDesk, take_id: Key, given: StepGiven, if_match: IfMatch) -> PressesOfTake:
    """Return the presses as they stand after what was undone last was brought back."""
    before = desk.reviews.of(take_id)
    return _step(desk, before, before.redo, "redo", given, if_match)


def _step(
    desk: TheDesk, before: TakeReview, key: int | None, name: str, given: StepGiven, if_match: str
) -> PressesOfTake:
    seen = _seen(if_match)
    if seen.last != before.seen:
        raise LibraryConflict(
            f"this take was corrected elsewhere since you opened it, so the {name} was not done; "
            "look at it as it stands now"
        )
    if key is None:
        raise BadSetting(f"there is nothing to {name} in this take")
    desk.reviews.undo(key, by=given.by, why=given.why, seen=seen.last)
    return presses_state(desk.reviews.of(before.take.id))


def _seen(if_match: str) -> Version:
    version = Version.read(if_match)
    if version is None:
        raise BadSetting(
            f"the version {if_match!r} is none of ours; send the one that came with the presses"
        )
    return version


def _at(at_s: float | None, u_ms: float | None, take: TakeReview) -> Measured | None:
    if at_s is None:
        return None
    if u_ms is not None:
        return Measured(at_s, u_ms / 1e3)
    if take.measurement is None:
        raise BadSetting("say how sure the instant is (u_ms); this take has to be measured again")
    return Measured(at_s, _SHARE_OF_FRAME / take.measurement.take.rate_hz)
