"""Frames as pictures, and when each was taken."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from blinkspan.errors import BadRegion
from blinkspan.jobs.take_frames import View
from blinkspan.traces.regions import Rectangle
from blinkspan.web.api.values import Answers, FrameTimes, Key
from blinkspan.web.desk import TheDesk

router = APIRouter(prefix="/api/takes/{take_id}", tags=["frames"])

# A frame of a take never changes: the take is kept by the hash of its bytes.
_FOREVER = "private, max-age=31536000, immutable"
_WIDEST_PX = 8192
_JPEG: Answers = {200: {"content": {"image/jpeg": {}}, "description": "The frame."}}


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


@router.get("/frames/{frame}", response_class=Response, responses=_JPEG)
def frame_picture(
    desk: TheDesk,
    request: Request,
    take_id: Key,
    frame: Annotated[int, "Counted from 0."],
    width: Annotated[int | None, Query(ge=1, le=_WIDEST_PX)] = None,
    crop: Annotated[
        str | None,
        Query(description="x,y,width,height in pixels of the take.", max_length=60),
    ] = None,
) -> Response:
    """Return one frame in grey, as it was measured; a part of it, and narrower, where asked."""
    view = View(None if crop is None else box_of(crop), width)
    take = desk.frames.take(take_id)
    tag = f'"{take.sha256[:16]}-{frame}-{crop or ""}-{width or ""}"'
    headers = {"ETag": tag, "Cache-Control": _FOREVER}
    if 0 <= frame < take.frames and request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    picture = desk.frames.picture(take_id, frame, view)
    return Response(picture, media_type="image/jpeg", headers=headers)


def box_of(text: str) -> Rectangle:
    """Return a box from its four numbers."""
    try:
        x, y, width, height = (int(part) for part in text.split(","))
    except ValueError as error:
        raise BadRegion(
            f"the part {text!r} cannot be read; give x,y,width,height in whole pixels"
        ) from error
    return Rectangle(x, y, width, height)
