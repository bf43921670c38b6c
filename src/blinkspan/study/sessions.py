"""Part the spread within a filming session from the spread between sessions.

References
----------
ISO 5725-2:1994, 7.4: repeatability and between-laboratory variance from a
one-way layout, here with sessions for laboratories.
S. R. Searle, G. Casella and C. E. McCulloch, "Variance Components" (1992), 3.6:
the layout with unequal numbers.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from blinkspan.errors import BadSample

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SessionSplit:
    """One-way analysis of variance over sessions, in the unit of the values (squared for sums).

    Attributes
    ----------
    between_ss, within_ss : float
        Sums of squares, with ``between_df`` and ``within_df`` degrees of freedom.
    ratio, p : float | None
        F and its p value; None where nothing varies within the sessions.
    within_sd : float
        From press to press in one session.
    between_sd : float | None
        From session to session beyond what presses explain; None where sessions
        differ no more than that.
    """

    between_ss: float
    between_df: int
    within_ss: float
    within_df: int
    ratio: float | None
    p: float | None
    within_sd: float
    between_sd: float | None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {name: getattr(self, name) for name in self.__slots__}


def split_sessions(setups: Sequence[Sequence[Floats]]) -> SessionSplit:
    """Return the spread within and between sessions, pooled over setups.

    Parameters
    ----------
    setups : sequence of sequences of ndarray
        For each setup (such as a build) its sessions, each the values of its
        presses. Only sessions of one setup are compared with one another.

    Raises
    ------
    BadSample
        No setup with two sessions, or no session with two presses.

    Examples
    --------
    >>> split = split_sessions([[np.array([1.0, 3.0]), np.array([5.0, 7.0])]])
    >>> split.between_ss, split.within_ss, split.ratio, split.within_sd
    (16.0, 4.0, 8.0, 1.4142135623730951)
    """
    repeated = [sessions for sessions in setups if len(sessions) > 1]
    between_ss = within_ss = weight = 0.0
    between_df = within_df = 0
    for sessions in repeated:
        sizes = np.array([values.size for values in sessions], dtype=np.float64)
        means = np.array([values.mean() for values in sessions])
        # about one of the values first: leading digits in common would cancel badly
        about = float(means[0])
        middle = float(sizes @ (means - about)) / float(sizes.sum())
        between_ss += float(sizes @ (means - about - middle) ** 2)
        within_ss += sum(
            float(np.sum((values - mean) ** 2))
            for values, mean in zip(sessions, means, strict=True)
        )
        between_df += len(sessions) - 1
        within_df += int(sizes.sum()) - len(sessions)
        weight += float(sizes.sum()) - float(sizes @ sizes) / float(sizes.sum())
    if between_df == 0:
        raise BadSample("no setup was filmed twice; film one again to part sessions from presses")
    if within_df == 0:
        raise BadSample("no session has two presses; film more presses a session")
    between, within = between_ss / between_df, within_ss / within_df
    ratio = between / within if within > 0.0 else None
    return SessionSplit(
        between_ss=between_ss,
        between_df=between_df,
        within_ss=within_ss,
        within_df=within_df,
        ratio=ratio,
        p=None if ratio is None else float(fdtrc(between_df, within_df, ratio)),
        within_sd=math.sqrt(within),
        between_sd=math.sqrt((between - within) * between_df / weight)
        if between > within
        else None,
    )
