"""The library: its studies as cards, a search over conditions, and the way in for clips."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from blinkspan.jobs.review import StudyGlance, found_setups, overview
from blinkspan.publish import words
from blinkspan.web.desk import TheDesk
from blinkspan.web.shell import Place, render

router = APIRouter(include_in_schema=False)
PLACE = Place("Library", "/", 0)

_SHOWN = ("platform", "title", "build", "mode", "action", "spot", "link")


@dataclass(frozen=True, slots=True)
class StudyCard:
    """What a card says of a study."""

    name: str
    href: str
    question: str
    setups: tuple[str, ...]
    takes: int
    measured: int
    accepted: int
    doubtful: int
    finding: str


@dataclass(frozen=True, slots=True)
class FoundSetup:
    """A setup that a search found, with the conditions that are said of it."""

    study: str
    name: str
    href: str
    said: tuple[str, ...]


@router.get("/", response_class=HTMLResponse)
def library(
    desk: TheDesk, request: Request, q: Annotated[str, Query(max_length=200)] = ""
) -> HTMLResponse:
    """Return the page of all studies, or of what a search over conditions found."""
    studies = overview(desk.library)
    return render(
        request,
        "library.html",
        {
            "cards": [_card(each) for each in studies],
            "asked": q.strip(),
            "found": _found(desk.library, q) if q.strip() else (),
            "folders": [folder.name for folder in desk.folders],
        },
    )


def study_href(name: str) -> str:
    """Return an address that leads to the page of a study; names may hold a slash."""
    return f"/studies?name={quote(name, safe='')}"


def _found(place: Path, asked: str) -> Sequence[FoundSetup]:
    return [
        FoundSetup(
            kept.study,
            kept.setup.name,
            f"/setups/{kept.id}",
            tuple(getattr(kept.setup.conditions, name) for name in _SHOWN),
        )
        for kept in found_setups(place, asked)
    ]


def _card(of: StudyGlance) -> StudyCard:
    measured = [each for each in of.setups if each.median_ms is not None]
    net = all(each.median_net_ms is not None for each in measured)
    medians = {
        each.setup.setup.name: each.median_net_ms if net else each.median_ms for each in of.setups
    }
    return StudyCard(
        name=of.study.study.name,
        href=f"/studies/{of.study.id}",
        question=of.study.study.question,
        setups=tuple(medians),
        takes=sum(each.takes for each in of.setups),
        measured=sum(each.measured for each in of.setups),
        accepted=sum(each.n for each in of.setups),
        doubtful=sum(each.doubtful for each in of.setups),
        finding=_finding(medians, net=net),
    )


def _finding(medians: dict[str, float | None], *, net: bool) -> str:
    """Return what the setups say together, with or without the display's lag as on their page."""
    if not medians:
        return "It has no takes yet."
    told = words.medians_sentence(medians)
    return (
        told if all(ms is None for ms in medians.values()) else f"{told} {words.lag_told(net=net)}"
    )
