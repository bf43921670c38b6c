"""How long measuring a 1920x1080, 240 frames/s take is, against decoding it and a plain loop.

Three loops over the same take, each in a process of its own, in turn and with the
order changed every round: the whole analysis with the regions given, as
`blinkspan measure` does it; bare decoding with the same library, a frame thread a
processor; and a plain loop that reads colour frames through OpenCV and takes the
same regions' means. Ratios are medians over rounds with a 95 % bootstrap interval.
Then the analysis alone on longer takes, for its memory and its time a frame.

Memory is that of all processes of a loop together, looked at ten times a second:
the proportional set size, in which a page that several share counts once. Looking walks
all pages of every process, so that it is done in one more run, of which no time counts.

Run: python benchmarks/speed.py [--takes FOLDER] [--rounds N] [--lengths S ...]
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path
from statistics import median

_LOOPS = ("analysis", "decode", "plain")
_CHILD = Path(__file__).with_name("speed_loops.py")
_LEAST_FOR_INTERVAL = 3
_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "OPENCV_FOR_THREADS_NUM")
_LOOK_S = 0.1

Run = dict[str, float]


def main() -> None:
    """Make the takes, run the loops and print."""
    asked = _arguments()
    with ExitStack() as stack:
        folder = asked.takes or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        print(f"{os.cpu_count()} processors, load before {os.getloadavg()[0]:.1f}\n")
        rows = []
        for codec in asked.codecs:
            for keys in ("keys", "one-key"):
                seconds = asked.seconds if keys == "keys" else asked.one_key_seconds
                made, _ = _child("make", folder, codec, seconds, keys)
                name = f"{codec}, {keys}"
                rows += [_compared(made, part, name, asked.rounds) for part in asked.watched]
        print(_table(_HEAD, rows), end="\n\n")
        print(_table(_LENGTH_HEAD, _lengths(folder, asked.codecs[0], asked.lengths)))


_HEAD = (
    "take and watched part",
    "Mbit/s",
    "analysis, frames/s",
    "decode, frames/s",
    "plain loop, frames/s",
    "analysis / decode, wall",
    "analysis / decode, processor time",
    "plain loop / analysis, wall",
    "peak of analysis, MB",
    "of decode, MB",
)
_LENGTH_HEAD = ("length, s", "frames", "analysis, ms a frame", "peak, MB")


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--takes", type=Path, help="folder that keeps the takes")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=30.0, help="length of takes with keys")
    parser.add_argument(
        "--one-key-seconds", type=float, default=10.0, help="of takes with one key, slow to make"
    )
    parser.add_argument("--lengths", nargs="*", type=float, default=[60, 120, 240], metavar="S")
    parser.add_argument("--codecs", nargs="+", default=["h264", "hevc"], choices=["h264", "hevc"])
    parser.add_argument("--watched", nargs="+", default=["whole"], choices=["flash", "whole"])
    return parser.parse_args()


def _child(*words: object, looked_at: bool = False) -> tuple[dict[str, object], float]:
    """Return what one of the loops told and, where looked at, the most memory it held, in MB."""
    command = [sys.executable, str(_CHILD), *map(str, words)]
    env = dict(os.environ)
    if words[0] == "analysis":  # as the command does
        env = dict.fromkeys(_ONE_THREAD, "1") | env
    peak_mb = 0.0
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env) as process:
        while looked_at and process.poll() is None:
            peak_mb = max(peak_mb, _held_mb(process.pid))
            time.sleep(_LOOK_S)
        assert process.stdout is not None
        answer = process.stdout.read()
    if process.returncode:
        sys.exit(f"{' '.join(command)} ended with code {process.returncode}")
    told: dict[str, object] = json.loads(answer)
    return told, peak_mb


def _held_mb(pid: int) -> float:
    """Return the proportional set size of a process and of all it has started, in MB."""
    kilobytes = 0
    for each in [pid, *_started_by(pid)]:
        try:
            lines = Path(f"/proc/{each}/smaps_rollup").read_text().splitlines()
        except OSError:
            continue  # it has ended meanwhile, or the system has no such file
        kilobytes += sum(int(line.split()[1]) for line in lines if line.startswith("Pss:"))
    return kilobytes / 1024


def _started_by(pid: int) -> list[int]:
    found: list[int] = []
    for children in Path(f"/proc/{pid}/task").glob("*/children"):
        try:
            pids = [int(word) for word in children.read_text().split()]
        except OSError:
            continue
        for child in pids:
            found += [child, *_started_by(child)]
    return found


def _run(loop: str, made: dict[str, object], part: str) -> Run:
    told, _ = _child(loop, *_words(made, part))
    return {name: float(str(value)) for name, value in told.items()}


def _peak_mb(loop: str, made: dict[str, object], part: str) -> float:
    _, peak_mb = _child(loop, *_words(made, part), looked_at=True)
    return peak_mb


def _words(made: dict[str, object], part: str) -> tuple[object, str]:
    """Return the take and its regions as a loop is told them."""
    places = made["regions"]
    assert isinstance(places, dict)
    return made["take"], json.dumps({**places, "watch": places[part]})


def _compared(made: dict[str, object], part: str, name: str, rounds: int) -> list[str]:
    runs: dict[str, list[Run]] = {loop: [] for loop in _LOOPS}
    for turn in range(rounds):
        first = turn % len(_LOOPS)
        for loop in (*_LOOPS[first:], *_LOOPS[:first]):
            runs[loop].append(_run(loop, made, part))
            print(f"{name}, {part}: {loop} {runs[loop][-1]}", file=sys.stderr, flush=True)
    analysis, decode, plain = (runs[loop] for loop in _LOOPS)
    frames = analysis[0]["frames"]
    assert all(run["frames"] == frames for loop in _LOOPS for run in runs[loop])
    size = Path(str(made["take"])).stat().st_size
    rates = [f"{frames / median(run['s'] for run in loop):.0f}" for loop in runs.values()]
    return [
        f"{name}, {part} watched",
        f"{8e-6 * size * 240 / frames:.0f}",
        *rates,
        _ratio([a["s"] / d["s"] for a, d in zip(analysis, decode, strict=True)]),
        _ratio([a["cpu_s"] / d["cpu_s"] for a, d in zip(analysis, decode, strict=True)]),
        _ratio([p["s"] / a["s"] for a, p in zip(analysis, plain, strict=True)]),
        f"{_peak_mb('analysis', made, part):.0f}",
        f"{_peak_mb('decode', made, part):.0f}",
    ]


def _lengths(folder: Path, codec: str, lengths: list[float]) -> list[list[str]]:
    rows = []
    for seconds in lengths:
        made, _ = _child("make", folder, codec, seconds, "keys")
        run = _run("analysis", made, "whole")
        print(f"{seconds:g} s: {run}", file=sys.stderr, flush=True)
        per_frame_ms = 1e3 * run["s"] / run["frames"]
        rows.append(
            [
                f"{run['frames'] / 240:.0f}",
                f"{run['frames']:.0f}",
                f"{per_frame_ms:.2f}",
                f"{_peak_mb('analysis', made, 'whole'):.0f}",
            ]
        )
    return rows


def _ratio(ratios: list[float]) -> str:
    """Return the median of the rounds with its interval."""
    if len(ratios) < _LEAST_FOR_INTERVAL:
        return f"{median(ratios):.2f}"
    import numpy as np

    from blinkspan.study.resampling import percentile_interval

    found = percentile_interval(
        ratios, lambda drawn: np.median(drawn, axis=1), rng=np.random.default_rng(1)
    )
    return f"{found.value:.2f} ({found.low:.2f} to {found.high:.2f})"


def _table(head: tuple[str, ...], rows: list[list[str]]) -> str:
    lines = [f"| {' | '.join(head)} |", f"|---|{'---:|' * (len(head) - 1)}"]
    return "\n".join(lines + [f"| {' | '.join(row)} |" for row in rows])


if __name__ == "__main__":
    main()
