"""The command line itself: exact; commands are imported when called and described truly."""

import os
import subprocess
import sys
from importlib.metadata import version

import click
import pytest

from blinkspan.cli.main import COMMANDS, main


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_listed_by_the_first_sentence_of_its_help(name):
    command = main.get_command(click.Context(main), name)
    assert command is not None
    assert command.name == name
    assert command.get_short_help_str(limit=200).rstrip(".") == COMMANDS[name]


def test_help_and_version_import_nothing_heavy():
    asked = (
        "import sys\nfrom blinkspan.cli.main import main\n"
        "for word in ('--help', '--version'): main([word], standalone_mode=False)\n"
        "print(sorted({'numpy', 'av', 'cv2', 'rich', 'scipy', 'sqlalchemy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    *shown, heavy = done.stdout.splitlines()
    assert heavy == "[]"
    assert shown[-1] == f"blinkspan, version {version('blinkspan')}"
    assert any(line.split()[:1] == ["measure"] for line in shown)


def test_sums_run_in_one_thread_unless_told_otherwise(tmp_path):
    # How many threads share a sum shows in its last digits, so that machines would differ.
    asked = (
        "import contextlib, os\nfrom blinkspan.cli.main import main\n"
        "with contextlib.suppress(Exception):\n"
        "    main(['measure', 'nowhere.mp4'], standalone_mode=False)\n"
        "print(os.environ['OPENBLAS_NUM_THREADS'])"
    )
    for given, used in (({}, "1"), ({"OPENBLAS_NUM_THREADS": "2"}, "2")):
        env = {name: value for name, value in os.environ.items() if "NUM_THREADS" not in name}
        done = subprocess.run(
            [sys.executable, "-c", asked],
            capture_output=True, text=True, check=True, cwd=tmp_path, env=env | given,
        )  # fmt: skip
        assert done.stdout.split() == [used]


def test_an_unknown_command_is_a_usage_error(run):
    result = run("mesure")
    assert result.exit_code == 2
    assert "No such command 'mesure'" in result.stderr


def test_a_refusal_with_line_ends_in_it_is_still_one_line(run, tmp_path):
    result = run("measure", tmp_path / "two\nlines.mp4", "--lamp=1,1,5,5", "--watch=20,20,5,5")
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1


def test_the_package_can_be_run_by_python_itself():
    asked = [sys.executable, "-m", "blinkspan", "--version"]
    done = subprocess.run(asked, capture_output=True, text=True, check=True)
    assert done.stdout == f"blinkspan, version {version('blinkspan')}\n"
