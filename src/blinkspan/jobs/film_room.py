"""Where a take's small film lives while it is measured: in memory, or in a file without a name.

A file without a name is gone with the program, whatever ends it. It is read and
written slice by slice, not mapped: what was once seen of a map counts as memory.
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
from blinkspan.traces.reduction import Allocate, Film, Light, in_memory

_MOST_IN_MEMORY = 192 * 2**20  # bytes; most of a minute at 240 frames a second
_CHUNK = 2**24
_ITEM = 2  # bytes of a uint16
_FOR_LARGE_FILES = Path("/var/tmp")  # /tmp is memory on many systems (file-hierarchy(7))


class FilmFile:
    """Small pictures in a file that is open for reading and writing; read as an array is."""

    def __init__(self, file: IO[bytes], shape: tuple[int, ...]) -> None:
        self._file = file
        self.shape = shape

    def __getitem__(self, frames: slice, /) -> Light:
        """Return some frames in a row, not to be changed."""
        first, count = self._range(frames)
        shape = (count, *self.shape[1:])
        self._seek(first)
        read = self._file.read(math.prod(shape) * _ITEM)
        return np.frombuffer(read, np.uint16).reshape(shape)

    def __setitem__(self, frames: slice, light: Light, /) -> None:
        """Replace some frames in a row."""
        first, count = self._range(frames)
        self._seek(first)
        self._file.write(np.broadcast_to(light, (count, *self.shape[1:])).tobytes())

    def _range(self, frames: slice) -> tuple[int, int]:
        first, stop, step = frames.indices(self.shape[0])
        assert step == 1, "frames lie one after another"
        return first, max(0, stop - first)

    def _seek(self, frame: int) -> None:
        self._file.seek(frame * math.prod(self.shape[1:]) * _ITEM)


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

        def allocate(shape: tuple[int, ...]) -> Film:
            size = math.prod(shape) * _ITEM
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
            return FilmFile(file, shape)

        yield allocate


def _folder() -> Path | None:
    """Return the folder for a large file, or None for the system's own choice."""
    if os.environ.get("TMPDIR") or not os.access(_FOR_LARGE_FILES, os.W_OK):
        return None
    return _FOR_LARGE_FILES


def _fill(file: IO[bytes], size: int) -> None:
    """Take the whole room at once: a disk that is too full is told before the work."""
    if hasattr(os, "posix_fallocate"):
        os.posix_fallocate(file.fileno(), 0, size)
        return
    for start in range(0, size, _CHUNK):
        file.write(bytes(min(_CHUNK, size - start)))
    file.flush()
