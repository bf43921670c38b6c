"""How many processors this program may use: no more than the system allows it."""

import os


def usable_processors() -> int:
    """Return the number of processors that this process may run on, at least 1."""
    if hasattr(os, "sched_getaffinity"):  # not on macOS and Windows
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
