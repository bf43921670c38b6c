"""Follow one setup over builds and dates: what changed, and which retest does not agree.

Each shot is compared with the one before it. What both share, such as the
same display's lag, cancels in the difference and is left out of its doubt; what
only one of them carries is counted. The intervals allow for their number, so
that a whole series raises a false alarm as rarely as a single comparison.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from blinkspan.errors import BadSample, BadSetting
from blinkspan.quantities import Estimate
from blinkspan.study.phrases import plain, plain_estimate, scaled, told, turned
from blinkspan.study.sessions import SessionSplit, split_sessions
from blinkspan.study.welch import variance_of_mean, welch_interval

Floats = npt.NDArray[np.float64]

_FEWEST_PRESSES = 3
_RARE = 0.05  # p below which sessions are said to differ
_METHOD = "difference of means, Welch interval, systematic parts that differ included"


@dataclass(frozen=True, slots=True)
class Shot:
    """One filming of the setup.

    Attributes
    ----------
    build : str
        The title's version; shots of one build should agree.
    latency_s, own_u_s : ndarray of float64, shape (n,)
        Accepted presses, and the part of their uncertainty that is each one's own.
    systematic_s : mapping of str to float
        Standard uncertainties that all presses of the shot share, by what they
        come from, such as "lag of the living-room panel in game mode". The same
        name in two shots is the same error in both.
    """

    build: str
    shot_on: date
    latency_s: Floats
    own_u_s: Floats
    systematic_s: Mapping[str, float] = field(default_factory=dict)

    @property
    def label(self) -> str:
        """Build and date, as a reader would tell it."""
        return f"{self.build} of {self.shot_on.isoformat()}"


@dataclass(frozen=True, slots=True)
class Change:
    """From one shot to the next.

    Attributes
    ----------
    shift_ms : Estimate
        Later less earlier; below zero is quicker.
    same_build : bool
        Whether the two should agree.
    """

    earlier: str
    later: str
    same_build: bool
    shift_ms: Estimate

    @property
    def shown(self) -> bool:
        """Whether the interval leaves out no change at all."""
        return not self.shift_ms.low <= 0.0 <= self.shift_ms.high

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {
            "earlier": self.earlier,
            "later": self.later,
            "same_build": self.same_build,
            "shift_ms": plain_estimate(self.shift_ms),
            "shown": self.shown,
            "disagrees": self.shown and self.same_build,
        }

    def __str__(self) -> str:
        """Return the change in one plain sentence."""
        shift = self.shift_ms
        word, size = ("slower", shift) if shift.value > 0.0 else ("quicker", turned(shift))
        if not self.shown:
            low, high = plain(shift.low), plain(shift.high)
            agree = "agrees with" if self.same_build else "shows no change from"
            return f"{self.later} {agree} {self.earlier}, within {low} to {high} ms."
        if self.same_build:
            return (
                f"{self.later} disagrees with {self.earlier} of the same build by more than the "
                f"budget allows, {told(size, 'ms')} {word}: something else was not held equal."
            )
        return f"{self.later} is {told(size, 'ms')} {word} than {self.earlier}."


@dataclass(frozen=True, slots=True)
class Series:
    """One setup over time.

    Attributes
    ----------
    labels, means_ms : tuple
        The shots in order of date, each mean with an interval of its own presses
        and all its systematic parts.
    changes : tuple[Change, ...]
        From each shot to the next.
    sessions : SessionSplit | None
        Spread within and between shots of one build, in ms; None where no build
        was shot twice.
    """

    labels: tuple[str, ...]
    means_ms: tuple[Estimate, ...]
    changes: tuple[Change, ...]
    sessions: SessionSplit | None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {
            "shots": [
                {"label": label, "mean_ms": plain_estimate(mean)}
                for label, mean in zip(self.labels, self.means_ms, strict=True)
            ],
            "changes": [change.to_dict() for change in self.changes],
            "sessions": self.sessions and self.sessions.to_dict(),
            "sentence": str(self),
        }

    @property
    def remarks(self) -> tuple[str, ...]:
        """What must be borne in mind of all changes, in plain sentences."""
        split = self.sessions
        if split is None or split.between_sd is None or (split.p or 0.0) > _RARE:
            return ()
        return (
            f"Shots of one build differ by {split.between_sd:.1f} ms (standard deviation) beyond "
            "what their presses explain; changes of that size between builds mean little.",
        )

    def __str__(self) -> str:
        """Return the series in plain sentences."""
        return " ".join((*map(str, self.changes), *self.remarks))


def follow(shots: Sequence[Shot], *, session_u_s: float = 0.0, level: float = 0.95) -> Series:
    """Return the changes from shot to shot in order of date.

    Parameters
    ----------
    shots : sequence of Shot
        At least two, of at least 3 presses; shots of one date stay in the given order.
    session_u_s : float
        Standard uncertainty from session to session, if known, such as
        ``sessions.between_sd`` of an earlier series; it never cancels.
    level : float
        Chance that all intervals of change hold together.

    Raises
    ------
    BadSample
        Too few shots or presses.
    BadSetting
        One name with two uncertainties: then it is not one thing.
    """
    if len(shots) < 2:
        raise BadSample(f"a series needs two or more shots, got {len(shots)}; film it again")
    for shot in shots:
        if shot.latency_s.size < _FEWEST_PRESSES:
            raise BadSample(
                f"{shot.label} has {shot.latency_s.size} accepted presses; "
                f"film until there are at least {_FEWEST_PRESSES}"
            )
    ordered = sorted(shots, key=lambda shot: shot.shot_on)
    each = 1.0 - (1.0 - level) / (len(ordered) - 1)
    builds: dict[str, list[Floats]] = {}
    for shot in ordered:
        builds.setdefault(shot.build, []).append(1e3 * shot.latency_s)
    repeated = any(len(sessions) > 1 for sessions in builds.values())
    return Series(
        labels=tuple(shot.label for shot in ordered),
        means_ms=tuple(_mean(shot, session_u_s, level) for shot in ordered),
        changes=tuple(_change(a, b, session_u_s, each) for a, b in pairwise(ordered)),
        sessions=split_sessions(list(builds.values())) if repeated else None,
    )


def _mean(shot: Shot, session_u_s: float, level: float) -> Estimate:
    systematic = math.hypot(session_u_s, *shot.systematic_s.values())
    return _estimate(float(shot.latency_s.mean()), [shot], systematic, level)


def _change(earlier: Shot, later: Shot, session_u_s: float, level: float) -> Change:
    apart = [math.sqrt(2.0) * session_u_s]
    for name in earlier.systematic_s.keys() | later.systematic_s.keys():
        mine, other = earlier.systematic_s.get(name), later.systematic_s.get(name)
        if mine is None or other is None:
            apart.append(mine if mine is not None else other or 0.0)
        elif not math.isclose(mine, other, rel_tol=1e-6, abs_tol=1e-9):
            raise BadSetting(
                f"{name} has an uncertainty of {1e3 * mine:g} ms in {earlier.label} and "
                f"{1e3 * other:g} ms in {later.label}; give one thing one value or two names"
            )
    shift = float(later.latency_s.mean() - earlier.latency_s.mean())
    return Change(
        earlier=earlier.label,
        later=later.label,
        same_build=earlier.build == later.build,
        shift_ms=_estimate(shift, [earlier, later], math.hypot(*apart), level),
    )


def _estimate(value_s: float, shots: list[Shot], systematic_s: float, level: float) -> Estimate:
    """Return the value in milliseconds with a Welch interval over the shots' own presses."""
    return scaled(
        welch_interval(
            value_s,
            [variance_of_mean(shot.latency_s, shot.own_u_s) for shot in shots],
            [shot.latency_s.size - 1 for shot in shots],
            systematic_u=systematic_s,
            level=level,
            method=_METHOD,
        ),
        1e3,
    )
