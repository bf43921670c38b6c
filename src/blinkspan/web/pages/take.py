"""A take: its first frame with the regions to adjust, its conditions, what is known of its rig."""

from dataclasses import asdict

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from blinkspan.jobs.take_review import TakeReview
from blinkspan.jobs.take_setup import setup_form
from blinkspan.publish import words
from blinkspan.web.api.states import regions_state
from blinkspan.web.api.values import Key
from blinkspan.web.desk import TheDesk
from blinkspan.web.film import Film, film_lost, film_of
from blinkspan.web.pages.library import study_href
from blinkspan.web.shell import render

router = APIRouter(include_in_schema=False)

# Condition: its label and what to write there.
FIELDS = {
    "platform": ("Platform", "The console or computer."),
    "title": ("Title", "The game."),
    "build": ("Build", "Its version or patch."),
    "mode": ("Mode", "The frame-rate mode."),
    "link": ("Link", "How the controller is joined, such as wired."),
    "picture_mode": ("Picture mode", "The display’s."),
    "action": ("Action", "What the press makes the game do."),
    "spot": ("Spot", "The exact place in the game: its load changes latency."),
    "notes": ("Notes", "Anything else that was held equal."),
}


@router.get("/takes/{take_id}", response_class=HTMLResponse)
def take(desk: TheDesk, request: Request, take_id: Key) -> HTMLResponse:
    """Return the page of a take."""
    review = desk.reviews.of(take_id)
    form = setup_form(desk.library, review.setup.id)
    lost = film_lost(desk, review)
    said = asdict(form.kept.setup.conditions)
    fields = [
        (name, *label, said[name], form.words[name] if name != "notes" else ())
        for name, label in FIELDS.items()
    ]
    return render(
        request,
        "take.html",
        {
            "review": review,
            "study_href": study_href(review.setup.study),
            "lost": lost,
            "film": None if lost else film_of(desk, review),
            "facts": _facts(review, None if lost else film_of(desk, review)),
            "form": form,
            "regions": _regions(review),
            "fields": fields,
            "said": _said(review),
            "doubtful": sum(each.kept.press.verdict == "doubtful" for each in review.presses),
        },
    )


def _said(review: TakeReview) -> dict[str, str]:
    """Return what was said of the take when it was measured, as it would be typed."""
    kept = {} if review.run is None else review.run.parameters
    return {
        name: "" if kept.get(name) is None else f"{kept[name]:g}"
        for name in ("game_rate_hz", "capture_rate_hz")
    }


def _regions(review: TakeReview) -> str:
    """Return the regions to begin with as JSON: a person's, or the last run's; none as null."""
    measured = None if review.measurement is None else review.measurement.regions
    state = regions_state(review.given_regions or measured)
    return "null" if state is None else state.model_dump_json()


def _facts(review: TakeReview, film: Film | None) -> list[tuple[str, str]]:
    """Return what is known of the film and the rig, each with its name."""
    facts = [] if film is None else [("Filmed at", f"{words.hertz(film.rate_hz)} ({film.source})")]
    found = review.measurement
    if found is None:
        return facts
    camera, display = found.camera, found.display
    facts += [
        ("Length", f"{found.take.frames} frames, {words.number(found.take.duration_s)} s"),
        (
            "Exposure",
            f"{words.with_u(1e3 * camera.exposure_s.value, 1e3 * camera.exposure_s.u)}, "
            f"{camera.exposure_source}",
        ),
        (
            "Readout",
            f"{words.with_u(1e3 * camera.readout_s.value, 1e3 * camera.readout_s.u)}, "
            f"{camera.readout_source}",
        ),
        ("Dropped frames", str(found.take.dropped_frames or "none")),
    ]
    if display.lag_s is not None:
        lag = words.with_u(1e3 * display.lag_s.value, 1e3 * display.lag_s.u)
        facts.append(("Display lag", lag))
    if display.game_rate_hz is not None:
        facts.append(("Game’s rate", words.hertz(display.game_rate_hz)))
    return facts
