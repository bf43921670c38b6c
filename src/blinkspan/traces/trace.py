"""A series on the camera's true clock, with the exposure interval of each sample."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadTrace

Samples = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Trace:
    """Light against time at one place of the picture.

    Attributes
    ----------
    values : ndarray of float64, shape (n,)
        Linear light, any unit.
    start_s : ndarray of float64, shape (n,)
        When each sample's exposure began at this trace's own row.

    Raises
    ------
    BadTrace
        The arrays differ in shape, hold values that are not finite, or time runs backwards.
    """

    values: Samples
    start_s: Samples

    def __post_init__(self) -> None:
        """Refuse arrays that cannot be a trace."""
        if self.values.shape != self.start_s.shape or self.values.ndim != 1:
            raise BadTrace(
                f"a trace needs two equal rows, got {self.values.shape} and {self.start_s.shape}"
            )
        if not np.isfinite(self.values).all():
            raise BadTrace("the trace holds samples that are not finite")
        if np.any(np.diff(self.start_s) <= 0):
            raise BadTrace("the times of the trace do not rise")
