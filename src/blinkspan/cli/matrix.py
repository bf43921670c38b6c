"""The command that sets two platforms against each other over many titles."""

from pathlib import Path

import click
from rich.table import Table

from blinkspan.cli.answers import answer_json, write_answer
from blinkspan.cli.terminal import console, say
from blinkspan.jobs import matrix as job
from blinkspan.study.matrix import PlatformEffect
from blinkspan.study.phrases import told


@click.command()
@click.argument("takes", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--first", required=True, metavar="PLATFORM", help="Whose latency is looked at.")
@click.option("--second", required=True, metavar="PLATFORM", help="What it is compared with.")
@click.option("--mixed", is_flag=True, help="Fit a mixed model too; needs the matrix extra.")
@click.option("--json", "json_to", metavar="FILE", help="Write the answer as JSON; - is stdout.")
def matrix(
    takes: tuple[Path, ...], first: str, second: str, mixed: bool, json_to: str | None
) -> None:
    """Set two platforms against each other, paired by title and mode.

    TAKES are JSON files that `blinkspan measure --json` wrote and that say their
    platform and title.
    """
    found, notes = job.matrix(takes, first, second, mixed=mixed)
    if json_to is not None:
        write_answer(json_to, answer_json("blinkspan.matrix/1", takes, notes, found.to_dict()))
    if json_to != "-":
        out = console()
        out.print(_table(found))
        for line in (str(found), *notes):
            say(out, line)


def _table(found: PlatformEffect) -> Table:
    table = Table("", f"{found.first} less {found.second}, ms")
    for name, estimate in found.by_title_ms:
        table.add_row(name, told(estimate))
    table.add_section()
    for name, estimate in found.by_mode_ms:
        table.add_row(name, told(estimate))
    return table
