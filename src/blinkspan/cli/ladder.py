"""The command that lays frame-rate modes on a line."""

from pathlib import Path

import click
from rich.table import Table

from blinkspan.cli.answers import answer_json, write_answer
from blinkspan.cli.terminal import console, say
from blinkspan.jobs import ladder as job
from blinkspan.study.phrases import plain, told
from blinkspan.study.rungs import Ladder


@click.command()
@click.argument("takes", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--game-rate",
    "game_rates_hz",
    type=float,
    multiple=True,
    metavar="HZ",
    help="The game's frames a second, once for each of TAKES, where they do not say it.",
)
@click.option("--json", "json_to", metavar="FILE", help="Write the answer as JSON; - is stdout.")
def ladder(takes: tuple[Path, ...], game_rates_hz: tuple[float, ...], json_to: str | None) -> None:
    """Lay the modes of one title on a line: a fixed part and so many game frames.

    TAKES are JSON files that `blinkspan measure --json` wrote, of one title on one
    platform in two or more frame-rate modes. Three modes show one that leaves the
    line; two always lie on one.
    """
    found, notes = job.ladder(takes, game_rates_hz=game_rates_hz)
    if json_to is not None:
        write_answer(json_to, answer_json("blinkspan.ladder/1", takes, notes, found.to_dict()))
    if json_to != "-":
        out = console()
        out.print(_table(found))
        for line in (str(found), *notes):
            say(out, line)


def _table(found: Ladder) -> Table:
    table = Table("mode", "n", "mean, ms", "off the line, ms", "frames")
    for column in table.columns:
        column.no_wrap = True
    for rung in found.rungs:
        table.add_row(
            rung.name,
            str(rung.n),
            told(rung.mean_ms),
            "–" if rung.off_line_ms is None else told(rung.off_line_ms),
            "–" if rung.off_line_frames is None else plain(rung.off_line_frames.value, 2),
        )
    return table
