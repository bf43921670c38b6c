"""Measuring the takes of a study, told line by line."""

from contextlib import closing
from pathlib import Path
from typing import Any

import click

from blinkspan.cli.waiting import Waiting
from blinkspan.errors import BadSetting
from blinkspan.traces.regions import Regions


def measured_study(
    library: Path,
    study: str,
    setup: str | None,
    gear: dict[str, Any],
    again: bool,
    workers: int | None,
) -> int:
    """Return the exit code after measuring what is new or stale: 2 where a take was refused."""
    from blinkspan.jobs import batch

    given, regions = split_gear(gear)
    kept = failed = 0
    work = batch.measure_study(
        library, study, setup, given=given, regions=regions, again=again, workers=workers
    )
    with Waiting("measuring", None, "takes") as waiting, closing(work):
        for event in work:
            if isinstance(event, batch.Started):
                waiting.reach(kept + failed, event.of)
            elif isinstance(event, batch.Kept):
                kept += 1
                waiting.advance(1)
                waiting.say(kept_line(event))
            elif isinstance(event, batch.Failed):
                failed += 1
                waiting.advance(1)
                waiting.say(f"Error: {event.take.name}: {event.reason}", to_error=True)
    if not kept and not failed:
        click.echo("nothing to measure: every take is measured as things stand")
    return 2 if failed else 0


def split_gear(gear: dict[str, Any]) -> tuple[dict[str, Any], Regions | None]:
    """Return the settings that were given, and the regions where they were.

    Raises
    ------
    BadSetting
        Some regions are given and others that belong to them are not.
    """
    given = {name: value for name, value in gear.items() if value is not None}
    lamp, panel, watch = (given.pop(name, None) for name in ("lamp", "panel", "watch"))
    if lamp is None and panel is None and watch is None:
        return given, None
    if lamp is None or watch is None:
        raise BadSetting("for the takes of a study give --lamp and --watch together, or neither")
    return given, Regions(lamp, panel, watch)


def kept_line(event: Any) -> str:
    """Return one line on a take that was measured."""
    said = f"{event.take.name}: {event.run.press_count} presses, run {event.run.id}"
    if event.changed is not None:
        said += f"; {event.changed}"
    if event.spot is not None and not event.spot.same:
        said += f"; {event.spot}"
    return said
