"""The command line: one word for each step of the work.

A command's module is imported when the command is called, so that ``--help``
answers at once.
"""

import errno
import os
import sys
from importlib import import_module

import click

from blinkspan.errors import BlinkspanError

# Each lives in the module of its own name; the words are the first sentence of its help.
COMMANDS = {
    "measure": "Measure every press in TAKE, a film of a lamp and a screen",
    "inspect": "Say what TAKE shows of the rig: camera, lamp, screen, and what would measure "
    "better",
    "add": "Bring TAKES, clips or whole folders, into one setup of a study",
    "library": "Keep results for years: make, check, save and renew a library",
    "open": "Open LIBRARY as a page: look at every press, correct it, run a study",
    "summary": "Sum up measured setups: median, interval, reach, spread and what to be wary of",
    "compare": "Compare setups: different, different but little, the same, or undecided",
    "plan": "Plan how many presses a question needs, from a pilot or from a model",
    "ladder": "Lay the modes of one title on a line: a fixed part and so many game frames",
    "explain": "Say where the time goes: queued frames, fixed part, waits, and what spreads "
    "the presses",
    "matrix": "Set two platforms against each other, paired by title and mode",
    "retests": "Follow one setup over builds and dates: what changed, and what does not agree",
    "stage": "Film SCENE, a built-in name or a TOML file, into OUT_DIR with its truth beside it",
    "demo": "Stage four takes of an invented game, measure them and say how far off that was",
}

_INTERRUPTED = 130  # 128 + SIGINT, as shells have it
# Sums and pictures here are small: threads cost more than they give, and how many there are would
# show in the last digits of sums. Read by the libraries when they are loaded.
_ONE_THREAD = (
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "OMP_NUM_THREADS",
    "OPENCV_FOR_THREADS_NUM",
)


class Commands(click.Group):
    """Commands imported when called; every refusal of ours is one line and exit code 2."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return the command of that name, its module imported now."""
        if cmd_name not in COMMANDS:
            return None
        name = cmd_name.replace("-", "_")
        command: click.Command = getattr(import_module(f"blinkspan.cli.{name}"), name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing any."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def invoke(self, ctx: click.Context) -> object:
        """Run a command; say in one line why it could not."""
        for name in _ONE_THREAD:
            os.environ.setdefault(name, "1")
        try:
            return super().invoke(ctx)
        except BlinkspanError as refusal:
            raise _refused(str(refusal)) from refusal
        except KeyboardInterrupt:
            click.echo("Interrupted; nothing is left half-written.", err=True)
            ctx.exit(_INTERRUPTED)
        except OSError as error:
            if error.errno == errno.EPIPE:  # the reader of our output went away: click is silent
                raise
            _drop_output()
            name = "" if error.filename is None else f"{error.filename}: "
            raise _refused(f"{name}{(error.strerror or str(error)).lower()}") from error


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="blinkspan", prog_name="blinkspan")
def main() -> None:
    """Measure from film how long a game takes from a press to the screen's answer.

    A lamp wired to the button and the screen are filmed together by a
    high-speed camera. Begin with: blinkspan demo
    """


def _refused(why: str) -> click.ClickException:
    return click.UsageError(" ".join(why.split()))


def _drop_output() -> None:
    """Let go of what standard output could not take, or Python says so again at its end."""
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
