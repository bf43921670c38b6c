"""Every refusal as an answer: a plain line of JSON for the interface, a page for a person."""

from http import HTTPStatus

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from blinkspan.errors import (
    BlinkspanError,
    LibraryConflict,
    NothingToMeasure,
    NotInLibrary,
    UnreadableTake,
    UnusableLibrary,
    UnwritableOutput,
)
from blinkspan.web.guard import TooMuch
from blinkspan.web.page_words import on_page
from blinkspan.web.shell import render

# The first that fits; what is not named here is a value that cannot be right.
_STATUS: tuple[tuple[type[BlinkspanError], int], ...] = (
    (NotInLibrary, 404),
    (LibraryConflict, 409),
    (NothingToMeasure, 422),
    (UnreadableTake, 422),
    (UnusableLibrary, 503),
    (UnwritableOutput, 507),
)
_BAD_VALUE = 422

_HEADINGS = {
    401: "This page needs its token",
    404: "Not found",
    409: "It changed in the meantime",
    422: "That cannot be right",
    503: "The library cannot be reached",
    507: "No room left to write",
}


def install(app: FastAPI) -> None:
    """Let an app answer every refusal in plain words."""
    app.add_exception_handler(BlinkspanError, _ours)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _bad_request)
    app.add_exception_handler(TooMuch, _too_much)
    app.add_exception_handler(Exception, _fault)


def status_of(refusal: BlinkspanError) -> int:
    """Return the HTTP status that tells of a refusal."""
    return next((code for kind, code in _STATUS if isinstance(refusal, kind)), _BAD_VALUE)


def _ours(request: Request, error: Exception) -> Response:
    assert isinstance(error, BlinkspanError)
    return _answer(request, status_of(error), str(error))


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    why = error.detail
    if error.status_code == 404 and why == HTTPStatus.NOT_FOUND.phrase:
        why = "there is no such page; the way back is in the navigation above"
    answer = _answer(request, error.status_code, why)
    for name, value in (error.headers or {}).items():
        answer.headers[name] = value
    return answer


def _bad_request(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    told = []
    for each in error.errors():
        part = ".".join(str(name) for name in each["loc"][1:]) or each["loc"][0]
        told.append(f"{part}: {each['msg'].lower()}")
    return _answer(request, 422, "; ".join(told))


def _too_much(request: Request, error: Exception) -> Response:
    del error
    return _answer(request, 413, "that is more than may be sent at once")


def _fault(request: Request, error: Exception) -> Response:
    del error  # its traceback is in the terminal
    return _answer(
        request,
        500,
        "a fault of the program, not of yours; what was saved before is safe. "
        "The terminal in which it runs tells more",
    )


def _answer(request: Request, status: int, why: str) -> Response:
    why = on_page(why)
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": why}, status)
    heading = _HEADINGS.get(status, HTTPStatus(status).phrase)
    return render(
        request, "refusal.html", {"heading": heading, "why": why, "status": status}, status=status
    )
