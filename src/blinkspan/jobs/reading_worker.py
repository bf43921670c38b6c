"""A process that reads parts of a take, one after another, as it is told.

It is a program of its own that speaks through its standard input and output.
The standard library's processes would run the caller's main script again on
start, which a script or notebook that only wants a take measured has not been
written for, and could not be started from inside another worker.

It ends when its pipes break: a parent that was killed leaves no worker behind.
"""

import os
import pickle
import signal
import subprocess
import sys
from queue import Empty, Queue
from threading import Thread
from typing import Any

import cv2

from blinkspan.footage.reel import Reel
from blinkspan.jobs.part_reading import Work, read_part

_SERVE = "from blinkspan.jobs.reading_worker import serve; serve()"

# Whoever speaks, and what: a piece, a PartEnd, or None where the process has ended.
Told = Queue[tuple["ReadingWorker", Any]]


class ReadingWorker:
    """A running process; what it reads comes out of the queue given.

    Raises
    ------
    OSError
        The system starts no more processes.
    """

    def __init__(self, reel: Reel, work: Work[Any], part: tuple[int, int], told: Told) -> None:
        self._told = told
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-c", _SERVE],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            # found where this process found it, however that was
            env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            start_new_session=True,  # Ctrl-C is heard by the parent, which ends us
            creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
        )
        self._listener = Thread(target=self._listen, args=((reel, work), part), daemon=True)
        self._listener.start()

    def read(self, part: tuple[int, int]) -> None:
        """Have another part read; to be asked when the one before is done."""
        self._say(part)

    def ending(self) -> int:
        """Return the code with which the process ended, waiting for it; negative for a signal."""
        return self._process.wait()

    def close(self) -> None:
        """End the process where it still runs, and let go of it."""
        self._process.kill()
        self._process.wait()
        while self._listener.is_alive():  # it may be waiting for room in the queue
            try:
                self._told.get(timeout=0.02)
            except Empty:
                continue
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None, "both are pipes"
            try:
                pipe.close()
            except OSError:
                continue  # the pipe is broken; what was not yet sent is not needed

    def _say(self, words: object) -> None:
        pipe = self._process.stdin
        assert pipe is not None, "it is a pipe"
        try:
            pickle.dump(words, pipe)
            pipe.flush()
        except OSError:
            return  # the process has ended, which the listener tells

    def _listen(self, *first: object) -> None:
        for words in first:  # here, since they wait until the process has begun to listen
            self._say(words)
        pipe = self._process.stdout
        assert pipe is not None, "it is a pipe"
        try:
            while True:
                self._told.put((self, pickle.load(pipe)))
        except (EOFError, pickle.UnpicklingError, OSError, ValueError):
            self._told.put((self, None))


def serve() -> None:
    """Read parts as told on standard input until that ends."""
    tells = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # nothing else may speak there
    hears = sys.stdin.buffer
    cv2.setNumThreads(1)  # more would only take the processors from the other workers
    try:
        reel, work = pickle.load(hears)
        while True:
            start, stop = pickle.load(hears)
            for words in read_part(reel, work, start, stop):
                pickle.dump(words, tells, protocol=pickle.HIGHEST_PROTOCOL)
                tells.flush()
    except (EOFError, BrokenPipeError):
        os._exit(0)  # without flushing into a broken pipe


def words_of_ending(code: int) -> str:
    """Return in words how a process ended."""
    if code >= 0:
        return f"ended with code {code}"
    return f"was ended by {signal.Signals(-code).name}"
