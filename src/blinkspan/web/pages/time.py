"""Where the time of a title's presses goes: its modes on one line, and part by part."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from blinkspan.errors import BadSetting
from blinkspan.jobs.explain import Known, explain
from blinkspan.jobs.ladder import ladder
from blinkspan.jobs.study_groups import TakeGroup, by_title
from blinkspan.jobs.study_takes import StudyTake, sources
from blinkspan.study.explanation import Explanation
from blinkspan.web.answers import Answers, answers_of
from blinkspan.web.intervals import intervals_chart
from blinkspan.web.part_bars import part_bars
from blinkspan.web.shell import render
from blinkspan.web.study_frame import ChosenSetups, study_context, tried
from blinkspan.web.typed import typed_number

router = APIRouter(prefix="/studies/{study_id}", include_in_schema=False)

Text = Annotated[str, Query(max_length=60)]

_QUICK = 120  # presses of which the parts are worked out without being asked


@dataclass(frozen=True, slots=True)
class Way:
    """What a person knows of a press's way, as it was typed."""

    link: str
    poll: str
    scan: str
    alike: bool

    def known(self) -> Known:
        """Return it as the job takes it.

        Raises
        ------
        BadSetting
            A period is no number, or a wireless link's is not said.
        """
        poll_ms = typed_number(self.poll, "the link's period")
        if self.link == "wireless" and poll_ms is None:
            raise BadSetting(
                "the link is wireless, and its period is not known: say it above to see "
                "where the time goes"
            )
        return Known(
            wireless=self.link == "wireless",
            poll_ms=poll_ms,
            scan_ms=typed_number(self.scan, "the control's scan") or 0.0,
            alike=self.alike,
        )


@router.get("/time", response_class=HTMLResponse)
def where_time_goes(
    request: Request,
    chosen: ChosenSetups,
    link: Text = "",
    poll: Text = "",
    scan: Text = "",
    alike: bool = False,
) -> HTMLResponse:
    """Return the page that says where the time goes, title by title."""
    takes = chosen.takes
    rated = [take for take in takes if _rate_hz(take) is not None]
    way = Way(link or _said_link(takes), poll, scan, alike)
    asked = bool(link)
    answers = answers_of(request)
    return render(
        request,
        "time.html",
        {
            **study_context(chosen, "Where the time goes"),
            "way": way,
            "groups": [_told(group, way, answers, asked=asked) for group in by_title(rated)],
            "unrated": sorted({take.setup.setup.name for take in takes if take not in rated}),
            "any": bool(takes),
        },
    )


def _told(group: TakeGroup, way: Way, answers: Answers, *, asked: bool) -> dict[str, Any]:
    documents = sources(group.takes)
    climbed, why_not_climbed = tried(lambda: ladder(documents))
    key = ("explain", tuple(take.mark for take in group.takes), way)
    presses = sum(take.accepted for take in group.takes)
    waits = presses > _QUICK and not asked and not answers.known(key)
    explained, why_not_explained = (
        (None, None)
        if waits
        else tried(lambda: answers.of(key, lambda: explain(documents, way.known())))
    )
    rungs, ladder_notes = climbed if climbed is not None else (None, ())
    found, notes = explained if explained is not None else (None, ())
    return {
        "name": group.name,
        "ladder": rungs,
        "ladder_notes": ladder_notes,
        "ladder_why": why_not_climbed,
        "ladder_chart": None
        if rungs is None
        else intervals_chart(
            [(f"{r.name}, a frame of {r.frame_ms:.1f} ms", r.mean_ms) for r in rungs.rungs],
            "mean ms from lamp to response, with its interval",
        ),
        "found": found,
        "notes": notes,
        "why": why_not_explained,
        "waits": presses if waits else 0,
        "bars": None if found is None else part_bars(found.times),
        "names": [] if found is None else [name for name, _ in found.times[0].parts_ms],
        "sentences": [] if found is None else _sentences(found),
    }


def _sentences(found: Explanation) -> Sequence[str]:
    return str(found).splitlines()


def _rate_hz(take: StudyTake) -> float | None:
    return None if take.source is None else take.source.document.display.game_rate_hz


def _said_link(takes: Sequence[StudyTake]) -> str:
    """Return how the setups say the controller is joined; wired where they do not."""
    said = [take.setup.setup.conditions.link.lower() for take in takes]
    return "wireless" if any("wireless" in words for words in said) else "wired"
