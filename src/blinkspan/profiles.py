"""What is known of a camera mode and of a display mode before a take is measured."""

from dataclasses import dataclass

from blinkspan.quantities import Measured

# CTA-861 HD and UHD formats scan 1080 of 1125 lines: 0.96 of a refresh period.
CTA_SCAN_FRACTION = 0.96


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
