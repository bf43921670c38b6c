"""The library: its studies as cards, each with its question, progress and finding."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from blinkspan.jobs.review import StudyGlance, overview
from blinkspan.publish import words
from blinkspan.web.desk import TheDesk
from blinkspan.web.shell import Place, render

router = APIRouter(include_in_schema=False)
PLACE = Place("Library", "/", 0)


@dataclass(frozen=True, slots=True)
class StudyCard:
    """What a card says of a study."""

    name: str
    question: str
    setups: int
    takes: int
    measured: int
    accepted: int
    doubtful: int
    finding: str


@router.get("/", response_class=HTMLResponse)
def library(desk: TheDesk, request: Request) -> HTMLResponse:
    """Return the page of all studies."""
    cards = [_card(each) for each in overview(desk.library)]
    return render(request, "library.html", {"cards": cards})


def _card(of: StudyGlance) -> StudyCard:
    return StudyCard(
        name=of.study.study.name,
        question=of.study.study.question,
        setups=len(of.setups),
        takes=sum(each.takes for each in of.setups),
        measured=sum(each.measured for each in of.setups),
        accepted=sum(each.n for each in of.setups),
        doubtful=sum(each.doubtful for each in of.setups),
        finding=words.medians_sentence(
            {each.setup.setup.name: each.median_ms for each in of.setups}
        )
        if of.setups
        else "No setup yet, so there is nothing to say.",
    )
