"""Numbers that never travel alone: a value with its uncertainty, an estimate with its interval.

References
----------
JCGM 100:2008 (GUM): 4.3.7 rectangular and 4.3.9 triangular distributions,
5.1.2 the combined standard uncertainty of uncorrelated terms.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and its standard uncertainty, in the unit the owner's name states."""

    value: float
    u: float

    def __add__(self, other: "Measured | float") -> "Measured":
        """Return the sum; two ``Measured`` are taken as uncorrelated."""
        if isinstance(other, Measured):
            return Measured(self.value + other.value, math.hypot(self.u, other.u))
        return Measured(self.value + other, self.u)

    def __sub__(self, other: "Measured | float") -> "Measured":
        """Return the difference; two ``Measured`` are taken as uncorrelated."""
        if isinstance(other, Measured):
            return Measured(self.value - other.value, math.hypot(self.u, other.u))
        return Measured(self.value - other, self.u)

    def __mul__(self, factor: float) -> "Measured":
        """Return the value and its uncertainty scaled by an exact factor."""
        return Measured(self.value * factor, self.u * abs(factor))

    def weighed_with(self, other: "Measured") -> "Measured":
        """Return the mean of two values of one thing, by their inverse variances.

        Examples
        --------
        >>> weighed = Measured(1.0, 3.0).weighed_with(Measured(2.0, 4.0))
        >>> round(weighed.value, 6), round(weighed.u, 6)
        (1.36, 2.4)
        """
        share = self.u**2 / (self.u**2 + other.u**2)
        u = self.u * other.u / math.hypot(self.u, other.u)
        return Measured(self.value + share * (other.value - self.value), u)

    def nodes(self) -> tuple[float, float, float]:
        """Return three values that, in equal parts, have this value and uncertainty.

        Examples
        --------
        >>> [round(node, 3) for node in Measured(2.0, 1.0).nodes()]
        [0.775, 2.0, 3.225]
        """
        away = math.sqrt(1.5) * self.u
        return self.value - away, self.value, self.value + away


@dataclass(frozen=True, slots=True)
class Estimate:
    """A statistic with its interval, the confidence level and the method that made it."""

    value: float
    low: float
    high: float
    level: float
    method: str


@dataclass(frozen=True, slots=True)
class Term:
    """One source of doubt: its standard uncertainty and whether all presses of a take share it.

    A shared term (display lag, readout) does not shrink with more presses and
    cancels where both sides of a comparison carry it.
    """

    name: str
    u_s: float
    shared: bool = False


@dataclass(frozen=True, slots=True)
class Budget:
    """The terms of one result's uncertainty, in seconds, taken as uncorrelated."""

    terms: tuple[Term, ...]

    @property
    def u_s(self) -> float:
        """The combined standard uncertainty in seconds (GUM 5.1.2)."""
        return math.sqrt(sum(term.u_s**2 for term in self.terms))

    @property
    def own_u_s(self) -> float:
        """The part in seconds that belongs to this press alone."""
        return math.sqrt(sum(term.u_s**2 for term in self.terms if not term.shared))

    @property
    def leading(self) -> Term | None:
        """The largest term, or None where no term is above zero."""
        largest = max(self.terms, key=lambda term: term.u_s, default=None)
        return largest if largest is not None and largest.u_s > 0 else None


def rectangular(half_width: float) -> float:
    """Return the standard uncertainty of a value known only within ± half_width (GUM 4.3.7).

    Examples
    --------
    >>> round(rectangular(3.0), 3)
    1.732
    """
    return half_width / math.sqrt(3.0)


def triangular(half_width: float) -> float:
    """Return the standard uncertainty of a triangular distribution on ± half_width (GUM 4.3.9).

    It is the law of a difference of two independent instants that were each
    rounded to the same step of width ``half_width``: counting whole frames.

    Examples
    --------
    >>> round(1e3 * triangular(1 / 240), 2)  # the counting floor at 240 fps, in ms
    1.7
    """
    return half_width / math.sqrt(6.0)
