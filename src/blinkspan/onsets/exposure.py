"""How long the camera's shutter is open, from how often it catches an edge half way.

An edge at a random moment falls into an exposure with the chance E / T and
then leaves a partly lit frame. Counting k such edges of n gives the share its
Beta(k + 1, n - k + 1) posterior under a flat prior (a textbook result).
"""

import math

from blinkspan.quantities import Measured


def exposure_from_edges(
    partial: int, edges: int, period_s: float, blind_share: float = 0.0
) -> Measured:
    """Return the exposure time in seconds from the count of partly lit edges.

    ``blind_share`` is how near to either end a fraction is not told from none.
    With no edges at all this is the flat prior itself: half a period, u = 0.29 periods.

    Examples
    --------
    >>> e = exposure_from_edges(12, 24, 1 / 240)
    >>> f"{1e3 * e.value:.2f} ms, u = {1e3 * e.u:.2f} ms"
    '2.08 ms, u = 0.40 ms'
    """
    seen = 1.0 - 2.0 * blind_share
    a, b = partial + 1.0, edges - partial + 1.0
    share = a / (a + b)
    spread = math.sqrt(a * b / ((a + b) ** 2 * (a + b + 1.0)))
    return Measured(min(1.0, share / seen) * period_s, spread / seen * period_s)
