"""What all that moves in a take tells of its panel and game, where nobody told it."""

from dataclasses import replace

from blinkspan.onsets.cadence import cadence
from blinkspan.onsets.grid import CLOCK_REACH, KNOWN_RATES_HZ
from blinkspan.onsets.row_changes import RowChanges
from blinkspan.onsets.whole_grid import WholeGrid, fit_whole_grid
from blinkspan.profiles import DisplayProfile

_FEWEST_STEPS = 30  # new pictures that tell a game's rate
_STEADY = 0.2  # of the steps may be late: more, and the rate is not surely the game's


def display_seen(
    changes: RowChanges, period_s: float, panel_px: float | None, display: DisplayProfile
) -> tuple[DisplayProfile, WholeGrid | None]:
    """Return the display with its refresh and the game's rate, and the grid that shows them.

    What was told stays as it is. A game whose pictures come at every refresh runs at that
    rate; where they come more seldom, it may be the scene that moves in larger steps than
    the game, and nothing is said.

    Parameters
    ----------
    changes : RowChanges
        Of the watched part, over the whole take.
    period_s : float
        Of the camera's frames.
    panel_px : float or None
        Height of the panel.
    display : DisplayProfile
        What is known beforehand.
    """
    rates = list(KNOWN_RATES_HZ) if display.refresh_hz is None else [display.refresh_hz]
    grid = fit_whole_grid(changes, period_s, rates, panel_px)
    if not isinstance(grid, WholeGrid):
        return display, None
    if abs(grid.refresh_hz.value / grid.nominal_hz - 1) > CLOCK_REACH or _fits_another(grid):
        return display, None
    display = replace(display, refresh_hz=grid.nominal_hz)
    steps = cadence(changes, grid, period_s)
    if (
        display.game_rate_hz is None
        and steps is not None
        and steps.refreshes_a_frame == 1
        and steps.steps >= _FEWEST_STEPS
        and steps.late <= _STEADY * steps.steps
    ):
        display = replace(display, game_rate_hz=grid.nominal_hz)
    return display, grid


def _fits_another(grid: WholeGrid) -> bool:
    """Tell whether the rate seen may as well be another known one."""
    reach = CLOCK_REACH * grid.nominal_hz + 2 * grid.refresh_hz.u
    fit = [rate for rate in KNOWN_RATES_HZ if abs(rate - grid.refresh_hz.value) < reach]
    return len(fit) > 1
