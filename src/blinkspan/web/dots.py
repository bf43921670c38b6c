"""Presses as dots on one line a setup, each a link to its press; drawn by the macro ``dots``."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from blinkspan.presses.press import Verdict
from blinkspan.publish import words
from blinkspan.web.axis import axis_over, name_lines

WIDTH = 1000
_LEFT, _RIGHT, _TOP = 230, 984, 14
_ROOM, _FOOT = 20, 44  # above and below the dots of a row; below the axis
_DOT = 10  # what one dot takes along and across
_DEEPEST = 7  # dots stacked above a row's line, beyond which they cover one another
_MARK = 15  # from the line of dots down to the median
_LABEL = 30  # characters of one line of a setup's name
_MOST_LINES = 3
_LEAST_ROW = 71  # as high as a name of three lines


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
    """One setup's line in the picture: its name, its dots and, below them, the median."""

    lines: tuple[tuple[float, str], ...]
    mark_y: float
    dots: tuple[Dot, ...]
    middle_x: float | None
    interval_x: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class DotsChart:
    """All that the macro draws; places in pixels of the picture."""

    width: int
    height: float
    top: float
    bottom: float
    ticks: tuple[tuple[float, str], ...]
    rows: tuple[Row, ...]
    axis: str
    told: str


def dots_chart(setups: Sequence[DotsSetup], axis: str = "ms from lamp to response") -> DotsChart:
    """Return the chart of setups below one another, all on one scale of milliseconds."""
    every = [press.ms for setup in setups for press in setup.presses] or [0.0, 100.0]
    reach = [*every, *(ms for setup in setups for ms in setup.interval_ms or ())]
    scale = axis_over(reach, _LEFT, _RIGHT)
    rows, top = [], float(_TOP)
    for setup in setups:
        dots = _stacked(setup.presses, scale.at)
        high = max((level for _, level, _ in dots), default=0) * _DOT
        height = max(high + 2 * _ROOM + _MARK, _LEAST_ROW)
        y = top + height - _ROOM - _MARK
        rows.append(
            Row(
                name_lines(setup.label, top + height / 2, _LABEL, _MOST_LINES),
                y + _MARK,
                tuple(
                    Dot(x, y - level * _DOT, press.verdict.value, press.href, _told(press))
                    for x, level, press in dots
                ),
                None if setup.median_ms is None else scale.at(setup.median_ms),
                None
                if setup.interval_ms is None
                else (scale.at(setup.interval_ms[0]), scale.at(setup.interval_ms[1])),
            )
        )
        top += height
    return DotsChart(
        WIDTH,
        top + _FOOT,
        _TOP,
        top,
        scale.ticks,
        tuple(rows),
        axis,
        f"{words.counted(len(every), 'press', 'presses')} of "
        f"{words.counted(len(setups), 'setup', 'setups')}, from {words.milliseconds(min(every))} "
        f"to {words.milliseconds(max(every))}; each dot leads to its press",
    )


def _stacked(
    presses: Sequence[DotPress], across: Callable[[float], float]
) -> list[tuple[float, int, DotPress]]:
    """Return each press with its place and the lowest level on which it covers no other."""
    last: list[float] = []  # the rightmost dot of each level
    placed = []
    for press in sorted(presses, key=lambda each: each.ms):
        x = across(press.ms)
        free = next((level for level, at in enumerate(last) if x - at >= _DOT), len(last))
        free = min(free, _DEEPEST)
        last[free : free + 1] = [x]
        placed.append((x, free, press))
    return placed


def _told(press: DotPress) -> str:
    return f"{press.name}: {words.milliseconds(press.ms)}, {press.verdict}"
