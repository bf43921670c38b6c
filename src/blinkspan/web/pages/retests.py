"""One setup filmed again and again: what changed from build to build, from day to day."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from blinkspan.jobs.retests import retests
from blinkspan.jobs.study_groups import TakeGroup, retested
from blinkspan.jobs.study_takes import sources
from blinkspan.web.intervals import intervals_chart
from blinkspan.web.shell import render
from blinkspan.web.study_frame import ChosenSetups, study_context, tried

router = APIRouter(prefix="/studies/{study_id}", include_in_schema=False)


@router.get("/retests", response_class=HTMLResponse)
def series(request: Request, chosen: ChosenSetups) -> HTMLResponse:
    """Return the page of what was filmed more than once."""
    return render(
        request,
        "retests.html",
        {
            **study_context(chosen, "Retests"),
            "groups": [_followed(group) for group in retested(chosen.takes)],
        },
    )


def _followed(group: TakeGroup) -> dict[str, Any]:
    builds = [take.setup.setup.conditions.build or "a build not named" for take in group.takes]
    answer, why = tried(lambda: retests(sources(group.takes), group.days, builds=builds))
    found, notes = answer if answer is not None else (None, ())
    return {
        "name": group.name,
        "found": found,
        "notes": notes,
        "why": why,
        "rows": []
        if found is None
        else list(
            zip(group.takes, found.labels, found.means_ms, (None, *found.changes), strict=True)
        ),
        "chart": None
        if found is None
        else intervals_chart(
            list(zip(found.labels, found.means_ms, strict=True)),
            "mean ms from lamp to response, with its interval",
        ),
    }
