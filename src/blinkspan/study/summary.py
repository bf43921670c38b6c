"""What the presses of one setup say together."""

from dataclasses import dataclass

from blinkspan.quantities import Estimate


@dataclass(frozen=True, slots=True)
class Summary:
    """A setup's presses in a few numbers; times in milliseconds.

    Attributes
    ----------
    n, doubtful, rejected : int
        Accepted presses (all numbers below are theirs), and the others.
    median_ms : Estimate | None
        None where no press is accepted.
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
