"""One setup: what was held equal, its takes, its presses over the session, what leads its doubt."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from blinkspan.jobs.setups import MeasuredSetup
from blinkspan.jobs.study_takes import StudyTake, setup_by_key, study_of_setup, summed_up
from blinkspan.presses.press import Verdict
from blinkspan.publish import words
from blinkspan.publish.document import summary_part
from blinkspan.publish.doubt import term_rows
from blinkspan.study.felt import place_latency
from blinkspan.study.phrases import told
from blinkspan.study.setup import Setup
from blinkspan.web.api.values import Key
from blinkspan.web.desk import TheDesk
from blinkspan.web.session_chart import session_chart
from blinkspan.web.shell import render
from blinkspan.web.study_frame import NET_AXIS, SPAN_AXIS, Chosen, dot_press, press_href

router = APIRouter(prefix="/setups/{setup_id}", include_in_schema=False)

_SAID = {
    "platform": "Platform",
    "title": "Title",
    "build": "Build",
    "mode": "Mode",
    "action": "Action",
    "spot": "Spot",
    "link": "Link",
    "picture_mode": "Picture mode",
    "notes": "Notes",
}


@router.get("", response_class=HTMLResponse)
def setup(desk: TheDesk, request: Request, setup_id: Key) -> HTMLResponse:
    """Return the page of a setup."""
    kept = setup_by_key(desk.library, setup_id)
    study = study_of_setup(desk.library, kept)
    chosen = Chosen(study, (setup_id,), asked=True)
    takes = [take for take in study.takes if take.setup.id == setup_id]
    summaries, notes = summed_up(chosen.takes)
    one = summaries.get(setup_id)
    return render(
        request,
        "setup.html",
        {
            "setup": kept,
            "study": study.kept,
            "conditions": _conditions(kept.setup),
            "takes": takes,
            "one": one,
            "sentence": "No press of this setup is accepted yet."
            if one is None
            else words.sentence(summary_part(one.summary)),
            "numbers": [] if one is None else _facts(one),
            "cautions": () if one is None else one.summary.notes(),
            "felt": None
            if one is None or one.summary.median_ms is None
            else place_latency(one.summary.median_ms),
            "assumed": notes,
            "chart": _chart(takes, one, net=chosen.net),
            "terms": term_rows(
                [
                    press
                    for take in takes
                    if take.source is not None
                    for press in take.source.document.presses
                ]
            ),
            "waiting": [
                (take, each, press_href(take.take.id, each))
                for take in takes
                for each in take.presses
                if each.press.verdict is Verdict.DOUBTFUL
            ],
            "outliers": [] if one is None else _outliers(takes, one, net=chosen.net),
        },
    )


def _conditions(setup: Setup) -> list[tuple[str, str]]:
    said = [(label, getattr(setup.conditions, name)) for name, label in _SAID.items()]
    gear = [("Display profile", setup.display), ("Camera profile", setup.camera)]
    tags = [("Tags", ", ".join(setup.tags))]
    return [(label, word) for label, word in (*said, *gear, *tags) if word]


def _facts(one: MeasuredSetup) -> list[tuple[str, str]]:
    of = one.summary
    facts = [
        ("Middle half", words.interval((of.lower_quartile_ms or 0.0, of.upper_quartile_ms or 0.0))),
        ("Spread (sd)", words.milliseconds(of.spread_ms)),
        ("Middle 80 %", words.milliseconds(of.trimmed_spread_ms)),
        ("Doubt all presses share", f"{words.number(one.sample.shared_u_ms, 2)} ms"),
    ]
    if of.drift is not None:
        drift = told(of.drift.over_session, "ms")
        facts.append(("Drift over the session", f"{drift}, p = {of.drift.p:.3f}"))
    if of.autocorrelation is not None:
        like = of.autocorrelation
        facts.append(
            ("Likeness to the press before", f"{words.number(like.lag_1, 2)}, p = {like.p:.3f}")
        )
    return facts


def _chart(takes: list[StudyTake], one: MeasuredSetup | None, *, net: bool) -> Any:
    drawn = [
        (take.take.name, [dot_press(take, each, net=net) for each in take.presses])
        for take in takes
    ]
    if not any(press for _, presses in drawn for press in presses):
        return None
    median = None if one is None else one.summary.median_ms
    return session_chart(
        drawn,
        NET_AXIS if net else SPAN_AXIS,
        None if median is None else median.value,
        None if median is None else (median.low, median.high),
    )


def _outliers(
    takes: list[StudyTake], one: MeasuredSetup, *, net: bool
) -> list[tuple[str, str, str]]:
    """Return the presses far from the median: what they are called, their ms and address."""
    far = {round(each.value_ms, 3) for each in one.summary.outliers}
    found = []
    for take in takes:
        for kept in take.presses:
            ms = kept.press.net if net else kept.press.span
            if kept.press.verdict is not Verdict.ACCEPTED or ms is None:
                continue
            if any(abs(1e3 * ms.value - value) < 0.002 for value in far):
                name = f"press {kept.press.number} of {take.take.name}"
                found.append(
                    (name, words.milliseconds(1e3 * ms.value), press_href(take.take.id, kept))
                )
    return found
