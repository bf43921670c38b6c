"""Simulated studies with known truth, ties included, judged as a reader would judge them.

A press waits evenly over a game frame and is measured below the camera's frame, or by
counting whole camera frames, or whole game frames. Every figure is a share of repeats
and carries a standard error of about 0.5 in 100 at 2,000 repeats.
"""

import argparse
import math
import os
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np

from blinkspan.study.median import median_interval
from blinkspan.study.planning import presses_to_detect, presses_to_show_same, share_told
from blinkspan.study.populations import Draw, Population, counted, measured
from blinkspan.study.ranks import probability_less
from blinkspan.study.shift import shift_between
from blinkspan.study.summary import summarise

GAME_60_MS = 1000.0 / 60.0
MIDDLE_MS = 60.0
SIZES = (5, 10, 20, 50)
MARGIN_MS = 8.0
WORKERS = 2


def even(wait_ms: float) -> Draw:
    """Return spans about 60 ms whose wait is spread evenly, with 1 ms of other scatter."""
    half = wait_ms / 2.0
    return lambda rng, n: MIDDLE_MS + rng.uniform(-half, half, n) + rng.normal(0.0, 1.0, n)


def now_and_then_late(rng: np.random.Generator, n: int) -> np.ndarray:
    """Return even waits of which three in ten come two game frames later."""
    late = 2.0 * GAME_60_MS * (rng.random(n) < 0.3)
    return even(GAME_60_MS)(rng, n) + late


def lopsided(rng: np.random.Generator, n: int) -> np.ndarray:
    """Return an exponential tail of 8 ms, median 60 ms."""
    return MIDDLE_MS - 8.0 * math.log(2.0) + rng.exponential(8.0, n)


def steady(rng: np.random.Generator, n: int) -> np.ndarray:
    """Return spans that hardly differ: two frame counts at the most."""
    return MIDDLE_MS + rng.normal(0.0, 0.2, n)


PLACES = 20  # between two frames of the camera


def steady_at(place: int) -> "Case":
    """Return steady spans whose middle lies so far on the way to the next camera frame."""
    by_ms = (place + 0.5) / PLACES * 1000.0 / 240.0
    return Case("", counted(lambda rng, n: steady(rng, n) + by_ms, 240.0), MIDDLE_MS + by_ms)


@dataclass(frozen=True)
class Case:
    """Presses of one kind and their true median."""

    name: str
    presses: Population
    median_ms: float = MIDDLE_MS


def cases() -> list[Case]:
    sixty, thirty = even(GAME_60_MS), even(2.0 * GAME_60_MS)
    # The median of even waits of which 30 % are two frames late: 5/7 through the first heap.
    late_ms = MIDDLE_MS - GAME_60_MS / 2.0 + GAME_60_MS * 0.5 / 0.7
    return [
        Case("60 fps, no uncertainty, no ties", Population(sixty, 0.0)),
        Case("60 fps, below the frame, u 0.5 ms", measured(sixty, 0.5)),
        Case("60 fps, frames of 1/240 s counted", counted(sixty, 240.0)),
        Case("60 fps, game frames counted", counted(sixty, 60.0)),
        Case("30 fps, frames of 1/240 s counted", counted(thirty, 240.0)),
        Case("30 fps, game frames counted", counted(thirty, 30.0)),
        Case("steady, frames of 1/240 s counted", counted(steady, 240.0)),
        Case("3 in 10 late, 1/240 s counted", counted(now_and_then_late, 240.0), late_ms),
        Case("lopsided, below the frame, u 0.5 ms", measured(lopsided, 0.5)),
        Case("lopsided, frames of 1/240 s counted", counted(lopsided, 240.0)),
    ]


def coverage_of_median(index: int, repeats: int) -> list[float]:
    return covered(cases()[index], np.random.default_rng([1, index]), repeats)


def coverage_of_steady_median(place: int, repeats: int) -> list[float]:
    return covered(steady_at(place), np.random.default_rng([6, place]), repeats)


def covered(case: Case, rng: np.random.Generator, repeats: int) -> list[float]:
    """Return how often the median's interval holds the truth, for each number of presses."""
    shares = []
    for n in SIZES:
        held = 0
        for _ in range(repeats):
            found = median_interval(case.presses.draw(rng, n), case.presses.u)
            held += found.low <= case.median_ms <= found.high
        shares.append(held / repeats)
    return shares


PAIRS = [(n, n) for n in SIZES] + [(10, 30), (30, 10)]


def pairs() -> list[tuple[str, Population, Population]]:
    of = {case.name: case.presses for case in cases()}
    alike = [(name, presses, presses) for name, presses in of.items()]
    counts = of["60 fps, frames of 1/240 s counted"], of["30 fps, frames of 1/240 s counted"]
    return [
        *alike,
        ("60 against 30 fps, 1/240 s counted", *counts),
        ("steady against 30 fps, 1/240 s", of["steady, frames of 1/240 s counted"], counts[1]),
    ]


def judge_pair(index: int, repeats: int) -> list[tuple[float, float, float]]:
    """For each pair of sizes: coverage, wrong "different", wrong "the same" at the margin."""
    _, first, second = pairs()[index]
    rng = np.random.default_rng([2, index])
    rows = []
    for m, n in PAIRS:
        different = same = 0
        for _ in range(repeats):
            x, y = first.draw(rng, m), second.draw(rng, n)
            different += shift_between(x, first.u, y, second.u).excludes(0.0)
            apart = shift_between(x + MARGIN_MS, first.u, y, second.u)
            same += apart.lies_within(MARGIN_MS)
        # The interval is all shifts that are not excluded.
        rows.append((1.0 - different / repeats, different / repeats, same / repeats))
    return rows


def coverage_of_probability(repeats: int) -> None:
    print("\nCoverage of the 95 % interval of the probability that one press beats another, in 100")
    print(f"{'apart, ms':12}" + "".join(f"{n:>8}" for n in SIZES))
    true = even(GAME_60_MS)
    for apart in (0.0, 5.0, 10.0):
        rng = np.random.default_rng(3)
        many = 400_000
        first, second = true(rng, many), true(rng, many) + apart
        truth = float(np.mean(first < second))
        shares = []
        for n in SIZES:
            held = 0
            for _ in range(repeats):
                found = probability_less(true(rng, n), true(rng, n) + apart)
                held += found.low <= truth <= found.high
            shares.append(held / repeats)
        print(f"{apart:<12}" + "".join(f"{100 * share:8.1f}" for share in shares))


def promised_power(index: int, repeats: int) -> tuple[str, int | None, float, float]:
    sixty, thirty = even(GAME_60_MS), even(2.0 * GAME_60_MS)
    counts, fine = counted(sixty, 240.0), measured(sixty, 0.5)
    coarse = counted(thirty, 240.0)
    rng = np.random.default_rng([4, index])
    designs: list[tuple[str, Population, Population, float | None]] = [
        ("5 ms at 60 fps, counted", counts, counts.shifted(5.0), None),
        ("8 ms at 60 fps, u 0.5 ms", fine, fine.shifted(8.0), None),
        ("10 ms, 60 against 30 fps, counted", counts.shifted(10.0), coarse, None),
        ("the same within 8.3 ms at 60 fps, counted", counts, counts, 25.0 / 3.0),
        ("the same within 4.2 ms at 60 fps, u 0.5 ms", fine, fine, 25.0 / 6.0),
        ("the same within 8.3 ms at 30 fps, counted", coarse, coarse, 25.0 / 3.0),
    ]
    name, first, second, margin = designs[index]
    if margin is None:
        plan = presses_to_detect(first, second, rng=rng)
    else:
        plan = presses_to_show_same(first, second, margin, rng=rng)
    if plan.presses is None:
        return name, None, plan.reached, math.nan
    achieved = share_told(
        first,
        second,
        lambda shift: shift.excludes(0.0) if margin is None else shift.lies_within(margin),
        (plan.presses, plan.presses),
        repeats=repeats,
        rng=np.random.default_rng([5, index]),
    )
    return name, plan.presses, plan.reached, achieved


def summarise_setups(seed: int, setups: int, presses: int) -> int:
    rng = np.random.default_rng(seed)
    true = counted(even(GAME_60_MS), 240.0)
    spans = [true.draw(rng, presses) for _ in range(setups)]
    return sum(summarise(span, true.u, 0.5, game_rate_hz=60.0).n for span in spans)


def speed(pool: ProcessPoolExecutor) -> None:
    list(pool.map(summarise_setups, range(WORKERS), [1] * WORKERS, [500] * WORKERS))  # imports
    began = time.perf_counter()
    presses = sum(
        pool.map(summarise_setups, range(WORKERS), [2000 // WORKERS] * WORKERS, [500] * WORKERS)
    )
    took = time.perf_counter() - began
    load = os.getloadavg()[0]
    print(
        f"\n{presses // 500} setups of 500 presses summarised by {WORKERS} workers in {took:.1f} s"
    )
    print(f"(other work on the machine: load {load:.1f} on {os.cpu_count()} cores)")


def printed(title: str, head: list[str], rows: list[tuple[str, list[float]]], width: int) -> None:
    print(f"\n{title}")
    print(f"{'':38}" + "".join(f"{word:>{width}}" for word in head))
    for name, shares in rows:
        print(f"{name:38}" + "".join(f"{100 * share:{width}.1f}" for share in shares), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description="Whether the study's statistics keep their word.")
    parser.add_argument("--repeats", type=int, default=2000)
    repeats = parser.parse_args().repeats
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    with ProcessPoolExecutor(WORKERS) as pool:
        speed(pool)
        names = [case.name for case in cases()]
        found = list(pool.map(coverage_of_median, range(len(names)), [repeats] * len(names)))
        printed(
            "Coverage of the median's 95 % interval, in 100, by number of presses",
            [str(n) for n in SIZES],
            list(zip(names, found, strict=True)),
            8,
        )
        each = list(pool.map(coverage_of_steady_median, range(PLACES), [repeats] * PLACES))
        for word, of in (("mean", np.mean), ("least", np.min), ("most", np.max)):
            shares = "".join(f"{100 * of(share):8.1f}" for share in zip(*each, strict=True))
            print(f"{f'steady, at {PLACES} places of a frame: {word}':38}{shares}")
        named = [name for name, _, _ in pairs()]
        judged = list(pool.map(judge_pair, range(len(named)), [repeats] * len(named)))
        titles = [
            "Coverage of the difference's 95 % interval, in 100, by numbers of presses",
            'Wrong "different" where there is no difference, in 100 (at most 5 promised)',
            'Wrong "the same" where the difference is the margin of 8 ms, in 100 (at most 5)',
        ]
        for i, title in enumerate(titles):
            rows = [
                (name, [row[i] for row in rows]) for name, rows in zip(named, judged, strict=True)
            ]
            printed(title, [f"{m}, {n}" for m, n in PAIRS], rows, 8)
        coverage_of_probability(repeats)
        print("\nPower promised by a plan for 80 in 100, and achieved afresh, in 100")
        print(f"{'':46}{'presses':>9}{'promised':>10}{'achieved':>10}")
        for name, n, promised, achieved in pool.map(promised_power, range(6), [repeats] * 6):
            print(f"{name:46}{n!s:>9}{100 * promised:10.1f}{100 * achieved:10.1f}")


if __name__ == "__main__":
    main()
