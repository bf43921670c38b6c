"""How long the camera's shutter is open, from how often it catches an edge half way.

An edge at a random moment falls into an exposure with the chance E / T and
then leaves a partly lit frame. Counting k such edges of n gives the share its
Beta(k + 1, n - k + 1) posterior under a flat prior (a textbook result).
"""

import math

from blinkspan.quantities import Measured

_SEEN = 0.96  # fractions within 2 % of either end are not told from none


def exposure_from_edges(partial: int, edges: int, period_s: float) -> Measured:
    """Return the exposure time in seconds from the count of partly lit edges.

    With no edges at all this is the flat prior itself: half a period, u = 0.29 periods.

    Examples
    --------
    >>> e = exposure_from_edges(12, 24, 1 / 240)
    >>> f"{1e3 * e.value:.2f} ms, u = {1e3 * e.u:.2f} ms"
    '2.17 ms, u = 0.42 ms'
    """
    a, b = partial + 1.0, edges - partial + 1.0
    share = a / (a + b)
    spread = math.sqrt(a * b / ((a + b) ** 2 * (a + b + 1.0)))
    return Measured(min(1.0, share / _SEEN) * period_s, spread / _SEEN * period_s)
