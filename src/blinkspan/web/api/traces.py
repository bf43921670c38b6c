"""The traces that the presses were read from, as rows of 32-bit floats."""

from enum import StrEnum

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from blinkspan.errors import NotInLibrary
from blinkspan.web.api.values import Answers, Key
from blinkspan.web.desk import TheDesk

router = APIRouter(prefix="/api/takes/{take_id}/traces", tags=["traces"])

_FLOATS = np.dtype("<f4")
_BINARY: Answers = {
    200: {
        "content": {"application/octet-stream": {}},
        "description": "Values, then start times in seconds, each n little-endian 32-bit floats.",
    }
}


class Kind(StrEnum):
    """Which trace."""

    LAMP = "lamp"
    RESPONSE = "response"


@router.get("/{kind}", response_class=Response, responses=_BINARY)
def trace(desk: TheDesk, request: Request, take_id: Key, kind: Kind) -> Response:
    """Return a trace of a take's last run: 0 at rest, 1 lit or fully responded.

    The header ``X-Exposure-Seconds`` says how long each sample gathered light
    from its start time on, ``X-Samples`` how many there are. Start times are
    32-bit floats: over a minute they are exact to 4 microseconds.
    """
    review = desk.reviews.of(take_id)
    run, found = review.run, review.measurement
    if run is None or found is None:
        raise NotInLibrary("this take has no traces yet; measure it")
    tag = f'"{run.id}-{run.traces_sha256[:16]}-{kind}"'
    headers = {"ETag": tag, "Cache-Control": "private, no-cache"}
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    series = found.lamp_trace if kind is Kind.LAMP else found.response_trace
    packed = np.concatenate((series.values, series.start_s)).astype(_FLOATS).tobytes()
    return Response(
        packed,
        media_type="application/octet-stream",
        headers={
            **headers,
            "X-Exposure-Seconds": repr(found.camera.exposure_s.value),
            "X-Samples": str(series.values.size),
        },
    )
