"""Views that slide, all bands of rows as one: which way, and whether they go on by ticks.

Each band reads a slide longer or shorter by what is seen in it, and figures that breathe
as one across. The mean over bands, the way all presses slide, hardly depends on either.
"""

import math

import numpy as np

from blinkspan.onsets.alignment import Course
from blinkspan.traces.trace import Samples

_FOLLOWED = 7  # ticks
# Mean resultant length of places that agree, and what its square times their number exceeds by
# chance once in a hundred.
_AGREE, _RAYLEIGH = 0.8, 4.6


def way_of(shown: Samples) -> Samples:
    """Return the way that all views slide, a unit vector of features.

    ``shown`` are the features at ticks about each answer, shape (presses, ticks, bands,
    features), the last of them well after it.
    """
    way = np.median(shown[:, -1].mean(axis=1), axis=0)
    unit: Samples = way / max(float(np.linalg.norm(way)), 1e-12)
    return unit


def go_by_ticks(
    courses: list[Course], from_s: Samples, way: Samples, tick_s: float, rows_s: Samples
) -> bool:
    """Tell whether slides go on at one place between ticks, the same after every press.

    What a view slides between two frames is a vector whose angle is where between two ticks
    that was; their sum is the press's place. Of a panel that refreshes whenever a picture is
    ready, places are anywhere: the Rayleigh test of K. V. Mardia and P. E. Jupp,
    *Directional Statistics* (2000), 6.3.1, tells them from places that agree.

    Parameters
    ----------
    courses : one a press
    from_s : ndarray, shape (presses,)
        About where each answer begins.
    way : ndarray, shape (features,)
    tick_s : float
    rows_s : ndarray, shape (bands,)
        How much later each band of rows shows a tick.
    """
    places = np.array(
        [
            _place_between_ticks(course, begin - tick_s, way, tick_s, rows_s)
            for course, begin in zip(courses, from_s.tolist(), strict=True)
        ]
    )
    agreement = abs(places.sum()) / max(float(np.abs(places).sum()), 1e-12)
    return bool(agreement >= max(_AGREE, math.sqrt(_RAYLEIGH / places.size)))


def _place_between_ticks(
    course: Course, from_s: float, way: Samples, tick_s: float, rows_s: Samples
) -> complex:
    """Return the resultant of what a view slides within some ticks."""
    a, b = np.searchsorted(course.start_s, (from_s, from_s + _FOLLOWED * tick_s))
    gone = np.diff(course.values[a:b] @ way, axis=0)
    middle_s = (course.start_s[a + 1 : b] + course.start_s[a : b - 1]) / 2
    turns = (middle_s[:, None] - rows_s) / tick_s
    return complex((gone * np.exp(2j * math.pi * turns)).sum())
