"""The panel is a clock: every new picture begins on its refresh grid.

Instants of answers, each known to a few tenths of a frame, are laid on
``t0 + n / refresh``. Together they tell the grid far better than each tells
itself, and the fitted rate, held against the signal's nominal one, tells how
true the camera's own clock runs.

References
----------
K. V. Mardia and P. E. Jupp, *Directional Statistics* (2000), 6.3: the mean
resultant length of n random phases exceeds r with the chance of about exp(-n r^2)
(Rayleigh's test), and all of them lie within an arc of w < 1/2 turns with the
chance n w^(n - 1) (the circular range).
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.traces.trace import Samples

# Signals in use (CTA-861 and VESA timings): nominal rates and their 1000/1001 forms.
KNOWN_RATES_HZ = (
    59.94005994005994, 60.0, 119.88011988011988, 120.0,
    50.0, 100.0, 143.856, 144.0, 240.0,
)  # fmt: skip
CLOCK_REACH = 400e-6  # how far a camera's and a console's clock may differ together
_FEWEST = 5
_REFRESHES_A_PICTURE = (2, 3, 5)  # and with them their multiples
# From one press to the next, so often the place among them has to change: half the time where
# it is left to chance, once for each picture that is late where it is not.
_FEWEST_TURNS, _BY_TURNS = 4, 0.25
_CHANCE_ALONE = 1e-4  # the greatest chance that random instants would look so regular


@dataclass(frozen=True, slots=True)
class Grid:
    """A fitted refresh grid, in the clock of frames at the row of the instants.

    Attributes
    ----------
    zero_s, period_s : float
    ticks : ndarray of int, shape (n,)
        Which refresh each instant began on.
    nominal_hz : float
        The known rate nearest to the fitted one.
    """

    zero_s: float
    period_s: float
    ticks: np.ndarray
    nominal_hz: float

    @property
    def instants_s(self) -> Samples:
        """The refresh instants of the ticks."""
        times: Samples = self.zero_s + self.ticks * self.period_s
        return times


def come_at_every_refresh(ticks: npt.NDArray[np.intp]) -> bool:
    """Tell whether answers begin on any refresh: their game then runs at the panel's own rate.

    A game that shows a picture for two, three or five refreshes begins its answers on every
    second, third or fifth one, until one picture is late.

    Parameters
    ----------
    ticks : ndarray of int, shape (n,)
        On which refresh each answer began, in order of time.

    Examples
    --------
    >>> come_at_every_refresh(np.array([0, 45, 91, 132, 177, 221, 262, 307]))
    True
    >>> come_at_every_refresh(np.array([0, 46, 90, 130, 177, 221, 261, 309]))
    False
    """
    least = max(_FEWEST_TURNS, _BY_TURNS * (ticks.size - 1))
    return all(
        np.count_nonzero(np.diff(ticks % refreshes)) >= least for refreshes in _REFRESHES_A_PICTURE
    )


def fit_grid(instants_s: Samples, u_s: Samples, rates_hz: list[float]) -> Grid | None:
    """Return the grid that the instants lie on, or None where chance would do as well.

    Parameters
    ----------
    instants_s, u_s : ndarray, shape (n,)
        Instants and their standard uncertainties; fewer than 5 give None.
    rates_hz : list of float
        Rates to try, each with the reach of two clocks around it.
    """
    n = instants_s.size
    if n < _FEWEST:
        return None
    span = float(np.ptp(instants_s))
    middle = float(np.median(instants_s))
    best: tuple[float, Grid] | None = None
    for nominal in rates_hz:
        trust = np.exp(-0.5 * (2 * math.pi * np.minimum(u_s, 0.5 / nominal) * nominal) ** 2)
        steps = max(3, 2 * math.ceil(CLOCK_REACH * nominal * span * 8) + 1)
        rates = nominal * (1 + np.linspace(-CLOCK_REACH, CLOCK_REACH, steps))
        turns = (instants_s - middle)[None, :] * rates[:, None]
        sums = (trust * np.exp(2j * math.pi * turns)).sum(axis=1)
        k = int(np.argmax(np.abs(sums)))
        length = float(np.abs(sums[k]) / trust.sum())
        phase = float(np.angle(sums[k])) / (2 * math.pi)
        off = turns[k] - phase
        arc = float(np.ptp(off - np.rint(off)))
        alone = math.exp(-n * length**2)
        if arc < 0.5:
            alone = min(alone, n * arc ** (n - 1))
        alone *= steps
        if alone > _CHANCE_ALONE:
            continue
        period = 1 / float(rates[k])
        ticks = np.rint((instants_s - middle) / period - phase).astype(np.intp)
        grid = _straight_line(instants_s, u_s, ticks, nominal)
        if abs(grid.period_s * nominal - 1) > CLOCK_REACH:  # the line leads to no known rate
            continue
        # The slower of two rates that fit alike: a finer grid always fits somewhat better.
        score = alone * nominal
        if best is None or score < best[0]:
            best = score, grid
    return None if best is None else best[1]


def _straight_line(instants_s: Samples, u_s: Samples, ticks: np.ndarray, nominal: float) -> Grid:
    """Fit zero and period by weighted least squares; the period held near its nominal value."""
    weight = 1 / np.hypot(u_s, 2e-4)
    design = np.column_stack([np.ones(ticks.size), ticks])
    prior = np.array([0.0, 1.0]) / (1 / nominal * CLOCK_REACH / 2)
    rows = np.vstack([design * weight[:, None], prior])
    right = np.append(instants_s * weight, prior[1] / nominal)
    (zero, period), *_ = np.linalg.lstsq(rows, right, rcond=None)
    return Grid(float(zero), float(period), ticks, nominal)
