"""Presses as dots on one line a setup, each a link to its press; drawn by the macro ``dots``."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from blinkspan.presses.press import Verdict
from blinkspan.publish import words

WIDTH = 900
_LEFT, _RIGHT, _TOP = 210, 884, 12
_ROW, _FOOT = 64, 44
_DOT = 9  # what one dot takes along and across
_DEEPEST = 2  # dots stacked to each side of the line
_MOST_TICKS = 9


@dataclass(frozen=True, slots=True)
class DotPress:
    """A press to show: its span, its verdict, where it leads and what it is called."""

    ms: float
    verdict: Verdict
    href: str
    name: str


@dataclass(frozen=True, slots=True)
class DotsSetup:
    """The presses of one setup with the median of the accepted ones and its interval."""

    label: str
    presses: Sequence[DotPress]
    median_ms: float | None = None
    interval_ms: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Dot:
    """One press in the picture."""

    x: float
    y: float
    verdict: str
    href: str
    told: str


@dataclass(frozen=True, slots=True)
class Row:
    """One setup's line in the picture."""

    label: str
    y: float
    label_y: float
    dots: tuple[Dot, ...]
    middle_x: float | None
    interval_x: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class DotsChart:
    """All that the macro draws; places in pixels of the picture."""

    width: int
    height: int
    top: float
    bottom: float
    ticks: tuple[tuple[float, str], ...]
    rows: tuple[Row, ...]
    told: str


def dots_chart(setups: Sequence[DotsSetup]) -> DotsChart:
    """Return the chart of setups below one another, all on one scale of milliseconds."""
    every = [press.ms for setup in setups for press in setup.presses] or [0.0, 100.0]
    step = _round_step(max(max(every) - min(every), 10.0) / (_MOST_TICKS - 2))
    first, last = math.floor(min(every) / step), math.ceil(max(every) / step)
    last = max(last, first + 1)
    scale = (_RIGHT - _LEFT) / ((last - first) * step)

    def across(ms: float) -> float:
        return round(_LEFT + (ms - first * step) * scale, 1)

    rows = []
    for number, setup in enumerate(setups):
        y = _TOP + _ROW * (number + 0.5)
        rows.append(
            Row(
                setup.label,
                y,
                y + 4,
                _spread(setup.presses, y, across),
                None if setup.median_ms is None else across(setup.median_ms),
                None
                if setup.interval_ms is None
                else (across(setup.interval_ms[0]), across(setup.interval_ms[1])),
            )
        )
    bottom = _TOP + _ROW * len(setups)
    return DotsChart(
        WIDTH,
        bottom + _FOOT,
        _TOP,
        bottom,
        tuple((across(k * step), words.number(k * step, 0)) for k in range(first, last + 1)),
        tuple(rows),
        f"{len(every)} presses of {len(setups)} setups, from {words.milliseconds(min(every))} "
        f"to {words.milliseconds(max(every))}; each dot leads to its press",
    )


def _spread(
    presses: Sequence[DotPress], y: float, across: Callable[[float], float]
) -> tuple[Dot, ...]:
    """Return dots moved off the line where they would cover one another."""
    dots: list[Dot] = []
    for press in sorted(presses, key=lambda each: each.ms):
        x = across(press.ms)
        near = {dot.y for dot in dots if abs(dot.x - x) < _DOT}
        places = [
            y + side * k * _DOT for k in range(_DEEPEST + 1) for side in ((1, -1) if k else (1,))
        ]
        free = next((place for place in places if place not in near), y)
        told = f"{press.name}: {words.milliseconds(press.ms)}, {press.verdict}"
        dots.append(Dot(x, free, press.verdict.value, press.href, told))
    return tuple(dots)


def _round_step(at_least_ms: float) -> float:
    power = 10.0 ** math.floor(math.log10(max(at_least_ms, 0.1)))
    return next(power * f for f in (1, 2, 5, 10) if power * f >= at_least_ms)
