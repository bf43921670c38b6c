"""The command that turns one take into milliseconds."""

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import click

from blinkspan.cli.measured_files import STDOUT, refuse_outputs
from blinkspan.cli.region_options import box, panel_corners
from blinkspan.traces.regions import Quadrilateral, Rectangle

if TYPE_CHECKING:
    from blinkspan.jobs.measure import MeasuredTake
    from blinkspan.jobs.measure_settings import MeasureSettings


@click.command()
@click.argument("take", type=click.Path(path_type=Path))
@click.option("--lamp", callback=box, metavar="X,Y,W,H", help="Where the lamp is, in pixels.")
@click.option(
    "--panel",
    callback=panel_corners,
    metavar="X,Y,W,H",
    help="The screen: a box, or X1,Y1,…,X4,Y4, its corners from top left clockwise.",
)
@click.option(
    "--watch", callback=box, metavar="X,Y,W,H", help="The part in which the response shows."
)
@click.option(
    "--capture-rate",
    "capture_rate_hz",
    type=float,
    metavar="HZ",
    help="The rate filmed at, where the file is stamped for slow playback and does not say so.",
)
@click.option(
    "--refresh", "refresh_hz", type=float, metavar="HZ", help="The screen's refresh rate."
)
@click.option(
    "--game-rate", "game_rate_hz", type=float, metavar="HZ", help="The game's frames a second."
)
@click.option(
    "--lag",
    "lag_ms",
    type=float,
    metavar="MS",
    help="The display's own delay at the row of the response; the net latency is less that.",
)
@click.option(
    "--lag-u",
    "lag_u_ms",
    type=float,
    metavar="MS",
    help="Its standard uncertainty; taken as 0 where not given.",
)
@click.option(
    "--readout",
    "readout_ms",
    type=float,
    metavar="MS",
    help="The camera's readout, from its first row to its last.",
)
@click.option(
    "--exposure", "exposure_ms", type=float, metavar="MS", help="How long a row gathers light."
)
@click.option("--json", "json_to", metavar="FILE", help="Write the result as JSON; - is stdout.")
@click.option("--csv", "csv_to", metavar="FILE", help="Write one line a press.")
@click.option("--report", "report_to", metavar="FILE.html", help="Write a report to look at.")
def measure(
    take: Path,
    lamp: Rectangle | None,
    panel: Quadrilateral | None,
    watch: Rectangle | None,
    capture_rate_hz: float | None,
    refresh_hz: float | None,
    game_rate_hz: float | None,
    lag_ms: float | None,
    lag_u_ms: float | None,
    readout_ms: float | None,
    exposure_ms: float | None,
    json_to: str | None,
    csv_to: str | None,
    report_to: str | None,
) -> None:
    """Measure every press in TAKE, a film of a lamp and a screen.

    The lamp is wired to the control and lights while it is pressed. Prints each
    press with its span from the lamp to the screen's response, and what all of
    them say together.
    """
    from blinkspan.cli.measured_table import show_measured
    from blinkspan.jobs.measure_settings import MeasureSettings

    settings = MeasureSettings(
        lamp=lamp,
        panel=panel,
        watch=watch,
        capture_rate_hz=capture_rate_hz,
        refresh_hz=refresh_hz,
        game_rate_hz=game_rate_hz,
        lag_ms=lag_ms,
        lag_u_ms=lag_u_ms,
        readout_ms=readout_ms,
        exposure_ms=exposure_ms,
    )
    refuse_outputs(take, json_to, csv_to, report_to)
    measured = _followed(take, settings, json_to, csv_to, report_to)
    show_measured(measured, to_error=json_to == STDOUT)


def _followed(
    take: Path,
    settings: "MeasureSettings",
    json_to: str | None,
    csv_to: str | None,
    report_to: str | None,
) -> "MeasuredTake":
    """Return the measured take, written to the files asked for, with a bar meanwhile."""
    from blinkspan.cli.answers import write_answer
    from blinkspan.cli.waiting import Waiting
    from blinkspan.jobs.measure import Progress, measure_take
    from blinkspan.publish.document import summary_part, to_json
    from blinkspan.publish.output import write_whole
    from blinkspan.publish.report import ReportSetup, report_html
    from blinkspan.publish.table import to_csv

    measured = None
    work = measure_take(take, settings, pictures=report_to is not None)
    with Waiting("reading", None, "frames") as waiting, closing(work):
        for step in work:
            if isinstance(step, Progress):
                waiting.reach(step.done, step.of, step.doing)
            else:
                measured = step
        assert measured is not None  # the job ends with it
        waiting.reach(0, None, "writing")
        if report_to is not None:
            setup = ReportSetup(take.stem, summary_part(measured.summary), (measured.for_report,))
            write_whole(Path(report_to), report_html(f"Latency in {take.name}", [setup]))
        if csv_to is not None:
            write_whole(Path(csv_to), to_csv([measured.document]).encode())
    if json_to is not None:
        write_answer(json_to, to_json(measured.document))
    return measured
