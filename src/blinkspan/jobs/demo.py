"""The demonstration, whole: film four takes, measure them, compare with the truth, report.

The takes are filmed and measured side by side in processes. An interruption
ends them and leaves nothing half-made; takes that were finished serve the next run.
"""

import multiprocessing
import queue
import signal
import tempfile
from collections.abc import Generator, Sequence
from concurrent.futures import FIRST_EXCEPTION, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from multiprocessing.context import SpawnContext
from pathlib import Path
from typing import Any

from blinkspan.errors import UnwritableOutput
from blinkspan.footage.processors import usable_processors
from blinkspan.jobs.demo_library import keep_demonstration
from blinkspan.jobs.demo_take import DemoTake, film_and_measure
from blinkspan.jobs.measure import Progress
from blinkspan.publish import words
from blinkspan.publish.charts import chart_row, span_chart, to_png, to_svg
from blinkspan.publish.document import summary_part, to_json
from blinkspan.publish.output import write_whole
from blinkspan.publish.report import ReportSetup, report_html
from blinkspan.publish.table import to_csv
from blinkspan.stage.against_truth import Score, joined
from blinkspan.stage.demo import TITLE, DemoSetup, demo_setups
from blinkspan.stage.truth_of import expected_truth

_ASK_S = 0.1  # between two looks at how far the processes are
_told: Any = None  # in a worker process: the queue to the process that started it


@dataclass(frozen=True, slots=True)
class Demonstration:
    """Four takes with their scores, the files written, and the library that keeps it all."""

    takes: tuple[DemoTake, ...]
    score: Score
    files: tuple[Path, ...]
    library: Path


def demo(
    out_dir: Path, setups: Sequence[DemoSetup] | None = None
) -> Generator[Progress | Demonstration, None, None]:
    """Yield how far the work is, and last the demonstration.

    Parameters
    ----------
    out_dir : Path
        Made where it is not there yet.
    setups : sequence of DemoSetup, optional
        The demonstration's own four where not given.

    Raises
    ------
    UnwritableOutput
        The folder cannot be made or written to.
    """
    setups = demo_setups() if setups is None else setups
    takes_dir = out_dir / "takes"
    try:
        takes_dir.mkdir(parents=True, exist_ok=True)
        work = tempfile.TemporaryDirectory(dir=out_dir, prefix=".filming-")
    except OSError as error:
        raise UnwritableOutput(
            f"{out_dir}: the folder cannot be made or written to "
            f"({(error.strerror or str(error)).lower()}); choose another"
        ) from error
    takes: tuple[DemoTake, ...] = ()
    with work as work_dir:
        for step in _side_by_side(setups, takes_dir, Path(work_dir)):
            if isinstance(step, Progress):
                yield step
            else:
                takes = step
    yield Progress("writing")
    score = joined([take.score for take in takes])
    files = _written(out_dir, takes, score)
    library = out_dir / "library"
    keep_demonstration(library, takes_dir, takes)
    yield Demonstration(takes, score, files, library)


def remark_on(score: Score) -> str:
    """Return in one plain sentence how far the measured spans are off the truth."""
    spans = len(score.errors_ms)
    if score.bias_ms is None:
        return "No press of these takes carries a span that could be held against the truth."
    told = (
        f"Held against the truth that was filmed, the {spans} measured spans are off by "
        f"{words.after(score.bias_ms)} on the average and {words.number(score.rmse_ms, 2)} ms "
        f"root mean square; for {score.within_2u} of them twice the stated uncertainty holds "
        f"the truth. {score.found} of {score.presses} presses were found"
    )
    if score.missed:
        told += f", {score.missed_told} of {score.missed} that the game left unanswered as such"
    if score.unanswered:
        told += f", but {score.unanswered} that it answered without a response"
    return f"{told}."


def _side_by_side(
    setups: Sequence[DemoSetup], takes_dir: Path, work_dir: Path
) -> Generator[Progress | tuple[DemoTake, ...], None, None]:
    """Yield how many frames are done in all, and last the takes in the setups' order."""
    of = 2 * sum(expected_truth(setup.scene).frames for setup in setups)
    # Spawned, since a fork of a process with threads may hang.
    context = multiprocessing.get_context("spawn")
    told = context.Queue()
    done = dict.fromkeys(range(len(setups)), 0)
    with _processes(context, min(len(setups), usable_processors()), told) as pool:
        futures = [
            pool.submit(_work, number, setup, takes_dir, work_dir)
            for number, setup in enumerate(setups)
        ]
        pending: set[Future[DemoTake]] = set(futures)
        while pending:
            yield Progress("filming and measuring", sum(done.values()), of)
            finished, pending = wait(pending, _ASK_S, FIRST_EXCEPTION)
            for future in finished:
                _taken(future)
            while True:
                try:
                    number, frames = told.get_nowait()
                except queue.Empty:
                    break
                done[number] = frames
        yield tuple(_taken(future) for future in futures)


@contextmanager
def _processes(
    context: SpawnContext, count: int, told: Any
) -> Generator[ProcessPoolExecutor, None, None]:
    """Yield a pool whose processes are ended where the work is broken off."""
    before = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(count, context, _begin, (told,))
    try:
        yield pool
    except BaseException:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in set(multiprocessing.active_children()) - before:
            process.terminate()
            process.join()
        raise
    finally:
        told.cancel_join_thread()
        told.close()
    pool.shutdown()


def _begin(told: Any) -> None:
    """Set a worker process up: the one that started it hears of interruptions, not this one."""
    global _told
    _told = told
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _work(number: int, setup: DemoSetup, takes_dir: Path, work_dir: Path) -> DemoTake:
    return film_and_measure(setup, takes_dir, work_dir, partial(_tell, number))


def _tell(number: int, frames: int) -> None:
    _told.put((number, frames))


def _taken(future: "Future[DemoTake]") -> DemoTake:
    try:
        return future.result()
    except BrokenProcessPool as error:
        raise UnwritableOutput(
            "a process of the demonstration was ended from outside, perhaps for want of memory; "
            "close other programs and run it again"
        ) from error


def _written(out_dir: Path, takes: Sequence[DemoTake], score: Score) -> tuple[Path, ...]:
    """Return the files of the demonstration, written."""
    documents = [take.measured.document for take in takes]
    summaries = [summary_part(take.measured.summary) for take in takes]
    rows = [
        chart_row(take.label, document.presses, summary)
        for take, document, summary in zip(takes, documents, summaries, strict=True)
    ]
    chart = span_chart(rows, title=f"{TITLE}: from the press to the screen")
    report = report_html(
        f"{TITLE} on two consoles",
        [
            ReportSetup(take.label, summary, (take.measured.for_report,))
            for take, summary in zip(takes, summaries, strict=True)
        ],
        [
            "A demonstration: the title and the consoles are invented, and the film was rendered "
            "with known latencies by blinkspan's own stage.",
            remark_on(score),
        ],
    )
    results = {
        "report.html": report,
        "chart.svg": to_svg(chart),
        "chart.png": to_png(chart),
        "presses.csv": to_csv(documents).encode(),
        **{
            f"{take.setup.name}.json": to_json(document)
            for take, document in zip(takes, documents, strict=True)
        },
    }
    for name, data in results.items():
        write_whole(out_dir / name, data)
    return tuple(out_dir / name for name in results)
