"""Regions of a take as a person gives them, and the traces that follow the hand meanwhile."""

from enum import StrEnum
from threading import Lock
from typing import Annotated
from weakref import WeakKeyDictionary

import numpy as np
from fastapi import APIRouter, Query
from starlette.responses import Response

from blinkspan.jobs.take_frames import TakeFrames
from blinkspan.jobs.take_look import TakeLook, take_look
from blinkspan.jobs.take_setup import give_regions, spot_of
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions
from blinkspan.web.api.frames import box_of
from blinkspan.web.api.states import take_state
from blinkspan.web.api.values import Answers, Key, RegionsGiven, SpotState, TakeState
from blinkspan.web.desk import TheDesk

router = APIRouter(prefix="/api/takes/{take_id}", tags=["regions"])

_BINARY: Answers = {
    200: {
        "content": {"application/octet-stream": {}},
        "description": "Values, then start times in seconds, each n little-endian 32-bit floats.",
    }
}


class Shows(StrEnum):
    """What a trace of a box shows: its mean light, or what changes from frame to frame."""

    LIGHT = "light"
    CHANGE = "change"


class _Looks:
    """The small film of the take looked at last, read once; gone with the take."""

    def __init__(self) -> None:
        self._made: WeakKeyDictionary[TakeFrames, TakeLook] = WeakKeyDictionary()
        self._lock = Lock()

    def of(self, take: TakeFrames) -> TakeLook:
        with self._lock:
            if take not in self._made:
                self._made.clear()  # one is 50 MB
                self._made[take] = take_look(take)
            return self._made[take]


_looks = _Looks()


@router.get("/box/{shows}", response_class=Response, responses=_BINARY)
def box_trace(
    desk: TheDesk,
    take_id: Key,
    shows: Shows,
    box: Annotated[
        str, Query(description="x,y,width,height in pixels of the take.", max_length=60)
    ],
) -> Response:
    """Return the trace of any box over the take's first seconds, from a small film: for the eye."""
    place = box_of(box)
    look = _looks.of(desk.frames.take(take_id))
    values = look.light(place) if shows is Shows.LIGHT else look.change(place)
    packed = np.concatenate((values, look.start_s)).astype("<f4").tobytes()
    return Response(
        packed,
        media_type="application/octet-stream",
        headers={"X-Samples": str(values.size), "Cache-Control": "private, max-age=3600"},
    )


@router.get("")
def take(desk: TheDesk, take_id: Key) -> TakeState:
    """Return a take without its presses."""
    return take_state(desk.reviews.of(take_id))


@router.put("/regions")
def change_regions(desk: TheDesk, take_id: Key, given: RegionsGiven) -> TakeState:
    """Return a take after a person gave its regions; the next measuring uses them."""
    shape = desk.frames.take(take_id).format
    regions = Regions(
        Rectangle(*given.lamp).within(shape.width_px, shape.height_px, "lamp"),
        None if given.panel is None else Quadrilateral(given.panel),
        Rectangle(*given.watch).within(shape.width_px, shape.height_px, "watched"),
    )
    give_regions(desk.library, take_id, regions, given.by)
    return take_state(desk.reviews.of(take_id))


@router.get("/spot")
def spot(desk: TheDesk, take_id: Key) -> SpotState:
    """Return whether a take seems to be shot where its setup's first take was."""
    check = spot_of(desk.library, take_id)
    if check is None:
        return SpotState(
            same=None,
            similarity=None,
            told="this is the setup's first take, which shows the spot for those that follow",
        )
    return SpotState(same=check.same, similarity=check.similarity, told=str(check))
