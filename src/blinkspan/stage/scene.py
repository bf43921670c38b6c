"""What a staged take is made of: a scene, and the parts it is put together from.

Places are shares of the picture's width and height, lengths on the picture are
shares of its height, so that one scene can be filmed at any size.
"""

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

from blinkspan.footage.frames import TransferCurve
from blinkspan.profiles import CTA_SCAN_FRACTION

Place = tuple[float, float]


class ActionKind(StrEnum):
    """What the game shows when it answers."""

    FLASH = "flash"
    PAN = "pan"
    POSE = "pose"
    FADE = "fade"
    NONE = "none"


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
    quality: int = 20
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
class Game:
    """How the game gets from a press to a picture.

    Attributes
    ----------
    rate_hz : Fraction
        Frames a second; the refresh rate over a whole number.
    system_ms : float
        Fixed delay from the closing of the control to the game's input.
    poll_ms : float
        Period at which the control is polled; each press waits a uniform share of it.
    queue_frames : int
        Game frames from the tick that takes the input to the one that shows it.
    extra_frame : float
        Chance of a press to be shown one game frame later.
    dropped_frame : float
        Chance of each game frame not to be delivered; the picture before stays.
    miss : float
        Chance of a press to be answered by nothing.
    stray : int
        How many answers appear without a press.
    """

    rate_hz: Fraction = Fraction(60)
    system_ms: float = 5.0
    poll_ms: float = 0.0
    queue_frames: int = 2
    extra_frame: float = 0.0
    dropped_frame: float = 0.0
    miss: float = 0.0
    stray: int = 0


@dataclass(frozen=True, slots=True)
class Presses:
    """When the control is pressed.

    Attributes
    ----------
    every_s, jitter_s : float
        Time from one press to the next and the uniform share added to it, which
        should be longer than a game frame.
    hold_s : float
        Mean time the control stays closed; each differs by up to a quarter.
    double : float
        Chance of a press to be followed by a second one.
    double_gap_s : float
        From the start of the first to the start of the second.
    bounce_ms : float
        Time in which the contact opens and closes again after closing; 0 is a clean contact.
    """

    count: int = 12
    first_s: float = 0.6
    every_s: float = 0.7
    jitter_s: float = 0.1
    hold_s: float = 0.12
    double: float = 0.0
    double_gap_s: float = 0.18
    bounce_ms: float = 0.0


@dataclass(frozen=True, slots=True)
class Action:
    """What the answer looks like.

    Attributes
    ----------
    strength : float
        Brightness of the flash or contrast of the pose, as a share of the panel's white.
    frames : int
        Game frames over which a pose or a fade is complete and a flash is gone.
    start_px, top_px : float
        Speed of a pan in its first game frame and its top speed, in picture
        pixels a game frame (of a 360-row picture).
    """

    kind: ActionKind = ActionKind.FLASH
    strength: float = 0.8
    frames: int = 3
    start_px: float = 1.0
    top_px: float = 8.0


@dataclass(frozen=True, slots=True)
class World:
    """What moves in the game without any press.

    Attributes
    ----------
    breathing_px : float
        How far the character sways while it idles, in pixels of a 360-row picture.
    particles : int
        Drifting sparks.
    grain : float
        Film grain of the game's own picture, as a share of the light.
    drift_px : float
        Steady movement of the whole background, in pixels a second.
    """

    breathing_px: float = 0.0
    particles: int = 0
    grain: float = 0.0
    drift_px: float = 0.0


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
    glow: float = 0.12
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


@dataclass(frozen=True, slots=True)
class Scene:
    """A whole scene; equal scenes make equal takes.

    Raises
    ------
    BadSetting
        A part that cannot be, alone or together with another.
    """

    name: str = "scene"
    seed: int = 1
    camera: Camera = field(default_factory=Camera)
    film: Film = field(default_factory=Film)
    display: Display = field(default_factory=Display)
    game: Game = field(default_factory=Game)
    presses: Presses = field(default_factory=Presses)
    action: Action = field(default_factory=Action)
    world: World = field(default_factory=World)
    lamp: Lamp = field(default_factory=Lamp)
    room: Room = field(default_factory=Room)

    @property
    def refreshes_per_frame(self) -> int:
        """How many refreshes show one game frame."""
        return max(1, round(self.display.refresh_hz / self.game.rate_hz))

    @property
    def game_period_s(self) -> float:
        """From one game tick to the next, in seconds: a whole number of refreshes."""
        return float(self.refreshes_per_frame / self.display.refresh_hz)
