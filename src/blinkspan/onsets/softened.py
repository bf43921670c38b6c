"""How a step of light reads on film: averaged over exposures, softened by the panel."""

from dataclasses import dataclass

import numpy as np

from blinkspan.traces.trace import Samples

_MODEL_DOUBT = 0.02  # of the step: what a single exponential and flat steps leave out
# Of the step, for a frame half way up it: an encoder blurs what one frame alone shows
# (measured on staged takes, quality 20 at 640x360: 0.01 to 0.04).
_PARTIAL_DOUBT = 0.04


@dataclass(frozen=True, slots=True)
class Bands:
    """Where each row band's change sits in the picture, and how far its rows reach (sd)."""

    row_px: Samples
    spread_px: Samples

    def below(self, row_px: float) -> "Bands":
        """Return the bands counted from a row."""
        return Bands(self.row_px - row_px, self.spread_px)


def gathered(after_s: Samples, exposure_s: float, response_s: float) -> Samples:
    """Return the share of a full step that exposures starting ``after_s`` from it gather.

    The integral of ``1 - exp(-t / response_s)`` over the exposure, by the exposure.

    Examples
    --------
    >>> gathered(np.array([-0.003, -0.001, 0.001]), 0.002, 0.0).tolist()
    [0.0, 0.5, 1.0]
    """
    a, b = np.maximum(after_s, 0.0), np.maximum(after_s + exposure_s, 0.0)
    lit: Samples = b - a
    if response_s > 1e-6:
        # What is missing at the start of the exposure less what is missing at its end; where the
        # step comes first, the latter is a fixed part of the former: one exponential a sample.
        before = after_s > 0.0
        missing = np.exp(-np.where(before, a, b) / response_s)
        gained = np.where(before, missing * -np.expm1(-exposure_s / response_s), 1.0 - missing)
        lit = lit - response_s * gained
    share: Samples = lit / exposure_s
    return share


def gathered_in_band(
    after_s: Samples, spread_s: Samples, exposure_s: float, response_s: float
) -> Samples:
    """Return the same for a band whose rows answer over a little time.

    ``spread_s`` is the standard deviation of the rows' instants; three equal
    parts at -1, 0 and 1 times sqrt(3/2) of it have the same mean and variance.
    """
    reach = 1.2247448714 * spread_s
    total: Samples = (
        gathered(after_s - reach, exposure_s, response_s)
        + gathered(after_s, exposure_s, response_s)
        + gathered(after_s + reach, exposure_s, response_s)
    )
    return total / 3.0


def doubt_of(
    heights: Samples,
    strength: Samples,
    repeats: Samples | float = 1.0,
    coarseness: float = 1.0,
) -> Samples:
    """Return the standard doubt of each sample of a step, in idle standard deviations.

    Parameters
    ----------
    heights : ndarray
        Samples in idle standard deviations.
    strength : ndarray
        Height of the whole step in each sample's band, in the same unit.
    repeats : ndarray or float
        How often the same part of the step is seen, and misread alike.
    coarseness : float
        How many times as coarse as good film's the encoder's steps are.
    """
    share = np.clip(heights / strength, 0.0, 1.0)
    partial = _PARTIAL_DOUBT * 4 * share * (1 - share) * np.sqrt(repeats)
    model = coarseness * np.hypot(_MODEL_DOUBT, partial)
    doubt: Samples = np.hypot(1.0, model * strength)
    return doubt
