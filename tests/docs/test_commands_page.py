"""Commands, options and doubts on the pages, exact: what exists is described, and no more."""

import re
import runpy
import shlex
from collections.abc import Iterator

import click
import pytest

from blinkspan.presses.press import Reason, Verdict
from docs.pages import DOCS, PAGES, PROJECT, blocks, prose, text

MAKER = runpy.run_path(str(DOCS / "make_commands.py"))
COMMANDS: dict[str, click.Command] = dict(MAKER["commands"]())
GROUPS = {name.rsplit(" ", 1)[0] for name in COMMANDS}


def uses(page: str) -> Iterator[str]:
    """Yield each use of the program in blocks of shell lines and between backticks."""
    for block in (*blocks(page, "sh"), *re.findall(r"(?:^    .+\n)+", page, re.MULTILINE)):
        for line in re.sub(r"\\\n", "", block).splitlines():
            if line.strip().startswith("blinkspan "):
                yield line.strip()
    yield from re.findall(r"`(blinkspan [^`]+)`", prose(page))


def command_of(line: str) -> tuple[str, list[str]]:
    """Return the command that a line calls, "" for the program itself, and the words after it."""
    words = shlex.split(line, comments=True)
    for count in (3, 2):
        if (name := " ".join(words[:count])) in COMMANDS:
            return name, words[count:]
    return "", words


def test_the_page_of_commands_is_what_the_program_says():
    page = MAKER["PAGE"].read_text(encoding="utf-8")
    assert page == MAKER["commands_page"](), "run: python docs/make_commands.py"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_says_what_it_is_for(name):
    command = COMMANDS[name]
    assert command.help
    options = [option for option in command.params if isinstance(option, click.Option)]
    assert [option.name for option in options if not option.help] == []


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_its_place_in_the_guide(name):
    assert name in {command_of(line)[0] for line in uses(text("docs/guide.md"))}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_a_page_names_only_commands_and_options_that_exist(page):
    wrong = []
    for line in uses(page.read_text(encoding="utf-8")):
        name, rest = command_of(line)
        options = {word.split("=")[0] for word in rest if re.match(r"--?[a-z]", word)}
        if name:
            options_of = [(*each.opts, *each.secondary_opts) for each in COMMANDS[name].params]
            known = {"--help", "-h"}.union(*options_of)
            wrong += [f"{name} {option}" for option in options - known]
        elif " ".join(rest[:2]) not in GROUPS and not options & {"--help", "--version"}:
            wrong.append(line)
    assert wrong == []


def test_the_variable_and_the_extras_are_in_the_guide():
    guide = text("docs/guide.md")
    options = [option for command in COMMANDS.values() for option in command.params]
    variables = {str(option.envvar) for option in options if option.envvar}
    assert "BLINKSPAN_LIBRARY" in variables
    assert [name for name in variables if f"`{name}`" not in guide] == []
    extras = PROJECT["optional-dependencies"].keys() - {"dev"}
    assert [name for name in extras if f"`blinkspan[{name}]`" not in guide] == []


@pytest.mark.parametrize("page", ["docs/method.md", "docs/result-format.md"])
def test_every_doubt_is_described(page):
    rows = dict(re.findall(r"^\| `?([a-z ]+)`? \| (.+) \|$", text(page), re.MULTILINE))
    assert [reason for reason in Reason if len(rows.get(reason, "")) < 20] == []
    assert [verdict for verdict in Verdict if verdict not in text(page)] == []
