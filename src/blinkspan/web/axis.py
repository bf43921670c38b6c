"""A scale of a picture: from a value to a place, with round ticks; and the names beside it."""

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from blinkspan.publish import words

_MOST_TICKS = 9
_LINE = 17  # from one line of a name to the next
_LEAST_REACH = 10.0  # a scale narrower than this makes noise look like news


@dataclass(frozen=True, slots=True)
class Axis:
    """A linear scale; ``ticks`` are places and their words."""

    first: float
    start: float
    by: float
    ticks: tuple[tuple[float, str], ...]

    def at(self, value: float) -> float:
        """Return where a value lies, to a tenth of a pixel."""
        return round(self.start + (value - self.first) * self.by, 1)


def axis_over(values: Sequence[float], start: float, stop: float) -> Axis:
    """Return the scale from ``start`` to ``stop`` that holds all values between round ticks.

    Examples
    --------
    >>> axis = axis_over([12.0, 48.0], 0.0, 100.0)
    >>> [label for _, label in axis.ticks], axis.at(30.0)
    (['10', '20', '30', '40', '50'], 50.0)
    """
    low, high = min(values), max(values)
    step = _round_step(max(high - low, _LEAST_REACH) / (_MOST_TICKS - 2))
    first, last = math.floor(low / step), math.ceil(high / step)
    last = max(last, first + 1)
    by = (stop - start) / ((last - first) * step)
    digits = 0 if step >= 1 else 1
    return Axis(
        first * step,
        start,
        by,
        tuple(
            (round(start + (k - first) * step * by, 1), words.number(k * step, digits))
            for k in range(first, last + 1)
        ),
    )


def name_lines(name: str, middle: float, widest: int, most: int) -> tuple[tuple[float, str], ...]:
    """Return a name broken into lines about a height, each with its own; what is over is cut.

    Parameters
    ----------
    name : str
        May break its line itself.
    widest, most : int
        Characters a line, and lines.

    Examples
    --------
    >>> name_lines("one two three", 50.0, 7, 2)
    ((46.5, 'one two'), (63.5, 'three'))
    """
    lines = [line for part in name.split("\n") for line in textwrap.wrap(part, widest)]
    if len(lines) > most:
        lines = [*lines[: most - 1], f"{lines[most - 1][: widest - 1]}…"]
    first = middle - _LINE * (len(lines) - 1) / 2 + 5  # letters stand on their place
    return tuple((round(first + _LINE * at, 1), line) for at, line in enumerate(lines))


def _round_step(at_least: float) -> float:
    power = 10.0 ** math.floor(math.log10(max(at_least, 0.1)))
    return next(power * f for f in (1, 2, 5, 10) if power * f >= at_least)
