"""The commands that make, check, save and renew a library."""

import json
from pathlib import Path
from typing import Any

import click

from blinkspan.cli.library_folder import folder_argument, library_option
from blinkspan.cli.library_origin import origin
from blinkspan.cli.library_review import COMMANDS
from blinkspan.cli.waiting import Waiting


@click.group()
def library() -> None:
    """Keep results for years: make, check, save and renew a library."""


for _command in (*COMMANDS, origin):
    library.add_command(_command)


@library.command()
@folder_argument
@click.option(
    "--database",
    metavar="URL",
    help="An empty database of a team, such as postgresql+psycopg://user@host/name.",
)
def init(folder: Path, database: str | None) -> None:
    """Make a library in FOLDER, which is empty or not there yet."""
    from blinkspan.jobs import library as job

    place = job.init(folder, database)
    click.echo(f"made the library {folder}; its results are kept in {place}")


@library.command()
@folder_argument
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a finding.")
@click.pass_context
def check(context: click.Context, /, folder: Path, as_json: bool) -> None:
    """Verify every clip and every result in FOLDER, and repair what can be rebuilt.

    Exit code 1 where a problem is found that a person must act on.
    """
    from blinkspan.jobs import library as job

    found = []
    with Waiting("checking", job.clip_bytes(folder), "bytes") as waiting:
        for finding in job.check(folder, waiting.advance):
            found.append(finding)
            waiting.say(_as_line(finding, as_json))
    problems = sum(finding.weight is job.Weight.PROBLEM for finding in found)
    if not as_json:
        click.echo(_told(problems))
    context.exit(1 if problems else 0)


@library.command()
@folder_argument
@click.option(
    "--to", "target", type=click.Path(path_type=Path), required=True, help="The backups' folder."
)
def backup(folder: Path, target: Path) -> None:
    """Save FOLDER beside earlier backups; clips that are there already are not copied again."""
    from blinkspan.jobs import library as job

    click.echo(f"saved to {_followed('saving', job.backup(folder, target))}")


@library.command()
@click.argument("source", metavar="BACKUP", type=click.Path(path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--database", metavar="URL", help="An empty database of a team to restore into.")
def restore(source: Path, folder: Path, database: str | None) -> None:
    """Make a library in FOLDER of BACKUP: a dated folder, or the latest in a folder of them."""
    from blinkspan.jobs import library as job

    click.echo(f"restored {_followed('restoring', job.restore(source, folder, database))}")


@library.command()
@folder_argument
def upgrade(folder: Path) -> None:
    """Bring FOLDER to the schema of this program; there is no way back but a backup."""
    from blinkspan.jobs import library as job

    before, now = job.upgrade(folder)
    if before == now:
        click.echo(f"{folder} has the newest schema {now} already")
    else:
        click.echo(f"{folder} was brought from schema {before} to {now}")


@library.command("export")
@library_option
@click.option("--study", required=True, help="The study to write.")
@click.argument("target", type=click.Path(path_type=Path))
def export_study(library: Path, study: str, target: Path) -> None:
    """Write a study to TARGET.

    A new folder becomes a data package, from which `blinkspan library import`
    makes the study again; a name ending in .csv, .json or .parquet becomes a
    table of its presses as they stand.
    """
    from blinkspan.jobs import exchange as job

    if target.suffix:
        count = job.write_presses(library, study, target)
    else:
        count = job.export_study(library, study, target)
    click.echo(f"wrote {count} presses to {target}")


@library.command("import")
@library_option
@click.argument("package", type=click.Path(path_type=Path))
def import_study(library: Path, package: Path) -> None:
    """Keep the study of PACKAGE, a data package, in the library: wholly or not at all."""
    from blinkspan.jobs import exchange as job

    click.echo(f"kept the study {job.import_study(library, package)!r}")


@library.command()
@click.argument("package", type=click.Path(path_type=Path))
@click.pass_context
def validate(context: click.Context, /, package: Path) -> None:
    """Let the frictionless library judge PACKAGE; exit code 1 where it finds a fault."""
    from blinkspan.jobs import exchange as job

    faults = job.validate(package)
    click.echo("\n".join(faults) if faults else "no fault found")
    context.exit(1 if faults else 0)


def _told(problems: int) -> str:
    if problems == 0:
        return "no problem found"
    return "1 problem" if problems == 1 else f"{problems} problems"


def _as_line(finding: Any, as_json: bool) -> str:
    if as_json:
        return json.dumps({"weight": finding.weight.value, "text": finding.text})
    return f"{finding.weight.value}: {finding.text}"


def _followed(doing: str, steps: Any) -> Path:
    """Return the last thing a job yields, its folder, after showing every step before it."""
    from blinkspan.jobs import library as job

    with Waiting(doing, None, "clips") as waiting:
        for step in steps:
            if isinstance(step, Path):
                return step
            if isinstance(step, job.Finding):
                waiting.say(_as_line(step, False))
            else:
                waiting.reach(step.done, step.of)
    raise AssertionError("the job ends with its folder")
