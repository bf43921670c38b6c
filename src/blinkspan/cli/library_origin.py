"""The command that follows one press back to its frames and to all that made its numbers."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from blinkspan.cli.library_folder import library_option
from blinkspan.publish import words
from blinkspan.quantities import Measured

if TYPE_CHECKING:
    from blinkspan.jobs.review import KeptCorrection, Origin
    from blinkspan.presses.press import Press
    from blinkspan.traces.regions import Quadrilateral, Rectangle

# Who gave regions where it was no person by name.
_GIVERS = {"program": "proposed by the program", "given": "given with the order to measure"}


@click.command()
@click.argument("press", type=int)
@library_option
def origin(press: int, library: Path) -> None:
    """Tell where the numbers of PRESS come from, by the key that `show` tells.

    Its setup, take and frames, the run with its version, settings, regions and
    profiles, and every correction. A press of an earlier run is told too.
    """
    from blinkspan.jobs import review as job

    lines = list(_lines(job.origin(library, press)))
    width = max(len(name) for name, _ in lines) + 2
    for name, value in lines:
        click.echo(f"{name:<{width}}{value}")


def _lines(found: "Origin") -> Iterator[tuple[str, str]]:
    kept, run, facts = found.press, found.run, found.facts
    conditions = found.setup.setup.conditions
    said = [
        f"{name.replace('_', ' ')} {value}"
        for name in ("platform", "title", "build", "mode", "action", "spot", "link", "picture_mode")
        if (value := getattr(conditions, name))
    ]
    yield "press", f"{kept.id}, number {kept.press.number} of its take"
    yield "study", found.setup.study
    yield "setup", found.setup.setup.name
    yield "conditions", "; ".join(said) or "not said"
    yield "take", f"{found.take.name}, filmed at {words.hertz(facts.rate_hz)}"
    yield "rate read from", facts.rate_source
    yield "file's SHA-256", found.take.sha256
    yield (
        "frames, from 0",
        f"lamp {_frame(kept.lamp_on_frame)}, response {_frame(kept.response_frame)}",
    )
    yield "as it stands", _press(kept.press)
    if kept.corrections:
        yield "as measured", _press(kept.measured)
    for correction in found.corrections:
        yield f"correction {correction.id}", _correction(correction, kept.corrections)
    yield "run", f"{run.id}, {run.made_at:%Y-%m-%d %H:%M} UTC, blinkspan {run.program_version}"
    if found.later_run_id is not None:
        yield "superseded", f"run {found.later_run_id} of the same take counts instead"
    yield "settings", json.dumps(run.parameters, ensure_ascii=False) if run.parameters else "none"
    yield "regions", _GIVERS.get(found.regions_by, f"given by {found.regions_by}")
    yield "  lamp", _box(found.regions.lamp)
    yield "  panel", _corners(found.regions.panel)
    yield "  watched part", _box(found.regions.watch)
    camera, display = found.camera, found.display
    yield "exposure", f"{_ms(camera.exposure_s)}, {camera.exposure_source}"
    yield "readout", f"{_ms(camera.readout_s)}, {camera.readout_source}"
    yield "display's lag", _ms(display.lag_s)
    yield "refresh", words.hertz(display.refresh_hz)
    yield "game's rate", words.hertz(display.game_rate_hz)
    yield "display profile", run.display or "none"
    yield "camera profile", run.camera or "none"


def _frame(number: int | None) -> str:
    return "none" if number is None else str(number)


def _press(press: "Press") -> str:
    verdict = press.verdict.value + (f": {press.reason.value}" if press.reason else "")
    return f"span {_ms(press.span)}, net {_ms(press.net)}, {verdict}"


def _correction(kept: "KeptCorrection", in_force: tuple[int, ...]) -> str:
    when = f"by {kept.by}, {kept.made_at:%Y-%m-%d %H:%M} UTC"
    if kept.correction is None:
        return f"undoes correction {kept.undoes_id}; {when}"
    said = kept.correction
    what = said.kind.value
    if said.to is not None:
        what += f" at {words.seconds(said.to.value)} {words.plus_minus(1e3 * said.to.u)} ms"
    if said.verdict is not None:
        what += f", {said.verdict.value}" + (f": {said.reason.value}" if said.reason else "")
    force = "" if kept.id in in_force else ", not in force"
    return f"{what}; {said.why}; {when}{force}"


def _ms(value: Measured | None) -> str:
    return (
        words.with_u(None, None)
        if value is None
        else words.with_u(1e3 * value.value, 1e3 * value.u)
    )


def _box(box: "Rectangle") -> str:
    return f"{box.width} × {box.height} px at {box.x}, {box.y}"


def _corners(panel: "Quadrilateral | None") -> str:
    if panel is None:
        return "not known"
    return "; ".join(f"{x:.0f}, {y:.0f}" for x, y in panel.corners)
