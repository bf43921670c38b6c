"""Stay with a folder: add and measure clips as they arrive in it."""

import threading
import time
from collections.abc import Generator, Mapping
from pathlib import Path
from typing import Any

from blinkspan.errors import BadSetting, UnreadableTake
from blinkspan.footage.processors import usable_processors
from blinkspan.jobs.add import Outcome, bring, is_clip, named_setup
from blinkspan.jobs.batch import Event, planned, run_plans
from blinkspan.library import Library
from blinkspan.library.kept import Keeping
from blinkspan.study.setup import Setup
from blinkspan.traces.regions import Regions

# A clip that has not grown for so long is taken for whole; a card is read without such pauses.
WHOLE_AFTER_S = 3.0
# A clip that cannot be read is looked at again for so long: its copy may have paused.
GIVE_UP_AFTER_S = 120.0
_LOOK_EVERY_S = 1.0

_State = tuple[int, int]  # size and time of the last change


def follow(
    library: Path,
    folder: Path,
    study: str,
    setup: Setup,
    keeping: str = "copy",
    *,
    given: Mapping[str, Any] | None = None,
    regions: Regions | None = None,
    stop: threading.Event | None = None,
    whole_after_s: float = WHOLE_AFTER_S,
    give_up_after_s: float = GIVE_UP_AFTER_S,
) -> Generator[Outcome | Event, None, None]:
    """Yield what becomes of each clip in a folder, now and later, until it is stopped.

    A clip is waited for until it no longer grows, then added, then measured.

    Parameters
    ----------
    given, regions
        As in `measure_study`.
    stop : threading.Event | None
        Set by another thread to end.

    Raises
    ------
    BadSetting
        watchfiles is not installed.
    UnreadableTake
        There is no such folder.
    """
    try:
        import watchfiles
    except ImportError as missing:
        raise BadSetting(
            "to follow a folder needs the watchfiles library; install blinkspan[watch]"
        ) from missing
    if not folder.is_dir():
        raise UnreadableTake(f"{folder} is not a folder; name one into which clips are copied")
    waiting = _Arrivals(folder, whole_after_s, give_up_after_s)
    wakes = watchfiles.watch(
        folder,
        stop_event=stop,
        rust_timeout=round(1e3 * min(_LOOK_EVERY_S, whole_after_s)),
        yield_on_timeout=True,
    )
    with Library.open(library) as opened:
        kept = named_setup(opened, study, setup)
        while True:
            for clip in waiting.whole():
                outcome = bring(opened, clip, kept, Keeping(keeping))
                if outcome.refusal is not None and waiting.again(clip):
                    continue
                waiting.done(clip)
                yield outcome
                if outcome.take is None:
                    continue
                plans, failed = planned(
                    opened, study, setup.name, given or {}, regions, False, only=outcome.take.id
                )
                yield from failed
                yield from run_plans(opened, plans, usable_processors(), stop=stop)
            if next(wakes, None) is None:
                return


class _Arrivals:
    """The clips of a folder, each as it was when it last changed."""

    def __init__(self, folder: Path, whole_after_s: float, give_up_after_s: float) -> None:
        self._folder = folder
        self._whole_after_s = whole_after_s
        self._give_up_after_s = give_up_after_s
        self._since: dict[Path, tuple[_State, float]] = {}
        self._done: dict[Path, _State] = {}

    def whole(self) -> list[Path]:
        """Return the clips that have stopped growing and are not done yet."""
        now = time.monotonic()
        whole = []
        for clip in sorted(self._folder.rglob("*")):
            if not is_clip(clip):
                continue
            try:
                held = clip.stat()
            except OSError:
                continue  # moved away again
            state = (held.st_size, held.st_mtime_ns)
            if self._done.get(clip) == state or state[0] == 0:
                continue
            seen, since = self._since.get(clip, (None, now))
            if seen != state:
                self._since[clip] = (state, now)
            elif now - since >= self._whole_after_s:
                whole.append(clip)
        return whole

    def again(self, clip: Path) -> bool:
        """Return whether a clip that could not be read may still become readable."""
        _, since = self._since[clip]
        return time.monotonic() - since < self._give_up_after_s

    def done(self, clip: Path) -> None:
        """Look at a clip no more, unless it changes."""
        self._done[clip], _ = self._since[clip]
