"""The command that turns one take into milliseconds."""

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from blinkspan.cli.gear_options import gear_options
from blinkspan.cli.library_folder import library_option
from blinkspan.cli.measured_files import STDOUT, refuse_outputs
from blinkspan.cli.measured_study import measured_study
from blinkspan.errors import BadSetting

if TYPE_CHECKING:
    from blinkspan.jobs.measure import MeasuredTake
    from blinkspan.jobs.measure_settings import MeasureSettings


@click.command()
@click.argument("take", type=click.Path(path_type=Path), required=False)
@gear_options
@click.option(
    "--condition",
    "conditions",
    multiple=True,
    metavar="NAME=VALUE",
    help="What was held equal, such as platform=… or mode=…; repeatable, kept in the results.",
)
@click.option("--study", help="Instead of TAKE: what is new or stale in this study of a library.")
@click.option("--setup", help="Of the study, this setup alone.")
@library_option
@click.option("--again", is_flag=True, help="Of the study, also what is neither new nor stale.")
@click.option("--workers", type=click.IntRange(1), help="Takes of the study measured at once.")
@click.option("--json", "json_to", metavar="FILE", help="Write the result as JSON; - is stdout.")
@click.option("--csv", "csv_to", metavar="FILE", help="Write one line a press.")
@click.option("--report", "report_to", metavar="FILE.html", help="Write a report to look at.")
def measure(
    take: Path | None,
    conditions: tuple[str, ...],
    study: str | None,
    setup: str | None,
    library: Path,
    again: bool,
    workers: int | None,
    json_to: str | None,
    csv_to: str | None,
    report_to: str | None,
    **gear: Any,
) -> None:
    """Measure every press in TAKE, a film of a lamp and a screen.

    The lamp is wired to the control and lights while it is pressed. Prints each
    press with its span from the lamp to the screen's response, and what all of
    them say together.

    With --study the takes of a library are measured, each in a process of its
    own, and the results kept in it. Exit code 2 where a take could not be.
    """
    if (take is None) == (study is None):
        raise BadSetting("name one take to measure, or a study of a library with --study")
    if take is None:
        if json_to or csv_to or report_to:
            raise BadSetting(
                "the results of a study are kept in its library; write them with: "
                "blinkspan library export"
            )
        if conditions:
            raise BadSetting(
                "the takes of a study have the conditions of their setup; give them with: "
                "blinkspan add"
            )
        code = measured_study(library, str(study), setup, gear, again, workers)
        click.get_current_context().exit(code)
    from blinkspan.cli.measured_table import show_measured
    from blinkspan.jobs.measure_settings import MeasureSettings
    from blinkspan.jobs.stated_conditions import stated_conditions

    settings = MeasureSettings(**gear)
    said = stated_conditions(conditions)
    refuse_outputs(take, json_to, csv_to, report_to)
    measured = _followed(take, settings, said, json_to, csv_to, report_to)
    show_measured(measured, to_error=json_to == STDOUT)


def _followed(
    take: Path,
    settings: "MeasureSettings",
    conditions: dict[str, str],
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
    work = measure_take(take, settings, conditions, pictures=report_to is not None)
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
