"""The options that say where in the picture to measure, and what is known of the gear."""

from collections.abc import Callable
from typing import Any, TypeVar

import click

from blinkspan.cli.region_options import box, panel_corners

_Command = TypeVar("_Command", bound=Callable[..., Any])

_OPTIONS = (
    click.option("--lamp", callback=box, metavar="X,Y,W,H", help="Where the lamp is, in pixels."),
    click.option(
        "--panel",
        callback=panel_corners,
        metavar="X,Y,W,H",
        help="The screen: a box, or X1,Y1,…,X4,Y4, its corners from top left clockwise.",
    ),
    click.option(
        "--watch", callback=box, metavar="X,Y,W,H", help="The part in which the response shows."
    ),
    click.option(
        "--capture-rate",
        "capture_rate_hz",
        type=float,
        metavar="HZ",
        help="The rate filmed at, where the file is stamped for slow playback and does not say so.",
    ),
    click.option(
        "--refresh", "refresh_hz", type=float, metavar="HZ", help="The screen's refresh rate."
    ),
    click.option(
        "--game-rate", "game_rate_hz", type=float, metavar="HZ", help="The game's frames a second."
    ),
    click.option(
        "--lag",
        "lag_ms",
        type=float,
        metavar="MS",
        help="The display's own delay at the row of the response; the net latency is less that.",
    ),
    click.option(
        "--lag-u",
        "lag_u_ms",
        type=float,
        metavar="MS",
        help="Its standard uncertainty; taken as 0 where not given.",
    ),
    click.option(
        "--readout",
        "readout_ms",
        type=float,
        metavar="MS",
        help="The camera's readout, from its first row to its last.",
    ),
    click.option(
        "--exposure", "exposure_ms", type=float, metavar="MS", help="How long a row gathers light."
    ),
)


def gear_options(command: _Command) -> _Command:
    """Return the command with an option for each region and each known thing of the gear."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command
