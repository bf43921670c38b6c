"""Frames as pictures, and when each was taken."""

from asyncio import create_task
from enum import StrEnum
from threading import Event
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from blinkspan.errors import BadRegion
from blinkspan.footage.lookup import GivenUp
from blinkspan.jobs.frame_pictures import View
from blinkspan.traces.regions import Rectangle
from blinkspan.web.api.values import Answers, FrameTimes, Key
from blinkspan.web.desk import TheDesk

router = APIRouter(prefix="/api/takes/{take_id}", tags=["frames"])

# A frame of a take never changes: the take is kept by the hash of its bytes.
_FOREVER = "private, max-age=31536000, immutable"
_WIDEST_PX = 8192
_PICTURE: Answers = {
    200: {
        "content": {"image/jpeg": {}, "image/webp": {}},
        "description": "The frame.",
    },
    204: {"description": "Nobody waited for it any more."},
}
_PREVIEW: Answers = {
    200: {"content": {"image/jpeg": {}}, "description": "The frame, small."},
    204: {"description": "It is not made yet; the frame itself can be had."},
}
_NOT_KEPT = {"Cache-Control": "no-store"}


class Shades(StrEnum):
    """In colour as it was filmed, or in grey as it was measured."""

    COLOUR = "colour"
    GREY = "grey"


class Coding(StrEnum):
    """What kind of picture file: JPEG is made in milliseconds, WebP is smaller and slow."""

    JPEG = "jpeg"
    WEBP = "webp"


@router.get("/frames/times")
def frame_times(desk: TheDesk, take_id: Key) -> FrameTimes:
    """Return when the exposure of each frame began, and the size of the picture."""
    take = desk.frames.take(take_id)
    return FrameTimes(
        rate_hz=float(take.clock.rate_hz),
        source=take.clock.source,
        width_px=take.format.width_px,
        height_px=take.format.height_px,
        start_s=tuple(take.clock.start_s.tolist()),
    )


@router.get("/frames/{frame}", response_class=Response, responses=_PICTURE)
async def frame_picture(
    desk: TheDesk,
    request: Request,
    take_id: Key,
    frame: Annotated[int, "Counted from 0."],
    width: Annotated[int | None, Query(ge=1, le=_WIDEST_PX)] = None,
    crop: Annotated[
        str | None,
        Query(description="x,y,width,height in pixels of the take.", max_length=60),
    ] = None,
    shades: Shades = Shades.COLOUR,
    coding: Annotated[Coding, Query(alias="format")] = Coding.JPEG,
) -> Response:
    """Return one frame; a part of it, narrower, in grey or as WebP where asked."""
    box = None if crop is None else box_of(crop)
    view = View(box, width, plain=shades is Shades.GREY, webp=coding is Coding.WEBP)
    take = await run_in_threadpool(desk.frames.take, take_id)
    tag = f'"{take.sha256[:16]}-{frame}-{crop or ""}-{width or ""}-{shades}-{coding}"'
    headers = {"ETag": tag, "Cache-Control": _FOREVER}
    if 0 <= frame < take.frames and request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    gone = Event()
    watch = create_task(_leaving(request, gone))
    try:
        picture = await run_in_threadpool(
            desk.frames.picture, take_id, frame, view, lambda: not gone.is_set()
        )
    except GivenUp:
        return Response(status_code=204, headers=_NOT_KEPT)
    finally:
        watch.cancel()
    return Response(picture, media_type=f"image/{coding}", headers=headers)


@router.get("/frames/{frame}/preview", response_class=Response, responses=_PREVIEW)
def frame_preview(
    desk: TheDesk, take_id: Key, frame: Annotated[int, "Counted from 0."]
) -> Response:
    """Return one frame small, at once, where its small picture is made already."""
    found = desk.frames.preview(take_id, frame)
    if found is None:
        return Response(status_code=204, headers=_NOT_KEPT)
    return Response(found, media_type="image/jpeg", headers={"Cache-Control": _FOREVER})


async def _leaving(request: Request, gone: Event) -> None:
    """Set an event when whoever asked has gone: a jump leaves frames behind that nobody wants."""
    while (await request.receive())["type"] != "http.disconnect":
        pass
    gone.set()


def box_of(text: str) -> Rectangle:
    """Return a box from its four numbers."""
    try:
        x, y, width, height = (int(part) for part in text.split(","))
    except ValueError as error:
        raise BadRegion(
            f"the part {text!r} cannot be read; give x,y,width,height in whole pixels"
        ) from error
    return Rectangle(x, y, width, height)
