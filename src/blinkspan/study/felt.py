"""What people are said to notice, with who says it, and where a result lies against it.

None of these is a limit that a game passes or fails. What is noticed depends on
the task, the control, the display and the person; the published findings are for
mice, touch screens and virtual buttons more often than for game controllers.

References
----------
Each threshold names its own source. ``Standing`` says how firmly it stands here.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from blinkspan.quantities import Estimate
from blinkspan.study.phrases import listed, told

_LEAST_LEVEL = 0.9  # an interval of fewer presses that holds less places nothing


class Standing(StrEnum):
    """How a threshold is known."""

    COMMON_PRACTICE = "common practice"
    PUBLISHED = "published"
    RECALLED = "recalled, the source was not opened"


class Kind(StrEnum):
    """What a threshold is to be held against."""

    DIFFERENCE = "difference"
    LATENCY = "latency"


class Place(StrEnum):
    """Where a result and its interval lie against a threshold."""

    BELOW = "below"
    INSIDE = "inside"
    ABOVE = "above"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Threshold:
    """A span of milliseconds and what is said of it.

    Attributes
    ----------
    low_ms, high_ms : float
        Equal where one number is given.
    kind : Kind
        A difference between two latencies, or a latency from press to answer.
    """

    name: str
    low_ms: float
    high_ms: float
    kind: Kind
    source: str
    standing: Standing

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return asdict(self)

    @property
    def span(self) -> str:
        """The number or the band, with its unit."""
        if self.low_ms == self.high_ms:
            return f"{self.low_ms:g} ms"
        return f"{self.low_ms:g} to {self.high_ms:g} ms"

    def __str__(self) -> str:
        return f"{self.span}, {self.name} ({self.source}; {self.standing})"


SENSITIVE_PLAYER = Threshold(
    "noticed by a sensitive player in fast online play",
    20.0,
    20.0,
    Kind.DIFFERENCE,
    "reviewers' rule of thumb",
    Standing.COMMON_PRACTICE,
)
CASUAL_PLAYER = Threshold(
    "noticed by a casual player",
    40.0,
    50.0,
    Kind.DIFFERENCE,
    "reviewers' rule of thumb",
    Standing.COMMON_PRACTICE,
)
# Published ones: the number is in the paper's own abstract, or in the work named.
THRESHOLDS: tuple[Threshold, ...] = (
    SENSITIVE_PLAYER,
    CASUAL_PLAYER,
    Threshold(
        "a step noticed between two touch latencies",
        8.3,
        8.3,
        Kind.DIFFERENCE,
        "Deber, Jota, Forlines and Wigdor, CHI 2015",
        Standing.RECALLED,
    ),
    Threshold(
        "where aiming in first person still gains from less",
        20.0,
        20.0,
        Kind.LATENCY,
        "Spjut and others, A case study of first person aiming at low latency, 2021",
        Standing.PUBLISHED,
    ),
    Threshold(
        "where a virtual button's picture seems simultaneous with the touch",
        32.0,
        32.0,
        Kind.LATENCY,
        "Kaaresoja, Brewster and Lantz, ACM TAP 2014",
        Standing.PUBLISHED,
    ),
    Threshold(
        "where a mouse's delay is noticed, with large differences between people",
        60.0,
        60.0,
        Kind.LATENCY,
        "Forch, Franke, Rauh and Krems, HCII 2017",
        Standing.PUBLISHED,
    ),
    Threshold(
        "where a virtual button's picture is judged worse",
        100.0,
        150.0,
        Kind.LATENCY,
        "Kaaresoja, Brewster and Lantz, ACM TAP 2014",
        Standing.PUBLISHED,
    ),
    Threshold(
        "where pointing takes 64 % longer",
        225.0,
        225.0,
        Kind.LATENCY,
        "MacKenzie and Ware, INTERCHI 1993",
        Standing.PUBLISHED,
    ),
)


@dataclass(frozen=True, slots=True)
class Placed:
    """A threshold and where a result lies against it, its whole interval counted."""

    threshold: Threshold
    place: Place

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {"threshold": self.threshold.to_dict(), "place": str(self.place)}


@dataclass(frozen=True, slots=True)
class Felt:
    """A result in milliseconds against the thresholds of its kind.

    The sentence leaves the sources to the thresholds' own: print those once beside it.
    """

    result_ms: Estimate
    kind: Kind
    placed: tuple[Placed, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {"kind": str(self.kind), "placed": [one.to_dict() for one in self.placed]}

    def __str__(self) -> str:
        words = {
            Place.BELOW: "below",
            Place.INSIDE: "inside",
            Place.ABOVE: "at or above",
            Place.OPEN: "not placed by these presses against",
        }
        parts = []
        for place, word in words.items():
            those = [
                f"{one.threshold.span} ({one.threshold.name})"
                for one in self.placed
                if one.place is place
            ]
            if those:
                parts.append(f"{word} {listed(those)}")
        where = "; ".join(parts) if parts else "held against no threshold"
        return f"The {self.kind} of {told(self.result_ms, 'ms')} is {where}."


def place_difference(difference_ms: Estimate, thresholds: Sequence[Threshold] = THRESHOLDS) -> Felt:
    """Return a difference, its sign put aside, against the thresholds for differences.

    Examples
    --------
    >>> felt = place_difference(Estimate(-15.0, -18.0, -12.0, 0.95, ""))
    >>> [str(one.place) for one in felt.placed]
    ['below', 'below', 'above']
    """
    value, low, high = difference_ms.value, difference_ms.low, difference_ms.high
    nearest = 0.0 if low <= 0.0 <= high else min(abs(low), abs(high))
    size = Estimate(
        abs(value), nearest, max(abs(low), abs(high)), difference_ms.level, difference_ms.method
    )
    return _against(size, Kind.DIFFERENCE, thresholds)


def place_latency(latency_ms: Estimate, thresholds: Sequence[Threshold] = THRESHOLDS) -> Felt:
    """Return a latency against the thresholds for latencies."""
    return _against(latency_ms, Kind.LATENCY, thresholds)


def _against(result: Estimate, kind: Kind, thresholds: Sequence[Threshold]) -> Felt:
    placed = tuple(
        Placed(threshold, _place(result, threshold))
        for threshold in thresholds
        if threshold.kind is kind
    )
    return Felt(result, kind, placed)


def _place(result: Estimate, threshold: Threshold) -> Place:
    if result.level < _LEAST_LEVEL:
        return Place.OPEN
    if result.high < threshold.low_ms:
        return Place.BELOW
    if result.low >= threshold.high_ms:
        return Place.ABOVE
    if result.low >= threshold.low_ms and result.high < threshold.high_ms:
        return Place.INSIDE
    return Place.OPEN
