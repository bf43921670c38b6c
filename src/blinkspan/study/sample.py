"""A setup's accepted presses as numbers, with the doubts that its presses share.

A shared doubt that two setups owe to one and the same cause (one display profile,
one camera) errs alike in both and cancels in their difference; it would be counted
twice if both summaries' intervals were simply held against each other.

References
----------
JCGM 100:2008 (GUM), 5.2.2: input quantities that are fully correlated.
"""

import math
from dataclasses import dataclass

import numpy as np

from blinkspan.errors import BadSample, BadSetting
from blinkspan.study.smoothing import Numbers, checked
from blinkspan.study.summary import Summary, summarise


@dataclass(frozen=True, slots=True)
class SharedDoubt:
    """A standard uncertainty that all presses of a setup share, in ms.

    Attributes
    ----------
    name : str
        The budget's term, such as "display lag".
    cause : str
        What it hangs on, such as the display profile's name. Two setups whose doubts
        agree in name and cause err alike.
    """

    name: str
    cause: str
    u_ms: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.u_ms < math.inf:
            raise BadSetting(
                f"{self.name}: an uncertainty of {self.u_ms:g} ms cannot be; give zero or more"
            )


@dataclass(frozen=True, slots=True)
class Sample:
    """The accepted presses of one setup.

    Attributes
    ----------
    latency_ms, own_u_ms : array, shape (n,), n zero where none was accepted
        Net latencies or spans in the order pressed, and the standard uncertainty of
        each that is its own.
    shared : tuple[SharedDoubt, ...]
    """

    name: str
    latency_ms: Numbers
    own_u_ms: Numbers
    shared: tuple[SharedDoubt, ...] = ()

    def __post_init__(self) -> None:
        if np.size(self.latency_ms) > 0:
            try:
                checked(self.latency_ms, self.own_u_ms)
            except BadSample as error:
                raise BadSample(f"{self.name}: {error}") from error
        keys = [(doubt.name, doubt.cause) for doubt in self.shared]
        if len(set(keys)) < len(keys):
            raise BadSetting(f"{self.name}: a shared doubt is given twice; give each once")

    @property
    def shared_u_ms(self) -> float:
        """Standard uncertainty that all presses share."""
        return math.hypot(*(doubt.u_ms for doubt in self.shared))

    def summary(self, *, game_rate_hz: float | None = None) -> Summary:
        """Return the presses in a few numbers."""
        return summarise(
            self.latency_ms, self.own_u_ms, self.shared_u_ms, game_rate_hz=game_rate_hz
        )


@dataclass(frozen=True, slots=True)
class DoubtOfDifference:
    """What two setups' shared doubts leave in their difference, in ms.

    Attributes
    ----------
    left_u_ms : float
        Standard uncertainty of the difference that no number of presses reduces.
    cancelled : tuple[str, ...]
        Names of the terms that err alike in both, largest first; a part by which
        one is larger than the other is left.
    """

    left_u_ms: float
    cancelled: tuple[str, ...]


def doubt_of_difference(first: Sample, second: Sample) -> DoubtOfDifference:
    """Return what is left of the shared doubts in the difference of two setups.

    Terms of one name and cause are fully correlated: they leave the difference of
    their uncertainties (GUM 5.2.2). All others are independent.

    Examples
    --------
    >>> import numpy as np
    >>> lag = SharedDoubt("display lag", "panel in game mode", 2.0)
    >>> one, other = (Sample(n, np.array([50.0]), np.array([0.5]), (lag,)) for n in "AB")
    >>> doubt_of_difference(one, other)
    DoubtOfDifference(left_u_ms=0.0, cancelled=('display lag',))
    """
    ours = {(doubt.name, doubt.cause): doubt.u_ms for doubt in first.shared}
    theirs = {(doubt.name, doubt.cause): doubt.u_ms for doubt in second.shared}
    left = [
        ours.get(key, 0.0) - theirs.get(key, 0.0) for key in sorted(ours.keys() | theirs.keys())
    ]
    common = sorted(
        (key for key in ours.keys() & theirs.keys() if min(ours[key], theirs[key]) > 0.0),
        key=lambda key: (-ours[key], key),
    )
    return DoubtOfDifference(math.hypot(*left), tuple(name for name, _ in common))
