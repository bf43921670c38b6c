"""The answers of a study as data: exact (every key that is written is on the page, in its part)."""

import re
from datetime import date

import numpy as np
import pytest

from blinkspan.quantities import Measured
from blinkspan.study.comparison import Margin, compare
from blinkspan.study.explanation import explain
from blinkspan.study.felt import place_difference
from blinkspan.study.gear import cameras, what_gear_buys
from blinkspan.study.ladder import climb
from blinkspan.study.matrix import Cell, compare_platforms
from blinkspan.study.modes import ModeSample
from blinkspan.study.pipeline_prior import QueuePrior
from blinkspan.study.retests import Shot, follow
from blinkspan.study.sample import Sample
from blinkspan.study.summary import summarise
from docs.pages import text

BY_NAME = {"by_title_ms", "by_mode_ms", "parts_ms", "frames"}  # their keys are the reader's own
ESTIMATE = {"value", "low", "high", "level", "method"}


def even(middle_ms, frame_ms, n=12):
    return middle_ms + frame_ms * ((np.arange(n) + 0.5) / n - 0.5)


def modes():
    u = np.full(12, 5e-4)
    return [
        ModeSample(f"{fps} fps", 1 / fps, 1e-3 * even(20 + 2500 / fps, 1000 / fps), u)
        for fps in (120, 60, 30)
    ]


def answers():
    """Return one answer of each command, as rich as few presses make it."""
    rng = np.random.default_rng(1)
    heaps = np.concatenate([even(50.0, 9.0), even(110.0, 9.0), [400.0]])
    u = np.full(12, 0.5)
    first, second = (Sample(name, even(at, 16.7), u) for name, at in (("A", 60.0), ("B", 66.0)))
    compared = compare(first, second, Margin(8.0), rng=rng)
    gear = cameras(lambda rng, n: rng.uniform(50.0, 66.7, n), shared_u_ms=0.5)[:1]
    short = [ModeSample(m.name, m.frame_s, m.latency_s, m.own_u_s) for m in modes()]
    cells = [
        Cell(platform, "60 fps", title, 1e-3 * even(60.0 + off, 16.7), np.full(12, 5e-4))
        for platform, off in (("A", 0.0), ("B", 5.0))
        for title in ("Lantern Quay", "Tallow Market", "Ombermere")
    ]
    shots = [
        Shot("1.0", date(2026, 3, day), 1e-3 * even(60.0 + day, 16.7), np.full(12, 5e-4))
        for day in (1, 2, 3)
    ]
    return {
        "summary": summarise(heaps, 0.5, game_rate_hz=60.0).to_dict(),
        "compare": {**compared.to_dict(), "felt": place_difference(compared.shift_ms).to_dict()},
        "plan": {"gear": [one.to_dict() for one in what_gear_buys(gear, 3, rng=rng)]},
        "ladder": climb(short).to_dict(),
        "explain": explain(
            short[1:], [()], rng, prior=QueuePrior(steady=0.5, fixed_s=Measured(0.02, 5e-3)),
            baseline=short[0],
        ).to_dict(),
        "matrix": compare_platforms(cells, "A", "B").to_dict(),
        "retests": follow(shots).to_dict(),
    }  # fmt: skip


def keys(value):
    if isinstance(value, list):
        return set().union(*map(keys, value))
    if not isinstance(value, dict) or set(value) == ESTIMATE:
        return set()
    inner = (keys(part) for key, part in value.items() if key not in BY_NAME)
    return set(value).union(*inner)


@pytest.mark.parametrize(("command", "answer"), answers().items())
def test_every_key_of_an_answer_is_described(command, answer):
    page = text("docs/result-format.md").split("# The answers of a study, as data")[1]
    common, *parts = page.split("\n## ")
    (part,) = (one for one in parts if one.startswith(f"`blinkspan {command}`"))
    described = set(re.findall(r"`(\w+)`", common + part))
    if command == "compare":
        described |= set(re.findall(r"`(\w+)`", page.split("## `blinkspan plan`")[1]))
    assert len(keys(answer)) >= 5
    assert sorted(keys(answer) - described) == []
