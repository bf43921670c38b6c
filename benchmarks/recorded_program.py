"""How far measured presses of a recorded real program are off, by the program's own clock.

A page in Chromium on a virtual screen answers key presses; FFmpeg grabs the
screen. Two truths stand beside each measured span: the times of the page's own
animation frames, and the middle between the pictures before and after each change.
Needs Chromium, Xvfb, FFmpeg and xdotool (Debian's packages of those names).
"""

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).parents[1] / "tests"))  # the recorder is shared with a test

from blinkspan.jobs.measure import MeasuredTake, measure_take
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.quantities import Measured
from outside.recorded_program import LAMP, WATCH, TooBusy, missing_programs, record, seen_presses

_RATES_HZ = (120, 235, 240)
_EXPOSURE_MS = 0.2
_PRESSES_A_TAKE = 25


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--takes", type=int, default=2, help="recordings at each rate")
    parser.add_argument("--presses", type=int, default=_PRESSES_A_TAKE, help="presses a recording")
    asked = parser.parse_args()
    missing = missing_programs()
    if missing:
        print(f"a program cannot be recorded here, for want of {', '.join(missing)}")
        return 1
    print(
        "| asked for, pictures/s | delivered, middle step and slowest of 100, ms | presses "
        "| accepted | bias, ms | RMSE, ms | worst, ms | within ±2u | mean u, ms "
        "| bare reading of those: bias, ms | RMSE, ms "
        "| both instants between their pictures, ±2u |"
    )
    print("|---:|---|" + "---:|" * 10)
    with tempfile.TemporaryDirectory(prefix="recorded-") as folder:
        for rate_hz in _RATES_HZ:
            runs = _runs(Path(folder), rate_hz, asked.takes, asked.presses)
            print(_line(rate_hz, runs), flush=True)
    return 0


def _runs(folder: Path, rate_hz: int, takes: int, presses: int) -> list[dict[str, np.ndarray]]:
    """Return so many whole recordings; what was not recorded whole is told and made anew."""
    runs: list[dict[str, np.ndarray]] = []
    for seed in range(3 * takes):
        if len(runs) == takes:
            break
        try:
            runs.append(_run(folder, rate_hz, seed, presses))
        except TooBusy as trouble:
            print(f"{rate_hz} pictures/s, seed {seed}: {trouble}", file=sys.stderr)
    if not runs:
        raise SystemExit(f"nothing could be recorded at {rate_hz} pictures/s")
    return runs


def _run(folder: Path, rate_hz: int, seed: int, presses: int) -> dict[str, np.ndarray]:
    """Return one recording's presses: spans logged, seen and measured, in milliseconds."""
    home = folder / f"{rate_hz}-{seed}"
    home.mkdir()
    recording = record(home, presses, rate_hz, seed)
    times_s, seen = seen_presses(recording.path)
    settings = MeasureSettings(
        lamp=LAMP,
        watch=WATCH,
        readout_ms=0.0,
        exposure_ms=_EXPOSURE_MS,
        refresh_hz=60.0,
        game_rate_hz=60.0,
    )
    measured = [s for s in measure_take(recording.path, settings) if isinstance(s, MeasuredTake)]
    found = measured[0].measurement.presses
    if not len(found) == len(seen) == len(recording.presses):
        raise SystemExit(
            f"{len(recording.presses)} presses were logged, {len(seen)} are in the pictures and "
            f"{len(found)} were measured: nothing can be compared"
        )
    accepted = [press.verdict == "accepted" and press.span is not None for press in found]
    return {
        "steps": 1e3 * np.diff(times_s),
        "accepted": np.array(accepted),
        "logged": np.array([1e3 * (p.answer_s - p.lamp_s) for p in recording.presses]),
        "seen": np.array([1e3 * (sum(p.answer_s) - sum(p.lamp_s)) / 2 for p in seen]),
        "span": np.array([np.nan if p.span is None else 1e3 * p.span.value for p in found]),
        "between": np.array(
            [
                p.response is not None
                and _between(p.lamp_on, s.lamp_s)
                and _between(p.response, s.answer_s)
                for p, s in zip(found, seen, strict=True)
            ]
        ),
        "u": np.array([np.nan if p.span is None else 1e3 * p.span.u for p in found]),
    }


def _between(instant: Measured, pictures_s: tuple[float, float]) -> bool:
    """Tell whether an instant lies between the pictures that hold it, as far as it is known."""
    before_s, after_s = pictures_s
    slack_s = 2 * instant.u
    return before_s - slack_s <= instant.value <= after_s + slack_s


def _line(rate_hz: int, runs: list[dict[str, np.ndarray]]) -> str:
    both = {name: np.concatenate([run[name] for run in runs]) for name in runs[0]}
    use = both["accepted"]
    off = both["span"][use] - both["logged"][use]
    bare = (both["seen"] - both["logged"])[use]
    middle, slow = np.percentile(both["steps"], [50, 99])
    return (
        f"| {rate_hz} | {middle:.2f}, {slow:.2f} | {use.size} | {use.sum()} | {off.mean():+.2f} "
        f"| {_rms(off):.2f} | {np.abs(off).max():.2f} "
        f"| {100 * np.mean(np.abs(off) <= 2 * both['u'][use]):.1f} % | {both['u'][use].mean():.2f} "
        f"| {bare.mean():+.2f} | {_rms(bare):.2f} | {100 * both['between'][use].mean():.1f} % |"
    )


def _rms(errors: np.ndarray) -> float:
    return float(np.sqrt(np.mean(errors**2)))


if __name__ == "__main__":
    raise SystemExit(main())
