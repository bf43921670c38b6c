"""How far off measured presses are, on staged takes with known truth, beside plain frame counting.

Every take is measured as a person would: the regions, the refresh rate and the
game's rate are given; exposure and readout of the camera are read from the take.
``--tell readout`` gives the readout too, ``--tell nothing`` not even the others.
Times are of accepted presses; whatever is not accepted counts as doubtful.
Rendering a take costs a minute or more, so give ``--takes`` a folder to keep them in.

Run: python benchmarks/accuracy.py [--takes FOLDER] [--scenes NAME ...] [--seeds N ...]
"""

import argparse
import json
import multiprocessing
import os
import sys
import tempfile
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import ExitStack
from dataclasses import asdict
from pathlib import Path

from accuracy_table import Errors, events_table, times_table
from staged_takes import ROWS, scene_names, staged_scene
from take_results import TakeResult, Told, be_a_worker, result_of

_WORKERS = 2


def main() -> None:
    """Render, measure, count and print."""
    asked = _arguments()
    names = asked.scenes or ([row[0] for row in ROWS.values()] if asked.quick else scene_names())
    jobs = [staged_scene(name, seed) for seed in asked.seeds for name in names]
    with ExitStack() as stack:
        folder = asked.takes or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        os.environ["OPENBLAS_NUM_THREADS"] = "1"  # read when numpy is imported, so before that
        context = multiprocessing.get_context("spawn")
        pool = stack.enter_context(ProcessPoolExecutor(_WORKERS, context, be_a_worker))
        waiting = {pool.submit(result_of, job, folder, asked.tell): job for job in jobs}
        results = []
        for done in as_completed(waiting):
            results.append(done.result())
            print(_line(results[-1]), file=sys.stderr, flush=True)
    order = {job: place for place, job in enumerate((job.scene.name, job.seed) for job in jobs)}
    results.sort(key=lambda result: order[result.scene, result.seed])
    groups = _grouped(results, by_scene=asked.by_scene)
    print(times_table(groups), events_table(groups), sep="\n\n")
    if asked.detail is not None:
        asked.detail.write_text(json.dumps([asdict(result) for result in results], indent=1))


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--takes", type=Path, help="folder that keeps the rendered takes")
    parser.add_argument("--scenes", nargs="+", metavar="NAME", choices=scene_names())
    parser.add_argument("--seeds", nargs="+", type=int, default=[0], metavar="N")
    parser.add_argument("--quick", action="store_true", help="the first scene of each row only")
    parser.add_argument("--tell", type=Told, choices=list(Told), default=Told.USUAL)
    parser.add_argument("--by-scene", action="store_true", help="a line a scene, not a row")
    parser.add_argument("--detail", type=Path, help="write every press to this JSON file")
    return parser.parse_args()


def _grouped(
    results: Iterable[TakeResult], *, by_scene: bool
) -> list[tuple[str, list[TakeResult]]]:
    groups: dict[str, list[TakeResult]] = {}
    for result in results:
        groups.setdefault(result.scene if by_scene else result.row, []).append(result)
    return list(groups.items())


def _line(result: TakeResult) -> str:
    """Return one take's result in a line, for those who wait."""
    if result.refused is not None:
        return f"{result.scene} {result.seed}: {result.refused}"
    kept = [p.error_ms for p in result.presses if p.accepted and p.error_ms is not None]
    errors = Errors(tuple(kept))
    return (
        f"{result.scene} {result.seed}: {len(kept)} of {len(result.presses)} accepted, "
        f"bias {errors.bias} ms, RMSE {errors.rmse} ms ({result.seconds:.0f} s)"
    )


if __name__ == "__main__":
    main()
