"""Setups against each other: which differ, by how much, and how many presses would decide."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from blinkspan.errors import BadSetting
from blinkspan.jobs.compare import Compared, compare
from blinkspan.jobs.matrix import matrix
from blinkspan.jobs.plan import Planned, Wishes, plan
from blinkspan.jobs.study_groups import platforms
from blinkspan.jobs.study_takes import StudyTake, names_of, sources
from blinkspan.quantities import Estimate
from blinkspan.study.comparison import Comparison
from blinkspan.study.felt import Felt
from blinkspan.web.answers import Answers, answers_of
from blinkspan.web.intervals import intervals_chart
from blinkspan.web.shell import render
from blinkspan.web.study_frame import Chosen, ChosenSetups, study_context, tried
from blinkspan.web.typed import typed_number

router = APIRouter(prefix="/studies/{study_id}", include_in_schema=False)

MARGINS = {
    "game": "one frame of the game",
    "camera": "one frame of the camera",
    "felt": "what a sensitive player notices",
    "own": "a number of my own",
}
_MOST_COMPARED = 8  # 28 pairs; more cannot be read, and the family's price grows

Text = Annotated[str, Query(max_length=200)]


@dataclass(frozen=True, slots=True)
class Asked:
    """What the form of the page asks for, as it was sent."""

    margin: str
    ms: str
    against: str

    @property
    def margin_text(self) -> str:
        """The margin as the job takes it."""
        return self.ms.replace(",", ".").strip() if self.margin == "own" else self.margin


@router.get("/compare", response_class=HTMLResponse)
def compared(
    request: Request,
    chosen: ChosenSetups,
    margin: Text = "game",
    ms: Text = "",
    against: Text = "",
    outlook: bool = False,
) -> HTMLResponse:
    """Return the page on which the chosen setups are compared."""
    asked, answers = Asked(margin, ms, against), answers_of(request)
    key = ("compare", chosen.mark, asked)
    planned = outlook or answers.known(key)
    found, why = tried(lambda: _compared(chosen, asked, answers, key if planned else None))
    sides = platforms(chosen.takes)
    return render(
        request,
        "compare.html",
        {
            **study_context(chosen, "Compare"),
            "asked": asked,
            "margins": MARGINS,
            "found": found,
            "pairs": [] if found is None else _pairs(found),
            "why": why,
            "planned": planned,
            "outlook_href": str(request.url.include_query_params(outlook="true").query),
            "chart": None if found is None else _chart(found),
            "platforms": _platforms(chosen.takes, sides),
        },
    )


@router.get("/plan", response_class=HTMLResponse)
def plans(
    request: Request,
    chosen: ChosenSetups,
    pilot: Text = "",
    width: Text = "",
    detect: Text = "",
    same: Text = "",
) -> HTMLResponse:
    """Return the page that plans how many presses a wish needs, from a setup as pilot."""
    wishes, why = tried(lambda: _wishes(width, detect, same))
    takes = [take for take in chosen.takes if str(take.setup.id) == pilot]
    found: Planned | None = None
    if wishes is not None and wishes.any and takes:
        key = ("plan", tuple(take.mark for take in takes), wishes)
        answers = answers_of(request)
        found, why = tried(lambda: answers.of(key, lambda: plan(sources(takes), wishes)))
    elif wishes is not None and wishes.any:
        why = "choose a setup with accepted presses to plan from"
    given = {"pilot": pilot, "width": width, "detect": detect, "same": same}
    return render(
        request,
        "plan.html",
        {**study_context(chosen, "Compare"), "given": given, "found": found, "why": why},
    )


def _compared(chosen: Chosen, asked: Asked, answers: Answers, planned: Any) -> Compared:
    if len(chosen.setups) > _MOST_COMPARED:
        raise BadSetting(
            f"{len(chosen.setups)} setups are too many to compare at once; tick "
            f"{_MOST_COMPARED} or fewer"
        )
    takes = chosen.takes
    names = {str(take.setup.id): take.setup.setup.name for take in takes}
    if len(names) < 2:
        raise BadSetting("tick two or more setups that have accepted presses")
    if asked.against and asked.against not in names:
        raise BadSetting("the setup to compare with is not among those ticked")

    def work_out(*, plan: bool) -> Compared:
        return compare(
            sources(takes),
            names=names_of(takes),
            margin=asked.margin_text,
            against=names.get(asked.against),
            plan=plan,
        )

    if planned is None:
        return work_out(plan=False)
    return answers.of(planned, lambda: work_out(plan=True))


def _pairs(found: Compared) -> list[tuple[Comparison, Felt]]:
    return list(zip(found.comparisons, found.felt, strict=True))


def _chart(found: Compared) -> Any:
    margin = found.comparisons[0].margin
    return intervals_chart(
        [(f"{one.first}\nless {one.second}", one.shift_ms) for one in found.comparisons],
        f"difference in ms, the first less the second; shaded: {margin}",
        zero=True,
        margin=margin.ms,
    )


def _platforms(takes: Sequence[StudyTake], sides: tuple[str, ...]) -> list[dict[str, Any]]:
    """Return each pair of platforms set against each other over titles and modes."""
    told = []
    for at, first in enumerate(sides):
        for second in sides[at + 1 :]:
            of = [take for take in takes if take.setup.setup.conditions.platform in (first, second)]
            answer, why = tried(partial(matrix, sources(of), first, second))
            effect, notes = answer if answer is not None else (None, ())
            rows: list[tuple[str, Estimate]] = (
                [] if effect is None else [*effect.by_title_ms, *effect.by_mode_ms]
            )
            told.append(
                {
                    "first": first,
                    "second": second,
                    "effect": effect,
                    "notes": notes,
                    "why": why,
                    "chart": intervals_chart(
                        rows, f"{first} less {second}, ms, by title and by mode", zero=True
                    )
                    if rows
                    else None,
                }
            )
    return told


def _wishes(width: str, detect: str, same: str) -> Wishes:
    return Wishes(
        _ms(width, "the interval’s width"),
        _ms(detect, "the difference to tell"),
        _ms(same, "the margin of sameness"),
    )


def _ms(text: str, what: str) -> float | None:
    """Return a number of ms that a person typed, None where the field was left empty."""
    value = typed_number(text, what)
    if value is not None and not 0.0 < value < 1000.0:
        raise BadSetting(f"{what} of {text} ms cannot be; give a number above zero and below 1000")
    return value
