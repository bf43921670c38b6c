"""Where a take's small film lives while it is measured: in memory, or in a file without a name.

A file without a name is gone with the program, whatever ends it.
"""

import math
import os
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO

import numpy as np

from blinkspan.errors import UnwritableOutput
from blinkspan.traces.reduction import Allocate, Light, in_memory

_MOST_IN_MEMORY = 256 * 2**20  # bytes; about a minute at 240 frames a second
_CHUNK = 2**24
_FOR_LARGE_FILES = Path("/var/tmp")  # /tmp is memory on many systems (file-hierarchy(7))


@contextmanager
def film_room(most_in_memory: int = _MOST_IN_MEMORY) -> Iterator[Allocate]:
    """Yield a function that makes room for a series; all room is given back at the end.

    Parameters
    ----------
    most_in_memory : int
        Bytes above which a series goes into a file.

    Raises
    ------
    UnwritableOutput
        The file cannot be made, or the disk for temporary files is full.
    """
    with ExitStack() as files:

        def allocate(shape: tuple[int, ...]) -> Light:
            size = math.prod(shape) * np.dtype(np.uint16).itemsize
            if size <= most_in_memory:
                return in_memory(shape)
            folder = _folder()
            try:
                file = files.enter_context(tempfile.TemporaryFile(dir=folder))
                _fill(file, size)
            except OSError as error:
                raise UnwritableOutput(
                    f"{folder or tempfile.gettempdir()}: {size / 2**20:.0f} MB for the work on "
                    f"this take could not be had ({(error.strerror or str(error)).lower()}); "
                    "free some space or name another folder in TMPDIR"
                ) from error
            return np.memmap(file, np.uint16, "r+", shape=shape)

        yield allocate


def _folder() -> Path | None:
    """Return the folder for a large file, or None for the system's own choice."""
    if os.environ.get("TMPDIR") or not os.access(_FOR_LARGE_FILES, os.W_OK):
        return None
    return _FOR_LARGE_FILES


def _fill(file: IO[bytes], size: int) -> None:
    """Take the whole room at once: a map over a disk that fills up later ends the program."""
    if hasattr(os, "posix_fallocate"):
        os.posix_fallocate(file.fileno(), 0, size)
        return
    for start in range(0, size, _CHUNK):
        file.write(bytes(min(_CHUNK, size - start)))
    file.flush()
