"""The options by which commands name a library and a setup in it."""

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

_Command = TypeVar("_Command", bound=Callable[..., Any])

LIBRARY_VARIABLE = "BLINKSPAN_LIBRARY"
USUAL_FOLDER = "blinkspan-library"

library_option = click.option(
    "--library",
    type=click.Path(path_type=Path),
    envvar=LIBRARY_VARIABLE,
    default=USUAL_FOLDER,
    show_default=True,
    show_envvar=True,
    help="The folder of the library.",
)

folder_argument = click.argument(
    "folder", type=click.Path(path_type=Path), envvar=LIBRARY_VARIABLE, default=USUAL_FOLDER
)

_CONDITIONS = {
    "platform": "The console or computer.",
    "title": "The game.",
    "build": "Its version or patch.",
    "mode": "The frame-rate mode.",
    "action": "What the press makes the game do.",
    "spot": "The exact place in the game.",
    "link": "How the controller is joined.",
    "picture_mode": "The display's picture mode.",
    "notes": "Anything else that was held equal.",
}


def condition_options(command: _Command) -> _Command:
    """Return the command with one option for each condition of a setup, and its profiles."""
    for name, words in reversed(_CONDITIONS.items()):
        command = click.option(f"--{name.replace('_', '-')}", name, default="", help=words)(command)
    for kind in ("camera", "display"):
        words = f"Name of a kept {kind} profile."
        command = click.option(f"--{kind}-profile", kind, help=words)(command)
    return click.option("--tag", "tags", multiple=True, help="A tag for the setup; repeatable.")(
        command
    )
