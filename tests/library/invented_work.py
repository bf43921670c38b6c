"""Stand-ins for the measuring of a clip, chosen by the clip's first word; run in processes."""

import os
import signal
import time
from pathlib import Path

from invented_takes import measured_take

from blinkspan.errors import UnreadableTake


def work(clip: Path, settings):
    """Yield steps and a measurement, crash, hang, refuse or end without a word."""
    del settings
    word = clip.read_bytes().split(b" ")[0]
    yield "begun"
    if word == b"crash":
        os.kill(os.getpid(), signal.SIGSEGV)
    elif word == b"hang":
        time.sleep(600)
    elif word == b"refuse":
        raise UnreadableTake(f"{clip.name} holds no film; choose another")
    elif word == b"leave":
        os._exit(3)
    elif word == b"slow":
        time.sleep(0.5)
    elif word == b"fault":
        raise RuntimeError("a fault of ours")
    yield measured_take(clip)
