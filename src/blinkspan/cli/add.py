"""The command that brings takes into the library."""

import json
from contextlib import closing
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from blinkspan.cli.gear_options import gear_options
from blinkspan.cli.library_folder import condition_options, library_option
from blinkspan.cli.measured_study import kept_line, split_gear
from blinkspan.cli.waiting import Waiting
from blinkspan.errors import BadSetting

if TYPE_CHECKING:
    from blinkspan.study.setup import Setup


@click.command()
@click.argument("takes", nargs=-1, required=True, type=click.Path(path_type=Path))
@library_option
@click.option("--study", required=True, help="The study; made where it is not there yet.")
@click.option("--setup", required=True, help="The setup; made where it is not there yet.")
@condition_options
@click.option(
    "--keep",
    type=click.Choice(["copy", "link", "in place"]),
    default="copy",
    show_default=True,
    help="Copy each clip into the library, link it there (same disk), or leave it in place.",
)
@click.option(
    "--follow",
    is_flag=True,
    help="Stay with one folder: add and measure clips as they arrive, until Ctrl-C.",
)
@gear_options
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a clip.")
@click.pass_context
def add(
    context: click.Context,
    /,
    takes: tuple[Path, ...],
    library: Path,
    study: str,
    setup: str,
    tags: tuple[str, ...],
    display: str | None,
    camera: str | None,
    keep: str,
    follow: bool,
    as_json: bool,
    **others: Any,
) -> None:
    """Bring TAKES, clips or whole folders, into one setup of a study.

    A clip that is kept already is passed over, so the command may be run again
    after it was cut off. Exit code 2 where a clip was refused; the others are kept.

    The places in the picture and what is known of the gear serve the measuring
    with --follow; otherwise give them to `blinkspan measure --study`.
    """
    from blinkspan.jobs import add as job
    from blinkspan.study.setup import Conditions, Setup

    names = {field.name for field in fields(Conditions)}
    words = {name: value for name, value in others.items() if name in names}
    gear = {name: value for name, value in others.items() if name not in names}
    asked = Setup(setup, Conditions(**words), display, camera, tags)
    if follow:
        _follow(library, takes, study, asked, keep, gear, as_json)
        return
    clips = job.clips_of(takes)
    refused = 0
    # each clip is read for its hash, and once more where it is copied
    rounds = 2 if keep == "copy" else 1
    of = rounds * sum(clip.stat().st_size for clip in clips if clip.is_file())
    with Waiting("adding", of, "bytes") as waiting:
        for outcome in job.add(library, clips, study, asked, keep, waiting.advance):
            refused += outcome.refusal is not None
            waiting.say(_line(outcome, as_json), to_error=outcome.refusal is not None)
    context.exit(2 if refused else 0)


def _follow(
    library: Path,
    takes: tuple[Path, ...],
    study: str,
    asked: "Setup",
    keep: str,
    gear: dict[str, Any],
    as_json: bool,
) -> None:
    """Say what becomes of each clip that arrives, until the person ends it."""
    from blinkspan.jobs import batch
    from blinkspan.jobs.add import Outcome
    from blinkspan.jobs.follow import follow as job

    if len(takes) != 1:
        raise BadSetting(f"one folder can be followed, {len(takes)} are named; name one")
    given, regions = split_gear(gear)
    work = job(library, takes[0], study, asked, keep, given=given, regions=regions)
    click.echo(f"waiting for clips in {takes[0]}; Ctrl-C ends it", err=True)
    with closing(work):
        try:
            for event in work:
                if isinstance(event, Outcome):
                    click.echo(_line(event, as_json), err=event.refusal is not None)
                elif isinstance(event, batch.Kept):
                    click.echo(kept_line(event), err=as_json)
                elif isinstance(event, batch.Failed):
                    click.echo(f"Error: {event.take.name}: {event.reason}", err=True)
        except KeyboardInterrupt:
            click.echo("ended; what has arrived is kept", err=True)


def _line(outcome: Any, as_json: bool) -> str:
    take, spot = outcome.take, outcome.spot
    if as_json:
        return json.dumps(
            {
                "file": str(outcome.path),
                "take_id": None if take is None else take.id,
                "sha256": None if take is None else take.sha256,
                "new": outcome.new,
                "refusal": outcome.refusal,
                "spot": None if spot is None else {"same": spot.same, "said": str(spot)},
            }
        )
    if take is None:
        return f"Error: {outcome.refusal}"
    said = f"{outcome.path.name}: {'take' if outcome.new else 'kept already as take'} {take.id}"
    return said if spot is None or spot.same else f"{said}; {spot}"
