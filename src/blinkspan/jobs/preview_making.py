"""Small pictures made in a process that gives way to everything else, watched by a thread."""

import threading
from multiprocessing.connection import wait
from pathlib import Path

from blinkspan.jobs.clip_worker import ClipWorker
from blinkspan.jobs.make_previews import make_previews_aside

_TICK_S = 0.5


class PreviewMaking:
    """The making of one take's small pictures; ended by :meth:`close`.

    A take that cannot be read is told where its frames are asked for, so what
    becomes of the process is nobody's concern here.
    """

    def __init__(
        self,
        library: Path,
        sha256: str,
        clip: Path,
        rate_hz: float | None,
        first: tuple[tuple[int, int], ...],
    ) -> None:
        self._halt = threading.Event()
        self._arguments = (library, sha256, clip, rate_hz, first)
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def end(self) -> None:
        """Have the process ended within a moment; what it made stays."""
        self._halt.set()

    def close(self) -> None:
        """End the process and wait until it is gone."""
        self._halt.set()
        self._thread.join()

    def _watch(self) -> None:
        worker = ClipWorker(make_previews_aside, self._arguments)
        try:
            while not self._halt.is_set() and worker.crash() is None:
                wait([worker.connection, worker.ending], timeout=_TICK_S)
                list(worker.messages())
        finally:
            worker.close()
