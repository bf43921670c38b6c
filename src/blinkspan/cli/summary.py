"""The command that sums up measured setups."""

from pathlib import Path

import click

from blinkspan.cli.answers import answer_json, write_answer
from blinkspan.cli.setup_table import setup_notes, setup_table
from blinkspan.cli.terminal import console, say
from blinkspan.jobs.setups import read_setups
from blinkspan.study.felt import place_latency


@click.command()
@click.argument("takes", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--name",
    "names",
    multiple=True,
    metavar="SETUP",
    help="The setup of each of TAKES, once for each; takes of one name are pooled.",
)
@click.option("--json", "json_to", metavar="FILE", help="Write the answer as JSON; - is stdout.")
def summary(takes: tuple[Path, ...], names: tuple[str, ...], json_to: str | None) -> None:
    """Sum up measured setups: median, interval, reach, spread and what to be wary of.

    TAKES are JSON files that `blinkspan measure --json` wrote. Takes that state the
    same conditions are one setup.
    """
    setups, notes = read_setups(takes, names)
    if json_to is not None:
        answer = {
            "setups": [
                {
                    "name": setup.sample.name,
                    "summary": setup.summary.to_dict(),
                    "felt": (
                        None
                        if setup.summary.median_ms is None
                        else place_latency(setup.summary.median_ms).to_dict()
                    ),
                }
                for setup in setups
            ]
        }
        write_answer(json_to, answer_json("blinkspan.summary/1", takes, notes, answer))
    if json_to != "-":
        out = console()
        out.print(setup_table(setups))
        for line in (*setup_notes(setups), *notes):
            say(out, line)
