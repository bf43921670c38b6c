"""Write commands.md from the program's own help: ``python docs/make_commands.py``.

A test fails while the page says something else than the program.
"""

import inspect
from collections.abc import Iterator
from pathlib import Path

import click

from blinkspan.cli.main import main

PAGE = Path(__file__).with_name("commands.md")

_HEAD = """\
# Commands

Written from the program's own help by `python docs/make_commands.py`; do not edit it here. \
What each command is good for, and in which order, is in the [guide](guide.md).

Every command also takes `-h` or `--help`. Bad input ends in one line and exit code 2, an \
interruption in exit code 130; nothing is left half-written. Where an option takes a `FILE` and \
`-` is standard output, the tables go to standard error or stay away.
"""


def commands_page() -> str:
    """Return the whole page, from the commands as they are."""
    sections = [_section(path, command) for path, command in commands()]
    return "\n".join([_HEAD, *sections])


def commands() -> Iterator[tuple[str, click.Command]]:
    """Yield every command that does something, under its whole name, in the order of the help."""
    yield from _below("blinkspan", main)


def _below(path: str, command: click.Command) -> Iterator[tuple[str, click.Command]]:
    if not isinstance(command, click.Group):
        yield path, command
        return
    context = click.Context(command)
    for name in command.list_commands(context):
        inner = command.get_command(context, name)
        assert inner is not None, f"{path} {name} is listed and not there"
        yield from _below(f"{path} {name}", inner)


def _section(path: str, command: click.Command) -> str:
    context = click.Context(command, info_name=path)
    usage = " ".join([path, *command.collect_usage_pieces(context)])
    parts = [f"## {path}", f"`{usage}`", inspect.cleandoc(command.help or "")]
    rows = [
        record
        for option in command.params
        if isinstance(option, click.Option) and (record := option.get_help_record(context))
    ]
    if rows:
        lines = [f"| `{_cell(names)}` | {_cell(words)} |" for names, words in rows]
        parts.append("\n".join(["| option | meaning |", "|---|---|", *lines]))
    return "\n\n".join(parts) + "\n"


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", r"\|")


if __name__ == "__main__":
    PAGE.write_text(commands_page(), encoding="utf-8")
