"""The gear of a staged take: camera, film, display, lamp and the light in the room.

Places are shares of the picture's width and height, so that one scene can be
filmed at any size; lengths in pixels are those of a 360-row picture.
"""

from dataclasses import dataclass
from fractions import Fraction

from blinkspan.footage.frames import TransferCurve
from blinkspan.profiles import CTA_SCAN_FRACTION

Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Camera:
    """The camera, how steadily it is held and how true its clock runs.

    Attributes
    ----------
    rate_hz : Fraction
        Frames a second by the camera's own clock.
    exposure_share : float
        Exposure as a share of the frame period: shutter angle over 360 degrees.
    readout_ms : float
        From the start of the first row's exposure to the start of the last row's.
    full_well_e : float
        Electrons at white; the shot noise of a pixel follows from it.
    read_noise : float
        Standard deviation in the dark, as a share of white.
    curve : TransferCurve
    clock_ppm : float
        How much faster than stated the camera really runs, in parts per million.
    shake_px : float
        Root-mean-square sway of the picture, in pixels of a 360-row picture.
    blur_px : float
        Standard deviation of the lens's blur, in pixels.
    dropped_frames : float
        Chance of each frame to be missing from the film; its time stamp goes with it.
    rate_wander : float
        Standard deviation of each frame's start, as a share of the period; above 0
        the film has a variable frame rate and its stamps tell the true times.
    """

    width_px: int = 640
    height_px: int = 360
    rate_hz: Fraction = Fraction(240)
    exposure_share: float = 0.5
    readout_ms: float = 3.4
    full_well_e: float = 8000.0
    read_noise: float = 0.003
    curve: TransferCurve = TransferCurve.BT709
    clock_ppm: float = 0.0
    shake_px: float = 0.0
    blur_px: float = 0.6
    dropped_frames: float = 0.0
    rate_wander: float = 0.0

    @property
    def true_rate_hz(self) -> float:
        """Frames a second in real time."""
        return float(self.rate_hz) * (1.0 + 1e-6 * self.clock_ppm)

    @property
    def exposure_s(self) -> float:
        """How long one row gathers light."""
        return self.exposure_share / self.true_rate_hz

    @property
    def row_s(self) -> float:
        """From the start of one row's exposure to the next row's."""
        return self.readout_ms / 1e3 / (self.height_px - 1)


@dataclass(frozen=True, slots=True)
class Film:
    """How the camera writes its film.

    Attributes
    ----------
    stamped_hz : Fraction | None
        The rate the file states, where it is stamped for slow playback.
    capture_tag : bool
        Whether a stamped file still tells its capture rate as phones do.
    """

    codec: str = "h264"
    quality: int = 18
    key_interval: int = 60
    stamped_hz: Fraction | None = None
    capture_tag: bool = True


@dataclass(frozen=True, slots=True)
class Display:
    """The panel, its timing and where it stands in the picture.

    Attributes
    ----------
    lag_ms : float
        From the start of a refresh in the signal to the start of its scan-out in the top row.
    scan_fraction : float
        Share of the refresh period in which the rows are scanned, top to bottom.
    rise_ms, fall_ms : float
        Time constants of a pixel that brightens or darkens; 0 is at once.
    backlight_hz, backlight_duty : float
        Pulse-width modulation of the backlight; duty 1 is steady.
    brightness : float
        Light of a white pixel, as a share of the camera's white.
    corners : four places
        From top left clockwise.
    """

    refresh_hz: Fraction = Fraction(60000, 1001)
    lag_ms: float = 4.0
    scan_fraction: float = CTA_SCAN_FRACTION
    rise_ms: float = 0.0
    fall_ms: float = 0.0
    backlight_hz: float = 240.0
    backlight_duty: float = 1.0
    brightness: float = 0.8
    corners: tuple[Place, Place, Place, Place] = (
        (0.25, 0.05),
        (0.97, 0.05),
        (0.97, 0.77),
        (0.25, 0.77),
    )


@dataclass(frozen=True, slots=True)
class Lamp:
    """The lamp on the control.

    Attributes
    ----------
    place : Place
    radius : float
        Of the lit disc, as a share of the picture's height.
    brightness : float
        Light at its middle as a share of the camera's white; above 1 it clips.
    glow : float
        Light of the halo at its middle as a share of the disc's.
    rise_ms : float
        Time constant of lighting up and going out; 0 is at once.
    pulse_hz, pulse_duty : float
        Pulse-width modulation, starting with each closing of the control; duty 1 is steady.
    motion_px : float
        How far the control is moved about, in pixels of a 360-row picture.
    thumb : float
        Share of the lamp's disc that a thumb covers.
    """

    place: Place = (0.125, 0.80)
    radius: float = 0.018
    brightness: float = 0.7
    glow: float = 0.06
    rise_ms: float = 0.0
    pulse_hz: float = 1000.0
    pulse_duty: float = 1.0
    motion_px: float = 0.0
    thumb: float = 0.0


@dataclass(frozen=True, slots=True)
class Room:
    """The light in the room.

    Attributes
    ----------
    ambient : float
        Light of a white surface as a share of the camera's white.
    flicker_hz, flicker_depth : float
        Ripple of the lighting at twice the mains frequency and its share of the mean.
    spill : float
        Share of the panel's mean light that falls on the room before it.
    """

    ambient: float = 0.06
    flicker_hz: float = 100.0
    flicker_depth: float = 0.0
    spill: float = 0.06
