"""Lay the measured modes of one title on a line."""

from collections.abc import Sequence

from blinkspan.jobs.accepted import Source
from blinkspan.jobs.title_modes import read_modes
from blinkspan.study.ladder import climb
from blinkspan.study.rungs import Ladder


def ladder(
    files: Sequence[Source], *, game_rates_hz: Sequence[float] = ()
) -> tuple[Ladder, tuple[str, ...]]:
    """Return the ladder of measured takes, and what was assumed in plain sentences.

    Parameters
    ----------
    files : sequence of Path
        Documents of takes of one title on one platform, in two or more modes.
    game_rates_hz : sequence of float
        The game's rate in each, where the documents do not say it.

    Raises
    ------
    UnreadableTake, BadSetting, BadSample
        As ``read_modes`` and ``climb`` refuse.
    """
    modes = read_modes(files, game_rates_hz=game_rates_hz)
    return climb(modes.samples, shared_u_s=modes.shared_u_s), modes.notes
