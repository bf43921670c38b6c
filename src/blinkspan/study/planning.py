"""How many presses a question needs, by simulation with the ties there will be.

References
----------
G. E. Noether, "Sample size determination for some common nonparametric tests",
JASA 82 (1987) 645-647.
"""

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from scipy.special import ndtri

from blinkspan.errors import BadSetting
from blinkspan.study.median import median_interval
from blinkspan.study.populations import Population
from blinkspan.study.shift import Shift, shift_between

FEWEST_FOR_A_PLAN = 3  # a pilot of two says nothing of the spread
MOST_PRESSES = 200  # of one setup: more than anyone presses for one answer
_FEWEST = 3
_MOST_TRIALS = 10
_REPEATS = 400  # the standard error of a share near 0.8 is then 2 points
_FEWEST_REPEATS = 100  # and 4 points: enough where a few presses more change little
_DEAR = 60  # presses from which on repeats are saved: their cost grows as the square


@dataclass(frozen=True, slots=True)
class Plan:
    """A number of presses and what they promise.

    Attributes
    ----------
    goal : str
        What is to be reached, in plain words.
    presses : int | None
        Accepted presses of each setup; None where ``most`` do not reach the goal.
    reached : float
        Share of simulated experiments with so many presses (or with ``most``) that
        reached the goal.
    wanted : float
        The share that was to reach it.
    most : int
        Where the search ended.
    repeats : int
        Simulated experiments behind ``reached``; 0 where none was needed to know that
        no number of presses is enough.
    """

    goal: str
    presses: int | None
    reached: float
    wanted: float
    most: int
    repeats: int

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return asdict(self)

    def __str__(self) -> str:
        share = f"{100 * self.reached:.0f} % of {self.repeats} simulated experiments"
        if self.repeats == 0:
            return f"{self.goal}: no number of presses reaches it"
        if self.presses is None:
            return f"{self.goal}: {self.most} presses of each setup reach it in only {share}"
        return f"{self.goal}: {self.presses} accepted presses of each setup reach it in {share}"


def presses_for_width(
    population: Population,
    width: float,
    *,
    rng: np.random.Generator,
    shared_u: float = 0.0,
    level: float = 0.95,
    share: float = 0.8,
    most: int = MOST_PRESSES,
) -> Plan:
    """Return the fewest presses whose median's interval is mostly no wider than ``width``.

    Parameters
    ----------
    population : Population
        Presses as they would be measured.
    width : float
        From the low to the high end, in the population's unit.
    shared_u : float
        Standard uncertainty that all presses share; where it alone is wider than
        ``width``, no number of presses is enough.
    share : float
        In how many of 1 experiments the width is to be reached.

    Raises
    ------
    BadSetting
        A width that is not above zero, or a share outside 0 to 1.
    """
    if not 0.0 < width < math.inf:
        raise BadSetting(f"an interval {width:g} wide cannot be; give a width above zero")
    goal = f"a median's {100 * level:.0f} % interval no wider than {width:g} ms"
    alone = 2.0 * float(ndtri(0.5 + level / 2.0)) * shared_u
    if alone >= width:
        goal += f" (what all presses share makes it {alone:.1f} ms wide by itself)"
        return Plan(goal, None, 0.0, share, most, 0)

    def narrow(n: int, repeats: int) -> float:
        hits = 0
        for _ in range(repeats):
            got = median_interval(population.draw(rng, n), population.u, shared_u, level)
            hits += got.level >= level and got.high - got.low <= width
        return hits / repeats

    return _plan(goal, narrow, share, most)


def presses_to_detect(
    first: Population,
    second: Population,
    *,
    rng: np.random.Generator,
    goal: str = "telling the two setups apart",
    systematic_u: float = 0.0,
    alpha: float = 0.05,
    power: float = 0.8,
    most: int = MOST_PRESSES,
) -> Plan:
    """Return the fewest presses of each of two setups that mostly show them different."""
    return presses_that_tell(
        first,
        second,
        lambda shift: shift.excludes(0.0, alpha),
        goal=goal,
        rng=rng,
        systematic_u=systematic_u,
        share=power,
        most=most,
    )


def presses_to_show_same(
    first: Population,
    second: Population,
    margin: float,
    *,
    rng: np.random.Generator,
    systematic_u: float = 0.0,
    alpha: float = 0.05,
    power: float = 0.8,
    most: int = MOST_PRESSES,
) -> Plan:
    """Return the fewest presses of each setup that mostly show them the same within ± margin."""
    if not 0.0 < margin < math.inf:
        raise BadSetting(f"a margin of {margin:g} cannot be; give one above zero")
    return presses_that_tell(
        first,
        second,
        lambda shift: shift.lies_within(margin, alpha),
        goal=f"showing the two setups the same within {margin:g} ms",
        rng=rng,
        systematic_u=systematic_u,
        share=power,
        most=most,
    )


def presses_that_tell(
    first: Population,
    second: Population,
    told: Callable[[Shift], bool],
    *,
    goal: str,
    rng: np.random.Generator,
    systematic_u: float = 0.0,
    share: float = 0.8,
    most: int = MOST_PRESSES,
) -> Plan:
    """Return the fewest presses of each of two setups with which ``told`` is mostly true."""

    def hits(n: int, repeats: int) -> float:
        return share_told(
            first, second, told, (n, n), repeats=repeats, rng=rng, systematic_u=systematic_u
        )

    return _plan(goal, hits, share, most)


def share_told(
    first: Population,
    second: Population,
    told: Callable[[Shift], bool],
    presses: tuple[int, int],
    *,
    repeats: int,
    rng: np.random.Generator,
    systematic_u: float = 0.0,
) -> float:
    """Return the share of simulated experiments of so many presses in which ``told`` is true.

    Each experiment draws its presses and, once for all of them, an error of the
    shift with standard deviation ``systematic_u``.
    """
    hits = 0
    for _ in range(repeats):
        x = first.draw(rng, presses[0]) + rng.normal(0.0, systematic_u)
        y = second.draw(rng, presses[1])
        hits += told(shift_between(x, first.u, y, second.u, systematic_u, quick=True))
    return hits / repeats


def noether_total(
    p: float,
    *,
    alpha: float = 0.05,
    power: float = 0.8,
    share_first: float = 0.5,
    two_sided: bool = True,
) -> float:
    """Return the total number a rank-sum test needs by Noether's formula, not rounded.

    Parameters
    ----------
    p : float
        Probability that a draw of one group is less than one of the other.
    share_first : float
        Share of the total that belongs to the first group.

    Raises
    ------
    BadSetting
        A ``p`` of 1/2, which no number tells from 1/2, or a value outside 0 to 1.

    Examples
    --------
    >>> round(noether_total(0.7), 4)
    65.4073
    """
    for value in (p, alpha, power, share_first):
        if not 0.0 < value < 1.0:
            raise BadSetting(f"{value:g} is no probability or share; give one between 0 and 1")
    if p == 0.5:
        raise BadSetting("a probability of 0.5 is no difference; give one above or below")
    z = float(ndtri(1.0 - alpha / 2.0 if two_sided else 1.0 - alpha)) + float(ndtri(power))
    return z**2 / (12.0 * share_first * (1.0 - share_first) * (p - 0.5) ** 2)


def _plan(goal: str, chance: Callable[[int, int], float], wanted: float, most: int) -> Plan:
    """Search the fewest presses by halving on a scale of √n, and try the find afresh."""
    if not 0.0 < wanted < 1.0:
        raise BadSetting(f"a share of {wanted:g} cannot be promised; give one between 0 and 1")
    tried: dict[int, float] = {}
    n = min(most, 12)
    while n not in tried and len(tried) < _MOST_TRIALS:
        tried[n] = chance(n, _repeats(n))
        n = _next_trial(tried, wanted, most)
    enough = [n for n, share in tried.items() if share >= wanted]
    presses = min(enough) if enough else None
    repeats = 2 * _repeats(presses or most)
    afresh = chance(presses or most, repeats)
    return Plan(goal, presses, afresh, wanted, most, repeats)


def _repeats(n: int) -> int:
    return max(_FEWEST_REPEATS, min(_REPEATS, round(_REPEATS * (_DEAR / n) ** 2)))


def _next_trial(tried: dict[int, float], wanted: float, most: int) -> int:
    """Choose the next number to try; one already tried ends the search."""
    too_few = max((n for n, share in tried.items() if share < wanted), default=None)
    if too_few is None:
        return max(_FEWEST, min(tried) // 2)
    enough = min((n for n, share in tried.items() if n > too_few and share >= wanted), default=None)
    if enough is None:
        return min(most, 2 * too_few)
    low, high = _normal_score(tried[too_few]), _normal_score(tried[enough])
    part = (float(ndtri(wanted)) - low) / (high - low)
    root = math.sqrt(too_few) + part * (math.sqrt(enough) - math.sqrt(too_few))
    return min(max(math.ceil(root**2), too_few + 1), enough)


def _normal_score(share: float) -> float:
    """Turn a simulated share into a normal quantile, none and all half a repeat inside."""
    half = 0.5 / _REPEATS
    return float(ndtri(min(max(share, half), 1.0 - half)))
