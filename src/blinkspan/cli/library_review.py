"""The commands that show a library's results and keep what a person says of them."""

from collections.abc import Sequence
from getpass import getuser
from pathlib import Path

import click
from rich.box import SIMPLE
from rich.table import Column, Table

from blinkspan.cli.library_folder import folder_argument, library_option
from blinkspan.cli.terminal import console, say
from blinkspan.errors import BadSetting
from blinkspan.presses.press import Reason, Verdict
from blinkspan.publish import words
from blinkspan.quantities import Measured


@click.command()
@folder_argument
@click.option("--study", help="This study alone.")
@click.option("--setup", help="The presses of this setup of the study, with their keys.")
def show(folder: Path, study: str | None, setup: str | None) -> None:
    """Show what FOLDER holds: every study's setups in a few numbers."""
    from blinkspan.jobs import review as job

    out = console()
    if setup is not None:
        if study is None:
            raise BadSetting("a setup is looked for in a study; give --study too")
        table = Table(
            "press", "run", "number", "lamp on, s", "response, s", "span, ms", "net, ms",
            "verdict", "corrections", title=f"{study}: {setup}", box=SIMPLE,
        )  # fmt: skip
        _to_the_right(table.columns[:7])
        for kept in job.presses(folder, study, setup):
            press = kept.press
            table.add_row(
                str(kept.id),
                str(kept.run_id),
                str(press.number),
                f"{press.lamp_on.value:.4f}",
                "" if press.response is None else f"{press.response.value:.4f}",
                words.number(None if press.span is None else 1e3 * press.span.value),
                words.number(None if press.net is None else 1e3 * press.net.value),
                press.verdict.value + (f": {press.reason.value}" if press.reason else ""),
                " ".join(map(str, kept.corrections)),
            )
        out.print(table)
        return
    glances = job.overview(folder, study)
    for glance in glances:
        table = Table(
            "setup", "takes", "accepted", "doubtful", "rejected", "median, ms", "low", "high",
            "net, ms", title=glance.study.study.name, box=SIMPLE,
        )  # fmt: skip
        _to_the_right(table.columns[1:])
        for setup_glance in glance.setups:
            table.add_row(
                setup_glance.setup.setup.name,
                f"{setup_glance.measured} of {setup_glance.takes}",
                str(setup_glance.n),
                str(setup_glance.doubtful),
                str(setup_glance.rejected),
                words.number(setup_glance.median_ms),
                words.number(setup_glance.low_ms),
                words.number(setup_glance.high_ms),
                words.number(setup_glance.median_net_ms),
            )
        out.print(table)
    if not glances:
        say(out, "the library holds no study yet; bring takes in with: blinkspan add")


_by_option = click.option("--by", default=getuser, help="Who says so; by default your user name.")


@click.command()
@click.argument("press", type=int)
@library_option
@click.option("--lamp-on", "lamp_on_s", type=float, metavar="S", help="Move the lamp onset here.")
@click.option("--response", "response_s", type=float, metavar="S", help="Move the response here.")
@click.option("--u", "u_ms", type=float, metavar="MS", help="How well the moved instant is known.")
@click.option("--no-response", is_flag=True, help="There was no response.")
@click.option("--verdict", type=click.Choice([v.value for v in Verdict]), help="Hold it for this.")
@click.option("--reason", type=click.Choice([r.value for r in Reason]), help="Why not accepted.")
@click.option("--why", required=True, help="What was seen, in words.")
@_by_option
def correct(
    press: int,
    library: Path,
    lamp_on_s: float | None,
    response_s: float | None,
    u_ms: float | None,
    no_response: bool,
    verdict: str | None,
    reason: str | None,
    why: str,
    by: str,
) -> None:
    """Correct PRESS, by the key that `show` tells; what was measured stays beneath.

    One instant is moved at a time, to seconds of the take. A correction holds
    for later measurings too, and can be undone.
    """
    from blinkspan.jobs import review as job

    said = sum((lamp_on_s is not None, response_s is not None, no_response))
    if said > 1 or (said == 0 and verdict is None):
        raise BadSetting(
            "say one thing of a press: --lamp-on, --response or --no-response, or a --verdict"
        )
    moved = lamp_on_s is not None or response_s is not None
    if moved != (u_ms is not None):
        raise BadSetting("a moved instant and how well it is known go together; give --u in ms")
    kept = job.correct(
        library,
        press,
        by=by,
        why=why,
        lamp_on=_instant(lamp_on_s, u_ms),
        response=_instant(response_s, u_ms),
        no_response=no_response,
        verdict=None if verdict is None else Verdict(verdict),
        reason=None if reason is None else Reason(reason),
    )
    click.echo(f"kept as correction {kept.id}; take it back with: blinkspan library undo {kept.id}")


@click.command()
@click.argument("correction", type=int)
@library_option
@click.option("--why", default="", help="In words.")
@_by_option
def undo(correction: int, library: Path, why: str, by: str) -> None:
    """Take CORRECTION back; to undo the undoing brings it back."""
    from blinkspan.jobs import review as job

    kept = job.undo(library, correction, by=by, why=why)
    click.echo(f"undone by correction {kept.id}")


@click.command()
@click.argument("name")
@library_option
@click.option("--lag", "lag_ms", type=float, metavar="MS", help="The display's own delay.")
@click.option("--lag-u", "lag_u_ms", type=float, metavar="MS", help="Its standard uncertainty.")
@click.option("--refresh", "refresh_hz", type=float, metavar="HZ", help="Its refresh rate.")
@click.option("--game-rate", "game_rate_hz", type=float, metavar="HZ", help="The game's rate.")
@click.option("--notes", default="", help="How and when that was found.")
def display(
    name: str,
    library: Path,
    lag_ms: float | None,
    lag_u_ms: float | None,
    refresh_hz: float | None,
    game_rate_hz: float | None,
    notes: str,
) -> None:
    """Keep what is known of a display mode under NAME, in place of what was."""
    from blinkspan.jobs import review as job
    from blinkspan.jobs.measure_settings import MeasureSettings

    _require_pair("lag", lag_ms, lag_u_ms)
    known = MeasureSettings(
        lag_ms=lag_ms, lag_u_ms=lag_u_ms, refresh_hz=refresh_hz, game_rate_hz=game_rate_hz
    ).display
    _told("display", name, job.keep_display(library, name, known, notes))


@click.command()
@click.argument("name")
@library_option
@click.option("--readout", "readout_ms", type=float, metavar="MS", help="First row to last.")
@click.option("--readout-u", "readout_u_ms", type=float, metavar="MS", help="Its uncertainty.")
@click.option("--exposure", "exposure_ms", type=float, metavar="MS", help="Of one row.")
@click.option("--exposure-u", "exposure_u_ms", type=float, metavar="MS", help="Its uncertainty.")
@click.option("--notes", default="", help="How and when that was found.")
def camera(
    name: str,
    library: Path,
    readout_ms: float | None,
    readout_u_ms: float | None,
    exposure_ms: float | None,
    exposure_u_ms: float | None,
    notes: str,
) -> None:
    """Keep what is known of a camera mode under NAME, in place of what was."""
    from blinkspan.jobs import review as job
    from blinkspan.jobs.measure_settings import MeasureSettings

    _require_pair("readout", readout_ms, readout_u_ms)
    _require_pair("exposure", exposure_ms, exposure_u_ms)
    known = MeasureSettings(
        readout_ms=readout_ms,
        readout_u_ms=readout_u_ms,
        exposure_ms=exposure_ms,
        exposure_u_ms=exposure_u_ms,
    ).camera
    _told("camera", name, job.keep_camera(library, name, known, notes))


def _to_the_right(columns: Sequence[Column]) -> None:
    """Set columns of numbers flush right, so that they can be compared down the page."""
    for column in columns:
        column.justify = "right"


def _instant(at_s: float | None, u_ms: float | None) -> Measured | None:
    return None if at_s is None or u_ms is None else Measured(at_s, u_ms / 1e3)


def _require_pair(what: str, value: float | None, u: float | None) -> None:
    if (value is None) != (u is None):
        raise BadSetting(f"a {what} is kept with its uncertainty; give --{what} and --{what}-u")


def _told(kind: str, name: str, revision: int) -> None:
    if revision == 1:
        click.echo(
            f"the {kind} profile {name!r} is kept; "
            f"name it for a setup with: blinkspan add --{kind}-profile"
        )
        return
    click.echo(
        f"the {kind} profile {name!r} is kept in place of the one before (revision {revision}); "
        "takes measured with it are stale now"
    )


COMMANDS = (show, correct, undo, display, camera)
