"""Presses of a take in order of doubt, and the bench on which one is looked at and corrected.

The bench arrives complete: pictures, numbers, what was said, and a form to
correct by. The scripts put the quick viewer in its place.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.responses import Response

from blinkspan.errors import NotInLibrary
from blinkspan.jobs.take_review import TakeReview
from blinkspan.presses.correction import Corrects
from blinkspan.presses.press import Verdict
from blinkspan.publish import words
from blinkspan.web.api.states import correction_states, presses_state
from blinkspan.web.api.values import CorrectionState, Key, PressesOfTake, PressState
from blinkspan.web.desk import TheDesk
from blinkspan.web.dots import DotPress, DotsChart, DotsSetup, dots_chart
from blinkspan.web.film import film_lost, film_of
from blinkspan.web.pages.library import study_href
from blinkspan.web.press_form import Said, read_form
from blinkspan.web.shell import render
from blinkspan.web.study_frame import NET_AXIS, SPAN_AXIS

router = APIRouter(include_in_schema=False)

# Frames in a strip, before and after the one in whose exposure the onset falls.
_STRIP = (2, 3)
_WIDE = 4  # frames from one to the next where no response was seen
_USUALLY_ANSWERED_MS = 100.0  # where no other press tells when to look


# What the strip of the watched part is called.
ANSWERED = "Around the response, ms from lamp-on"
UNANSWERED = "No response seen; ms from lamp-on"


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing that was said of a press; ``undone`` where it was taken back."""

    told: str
    why: str
    by: str
    at: str
    undone: bool


@router.get("/takes/{take_id}/presses", response_class=HTMLResponse)
def press_list(desk: TheDesk, request: Request, take_id: Key) -> HTMLResponse:
    """Return the list of a take's presses, the most doubtful first."""
    review = desk.reviews.of(take_id)
    state = presses_state(review)
    ordered = _in_order(state)
    return render(
        request,
        "presses.html",
        {
            "review": review,
            "state": state,
            "study_href": study_href(review.setup.study),
            "presses": ordered,
            "authors": _authors(review),
            "chart": _chart(review, state),
            "waiting": [p for p in ordered if waits(p)],
        },
    )


@router.get("/takes/{take_id}/presses/{number}", response_class=HTMLResponse)
def press(desk: TheDesk, request: Request, take_id: Key, number: Key) -> HTMLResponse:
    """Return the bench for one press, by its number in the take."""
    review = desk.reviews.of(take_id)
    state = presses_state(review)
    shown = _numbered(review, state, number)
    film = film_of(desk, review)
    ordered = _in_order(state)
    place = ordered.index(shown)
    return render(
        request,
        "press.html",
        {
            "review": review,
            "state": state,
            "press": shown,
            "study_href": study_href(review.setup.study),
            "film": film,
            "lost": film_lost(desk, review),
            "earlier": ordered[place - 1] if place else None,
            "later": ordered[place + 1] if place + 1 < len(ordered) else None,
            "waiting": sum(waits(p) for p in ordered),
            "remarks": remarks(correction_states(review), shown.id),
            "strips": _strips(state, shown, film.frames),
            "answered": ANSWERED,
            "unanswered": UNANSWERED,
            "reasons": {reason.value: told for reason, told in words.REASONS.items()},
            "verdicts": {verdict.value: told for verdict, told in words.VERDICTS.items()},
        },
    )


@router.post("/takes/{take_id}/presses/{number}")
def say(
    desk: TheDesk, take_id: Key, number: Key, said: Annotated[Said, Depends(read_form)]
) -> Response:
    """Keep what the form says of a press and lead back to its page."""
    review = desk.reviews.of(take_id)
    shown = _numbered(review, presses_state(review), number)
    desk.reviews.correct(shown.id, **said.as_correction(review, desk.person))
    return RedirectResponse(f"/takes/{take_id}/presses/{number}", 303)


def waits(press: PressState) -> bool:
    """Return whether a press still waits for a person: doubtful, or not yet spoken of."""
    return press.verdict is Verdict.DOUBTFUL or not press.corrections


def remarks(said: Sequence[CorrectionState], press_id: int) -> Sequence[Remark]:
    """Return what was said of a press, the latest first; undoings mark what they took back."""
    undoes = {row.id: row.undoes for row in said}
    undone: set[int] = set()
    for row in said:
        if row.undoes is None:
            continue
        twice = undoes.get(row.undoes)
        if twice is None:
            undone.add(row.undoes)
        else:  # the undoing of an undoing brings the correction back
            undone.discard(twice)
    return [
        Remark(_told(row), row.why, row.by, f"{row.made_at:%Y-%m-%d %H:%M}", row.id in undone)
        for row in reversed(said)
        if row.press_id == press_id and row.corrects is not None
    ]


def _told(said: CorrectionState) -> str:
    if said.corrects == Corrects.VERDICT:
        moved = ""
    elif said.to is None:
        moved = "no response"
    else:
        moved = f"{said.corrects} at {words.seconds(said.to.at_s)}"
    held = "" if said.verdict is None else str(said.verdict)
    if said.reason is not None:
        held += f": {said.reason}"
    return ", ".join(part for part in (moved, held) if part)


def _numbered(review: TakeReview, state: PressesOfTake, number: int) -> PressState:
    for each in state.presses:
        if each.number == number:
            return each
    raise NotInLibrary(
        f"{review.take.name!r} has no press {number}; it has {len(state.presses)}, see their list"
    )


def _in_order(state: PressesOfTake) -> list[PressState]:
    by_key = {each.id: each for each in state.presses}
    return [by_key[key] for key in state.order]


def _authors(review: TakeReview) -> dict[int, str]:
    """Return who spoke last of each press, by the key of what was said."""
    return {row.id: row.by for row in review.corrections}


def _chart(review: TakeReview, state: PressesOfTake) -> DotsChart | None:
    """Return every press as a dot, net of the display's lag where that is known."""
    said = state.summary
    net = said.net_median_ms is not None
    dots = [
        DotPress(
            told.ms,
            each.verdict,
            f"/takes/{review.take.id}/presses/{each.number}",
            f"Press {each.number}",
        )
        for each in state.presses
        if (told := each.net if net else each.span) is not None
    ]
    if not dots:
        return None
    setup = DotsSetup(
        review.setup.setup.name,
        dots,
        said.net_median_ms if net else said.median_ms,
        said.net_interval_ms if net else said.interval_ms,
    )
    return dots_chart([setup], NET_AXIS if net else SPAN_AXIS)


def _strips(
    state: PressesOfTake, press: PressState, count: int
) -> list[tuple[str, str, str | None, list[int], int | None]]:
    """Return the strips: key, label, part of the picture, frames, and the onset's frame.

    A press without a response shows the picture about the time at which others answer.
    """
    regions = state.take.regions
    lamp = None if regions is None else ",".join(map(str, regions.lamp))
    watch = None if regions is None else ",".join(map(str, regions.watch))
    lit, answered = press.lamp_on_frame, press.response_frame
    if answered is not None:
        name, frames = ANSWERED, _around(answered, count)
    else:
        after_ms = state.summary.median_ms or _USUALLY_ANSWERED_MS
        then = lit + round(1e-3 * after_ms * (state.take.rate_hz or 0.0))
        name, frames = UNANSWERED, _around(then, count, _WIDE)
    return [
        ("lamp", "Around lamp-on, ms from lamp-on", lamp, _around(lit, count), lit),
        ("response", name, watch, frames, answered),
    ]


def _around(middle: int, count: int, step: int = 1) -> list[int]:
    frames = range(middle - _STRIP[0] * step, middle + _STRIP[1] * step + 1, step)
    return [frame for frame in frames if 0 <= frame < count]
