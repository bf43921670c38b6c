"""Work that goes on while a person looks at the page: measuring, adding, looking for regions.

Every clip is read in a process of its own, as on the command line; threads here
only start those, hear them and keep what they found. Pausing lets the clips in
hand finish and starts no other. Cancelling ends them; what was kept stays, and
the same order given again goes on with the rest.
"""

import itertools
import threading
from collections.abc import Callable, Iterator, Mapping
from multiprocessing.connection import wait
from pathlib import Path
from typing import Any

from blinkspan.errors import BlinkspanError, UnreadableTake
from blinkspan.footage.processors import usable_processors
from blinkspan.footage.video import open_take
from blinkspan.jobs.add import Outcome, add, clips_of
from blinkspan.jobs.batch import Failed, Kept, Step, due, measure_study, planned
from blinkspan.jobs.clip_worker import ClipWorker, Work
from blinkspan.jobs.follow import follow
from blinkspan.jobs.inspect import inspect_take
from blinkspan.jobs.measure import Progress
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.jobs.task import ENDED, Clip, Stage, Task
from blinkspan.library import Library
from blinkspan.rig.inspection import Inspection
from blinkspan.study.setup import Setup
from blinkspan.traces.proposal import propose_regions
from blinkspan.traces.regions import Regions

_TICK_S = 0.1
_MOST_ENDED = 20  # ended tasks still told of


class Background:
    """The tasks of one library; closed by :meth:`close`, which ends what runs."""

    def __init__(self, library: Path, processors: int | None = None) -> None:
        self._library = library
        self._slots = threading.Semaphore(processors or usable_processors())
        self._keys = itertools.count(1)
        self._tasks: dict[int, Task] = {}
        self._threads: dict[int, threading.Thread] = {}

    def tasks(self) -> tuple[Task, ...]:
        """Return the tasks, the newest first."""
        return tuple(reversed(self._tasks.values()))

    def measure(
        self,
        study: str,
        setup: str | None = None,
        only: int | None = None,
        *,
        again: bool = False,
        said: Mapping[str, Any] | None = None,
    ) -> Task:
        """Begin to measure what is new or stale in a study, a setup or one take of it.

        Parameters
        ----------
        said : mapping
            Settings by the names of `MeasureSettings`, kept with each take; None unsays one.

        Raises
        ------
        BadSetting
            What is said cannot be right.
        """
        given = dict(said or {})
        MeasureSettings(**given)
        takes = due(self._library, study, setup, again=again or bool(given))
        clips = [Clip(take.name, take.id) for take in takes if only in (None, take.id)]
        return self._begin(
            Task(0, "measure", f"Measure {setup or study}", clips=clips),
            lambda task: self._measure(task, study, setup, again, given),
        )

    def propose(self, take_id: int) -> Task:
        """Begin to look for the lamp, the panel and the watched part of a take."""
        with Library.open(self._library) as opened:
            take = opened.take(take_id)
            clip = opened.clip(take)
        task = Task(0, "regions", f"Look for lamp and screen in {take.name}", can_pause=False)
        task.clips.append(Clip(take.name, take.id))
        return self._begin(task, lambda task: self._apart(task, look_for_regions, (clip,)))

    def inspect(self, take_id: int) -> Task:
        """Begin to look at what a take shows of the rig, with what its setup says of it."""
        with Library.open(self._library) as opened:
            take = opened.take(take_id)
            kept = opened.setup_of(take)
            plans, failed = planned(
                opened, kept.study, kept.setup.name, {}, None, again=True, only=take.id
            )
        if failed:
            raise UnreadableTake(failed[0].reason)
        [plan] = plans
        task = Task(0, "inspect", f"Inspect the rig in {take.name}", can_pause=False)
        task.clips.append(Clip(take.name, take.id))
        return self._begin(
            task, lambda task: self._apart(task, inspect_alone, (plan.clip, plan.settings))
        )

    def add(self, folder: Path, study: str, setup: str, keeping: str = "copy") -> Task:
        """Begin to add the clips of a folder to a setup, and measure them afterwards."""
        clips = [Clip(file.name) for file in clips_of([folder])]
        return self._begin(
            Task(0, "add", f"Add {folder.name} to {setup}", clips=clips),
            lambda task: self._add(task, folder, study, setup, keeping),
        )

    def watch(self, folder: Path, study: str, setup: str) -> Task:
        """Begin to add and measure every clip that is or comes to be in a folder."""
        task = Task(0, "watch", f"Watch {folder.name} for {setup}", can_pause=False)
        return self._begin(task, lambda task: self._watch(task, folder, study, setup))

    def pause(self, key: int) -> bool:
        """Return whether a task will start no other clip until it is resumed."""
        task = self._tasks.get(key)
        if task is None or task.stage in ENDED or not task.can_pause:
            return False
        task.going.clear()
        task.stage = Stage.PAUSED
        return True

    def resume(self, key: int) -> bool:
        """Return whether a paused task goes on."""
        task = self._tasks.get(key)
        if task is None or task.stage is not Stage.PAUSED:
            return False
        task.stage = Stage.RUNNING
        task.going.set()
        return True

    def cancel(self, key: int) -> bool:
        """Return whether a task that had not ended is told to."""
        task = self._tasks.get(key)
        if task is None or task.stage in ENDED:
            return False
        task.halt.set()
        task.going.set()
        return True

    def close(self) -> None:
        """End every task and wait for their processes to be gone."""
        for task in self._tasks.values():
            task.halt.set()
            task.going.set()
        for thread in self._threads.values():
            thread.join()

    def _begin(self, task: Task, work: Callable[[Task], None]) -> Task:
        task.key = next(self._keys)
        task.going.set()
        self._tasks[task.key] = task
        ended = [key for key, each in self._tasks.items() if each.stage in ENDED]
        for key in ended[:-_MOST_ENDED]:
            del self._tasks[key], self._threads[key]
        thread = threading.Thread(target=self._run, args=(task, work), daemon=True)
        self._threads[task.key] = thread
        thread.start()
        return task

    def _run(self, task: Task, work: Callable[[Task], None]) -> None:
        if task.stage is Stage.WAITING:
            task.stage = Stage.RUNNING
        try:
            work(task)
        except BlinkspanError as refusal:
            task.told = str(refusal)
            task.stage = Stage.FAILED
        except Exception:
            task.told = "a fault of the program; the terminal in which it runs tells more"
            task.stage = Stage.FAILED
            raise
        else:
            task.stage = Stage.CANCELLED if task.halt.is_set() else Stage.DONE
        finally:
            for clip in task.clips:
                if clip.stage not in ENDED:
                    clip.stage = Stage.CANCELLED

    def _measure(
        self, task: Task, study: str, setup: str | None, again: bool, given: dict[str, Any]
    ) -> None:
        hands = []
        for clip in task.clips:
            if not self._turn(task):
                break
            hand = threading.Thread(
                target=self._measure_one, args=(task, clip, study, setup, again, given), daemon=True
            )
            hands.append(hand)
            hand.start()
        for hand in hands:
            hand.join()

    def _turn(self, task: Task) -> bool:
        """Return True with a processor to measure on, or False where the task was told to end."""
        while not task.halt.is_set():
            task.going.wait()
            if self._slots.acquire(timeout=_TICK_S):
                if task.going.is_set() and not task.halt.is_set():
                    return True
                self._slots.release()
        return False

    def _measure_one(
        self,
        task: Task,
        clip: Clip,
        study: str,
        setup: str | None,
        again: bool,
        given: dict[str, Any],
    ) -> None:
        clip.stage = Stage.RUNNING
        try:
            events = measure_study(
                self._library,
                study,
                setup,
                given=given,
                again=again,
                workers=1,
                only=clip.take_id,
                stop=task.halt,
            )
            for event in events:
                _hear(clip, event)
            if clip.stage is Stage.RUNNING and not task.halt.is_set():
                # another task measured it in the meantime
                clip.stage, clip.told = Stage.DONE, "measured already"
        except BlinkspanError as refusal:
            clip.stage, clip.told = Stage.FAILED, str(refusal)
        finally:
            self._slots.release()

    def _apart(self, task: Task, work: Work, arguments: tuple[Any, ...]) -> None:
        """Do one clip's work in a process of its own and keep what it ends with."""
        [clip] = task.clips
        clip.stage = Stage.RUNNING
        worker = ClipWorker(work, arguments)
        try:
            while clip.stage is Stage.RUNNING and not task.halt.is_set():
                wait([worker.connection, worker.ending], timeout=_TICK_S)
                crash = worker.crash()
                for word, value in worker.messages():
                    if word == "done":
                        _found(task, value)
                        clip.stage = Stage.DONE
                    elif word == "refused":
                        clip.stage, clip.told = Stage.FAILED, value
                    else:
                        _show(clip, value)
                if crash is not None and clip.stage is Stage.RUNNING:
                    clip.stage, clip.told = Stage.FAILED, crash
        finally:
            worker.close()

    def _add(self, task: Task, folder: Path, study: str, setup: str, keeping: str) -> None:
        by_name = {clip.name: clip for clip in task.clips}
        for outcome in add(self._library, [folder], study, Setup(setup), keeping):
            _came(by_name[outcome.path.name], outcome)
            task.going.wait()
            if task.halt.is_set():
                return
        self.measure(study, setup)

    def _watch(self, task: Task, folder: Path, study: str, setup: str) -> None:
        by_take: dict[int, Clip] = {}
        for event in follow(self._library, folder, study, Setup(setup), stop=task.halt):
            if isinstance(event, Outcome):
                clip = Clip(event.path.name)
                _came(clip, event)
                task.clips.append(clip)
                if event.take is not None:
                    by_take[event.take.id] = clip
                    clip.take_id = event.take.id
            elif event.take.id in by_take:
                _hear(by_take[event.take.id], event)


def look_for_regions(clip: Path) -> Iterator[Progress | Regions]:
    """Yield how far the search is, and last the regions; runs in a process of its own."""
    with open_take(clip, threads=1) as take:
        for look in propose_regions(take, None, None, None):
            if isinstance(look, Regions):
                yield look
            else:
                yield Progress("looking for the lamp and the screen", look, take.frames)


def inspect_alone(clip: Path, settings: MeasureSettings) -> Iterator[Progress | Inspection]:
    """Yield how far the inspection is, and last what is seen; runs in a process of its own."""
    yield from inspect_take(clip, settings, threads=1)


def _found(task: Task, value: object) -> None:
    if isinstance(value, Inspection):
        task.inspection, task.regions = value, value.regions
    elif isinstance(value, Regions):
        task.regions = value


def _hear(clip: Clip, event: Any) -> None:
    """Note what an event of the measuring says of its clip."""
    if isinstance(event, Step):
        _show(clip, event.progress)
    elif isinstance(event, Kept):
        clip.stage, clip.share = Stage.DONE, 1.0
        presses = event.run.press_count
        clip.told = f"{presses} {'press' if presses == 1 else 'presses'} measured"
        if event.spot is not None and not event.spot.same:
            clip.told += f"; it {event.spot}"
    elif isinstance(event, Failed):
        clip.stage, clip.told = Stage.FAILED, event.reason
    else:
        clip.stage = Stage.RUNNING


def _show(clip: Clip, progress: object) -> None:
    """Note how far a clip is; what it ends with is told as a step, too, and passed over here."""
    if not isinstance(progress, Progress):
        return
    clip.doing = progress.doing
    clip.share = progress.done / progress.of if progress.of else None


def _came(clip: Clip, outcome: Outcome) -> None:
    """Note what became of a clip that was added."""
    if outcome.take is None:
        clip.stage, clip.told = Stage.FAILED, outcome.refusal or ""
        return
    clip.stage, clip.take_id = Stage.DONE, outcome.take.id
    clip.told = "added" if outcome.new else "was here already"
    if outcome.spot is not None and not outcome.spot.same:
        clip.told += f"; it {outcome.spot}"
