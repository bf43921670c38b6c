"""From presses to game frames: when each is sampled, queued and shown.

A press waits for its poll, then for the next game tick, and is shown a whole
number of game frames after that tick. Ticks lie on the refresh grid, so the
first answering frame starts its scan-out at a known instant.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from blinkspan.stage.light import Instants
from blinkspan.stage.scene import Scene

# Answers without a press keep this far from every lamp onset's own answer.
_STRAY_DISTANCE_S = 0.22
_LEAD_S = 0.25  # the game runs this long before the film starts
_TAIL_S = 0.6  # the film runs this long after the last press


@dataclass(frozen=True, slots=True)
class StagedPress:
    """One press as it truly happens.

    Attributes
    ----------
    closings : tuple of (on, off)
        Every closing of the contact in seconds; more than one where it bounces.
    tick : int | None
        The game tick whose frame first shows the answer; None for a missed press.
    queue_frames : int | None
        Game frames from the tick that took the input to that one.
    """

    lamp_on_s: float
    lamp_off_s: float
    closings: tuple[tuple[float, float], ...]
    tick: int | None
    queue_frames: int | None


@dataclass(frozen=True, slots=True)
class Timeline:
    """All that happens in a take, before anything is drawn.

    Attributes
    ----------
    tick_s : tuple of float
        When the signal of each game tick starts, in seconds from the film's start.
    period_s : float
        From one tick to the next where none takes longer.
    delivered : ndarray of bool
        Whether each tick delivers its own game frame.
    torn_at : tuple of float or None
        How far down the panel each tick's frame starts one refresh early; None where it does not.
    stray_ticks : tuple of int
        Ticks at which an answer starts that no press caused.
    duration_s : float
        Length of the film.
    """

    tick_s: tuple[float, ...]
    period_s: float
    delivered: tuple[bool, ...]
    torn_at: tuple[float | None, ...]
    presses: tuple[StagedPress, ...]
    stray_ticks: tuple[int, ...]
    duration_s: float

    def answers(self) -> list[int]:
        """Return every tick at which an answer starts, in order."""
        pressed = [press.tick for press in self.presses if press.tick is not None]
        return sorted([*pressed, *self.stray_ticks])


def plan(scene: Scene, rng: np.random.Generator) -> Timeline:
    """Return what happens when, drawn once from the generator."""
    period_s = scene.game_period_s
    lamps = _lamps(scene, rng)
    duration_s = max(off for _, off in lamps) + _TAIL_S if lamps else 2.0
    tick_s = _ticks(scene, duration_s, rng)
    delivered = rng.random(tick_s.size) >= scene.game.dropped_frame
    delivered[0] = True
    presses = tuple(_press(scene, on_s, off_s, tick_s, delivered, rng) for on_s, off_s in lamps)
    strays = _strays(scene, presses, tick_s, delivered, duration_s, rng)
    answers = {*strays, *(press.tick for press in presses)}
    return Timeline(
        tick_s=tuple(float(each) for each in tick_s),
        period_s=period_s,
        delivered=tuple(bool(each) for each in delivered),
        presses=presses,
        torn_at=_torn(scene.game.torn, delivered, answers, rng),
        stray_ticks=strays,
        duration_s=duration_s,
    )


def _torn(
    chance: float,
    delivered: npt.NDArray[np.bool_],
    answers: set[int | None],
    rng: np.random.Generator,
) -> tuple[float | None, ...]:
    """Return where on the panel each tick's frame is torn."""
    if chance == 0.0:  # no draw, so that scenes without it stay as they were
        return (None,) * delivered.size
    torn = delivered & (rng.random(delivered.size) < chance)
    at = rng.uniform(0.2, 0.8, delivered.size)
    return tuple(
        float(at[tick]) if torn[tick] and tick not in answers else None
        for tick in range(delivered.size)
    )


def _ticks(scene: Scene, duration_s: float, rng: np.random.Generator) -> Instants:
    """Return the game ticks from before the film to past its end."""
    period_s = scene.game_period_s
    first_s = -_LEAD_S - rng.uniform(0.0, period_s)
    count = int((duration_s - first_s) / period_s) + 3
    longer_s = rng.uniform(0.0, 1.0, count) * scene.game.frame_wander_ms / 1e3
    return np.asarray(first_s + np.arange(count) * period_s + np.cumsum(longer_s) - longer_s)


def _lamps(scene: Scene, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Return when the control closes and opens, bounce left aside."""
    script = scene.presses
    lamps = []
    for number in range(script.count):
        on_s = script.first_s + number * script.every_s + rng.uniform(0.0, script.jitter_s)
        hold_s = script.hold_s * rng.uniform(0.75, 1.25)
        double = rng.random() < script.double
        if double:
            hold_s = min(hold_s, 0.6 * script.double_gap_s)
        lamps.append((on_s, on_s + hold_s))
        if double:
            lamps.append((on_s + script.double_gap_s, on_s + script.double_gap_s + hold_s))
    return lamps


def _press(
    scene: Scene,
    on_s: float,
    off_s: float,
    tick_s: Instants,
    delivered: npt.NDArray[np.bool_],
    rng: np.random.Generator,
) -> StagedPress:
    """Return one press with the tick that answers it."""
    game = scene.game
    closings = _closings(on_s, off_s, scene.presses.bounce_ms / 1e3, rng)
    arrived_s = on_s + game.system_ms / 1e3 + rng.uniform(0.0, 1.0) * game.poll_ms / 1e3
    extra = int(rng.random() < game.extra_frame)
    missed = rng.random() < game.miss
    sampled = int(np.searchsorted(tick_s, arrived_s))
    shown = sampled + game.queue_frames + extra
    while shown < delivered.size and not delivered[shown]:
        shown += 1
    if missed or shown >= delivered.size or scene.action.kind == "none":
        return StagedPress(on_s, off_s, closings, None, None)
    return StagedPress(on_s, off_s, closings, shown, shown - sampled)


def _closings(
    on_s: float, off_s: float, bounce_s: float, rng: np.random.Generator
) -> tuple[tuple[float, float], ...]:
    """Return the closings of one press: one, or three where the contact bounces."""
    if bounce_s == 0.0:
        return ((on_s, off_s),)
    a, b, c, d = on_s + bounce_s * np.sort(rng.uniform(0.1, 1.0, 4))
    return ((on_s, float(a)), (float(b), float(c)), (float(d), off_s))


def _strays(
    scene: Scene,
    presses: tuple[StagedPress, ...],
    tick_s: Instants,
    delivered: npt.NDArray[np.bool_],
    duration_s: float,
    rng: np.random.Generator,
) -> tuple[int, ...]:
    """Return ticks of answers without a press, clear of every other answer."""
    if scene.game.stray == 0:
        return ()
    taken = [press.lamp_on_s for press in presses]
    taken += [float(tick_s[p.tick]) for p in presses if p.tick is not None]
    free = [
        tick
        for tick in range(delivered.size)
        if delivered[tick]
        and 0.3 < tick_s[tick] < duration_s - 0.3
        and min((abs(tick_s[tick] - t) for t in taken), default=1.0) > _STRAY_DISTANCE_S
    ]
    chosen: list[int] = []
    while free and len(chosen) < scene.game.stray:
        tick = free[int(rng.integers(len(free)))]
        chosen.append(tick)
        free = [t for t in free if abs(tick_s[t] - tick_s[tick]) > _STRAY_DISTANCE_S]
    return tuple(sorted(chosen))
