"""The command that says where the time of a title's presses goes."""

from pathlib import Path

import click
from rich.table import Table

from blinkspan.cli.answers import answer_json, write_answer
from blinkspan.cli.terminal import console, say
from blinkspan.jobs import explain as job
from blinkspan.study.explanation import Explanation
from blinkspan.study.phrases import chance


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
@click.option(
    "--link",
    type=click.Choice(["wired", "wireless"]),
    default="wired",
    show_default=True,
    help="How the controller is joined.",
)
@click.option(
    "--poll",
    "poll_ms",
    type=float,
    metavar="MS",
    help="Period of the link; for a wired one 1, 2, 4 and 8 ms are tried where not given.",
)
@click.option(
    "--scan",
    "scan_ms",
    type=float,
    default=0.0,
    metavar="MS",
    help="Period at which the controller scans its own controls.",
)
@click.option(
    "--free-refresh",
    "free_refresh_hz",
    type=float,
    metavar="HZ",
    help="The panel's refresh, where it runs free of the game's frames.",
)
@click.option(
    "--fixed", "fixed_ms", type=float, metavar="MS", help="The fixed part, known from elsewhere."
)
@click.option("--fixed-u", "fixed_u_ms", type=float, metavar="MS", help="Its standard uncertainty.")
@click.option("--alike", is_flag=True, help="Hold that all modes queue as many frames.")
@click.option(
    "--baseline",
    type=click.Path(path_type=Path),
    help="A measured take of the system's own menu on the same gear.",
)
@click.option("--baseline-rate", "baseline_rate_hz", type=float, metavar="HZ", help="Its rate.")
@click.option("--seed", type=int, default=1, show_default=True, help="Of the random numbers.")
@click.option("--json", "json_to", metavar="FILE", help="Write the answer as JSON; - is stdout.")
def explain(
    takes: tuple[Path, ...],
    game_rates_hz: tuple[float, ...],
    link: str,
    poll_ms: float | None,
    scan_ms: float,
    free_refresh_hz: float | None,
    fixed_ms: float | None,
    fixed_u_ms: float | None,
    alike: bool,
    baseline: Path | None,
    baseline_rate_hz: float | None,
    seed: int,
    json_to: str | None,
) -> None:
    """Say where the time goes: queued frames, fixed part, waits, and what spreads the presses.

    TAKES are JSON files that `blinkspan measure --json` wrote, of one title on one
    platform. One mode alone tells only the sum of queued frames and fixed part;
    several modes, or a fixed part known from elsewhere, tell them apart.
    """
    known = job.Known(
        wireless=link == "wireless",
        poll_ms=poll_ms,
        scan_ms=scan_ms,
        free_refresh_hz=free_refresh_hz,
        fixed_ms=fixed_ms,
        fixed_u_ms=fixed_u_ms,
        alike=alike,
    )
    found, notes = job.explain(
        takes,
        known,
        game_rates_hz=game_rates_hz,
        baseline=baseline,
        baseline_rate_hz=baseline_rate_hz,
        seed=seed,
    )
    if json_to is not None:
        write_answer(json_to, answer_json("blinkspan.explain/1", takes, notes, found.to_dict()))
    if json_to != "-":
        out = console()
        say(out, f"If the most probable queue holds (chance {chance(found.queue.chances[0])}):")
        out.print(_table(found))
        for line in (str(found), *notes):
            say(out, line)


def _table(found: Explanation) -> Table:
    table = Table(
        "mean time, ms",
        *(time.name for time in found.times),
    )
    for row, (name, _) in enumerate(found.times[0].parts_ms):
        table.add_row(name, *(f"{time.parts_ms[row][1]:.1f}" for time in found.times))
    table.add_section()
    table.add_row("together", *(f"{time.predicted_ms:.1f}" for time in found.times))
    table.add_row("mean of the presses", *(f"{time.seen_ms:.1f}" for time in found.times))
    return table
