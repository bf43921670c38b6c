"""Displays and cameras: what is known of each, how sure, how old; added and said anew here."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from blinkspan.errors import BadSetting, BlinkspanError
from blinkspan.jobs.gear_profiles import (
    KeptCamera,
    KeptDisplay,
    gear,
    say_camera,
    say_display,
)
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.publish import words
from blinkspan.quantities import Measured
from blinkspan.web.desk import Desk, TheDesk
from blinkspan.web.refusals import status_of
from blinkspan.web.sent_form import Sent, revision_of
from blinkspan.web.shell import Place, render
from blinkspan.web.typed import typed_number

router = APIRouter(prefix="/profiles", include_in_schema=False)
PLACE = Place("Displays and cameras", "/profiles", 20)

_LONGEST = 2000
_NAME = 200
_OLD_DAYS = 365  # a firmware or a worn panel may have moved it since (common practice)


@dataclass(frozen=True, slots=True)
class Field:
    """A number of a profile as a form asks for it."""

    name: str
    label: str
    unit: str


DISPLAY = (
    Field("lag_ms", "Lag", "ms"),
    Field("lag_u_ms", "Its standard uncertainty", "ms"),
    Field("refresh_hz", "Refresh rate", "Hz"),
    Field("game_rate_hz", "Game’s rate", "frames a second"),
)
CAMERA = (
    Field("exposure_ms", "Exposure of one row", "ms"),
    Field("exposure_u_ms", "Its standard uncertainty", "ms"),
    Field("readout_ms", "Readout, first row to last", "ms"),
    Field("readout_u_ms", "Its standard uncertainty", "ms"),
)
_PAIRS = ("lag", "exposure", "readout")


@dataclass(frozen=True, slots=True)
class Profile:
    """A profile to be shown: facts in words, and the values its form begins with."""

    name: str
    revision: int
    facts: tuple[tuple[str, str], ...]
    age: str
    old: bool
    used: str
    values: Mapping[str, str]


@router.get("", response_class=HTMLResponse)
def profiles(
    desk: TheDesk,
    request: Request,
    kept: Annotated[str, Query(max_length=_NAME)] = "",
    again: bool = False,
) -> HTMLResponse:
    """Return the page of all profiles."""
    return _page(desk, request, kept=kept, again=again)


@router.post("/displays")
def keep_display(desk: TheDesk, request: Request, sent: Sent) -> Response:
    """Keep a display profile, new or in place of the one that was seen."""
    return _keep(desk, request, "display", sent)


@router.post("/cameras")
def keep_camera(desk: TheDesk, request: Request, sent: Sent) -> Response:
    """Keep a camera profile, new or in place of the one that was seen."""
    return _keep(desk, request, "camera", sent)


def _keep(desk: Desk, request: Request, kind: str, sent: dict[str, str]) -> Response:
    try:
        name, notes = sent.get("name", ""), sent.get("notes", "")
        if not 0 < len(name) <= _NAME or len(notes) > _LONGEST:
            raise BadSetting(
                f"a profile needs a name of at most {_NAME} characters and notes of at most "
                f"{_LONGEST}"
            )
        seen = revision_of(sent)
        known = _settings(sent, DISPLAY if kind == "display" else CAMERA)
        if kind == "display":
            say_display(desk.library, name, known, notes, seen)
        else:
            say_camera(desk.library, name, known, notes, seen)
    except BlinkspanError as refusal:
        return _page(
            desk, request, why=str(refusal), status=status_of(refusal), kind=kind, sent=sent
        )
    again = "" if seen is None else "&again=true"
    return RedirectResponse(f"/profiles?kept={quote(name)}{again}", 303)


def _settings(sent: Mapping[str, str], fields: tuple[Field, ...]) -> MeasureSettings:
    given: dict[str, Any] = {
        field.name: typed_number(sent.get(field.name, ""), field.label, field.unit)
        for field in fields
    }
    for what in _PAIRS:
        if (given.get(f"{what}_ms") is None) != (given.get(f"{what}_u_ms") is None):
            raise BadSetting(f"the {what} is kept with its uncertainty; give both or neither")
    if all(value is None for value in given.values()):
        raise BadSetting("a profile without a number says nothing; give what is known")
    return MeasureSettings(**given)


def _page(
    desk: Desk,
    request: Request,
    *,
    kept: str = "",
    again: bool = False,
    why: str = "",
    status: int = 200,
    kind: str = "",
    sent: Mapping[str, str] | None = None,
) -> HTMLResponse:
    """Return the page, after a refusal with what was sent, so that nothing typed is lost."""
    now, known = datetime.now(UTC), gear(desk.library)
    return render(
        request,
        "profiles.html",
        {
            "kinds": (
                ("display", "Displays", DISPLAY, [_display(*each, now) for each in known.displays]),
                ("camera", "Cameras", CAMERA, [_camera(*each, now) for each in known.cameras]),
            ),
            "kept": kept,
            "again": again,
            "why": why,
            "refused": kind,
            "sent": sent or {},
        },
        status=status,
    )


def _display(kept: KeptDisplay, used: int, now: datetime) -> Profile:
    of = kept.profile
    return Profile(
        kept.name,
        kept.revision,
        (
            ("Lag", _ms(of.lag_s)),
            ("Refresh rate", words.hertz(of.refresh_hz)),
            *((("Game’s rate", words.hertz(of.game_rate_hz)),) if of.game_rate_hz else ()),
            ("Notes", kept.notes or words.NONE),
        ),
        *_aged(kept.made_at, now),
        _used(used),
        {
            **_pair("lag", of.lag_s),
            "refresh_hz": _plain(of.refresh_hz),
            "game_rate_hz": _plain(of.game_rate_hz),
            "notes": kept.notes,
        },
    )


def _camera(kept: KeptCamera, used: int, now: datetime) -> Profile:
    of = kept.profile
    return Profile(
        kept.name,
        kept.revision,
        (
            ("Exposure of one row", _ms(of.exposure_s)),
            ("Readout", _ms(of.readout_s)),
            ("Notes", kept.notes or words.NONE),
        ),
        *_aged(kept.made_at, now),
        _used(used),
        {
            **_pair("exposure", of.exposure_s),
            **_pair("readout", of.readout_s),
            "notes": kept.notes,
        },
    )


def _ms(of: Measured | None) -> str:
    return "not known" if of is None else words.with_u(1e3 * of.value, 1e3 * of.u)


def _pair(name: str, of: Measured | None) -> dict[str, str]:
    return {
        f"{name}_ms": _plain(None if of is None else 1e3 * of.value),
        f"{name}_u_ms": _plain(None if of is None else 1e3 * of.u),
    }


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


def _used(setups: int) -> str:
    return f"named by {setups} {'setup' if setups == 1 else 'setups'}"


def _aged(made_at: datetime, now: datetime) -> tuple[str, bool]:
    """Return how long ago a profile was said, and whether that is long."""
    days = max((now - made_at).days, 0)
    ago = "today" if days == 0 else "a day ago" if days == 1 else f"{days} days ago"
    return f"said {made_at:%Y-%m-%d}, {ago}", days > _OLD_DAYS
