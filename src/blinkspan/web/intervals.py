"""Estimates with their intervals on one scale, against a mark; drawn by the macro ``intervals``."""

from collections.abc import Sequence
from dataclasses import dataclass

from blinkspan.publish import words
from blinkspan.quantities import Estimate
from blinkspan.web.axis import axis_over, name_lines

WIDTH = 1000
_LEFT, _RIGHT, _TOP = 330, 984, 14
_ROW, _FOOT = 56, 44
_LABEL = 44
_MOST_LINES = 2


@dataclass(frozen=True, slots=True)
class IntervalRow:
    """One estimate in the picture."""

    lines: tuple[tuple[float, str], ...]
    y: float
    low_x: float
    x: float
    high_x: float
    told: str


@dataclass(frozen=True, slots=True)
class IntervalsChart:
    """All that the macro draws; ``band_x`` is the margin, ``zero_x`` no difference at all."""

    width: int
    height: float
    top: float
    bottom: float
    ticks: tuple[tuple[float, str], ...]
    rows: tuple[IntervalRow, ...]
    zero_x: float | None
    band_x: tuple[float, float] | None
    axis: str
    told: str


def intervals_chart(
    of: Sequence[tuple[str, Estimate]],
    axis: str,
    *,
    zero: bool = False,
    margin: float | None = None,
) -> IntervalsChart:
    """Return the chart of estimates below one another; a label may break its line itself.

    Parameters
    ----------
    zero : bool
        Whether to mark where there is no difference.
    margin : float | None
        Half the width of a band around it.
    """
    values = [end for _, estimate in of for end in (estimate.low, estimate.high)]
    values += [0.0] if zero else []
    values += [] if margin is None else [-margin, margin]
    scale = axis_over(values, _LEFT, _RIGHT)
    rows = []
    for place, (label, estimate) in enumerate(of):
        y = _TOP + _ROW * (place + 0.5)
        rows.append(
            IntervalRow(
                name_lines(label, y, _LABEL, _MOST_LINES),
                y,
                scale.at(estimate.low),
                scale.at(estimate.value),
                scale.at(estimate.high),
                f"{' '.join(label.split())}: {words.number(estimate.value)} "
                f"({words.interval((estimate.low, estimate.high), '')})",
            )
        )
    bottom = _TOP + _ROW * len(of)
    return IntervalsChart(
        WIDTH,
        bottom + _FOOT,
        _TOP,
        bottom,
        scale.ticks,
        tuple(rows),
        scale.at(0.0) if zero else None,
        None if margin is None else (scale.at(-margin), scale.at(margin)),
        axis,
        f"{axis}. {'; '.join(row.told for row in rows)}",
    )
