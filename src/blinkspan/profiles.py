"""What is known of a camera mode and of a display mode before a take is measured."""

from dataclasses import dataclass

from blinkspan.quantities import Measured

# CTA-861 HD and UHD formats scan 1080 of 1125 lines: 0.96 of a refresh period.
CTA_SCAN_FRACTION = 0.96
# Of a period. Filming fast, a sensor reads its rows about as slowly as it may (common practice):
# up to a whole period, the longer the likelier in proportion, but for one camera in ten, which
# exposes all rows at once. That has this mean and this standard deviation.
_USUAL_READOUT = Measured(0.6, 0.3)


def usual_readout(period_s: float) -> Measured:
    """Return what may be held of a camera's readout, in seconds, where nothing is known of it."""
    return _USUAL_READOUT * period_s


@dataclass(frozen=True, slots=True)
class CameraProfile:
    """What is known of a camera mode; None where nothing is.

    Attributes
    ----------
    exposure_s : Measured | None
        How long one row gathers light.
    readout_s : Measured | None
        From the start of the first row's exposure to the start of the last row's.
    """

    exposure_s: Measured | None = None
    readout_s: Measured | None = None


@dataclass(frozen=True, slots=True)
class DisplayProfile:
    """What is known of a display mode; None where nothing is.

    Attributes
    ----------
    lag_s : Measured | None
        The display's own delay at the response's row.
    refresh_hz : float | None
        Refresh rate of the signal.
    game_rate_hz : float | None
        Frames a second that the game delivers in this mode.
    """

    lag_s: Measured | None = None
    refresh_hz: float | None = None
    game_rate_hz: float | None = None
