"""What is played in a staged take: the presses, the game, its answers and what moves anyway."""

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction


class ActionKind(StrEnum):
    """What the game shows when it answers."""

    FLASH = "flash"
    PAN = "pan"
    POSE = "pose"
    FADE = "fade"
    NONE = "none"


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
    frame_wander_ms : float
        Each game frame takes up to so much longer, on a panel of variable refresh
        that scans it out at once; 0 keeps every tick on the refresh grid.
    torn : float
        Chance of each game frame to be shown one refresh early from somewhere below the top
        of a scan on, as without waiting for the refresh; never an answer's first frame.
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
    frame_wander_ms: float = 0.0
    torn: float = 0.0
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
        Game frames over which a pose or a fade is complete; a flash always takes three.
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
