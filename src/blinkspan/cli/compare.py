"""The command that compares measured setups."""

from pathlib import Path

import click

from blinkspan.cli.answers import answer_json, write_answer
from blinkspan.cli.setup_table import setup_notes, setup_table
from blinkspan.cli.terminal import console, say
from blinkspan.jobs import compare as job
from blinkspan.study.phrases import listed


@click.command()
@click.argument("takes", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--name",
    "names",
    multiple=True,
    metavar="SETUP",
    help="The setup of each of TAKES, once for each; takes of one name are pooled.",
)
@click.option(
    "--margin",
    default="game",
    show_default=True,
    metavar="WHAT",
    help="The difference that matters: game or camera for one frame of it, felt for what a "
    "sensitive player notices, or a number of ms.",
)
@click.option("--against", metavar="SETUP", help="Compare each setup with this one only.")
@click.option(
    "--plan/--no-plan",
    default=True,
    show_default=True,
    help="Simulate how many presses would decide what is undecided.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="Of the random numbers.")
@click.option("--json", "json_to", metavar="FILE", help="Write the answer as JSON; - is stdout.")
def compare(
    takes: tuple[Path, ...],
    names: tuple[str, ...],
    margin: str,
    against: str | None,
    plan: bool,
    seed: int,
    json_to: str | None,
) -> None:
    """Compare setups: different, different but little, the same, or undecided.

    TAKES are JSON files that `blinkspan measure --json` wrote, of two setups or more.
    Takes that state the same conditions are one setup. Several comparisons are
    allowed for together.
    """
    out = console(to_error=json_to == "-")
    with out.status("comparing"):
        found = job.compare(
            takes, names=names, margin=margin, against=against, plan=plan, seed=seed
        )
    if json_to is not None:
        answer = answer_json("blinkspan.compare/1", takes, found.notes, found.to_dict())
        write_answer(json_to, answer)
    if json_to != "-":
        out.print(setup_table(found.setups))
        for one, felt in zip(found.comparisons, found.felt, strict=True):
            say(out, " ".join(filter(None, (one.verdict, one.outlook))))
            say(out, f"  {felt}")
        for line in (*_once(found), *setup_notes(found.setups), *found.notes):
            say(out, line)


def _once(found: job.Compared) -> list[str]:
    """Say what holds for several comparisons, and who says what is noticed."""
    lines = []
    family = found.comparisons[0].family
    if family > 1:
        lines.append(f"{family} comparisons were made and are allowed for together (Holm).")
    cancelled = {one.doubt.cancelled for one in found.comparisons}
    for names in sorted(cancelled):
        of = [
            f"{one.first} and {one.second}"
            for one in found.comparisons
            if one.doubt.cancelled == names
        ]
        if names:
            whose = "both setups of every pair" if len(cancelled) == 1 else listed(of)
            lines.append(f"Common to {whose}, the doubt of {listed(list(names))} cancels.")
    thresholds = [str(placed.threshold) for placed in found.felt[0].placed]
    return [*lines, *(f"Held against {threshold}." for threshold in thresholds)]
