"""The command that follows one setup over builds and dates."""

from datetime import datetime
from pathlib import Path

import click
from rich.table import Table

from blinkspan.cli.answers import answer_json, write_answer
from blinkspan.cli.terminal import console, say
from blinkspan.jobs import retests as job
from blinkspan.study.phrases import told
from blinkspan.study.retests import Series


@click.command()
@click.argument("takes", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--on",
    "filmed_on",
    type=click.DateTime(["%Y-%m-%d"]),
    multiple=True,
    required=True,
    help="The day of filming, once for each of TAKES.",
)
@click.option("--build", "builds", multiple=True, help="The title's version, once for each too.")
@click.option(
    "--session-u",
    "session_u_ms",
    type=float,
    default=0.0,
    metavar="MS",
    help="Standard uncertainty from session to session, if known.",
)
@click.option("--json", "json_to", metavar="FILE", help="Write the answer as JSON; - is stdout.")
def retests(
    takes: tuple[Path, ...],
    filmed_on: tuple[datetime, ...],
    builds: tuple[str, ...],
    session_u_ms: float,
    json_to: str | None,
) -> None:
    """Follow one setup over builds and dates: what changed, and what does not agree.

    TAKES are JSON files that `blinkspan measure --json` wrote, of one setup.
    """
    days = [moment.date() for moment in filmed_on]
    found, notes = job.retests(takes, days, builds=builds, session_u_ms=session_u_ms)
    if json_to is not None:
        write_answer(json_to, answer_json("blinkspan.retests/1", takes, notes, found.to_dict()))
    if json_to != "-":
        out = console()
        out.print(_table(found))
        for line in (*map(str, found.changes), *found.remarks, *notes):
            say(out, line)


def _table(found: Series) -> Table:
    table = Table("build and date", "mean, ms", "less the one before, ms")
    shifts = ["–", *(told(change.shift_ms) for change in found.changes)]
    for label, mean, shift in zip(found.labels, found.means_ms, shifts, strict=True):
        table.add_row(label, told(mean), shift)
    return table
