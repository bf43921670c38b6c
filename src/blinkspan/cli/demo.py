"""The command that shows the whole work on film with known truth."""

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rich.table import Table

    from blinkspan.jobs.demo import Demonstration
    from blinkspan.stage.against_truth import Score


@click.command()
@click.argument("out_dir", type=click.Path(path_type=Path), default="blinkspan-demo")
def demo(out_dir: Path) -> None:
    """Stage four takes of an invented game, measure them and say how far off that was.

    Everything goes into OUT_DIR, blinkspan-demo where not given: the takes with
    their truth, a report, the chart, the results as JSON and CSV, and a library. Takes that
    are there from an earlier run are used again.
    """
    from blinkspan.cli.terminal import console, say
    from blinkspan.cli.waiting import Waiting
    from blinkspan.jobs.demo import demo as job
    from blinkspan.jobs.demo import remark_on
    from blinkspan.jobs.measure import Progress

    done = None
    with Waiting("filming and measuring", None, "frames") as waiting, closing(job(out_dir)) as work:
        for step in work:
            if isinstance(step, Progress):
                waiting.reach(step.done, step.of, step.doing)
            else:
                done = step
    assert done is not None  # the job ends with it
    out = console()
    out.print(_table(done))
    say(out, remark_on(done.score))
    say(out, f"Written to {out_dir}: {', '.join(file.name for file in done.files)}")
    say(out, f"All of it is kept in a library; see it with: blinkspan library show {done.library}")


def _table(done: "Demonstration") -> "Table":
    from statistics import median

    from rich.box import SIMPLE
    from rich.table import Table

    from blinkspan.publish import words

    table = Table(
        *("setup", "found", "missed", "median", "truly", "bias", "RMSE", "in ± 2u"),
        box=SIMPLE,
        caption="Presses found, those the game missed and told so; times in milliseconds.",
        caption_justify="left",
    )
    for column in table.columns[1:]:
        column.justify, column.no_wrap = "right", True

    def row(name: str, score: "Score", median_ms: float | None, true_ms: float | None) -> None:
        table.add_row(
            name,
            f"{score.found} of {score.presses}",
            f"{score.missed_told} of {score.missed}",
            words.number(median_ms),
            words.number(true_ms),
            words.number(score.bias_ms, 2),
            words.number(score.rmse_ms, 2),
            f"{score.within_2u} of {len(score.errors_ms)}",
        )

    for take in done.takes:
        spans = take.score.true_spans_ms
        estimate = take.measured.summary.median_ms
        row(
            take.label,
            take.score,
            None if estimate is None else estimate.value,
            median(spans) if spans else None,
        )
    table.add_section()
    row("all", done.score, None, None)
    return table
