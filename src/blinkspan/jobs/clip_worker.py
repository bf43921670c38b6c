"""One clip measured in a process of its own, so that a decoder that crashes or hangs is alone.

The process sends what it yields through a pipe. It ends when the pipe breaks:
a parent that was killed leaves no worker behind.
"""

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from typing import Any

from blinkspan.errors import BlinkspanError

Work = Callable[..., Iterator[Any]]

# A worker says how far it is at most this often.
_HEARTBEAT_S = 0.2


class ClipWorker:
    """A running process; ``connection`` and ``ending`` can be waited for."""

    def __init__(self, work: Work, arguments: tuple[Any, ...]) -> None:
        context = _context()
        self.connection, theirs = context.Pipe()
        self._process = context.Process(target=_run, args=(theirs, work, arguments), daemon=True)
        self._process.start()
        theirs.close()
        self.heard = time.monotonic()

    @property
    def ending(self) -> int:
        """What becomes ready when the process ends."""
        sentinel: int = self._process.sentinel
        return sentinel

    def messages(self) -> Iterator[tuple[str, Any]]:
        """Yield what the process has said since: ("step", value), ("refused", words), ("done",)."""
        try:
            while self.connection.poll():
                self.heard = time.monotonic()
                yield self.connection.recv()
        except (EOFError, OSError):
            return

    def silent_s(self) -> float:
        """Return for how long the process has said nothing."""
        return time.monotonic() - self.heard

    def crash(self) -> str | None:
        """Return in words how the process ended, or None while it runs."""
        if self._process.is_alive():
            return None
        code = self._process.exitcode or 0
        if code >= 0:
            return f"the process that measured it ended with code {code}"
        return f"the process that measured it was ended by {signal.Signals(-code).name}"

    def close(self) -> None:
        """End the process where it still runs, and let go of it."""
        if self._process.is_alive():
            self._process.kill()
        self._process.join()
        self.connection.close()
        self._process.close()


def _context() -> Any:
    """Return the way to start processes: quick where a clean server can fork, safe everywhere."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["blinkspan.jobs.measure"])
    return context


def _run(connection: Connection, work: Work, arguments: tuple[Any, ...]) -> None:
    """Send every step of the work; a refusal of ours is one line, anything else a crash."""
    threading.Thread(target=_end_with_parent, args=(connection,), daemon=True).start()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent hears Ctrl-C and ends us
    said = 0.0
    try:
        last = None
        for last in work(*arguments):
            if time.monotonic() - said > _HEARTBEAT_S:
                connection.send(("step", last))
                said = time.monotonic()
        connection.send(("done", last))
    except BlinkspanError as refusal:
        connection.send(("refused", str(refusal)))
    except MemoryError:
        connection.send(("refused", "there is not enough memory for it; measure fewer at once"))


def _end_with_parent(connection: Connection) -> None:
    """Wait for the parent to go away: it never sends, so the pipe only ever breaks."""
    try:
        connection.recv()
    except (EOFError, OSError):
        os._exit(1)
