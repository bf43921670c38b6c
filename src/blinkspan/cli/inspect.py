"""The command that says what a take shows of the rig."""

from contextlib import closing
from pathlib import Path
from typing import Any

import click

from blinkspan.cli.gear_options import gear_options
from blinkspan.cli.measured_files import STDOUT, refuse_outputs


@click.command()
@click.argument("take", type=click.Path(path_type=Path))
@gear_options
@click.option("--json", "json_to", metavar="FILE", help="Write the answer as JSON; - is stdout.")
def inspect(take: Path, json_to: str | None, **gear: Any) -> None:
    """Say what TAKE shows of the rig: camera, lamp, screen, and what would measure better.

    Run it on a first short take of some ten presses, before the long ones. It
    also looks at takes that cannot be measured, and says what is missing.
    """
    from blinkspan.cli.answers import answer_json, write_answer
    from blinkspan.cli.inspection_table import show_inspection
    from blinkspan.cli.waiting import Waiting
    from blinkspan.jobs.inspect import inspect_take
    from blinkspan.jobs.measure import Progress
    from blinkspan.jobs.measure_settings import MeasureSettings
    from blinkspan.rig.inspection import SCHEMA

    settings = MeasureSettings(**gear)
    refuse_outputs(take, json_to, None, None)
    inspection = None
    work = inspect_take(take, settings)
    with Waiting("reading", None, "frames") as waiting, closing(work):
        for step in work:
            if isinstance(step, Progress):
                waiting.reach(step.done, step.of, step.doing)
            else:
                inspection = step
    assert inspection is not None  # the job ends with it
    if json_to is not None:
        write_answer(json_to, answer_json(SCHEMA, [take], inspection.notes, inspection.to_dict()))
    show_inspection(inspection, to_error=json_to == STDOUT)
