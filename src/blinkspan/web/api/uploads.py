"""Clips sent from the browser: kept by their content, called by their name, never placed by it."""

import re
import secrets
import time
from contextlib import suppress
from pathlib import Path, PurePath
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.concurrency import run_in_threadpool

from blinkspan.errors import LibraryConflict, UnreadableTake, UnwritableOutput
from blinkspan.jobs.add import CLIP_ENDINGS, Outcome, add_sent
from blinkspan.study.setup import Setup
from blinkspan.web.api.values import AddedState, Answers, Name
from blinkspan.web.desk import TheDesk

router = APIRouter(prefix="/api/uploads", tags=["work"])

_MOST_CHARACTERS = 120
_FORGOTTEN_S = 24 * 3600.0  # nothing is on its way so long without a byte more
_BYTES: Answers = {422: {"description": "The file is no clip that can be read."}}
_BODY = {
    "requestBody": {
        "required": True,
        "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
    }
}


@router.post("", status_code=201, responses=_BYTES, openapi_extra=_BODY)
async def upload(
    desk: TheDesk,
    request: Request,
    study: Annotated[Name, Query()],
    setup: Annotated[Name, Query()],
    name: Annotated[Name, Query(description="What the clip is called.")],
) -> AddedState:
    """Keep a clip, whose bytes are the body, in a setup; both are made where they are new."""
    ending = PurePath(name).suffix.lower()
    if ending not in CLIP_ENDINGS:
        raise UnreadableTake(
            f"{shown_name(name)} is not a film by its name; "
            f"send one of {', '.join(sorted(CLIP_ENDINGS))}"
        )
    place = desk.library / "cache" / "incoming"
    part = place / f"{secrets.token_hex(16)}{ending}"
    try:
        await run_in_threadpool(_ready, place)
        await _write(request, part)
        outcome = await run_in_threadpool(
            add_sent, desk.library, part, shown_name(name), study, Setup(setup)
        )
    except OSError as error:
        if isinstance(error, UnreadableTake | UnwritableOutput):
            raise
        raise UnwritableOutput(
            f"the clip could not be written ({error.strerror}); free some space and send it again"
        ) from error
    finally:
        await run_in_threadpool(part.unlink, missing_ok=True)
    return _added(outcome, shown_name(name), part)


def shown_name(name: str) -> str:
    r"""Return what a clip is called: the last part of its name, of harmless characters only.

    Examples
    --------
    >>> shown_name("../../etc/take 1.mp4"), shown_name("C:\\card\\a<b>.mov")
    ('take 1.mp4', 'a_b_.mov')
    """
    last = re.split(r"[\\/]", name)[-1]
    return re.sub(r"[^\w .()+-]", "_", last).lstrip(". ")[-_MOST_CHARACTERS:] or "clip"


def _ready(place: Path) -> None:
    """Make the room for clips on their way, rid of what a program that was killed left there."""
    place.mkdir(parents=True, exist_ok=True)
    for part in place.iterdir():
        with suppress(FileNotFoundError):  # it has just arrived
            if time.time() - part.stat().st_mtime > _FORGOTTEN_S:
                part.unlink()


async def _write(request: Request, part: Path) -> None:
    file = await run_in_threadpool(part.open, "xb")
    try:
        async for chunk in request.stream():
            await run_in_threadpool(file.write, chunk)
    finally:
        await run_in_threadpool(file.close)


def _added(outcome: Outcome, name: str, part: Path) -> AddedState:
    if outcome.take is None:
        why = (outcome.refusal or "").replace(str(part), name).replace(part.name, name)
        if "kept already" in why:
            raise LibraryConflict(why)
        raise UnreadableTake(why)
    told = "added" if outcome.new else "was here already"
    if outcome.spot is not None and not outcome.spot.same:
        told += f"; it {outcome.spot}"
    return AddedState(take_id=outcome.take.id, name=outcome.take.name, new=outcome.new, told=told)
