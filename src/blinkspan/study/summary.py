"""What the presses of one setup say together."""

from dataclasses import dataclass

import numpy as np

from blinkspan.errors import BadSetting
from blinkspan.quantities import Estimate
from blinkspan.study.median import median_interval
from blinkspan.study.smoothing import Numbers, checked


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


def summarise(
    span_ms: Numbers,
    u_ms: Numbers | float,
    shared_u_ms: float = 0.0,
    *,
    doubtful: int = 0,
    rejected: int = 0,
    game_rate_hz: float | None = None,
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
        median_game_frames=None if game_rate_hz is None else _in_frames(median, game_rate_hz),
    )


def _in_frames(ms: Estimate, game_rate_hz: float) -> Estimate:
    frames = game_rate_hz / 1000.0
    return Estimate(ms.value * frames, ms.low * frames, ms.high * frames, ms.level, ms.method)
