"""Mean latencies part by part as bars on one scale; drawn by the macro ``part_bars``."""

from collections.abc import Sequence
from dataclasses import dataclass

from blinkspan.publish import words
from blinkspan.study.explanation import ModeTime
from blinkspan.web.axis import axis_over

WIDTH = 1000
_LEFT, _RIGHT, _TOP = 130, 984, 14
_ROW, _BAR, _FOOT = 62, 34, 44
_LEAST_LABEL = 34  # a narrower part has its number in the table only


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a bar; ``kind`` counts from 1 in the order of a press's way."""

    kind: int
    x: float
    width: float
    label: str
    told: str


@dataclass(frozen=True, slots=True)
class Bar:
    """One mode: its parts one after the other, and where the presses' mean lies."""

    name: str
    y: float
    height: float
    parts: tuple[Part, ...]
    seen_x: float


@dataclass(frozen=True, slots=True)
class PartBars:
    """All that the macro draws."""

    width: int
    height: float
    top: float
    bottom: float
    ticks: tuple[tuple[float, str], ...]
    bars: tuple[Bar, ...]
    axis: str
    told: str


def part_bars(times: Sequence[ModeTime]) -> PartBars:
    """Return one bar a mode."""
    longest = max(max(time.predicted_ms, time.seen_ms) for time in times)
    scale = axis_over([0.0, longest], _LEFT, _RIGHT)
    bars = []
    for place, time in enumerate(times):
        parts, at_ms = [], 0.0
        for kind, (name, ms) in enumerate(time.parts_ms, start=1):
            x = scale.at(at_ms)
            wide = round(scale.at(at_ms + ms) - x, 1)
            label = words.number(ms) if wide >= _LEAST_LABEL else ""
            if wide > 0:
                parts.append(Part(kind, x, wide, label, f"{name}: {words.milliseconds(ms)}"))
            at_ms += ms
        y = _TOP + _ROW * place + (_ROW - _BAR) / 2
        bars.append(Bar(time.name, y, _BAR, tuple(parts), scale.at(time.seen_ms)))
    bottom = _TOP + _ROW * len(times)
    told = "; ".join(f"{time.name}: {_parts_told(time)}" for time in times)
    return PartBars(
        WIDTH,
        bottom + _FOOT,
        _TOP,
        bottom,
        scale.ticks,
        tuple(bars),
        "mean ms from lamp to response; the upright line is the mean of the presses",
        told,
    )


def _parts_told(time: ModeTime) -> str:
    return ", ".join(f"{part} {words.milliseconds(ms)}" for part, ms in time.parts_ms)
