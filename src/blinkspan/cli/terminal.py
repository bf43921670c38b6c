"""Tables and sentences on a terminal, and the same whole where there is none."""

from rich.console import Console

_UNATTENDED_WIDTH = 100  # so that no column is cut


def console(*, to_error: bool = False) -> Console:
    """Return a console on standard output or standard error."""
    attended = Console(stderr=to_error)
    return attended if attended.is_terminal else Console(stderr=to_error, width=_UNATTENDED_WIDTH)


def say(out: Console, line: str) -> None:
    """Print a sentence as it is, broken into lines only on a terminal."""
    out.print(line, highlight=False, markup=False, soft_wrap=not out.is_terminal)
