"""The command that plans how many presses to make."""

from pathlib import Path

import click

from blinkspan.cli.answers import answer_json, write_answer
from blinkspan.cli.terminal import console, say
from blinkspan.errors import BadSetting
from blinkspan.jobs import plan as job


@click.command()
@click.argument("pilot", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--game-rate",
    "game_rate_hz",
    type=float,
    metavar="HZ",
    help="Plan from a model of a game at this rate, where there is no pilot.",
)
@click.option(
    "--width", "width_ms", type=float, metavar="MS", help="Width of the median's 95 % interval."
)
@click.option(
    "--detect", "detect_ms", type=float, metavar="MS", help="A difference to tell from none."
)
@click.option(
    "--same-within",
    "same_within_ms",
    type=float,
    metavar="MS",
    help="A margin within which to show two like setups the same.",
)
@click.option(
    "--power", type=float, default=0.8, show_default=True, help="How often it is to succeed."
)
@click.option(
    "--gear",
    "gear_presses",
    type=int,
    metavar="PRESSES",
    help="Say what other cameras would buy with so many presses.",
)
@click.option(
    "--u", "u_ms", type=float, metavar="MS", help="Standard uncertainty to expect of one press."
)
@click.option(
    "--lag-u", "lag_u_ms", type=float, metavar="MS", help="That of the display's lag to plan with."
)
@click.option("--metronome", "beats", type=int, metavar="BEATS", help="Print beats to press to.")
@click.option(
    "--gap",
    "gap_s",
    type=float,
    default=1.0,
    show_default=True,
    metavar="S",
    help="Mean time from beat to beat.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="Of the random numbers.")
@click.option("--json", "json_to", metavar="FILE", help="Write the answer as JSON; - is stdout.")
def plan(
    pilot: tuple[Path, ...],
    game_rate_hz: float | None,
    width_ms: float | None,
    detect_ms: float | None,
    same_within_ms: float | None,
    power: float,
    gear_presses: int | None,
    u_ms: float | None,
    lag_u_ms: float | None,
    beats: int | None,
    gap_s: float,
    seed: int,
    json_to: str | None,
) -> None:
    """Plan how many presses a question needs, from a pilot or from a model.

    PILOT are JSON files that `blinkspan measure --json` wrote, of one setup; without
    any, give --game-rate. --metronome alone needs neither.
    """
    wishes = job.Wishes(width_ms, detect_ms, same_within_ms, power, gear_presses)
    if beats is None and not wishes.any:
        raise BadSetting(
            "there is nothing to plan; give --width, --detect, --same-within, --gear or --metronome"
        )
    out = console(to_error=json_to == "-")
    with out.status("trying simulated presses"):
        found = job.plan(
            pilot,
            wishes,
            game_rate_hz=game_rate_hz,
            u_ms=u_ms,
            lag_u_ms=lag_u_ms,
            beats=beats,
            gap_s=gap_s,
            seed=seed,
        )
    if json_to is not None:
        answer = answer_json("blinkspan.plan/1", pilot, found.notes, found.to_dict())
        write_answer(json_to, answer)
    if json_to != "-":
        for line in (*map(str, found.plans), *map(str, found.gear)):
            say(out, line)
        for beat in found.beats_s:
            say(out, f"{beat:9.3f} s")
        for note in found.notes:
            say(out, note)
