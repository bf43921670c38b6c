"""What each game frame shows: the answer's course and the idle movement, as numbers."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from blinkspan.stage.play import ActionKind
from blinkspan.stage.scene import Scene
from blinkspan.stage.timeline import Timeline

_FLASH_COURSE = (1.0, 0.55, 0.2)  # brightness in the frames after the shot
_POSE_HOLD_S = 0.18
_POSE_RETURN_S = 0.15
_PAN_S = 0.22  # a pan lasts so long, then slows to rest
_BREATH_HZ = 0.45


@dataclass(frozen=True, slots=True)
class Look:
    """One game frame's content.

    Attributes
    ----------
    scroll_px : float
        How far the view has turned, in game pixels.
    flash, pose, menu : float
        0 at rest to 1 in full.
    breath : float
        -1 to 1.
    moment_s : float
        Game time for particles, grain and a filmed background; held at 0 where
        none of them is there, so that equal pictures have equal looks.
    """

    scroll_px: float = 0.0
    flash: float = 0.0
    pose: float = 0.0
    menu: float = 0.0
    breath: float = 0.0
    moment_s: float = 0.0


def looks(
    scene: Scene, timeline: Timeline, px_per_row: float, *, moving: bool
) -> Iterator[tuple[int, Look]]:
    """Yield the tick and the look of every game frame that is delivered.

    Parameters
    ----------
    px_per_row : float
        Game pixels to one row of a 360-row picture.
    moving : bool
        Whether the picture changes with every game frame whatever else happens.
    """
    answers = set(timeline.answers())
    course = _Course(scene, timeline.period_s, px_per_row)
    for tick, delivered in enumerate(timeline.delivered):
        course.step(answered=tick in answers)
        if delivered:
            yield tick, course.look(tick * timeline.period_s, moving=moving)


class _Course:
    """The running state of the game; ``answered`` may only fall on delivered ticks."""

    def __init__(self, scene: Scene, period_s: float, px_per_row: float) -> None:
        self._scene = scene
        self._period_s = period_s
        self._px_per_row = px_per_row
        self._since: int | None = None  # game frames since the last answer began
        self._scroll_px = 0.0
        self._menu = 0.0
        self._menu_opens = False

    def step(self, *, answered: bool) -> None:
        """Advance by one game frame."""
        if answered:
            self._since = 0
            self._menu_opens = not self._menu_opens
        elif self._since is not None:
            self._since += 1
        kind = self._scene.action.kind
        self._scroll_px += self._scene.world.drift_px * self._px_per_row * self._period_s
        if kind is ActionKind.PAN and self._since is not None:
            self._scroll_px += self._pan_step_px(self._since) * self._px_per_row
        if kind is ActionKind.FADE and self._since is not None:
            change = 1.0 / self._scene.action.frames
            self._menu += change if self._menu_opens else -change
            self._menu = min(1.0, max(0.0, self._menu))

    def look(self, moment_s: float, *, moving: bool) -> Look:
        """Return what the game shows now."""
        world = self._scene.world
        sway = math.sin(2 * math.pi * _BREATH_HZ * moment_s) if world.breathing_px > 0 else 0.0
        return Look(
            scroll_px=self._scroll_px,
            flash=self._flash(),
            pose=self._pose(),
            menu=self._menu,
            breath=sway,
            moment_s=moment_s if moving else 0.0,
        )

    def _pan_step_px(self, since: int) -> float:
        """Return how far the view turns in one game frame, slow at first."""
        action = self._scene.action
        turning = max(2, round(_PAN_S / self._period_s))
        rising = (action.top_px - action.start_px) / max(1, turning // 2)
        if since < turning:
            return min(action.top_px, action.start_px + rising * since)
        return max(0.0, action.top_px * (1.0 - (since - turning + 1) / 4))

    def _flash(self) -> float:
        """Return the flash's brightness, 0 to 1."""
        if self._scene.action.kind is not ActionKind.FLASH or self._since is None:
            return 0.0
        return _FLASH_COURSE[self._since] if self._since < len(_FLASH_COURSE) else 0.0

    def _pose(self) -> float:
        """Return how far the character has left its resting pose, 0 to 1."""
        if self._scene.action.kind is not ActionKind.POSE or self._since is None:
            return 0.0
        reached = min(1.0, (self._since + 1) / self._scene.action.frames)
        held = self._scene.action.frames + round(_POSE_HOLD_S / self._period_s)
        back = (self._since - held) / max(1, round(_POSE_RETURN_S / self._period_s))
        return min(reached, max(0.0, 1.0 - max(0.0, back)))
