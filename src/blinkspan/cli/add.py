"""The command that brings takes into the library."""

import json
from pathlib import Path
from typing import Any

import click

from blinkspan.cli.library_folder import condition_options, library_option
from blinkspan.cli.waiting import Waiting


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
    as_json: bool,
    **conditions: str,
) -> None:
    """Bring TAKES, clips or whole folders, into one setup of a study.

    A clip that is kept already is passed over, so the command may be run again
    after it was cut off. Exit code 2 where a clip was refused; the others are kept.
    """
    from blinkspan.jobs import add as job
    from blinkspan.study.setup import Conditions, Setup

    asked = Setup(setup, Conditions(**conditions), display, camera, tags)
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
