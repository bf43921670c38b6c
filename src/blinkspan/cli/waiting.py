"""A bar for work that takes its time; lines said meanwhile stay whole."""

import sys
from types import TracebackType
from typing import Self

import click
from rich.console import Console
from rich.progress import BarColumn, DownloadColumn, MofNCompleteColumn, Progress, TextColumn


class Waiting:
    """A bar on standard error where that is a terminal; nothing at all elsewhere."""

    def __init__(self, doing: str, of: float | None, unit: str) -> None:
        count = DownloadColumn() if unit == "bytes" else MofNCompleteColumn()
        self._bar = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            count,
            console=Console(stderr=True),
            transient=True,
            disable=not sys.stderr.isatty(),
        )
        self._task = self._bar.add_task(doing, total=of)

    def __enter__(self) -> Self:
        """Show the bar."""
        self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Take the bar away."""
        self._bar.stop()

    def advance(self, by: float) -> None:
        """Move the bar on."""
        self._bar.advance(self._task, by)

    def reach(self, done: float, of: float | None, doing: str | None = None) -> None:
        """Move the bar to a place, under new words where the work has come to another step."""
        self._bar.update(self._task, completed=done, description=doing)
        # Rich takes None for "as before"; a step of unknown length needs it for "unknown".
        self._bar.tasks[self._task].total = of

    def say(self, line: str, to_error: bool = False) -> None:
        """Print one line above the bar."""
        if self._bar.live.is_started and not self._bar.disable:
            self._bar.live.stop()
            click.echo(line, err=to_error)
            self._bar.live.start()
        else:
            click.echo(line, err=to_error)
