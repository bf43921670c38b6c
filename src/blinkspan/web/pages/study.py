"""A study at a glance: its setups, every press as a dot, platforms by mode, files to take away."""

from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from blinkspan.errors import BadSetting, NotInLibrary
from blinkspan.jobs.review import edit_question
from blinkspan.jobs.setups import MeasuredSetup
from blinkspan.jobs.study_files import TABLES, package_zip, press_table, study_report
from blinkspan.jobs.study_takes import MeasuredStudy, SetupOverview, study_key, summed_up
from blinkspan.publish import words
from blinkspan.study.setup import reading_order
from blinkspan.web.api.values import Key
from blinkspan.web.desk import TheDesk
from blinkspan.web.dots import DotsSetup, dots_chart
from blinkspan.web.sent_form import Sent, revision_of
from blinkspan.web.shell import render
from blinkspan.web.study_frame import (
    NET_AXIS,
    SPAN_AXIS,
    Chosen,
    ChosenSetups,
    dot_presses,
    study_context,
)

router = APIRouter(prefix="/studies", include_in_schema=False)

_KINDS = {
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
    "parquet": "application/vnd.apache.parquet",
}
_MOST_NAME = 80
_MOST_QUESTION = 2000


@dataclass(frozen=True, slots=True)
class SetupLine:
    """A setup in the table: what is kept of it, and its summary where it is among the chosen."""

    kept: SetupOverview
    ticked: bool
    summary: MeasuredSetup | None


@dataclass(frozen=True, slots=True)
class MatrixCell:
    """One platform in one mode: a setup and its median."""

    setup_id: int
    name: str
    told: str
    n: int


@router.get("")
def named(desk: TheDesk, name: Annotated[str, Query(max_length=1000)]) -> RedirectResponse:
    """Lead to the page of the study of that name."""
    return RedirectResponse(f"/studies/{study_key(desk.library, name)}", 303)


@router.get("/{study_id}", response_class=HTMLResponse)
def overview(request: Request, chosen: ChosenSetups) -> HTMLResponse:
    """Return the page of a study."""
    summaries, notes = summed_up(chosen.takes)
    lines = [
        SetupLine(each, each.setup.id in chosen.setups, summaries.get(each.setup.id))
        for each in chosen.study.setups
    ]
    return render(
        request,
        "study.html",
        {
            **study_context(chosen, "Overview"),
            "lines": lines,
            "finding": words.medians_sentence(
                {one.sample.name: _median(one) for one in summaries.values()}
            )
            if summaries
            else "No press is accepted yet, so there is nothing to say.",
            "notes": notes,
            "level": _level(summaries),
            "chart": _chart(chosen, summaries),
            "cautions": [
                (one.sample.name, note)
                for one in summaries.values()
                for note in one.summary.notes()
            ],
            "matrix": _matrix(chosen.study, summaries),
            "tables": TABLES,
            "unmeasured": sum(take.run is None for take in chosen.study.takes),
        },
    )


@router.post("/{study_id}")
def ask(desk: TheDesk, study_id: Key, sent: Sent) -> RedirectResponse:
    """Keep what the study asks and lead back to its page; refused where it changed since."""
    question = sent.get("question", "")
    if len(question) > _MOST_QUESTION:
        raise BadSetting(f"a question has at most {_MOST_QUESTION} characters; shorten it")
    edit_question(desk.library, study_id, revision_of(sent) or 0, question)
    return RedirectResponse(f"/studies/{study_id}", 303)


@router.get("/{study_id}/presses.{form}")
def presses(desk: TheDesk, chosen: ChosenSetups, form: str) -> Response:
    """Return the presses of a study as a table to take away."""
    if form not in _KINDS:
        raise NotInLibrary(f"there is no table of the form {form!r}; take {', '.join(_KINDS)}")
    name = chosen.study.kept.study.name
    return _file(press_table(desk.library, name, form), _KINDS[form], f"{name}, presses.{form}")


@router.get("/{study_id}/package.zip")
def package(desk: TheDesk, chosen: ChosenSetups) -> Response:
    """Return all that is kept under a study, as a data package."""
    name = chosen.study.kept.study.name
    return _file(package_zip(desk.library, name), "application/zip", f"{name}.zip")


@router.get("/{study_id}/report.html")
def report(
    desk: TheDesk,
    chosen: ChosenSetups,
    frames: Annotated[bool, Query(description="Whether to show frames of presses.")] = False,
) -> Response:
    """Return the report of the chosen setups."""
    page = study_report(desk.library, chosen.study, chosen.setups, frames=frames)
    return _file(page, "text/html; charset=utf-8", f"{chosen.study.kept.study.name}, report.html")


def _file(content: bytes, kind: str, name: str) -> Response:
    """Return a download; the name has an older and a newer spelling (RFC 6266)."""
    stem, dot, ending = name.rpartition(".")
    name = f"{stem[:_MOST_NAME]}{dot}{ending}"
    plain = "".join(c if c.isascii() and (c.isalnum() or c in " ,.-") else "_" for c in name)
    told = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name, safe='')}"
    return Response(content, media_type=kind, headers={"Content-Disposition": told})


def _level(summaries: dict[int, MeasuredSetup]) -> str:
    """Return the level of the medians' intervals, for the head of their column."""
    levels = {
        words.level(one.summary.median_ms.level)
        for one in summaries.values()
        if one.summary.median_ms is not None
    }
    return levels.pop() if len(levels) == 1 else ""


def _median(of: MeasuredSetup) -> float | None:
    return None if of.summary.median_ms is None else of.summary.median_ms.value


def _chart(chosen: Chosen, summaries: dict[int, MeasuredSetup]) -> Any:
    """Return every press of the chosen setups as a dot, or None where there is none."""
    rows, net = [], chosen.net
    for each in chosen.study.setups:
        if each.setup.id not in chosen.setups:
            continue
        takes = [take for take in chosen.study.takes if take.setup.id == each.setup.id]
        known = summaries.get(each.setup.id)
        median = None if known is None else known.summary.median_ms
        rows.append(
            DotsSetup(
                each.setup.setup.name,
                dot_presses(takes, net=net),
                None if median is None else median.value,
                None if median is None else (median.low, median.high),
            )
        )
    drawn = any(row.presses for row in rows)
    return dots_chart(rows, NET_AXIS if net else SPAN_AXIS) if drawn else None


def _matrix(study: MeasuredStudy, summaries: dict[int, MeasuredSetup]) -> dict[str, Any] | None:
    """Return platforms by mode, or None where the setups do not tell two cells apart."""
    cells: dict[tuple[str, str], list[MatrixCell]] = {}
    for each in study.setups:
        one, said = summaries.get(each.setup.id), each.setup.setup.conditions
        if one is None or not (said.platform and said.mode):
            continue
        median = one.summary.median_ms
        assert median is not None  # only setups with an accepted press are summed up
        cells.setdefault((said.platform, said.mode), []).append(
            MatrixCell(
                each.setup.id,
                each.setup.setup.name,
                f"{words.milliseconds(median.value)} ({words.interval((median.low, median.high))})",
                one.summary.n,
            )
        )
    if len(cells) < 2:
        return None
    return {
        "platforms": sorted({platform for platform, _ in cells}, key=reading_order),
        "modes": sorted({mode for _, mode in cells}, key=reading_order),
        "cells": cells,
    }
