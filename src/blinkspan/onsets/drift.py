"""Does the view drift by itself, and how fast just before a moment?

A camera in the game that follows a path or turns slowly moves the whole picture
all the time. Over a tenth of a second that is more than the first game frame of a
turn, and whatever answers a press is lost in it, until the drift is foretold: at
the speed of the last two tenths of a second, the picture moves on as it moved.

The speed comes from the gradient method, the picture carried back by the speed
found so far, until it stands still. Figures and writing that do not drift with
the rest are weighed down as what the common motion does not explain.

References
----------
B. D. Lucas and T. Kanade, "An iterative image registration technique with an
application to stereo vision", IJCAI 1981, 674-679.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.onsets.look import (
    Frame,
    Light,
    Look,
    Motion,
    Velocity,
    carried,
    change_since,
    light_of,
    look_before,
)
from blinkspan.traces.reduction import Film
from blinkspan.traces.trace import Samples

_STILL: Velocity = (0.0, 0.0)
# Long enough that the game's own steps, even at 30 frames a second, make no speed of their own.
_WATCHED_S = 0.200
_GLIMPSE_S = 0.100
_EVERY, _ROUNDS = 2, 4  # frames looked at
_STRANGE = 2.0  # times the usual misfit of a cell: such a cell counts a quarter
_MOST_MOMENTS = 8  # idle moments at which drift is looked for
_LEAST_CELLS = 0.05  # less drift than this over a tenth of a second hides no answer
# Of what the picture does by itself, left over where the drift is foretold; and where its speed
# is moreover the same at most moments, to this share of it. A film behind the game, moving as it
# likes, is neither (staged takes).
_LEFT, _LEFT_IF_STEADY, _STEADY = 0.35, 0.6, 0.2


@dataclass(frozen=True, slots=True)
class Drift:
    """That the view drifts by itself.

    Attributes
    ----------
    standing : ndarray of bool, shape (rows, columns)
        Cells whose picture is foretold better as standing still.
    """

    standing: npt.NDArray[np.bool_]


def look_at(film: Film, frame: Frame, period_s: float, drift: Drift | None) -> Look:
    """Return the look before a frame, moving on as it moved where the view drifts."""
    if drift is None:
        return look_before(film, frame, period_s)
    velocity = velocity_before(film, frame, period_s, drift.standing)
    return look_before(film, frame, period_s, Motion(velocity, drift.standing))


def learn_drift(film: Film, frames: list[Frame], reach: int, period_s: float) -> Drift | None:
    """Return the drift that foretells most of what the picture does at idle moments, or None.

    Parameters
    ----------
    film : ndarray of uint16, shape (n, rows, columns)
    frames : list of int
        Frames from which the take is idle for ``reach`` frames; at least one.
    reach : int
    period_s : float
    """
    spread = np.linspace(0, len(frames) - 1, _MOST_MOMENTS).astype(int)
    some = [frames[i] for i in np.unique(spread)]
    moves = [np.hypot(*_glimpse(film, frame, period_s)) * _GLIMPSE_S / period_s for frame in some]
    if np.median(moves) < _LEAST_CELLS:
        return None
    none = np.zeros(film[:1].shape[1:], np.bool_)
    velocities = [velocity_before(film, frame, period_s, none) for frame in some]
    still: list[Light] = []
    foretold: list[Light] = []
    for frame, foretells in zip(some, velocities, strict=True):
        for kept, velocity in (
            (still, _STILL),
            (foretold, foretells),
        ):
            look = look_before(film, frame, period_s, Motion(velocity, none))
            kept.append((change_since(film, frame, frame + reach, look) ** 2).mean(axis=0))
    stands, drifts = np.median(np.stack(still), axis=0), np.median(np.stack(foretold), axis=0)
    left = np.minimum(stands, drifts).sum() / max(float(stands.sum()), 1e-12)
    enough = _LEFT_IF_STEADY if _steady(np.array(velocities)) else _LEFT
    return Drift(stands < drifts) if left < enough else None


def _steady(velocities: Samples) -> bool:
    """Tell whether most of some velocities, shape (n, 2), are nearly the same."""
    usual = np.median(velocities, axis=0)
    off = np.median(np.hypot(*(velocities - usual).T))
    return bool(off < _STEADY * np.hypot(*usual))


def velocity_before(
    film: Film, frame: Frame, period_s: float, standing: npt.NDArray[np.bool_]
) -> Velocity:
    """Return how the picture drifts over the last fifth of a second before a frame."""
    first = max(0, frame - round(_WATCHED_S / period_s))
    if frame - first < 3:
        return _STILL
    every = light_of(film, first, frame)[::_EVERY]
    later = -_EVERY * np.arange(every.shape[0], dtype=float)
    moving = np.where(standing, 0.0, 1.0).ravel()
    weight = moving
    velocity = _from_picture_to_picture(carried(every, 0 * later, _STILL), moving) / _EVERY
    for _ in range(_ROUNDS):
        at = float(velocity[0]), float(velocity[1])
        places, left = _places(carried(every, later, at), weight)
        velocity = velocity + _slope(places) / _EVERY
        misfit = np.sqrt((left**2).mean(axis=0))
        usual = max(float(np.median(misfit)), 1e-9)
        weight = moving / (1 + (misfit / (_STRANGE * usual)) ** 2) ** 2
    return float(velocity[0]), float(velocity[1])


def _glimpse(film: Film, frame: Frame, period_s: float) -> Velocity:
    """Return about how the picture drifts, nothing carried back."""
    first = max(0, frame - round(_GLIMPSE_S / period_s))
    if frame - first < 3:
        return _STILL
    pictures = light_of(film, first, frame)[::_EVERY]
    pictures = carried(pictures, np.zeros(pictures.shape[0]), _STILL)
    places, _ = _places(pictures, np.ones(pictures[0].size))
    across, down = _slope(places) / _EVERY
    return float(across), float(down)


def _from_picture_to_picture(pictures: Light, weight: Samples) -> Samples:
    """Return about how far each picture lies from the one before, sideways and down."""
    middle = (pictures[1:] + pictures[:-1]) / 2
    down, across = np.gradient(middle, axis=(1, 2))
    base = np.stack([-across, -down]).reshape(2, middle.shape[0], -1)
    change = np.diff(pictures, axis=0).reshape(middle.shape[0], -1)
    power = np.einsum("amc,bmc,c->ab", base, base, weight, optimize=True)
    found: Samples = np.linalg.pinv(power) @ np.einsum(
        "amc,mc,c->a", base, change, weight, optimize=True
    )
    return found


def _places(pictures: Light, weight: Samples) -> tuple[Samples, Samples]:
    """Return where each picture lies against their mean, (m, 2) in cells, and what is left over.

    Light that rises and falls as a whole is no motion: gain and offset are fitted beside it.
    """
    mean = pictures.mean(axis=0)
    down, across = np.gradient(mean)
    base = np.stack([-across, -down, mean, np.ones_like(mean)]).reshape(4, -1).astype(np.float64)
    change = (pictures - mean).reshape(pictures.shape[0], -1).astype(np.float64)
    weighed = base * weight
    power = weighed @ base.T
    found = change @ weighed.T @ np.linalg.pinv(power)
    return found[:, :2], change - found @ base


def _slope(places: Samples) -> Samples:
    """Return the slope over frames of each column, shape (2,)."""
    after = np.arange(places.shape[0]) - (places.shape[0] - 1) / 2
    slope: Samples = after @ places / (after @ after)
    return slope
