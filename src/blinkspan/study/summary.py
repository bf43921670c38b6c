"""What the presses of one setup say together."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from blinkspan.errors import BadSample, BadSetting
from blinkspan.quantities import Estimate
from blinkspan.study.median import median_interval
from blinkspan.study.phrases import counted, listed, plain, plain_estimate, scaled, told
from blinkspan.study.session import Autocorrelation, Drift, autocorrelation, drift
from blinkspan.study.shape import (
    Outlier,
    TwoModes,
    chance_of_reach,
    outliers,
    trimmed_spread,
    two_modes,
)
from blinkspan.study.smoothing import Numbers, checked

# A note in every hundredth blameless setup is what a reader of many can bear.
_TOLD_P = 0.01
FEWEST_FOR_AN_INTERVAL = 6  # of 95 %: 1 - 2 / 2**n


@dataclass(frozen=True, slots=True)
class Summary:
    """A setup's presses in a few numbers; times in milliseconds.

    Attributes
    ----------
    n, doubtful, rejected : int
        Accepted presses (all numbers below are theirs), and the others.
    median_ms : Estimate | None
        None where no press is accepted. Below 6 presses ``level`` is less than
        0.95, and 0 for a single press: one press says nothing of the next.
    low_ms, high_ms, lower_quartile_ms, upper_quartile_ms, spread_ms : float | None
        ``spread_ms`` is the standard deviation (n - 1); None below two presses.
    median_game_frames : Estimate | None
        The same median in game frames; None where the game's rate is not known.
    trimmed_spread_ms : float | None
        Width of the middle 80 % of the presses; None below two.
    drift : Drift | None
        A steady change from press to press; None below 8 presses.
    autocorrelation : Autocorrelation | None
        How far each press resembles the one before; None below 8 presses.
    two_modes : TwoModes | None
        Two heaps of presses; None where one explains them.
    outliers : tuple[Outlier, ...]
        Presses far from the median. They are in all other numbers.
    chance_of_reach : float | None
        Chance of so small a reach, low to high, if the presses waited evenly for a game
        frame; None where the game's rate is not known.
    """

    n: int
    doubtful: int
    rejected: int
    median_ms: Estimate | None
    low_ms: float | None
    high_ms: float | None
    lower_quartile_ms: float | None
    upper_quartile_ms: float | None
    spread_ms: float | None
    median_game_frames: Estimate | None
    trimmed_spread_ms: float | None = None
    drift: Drift | None = None
    autocorrelation: Autocorrelation | None = None
    two_modes: TwoModes | None = None
    outliers: tuple[Outlier, ...] = ()
    chance_of_reach: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        median, frames = self.median_ms, self.median_game_frames
        like, modes = self.autocorrelation, self.two_modes
        return {
            "n": self.n,
            "doubtful": self.doubtful,
            "rejected": self.rejected,
            "median_ms": None if median is None else plain_estimate(median),
            "low_ms": self.low_ms,
            "high_ms": self.high_ms,
            "lower_quartile_ms": self.lower_quartile_ms,
            "upper_quartile_ms": self.upper_quartile_ms,
            "spread_ms": self.spread_ms,
            "trimmed_spread_ms": self.trimmed_spread_ms,
            "median_game_frames": None if frames is None else plain_estimate(frames),
            "drift": None if self.drift is None else self.drift.to_dict(),
            "autocorrelation": None if like is None else like.to_dict(),
            "two_modes": None if modes is None else modes.to_dict(),
            "chance_of_reach": self.chance_of_reach,
            "outliers": [outlier.to_dict() for outlier in self.outliers],
            "notes": list(self.notes()),
        }

    def notes(self) -> tuple[str, ...]:
        """Return what a reader must know before using the median, each a plain sentence."""
        notes = []
        if self.n == 1:
            notes.append("One press says nothing of the next; the interval is that of measuring.")
        elif self.median_ms is not None and self.n < FEWEST_FOR_AN_INTERVAL:
            notes.append(
                f"{self.n} accepted presses hold the median with "
                f"{100 * self.median_ms.level:.0f} % confidence at most; "
                f"press {FEWEST_FOR_AN_INTERVAL} times or more for 95 %."
            )
        if self.chance_of_reach is not None and self.chance_of_reach <= _TOLD_P:
            notes.append(
                "The presses differ by less than waiting for a game frame alone makes them: they "
                "may have kept step with the picture, the median then being off by up to half a "
                "game frame, or the game reads its controls more often than it draws."
            )
        if self.drift is not None and self.drift.p <= _TOLD_P:
            notes.append(
                f"The presses drift over the session, by {told(self.drift.over_session, 'ms')}; "
                "a median of all of them is of no single state."
            )
        like = self.autocorrelation
        if like is not None and like.p <= _TOLD_P:
            way = "resembles" if like.lag_1 > 0 else "goes against"
            worth = (
                f"the {self.n} are worth about {like.worth:.0f} independent ones, and the interval "
                "is too narrow."
                if like.lag_1 > 0
                else "they are not independent of each other, as the interval takes them to be."
            )
            notes.append(
                f"Each press {way} the one before (lag-1 autocorrelation {plain(like.lag_1, 2)}); "
                f"{worth}"
            )
        modes = self.two_modes
        if modes is not None:
            notes.append(
                f"The presses fall into two heaps: {modes.lower_n} near {modes.lower_ms:.1f} ms "
                f"and {modes.upper_n} near {modes.upper_ms:.1f} ms; the median describes neither."
            )
        elif self.outliers:
            named = listed([f"{one.press} ({one.value_ms:.1f} ms)" for one in self.outliers])
            one = len(self.outliers) == 1
            notes.append(
                f"{'Press' if one else 'Presses'} {named} {'lies' if one else 'lie'} far from the "
                f"median; {'it is' if one else 'they are'} kept in all numbers."
            )
        return tuple(notes)

    def __str__(self) -> str:
        if self.median_ms is None:
            return f"No accepted press ({self.doubtful} doubtful, {self.rejected} rejected)."
        level = "" if self.n == 1 else f", {100 * self.median_ms.level:.0f} % interval"
        frames = ""
        if self.median_game_frames is not None:
            frames = f", {told(self.median_game_frames, digits=2)} game frames"
        first = (
            f"Median {told(self.median_ms, 'ms')}{level}{frames}, of "
            f"{counted(self.n, 'accepted press')}, from {self.low_ms:.1f} to {self.high_ms:.1f} ms "
            f"({self.doubtful} doubtful, {self.rejected} rejected)."
        )
        return " ".join((first, *self.notes()))


def summarise(
    span_ms: Numbers,
    u_ms: Numbers | float,
    shared_u_ms: float = 0.0,
    *,
    doubtful: int = 0,
    rejected: int = 0,
    game_rate_hz: float | None = None,
    numbers: Sequence[int] | None = None,
) -> Summary:
    """Return what the accepted presses of one setup say together.

    Parameters
    ----------
    span_ms : array, shape (n,)
        Spans (or net latencies) of the accepted presses, in the order pressed; may be empty.
    u_ms : array, shape (n,), or a single number
        Standard uncertainty of each that belongs to the press alone.
    shared_u_ms : float
        Standard uncertainty that all presses share (display lag, readout): it is
        in the median's interval, whatever n is.
    doubtful, rejected : int
        How many more presses there were.
    game_rate_hz : float | None
        Frames a second that the game delivers.
    numbers : sequence of int | None
        The presses' numbers in the take, for naming outliers; None counts from 1.

    Raises
    ------
    BadSample
        A span or uncertainty that is not finite, or an uncertainty below zero.
    BadSetting
        A game rate that is not above zero.
    """
    if game_rate_hz is not None and not game_rate_hz > 0:
        raise BadSetting(f"a game rate of {game_rate_hz:g} Hz cannot be; give a rate above zero")
    if np.size(span_ms) == 0:
        return Summary(0, doubtful, rejected, *(None,) * 7)
    x, u = checked(span_ms, u_ms)
    names = range(1, x.size + 1) if numbers is None else numbers
    if len(names) != x.size:
        raise BadSample(f"{x.size} presses come with {len(names)} numbers; give one for each")
    median = median_interval(x, u, shared_u_ms)
    lower, upper = np.quantile(x, (0.25, 0.75))
    return Summary(
        n=x.size,
        doubtful=doubtful,
        rejected=rejected,
        median_ms=median,
        low_ms=float(x.min()),
        high_ms=float(x.max()),
        lower_quartile_ms=float(lower),
        upper_quartile_ms=float(upper),
        spread_ms=float(x.std(ddof=1)) if x.size > 1 else None,
        median_game_frames=(None if game_rate_hz is None else scaled(median, 1e-3 * game_rate_hz)),
        trimmed_spread_ms=trimmed_spread(x) if x.size > 1 else None,
        drift=drift(x),
        autocorrelation=autocorrelation(x),
        two_modes=two_modes(x),
        outliers=outliers(x, u, names),
        chance_of_reach=None if game_rate_hz is None else chance_of_reach(x, 1e3 / game_rate_hz),
    )
