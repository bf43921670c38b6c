"""p values of several questions asked at once.

References
----------
S. Holm, "A simple sequentially rejective multiple test procedure", Scandinavian
Journal of Statistics 6 (1979) 65-70.
"""

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSample


def holm(p_values: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return Holm's adjusted p values, in the order given.

    A question whose adjusted p is at most alpha may be answered; the chance of any
    wrong answer among them all is then at most alpha, however they depend.

    Raises
    ------
    BadSample
        A p value outside 0 to 1.

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03, 0.005]).round(3).tolist()
    [0.03, 0.06, 0.06, 0.02]
    """
    p = np.asarray(p_values, dtype=float).ravel()
    if not ((p >= 0.0) & (p <= 1.0)).all():
        raise BadSample("a p value lies outside 0 to 1; give probabilities")
    order = np.argsort(p, kind="stable")
    stepped = np.maximum.accumulate(p[order] * np.arange(p.size, 0, -1))
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(stepped, 1.0)
    return adjusted
