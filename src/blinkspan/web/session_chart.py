"""A setup's presses in the order they were made; drawn by the macro ``session``."""

from collections.abc import Sequence
from dataclasses import dataclass

from blinkspan.publish import words
from blinkspan.web.axis import axis_over
from blinkspan.web.dots import Dot, DotPress

WIDTH, HEIGHT = 1000, 330
_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 984, 16, 270
_EDGE = 14
_MOST_NUMBERS = 20


@dataclass(frozen=True, slots=True)
class SessionChart:
    """All that the macro draws; ``takes`` are where a take begins, with its name."""

    width: int
    height: int
    left: float
    right: float
    top: float
    bottom: float
    ticks: tuple[tuple[float, str], ...]
    numbers: tuple[tuple[float, str], ...]
    takes: tuple[tuple[float, str], ...]
    dots: tuple[Dot, ...]
    middle_y: float | None
    band_y: tuple[float, float] | None
    axis: str
    told: str


def session_chart(
    takes: Sequence[tuple[str, Sequence[DotPress | None]]],
    axis: str,
    median_ms: float | None = None,
    interval_ms: tuple[float, float] | None = None,
) -> SessionChart:
    """Return the chart of the presses of takes, one take after the other.

    Parameters
    ----------
    takes : sequence of (str, presses)
        Each take's name and its presses in order; None for one without a response,
        whose place stays empty.
    """
    presses = [press for _, of_take in takes for press in of_take]
    drawn = [press for press in presses if press is not None]
    values = [press.ms for press in drawn] or [0.0, 100.0]
    up = axis_over([*values, *(interval_ms or ())], _BOTTOM, _TOP)
    along = (_RIGHT - _LEFT - 2 * _EDGE) / max(len(presses) - 1, 1)

    def across(order: int) -> float:
        return round(_LEFT + _EDGE + order * along, 1)

    begins, order = [], 0
    for name, of_take in takes:
        if of_take:
            begins.append((max(_LEFT, across(order) - along / 2), name))
        order += len(of_take)
    every = -(-len(presses) // _MOST_NUMBERS)
    return SessionChart(
        WIDTH,
        HEIGHT,
        _LEFT,
        _RIGHT,
        _TOP,
        _BOTTOM,
        up.ticks,
        tuple((across(k), str(k + 1)) for k in range(0, len(presses), max(every, 1))),
        tuple(begins),
        tuple(
            Dot(
                across(k),
                up.at(press.ms),
                press.verdict.value,
                press.href,
                f"{press.name}: {words.milliseconds(press.ms)}, {press.verdict}",
            )
            for k, press in enumerate(presses)
            if press is not None
        ),
        None if median_ms is None else up.at(median_ms),
        None if interval_ms is None else (up.at(interval_ms[1]), up.at(interval_ms[0])),
        axis,
        f"{words.counted(len(drawn), 'press', 'presses')} "
        "in the order they were made, each dot leads to its press",
    )
