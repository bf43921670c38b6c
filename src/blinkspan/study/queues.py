"""What presses say of queued frames and the fixed part: a posterior, and its plain sentences.

References
----------
R. E. Kass and A. E. Raftery, "Bayes factors", JASA 90 (1995) 773-795: a factor below 3 is
not worth more than a bare mention (from memory).
"""

from dataclasses import dataclass
from typing import Any

from blinkspan.quantities import Estimate
from blinkspan.study.phrases import chance as say_chance
from blinkspan.study.phrases import listed, plain_estimate, scaled, told

_SURE = 0.95  # one queue this probable is told as the answer
_LIKELY = 0.7  # and one this probable as the likely answer, the others beside it
_BARE_MENTION = 3.0  # times as well as another: less does not tell the two apart


@dataclass(frozen=True, slots=True)
class LateFrames:
    """How probably some presses of a mode were answered a game frame late.

    Attributes
    ----------
    chance : float
    share : Estimate | None
        The share of presses, if some were late; None where that was ruled out beforehand.
    """

    chance: float
    share: Estimate | None


@dataclass(frozen=True, slots=True)
class QueuePosterior:
    """Which numbers of queued frames the presses leave possible.

    Attributes
    ----------
    names, frame_ms : tuple
        The modes, from the shortest game frame to the longest.
    queues : tuple[tuple[int, ...], ...]
        Sets of queued frames, one number a mode, the most probable first.
    chances : tuple[float, ...]
        Of each set; those below one in a thousand are left out.
    fits : tuple[float, ...]
        How well the presses fit each set, against the best of them: the chance without
        what was held beforehand of the queues.
    fixed_ms, fixed_of_first_ms : Estimate
        The fixed part over all sets, and if the first set holds: system and panel,
        without waits and scan-out.
    sum_ms : tuple[Estimate, ...]
        Fixed part and queued frames of each mode together.
    late : tuple[LateFrames, ...]
        One a mode.
    """

    names: tuple[str, ...]
    frame_ms: tuple[float, ...]
    queues: tuple[tuple[int, ...], ...]
    chances: tuple[float, ...]
    fits: tuple[float, ...]
    fixed_ms: Estimate
    fixed_of_first_ms: Estimate
    sum_ms: tuple[Estimate, ...]
    late: tuple[LateFrames, ...]
    level: float

    @property
    def told(self) -> bool:
        """Whether one set of queued frames holds 95 % of the chance or more."""
        return self.chances[0] >= _SURE

    def frames_of(self, mode: str) -> dict[int, float]:
        """Return the chance of each number of queued frames of one mode, by number."""
        index = self.names.index(mode)
        chance: dict[int, float] = {}
        for queue, by in zip(self.queues, self.chances, strict=True):
            chance[queue[index]] = chance.get(queue[index], 0.0) + by
        return dict(sorted(chance.items()))

    def saving(self, mode: str) -> "Saving":
        """Return what one queued frame fewer would save in a mode."""
        index = self.names.index(mode)
        return Saving(self.frame_ms[index], 1.0 - self.frames_of(mode).get(0, 0.0))

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        return {
            "told": self.told,
            "queues": [
                {"frames": dict(zip(self.names, queue, strict=True)), "chance": chance, "fit": fit}
                for queue, chance, fit in zip(self.queues, self.chances, self.fits, strict=True)
            ],
            "fixed_ms": plain_estimate(self.fixed_ms),
            "fixed_of_first_ms": plain_estimate(self.fixed_of_first_ms),
            "modes": [
                {
                    "name": name,
                    "frame_ms": self.frame_ms[index],
                    "frames": {str(k): by for k, by in self.frames_of(name).items()},
                    "sum_ms": plain_estimate(self.sum_ms[index]),
                    "late_chance": self.late[index].chance,
                    "late_share": (share := self.late[index].share) and plain_estimate(share),
                    "one_frame_fewer_saves_ms": self.saving(name).ms,
                    "chance_of_a_frame_to_save": self.saving(name).chance,
                }
                for index, name in enumerate(self.names)
            ],
        }

    def __str__(self) -> str:
        """Return the posterior in plain sentences."""
        return " ".join(_sentences(self))


@dataclass(frozen=True, slots=True)
class Saving:
    """What one queued frame fewer would save, and the chance that there is one to save."""

    ms: float
    chance: float


def _sentences(found: QueuePosterior) -> list[str]:
    said = _said_of_queues(found)
    for name, late in zip(found.names, found.late, strict=True):
        if late.chance >= _SURE and late.share is not None:
            said.append(
                f"In {name} some presses were answered a game frame late (chance "
                f"{say_chance(late.chance)}): {told(scaled(late.share, 100.0), '%', 0)} of them."
            )
    savings = [
        f"{found.saving(name).ms:.1f} ms in {name}"
        for name in found.names
        if found.saving(name).chance >= _SURE
    ]
    if savings:
        said.append(f"One queued frame fewer would save {listed(savings)}.")
    return said


def _said_of_queues(found: QueuePosterior) -> list[str]:
    first, chance, fit = found.queues[0], found.chances[0], found.fits[0]
    fixed = f"the fixed part is {told(found.fixed_of_first_ms, 'ms')}, waits and scan-out left out"
    if found.told:
        return [f"Queued frames: {_queue(found, first)} (chance {say_chance(chance)}); {fixed}."]
    sums = [
        f"{told(total, 'ms')} in {name}"
        for name, total in zip(found.names, found.sum_ms, strict=True)
    ]
    sum_told = f"Told is only the sum of both, {listed(sums)}."
    kept = _most_of_it(found)
    if chance < _LIKELY:
        fits = listed([_with_chance(found, *one[:2]) for one in sorted(kept)], "or")
        return [
            f"The presses do not tell queued frames from the fixed part: {fits}.",
            f"The fixed part is {told(found.fixed_ms, 'ms')}, the shorter the more frames queue.",
            sum_told,
        ]
    others = sorted(kept[1:])
    named = listed([_with_chance(found, *one[:2]) for one in others], "or")
    if len(found.names) > 1 and any(fit < _BARE_MENTION * other for _, _, other in others):
        return [
            f"Queued frames: {_with_chance(found, first, chance)}, or {named}. "
            "The presses fit these too nearly alike to choose; the first has the greater chance "
            "because modes of a title are held, beforehand, to queue alike.",
            f"If it is so, {fixed}.",
            sum_told,
        ]
    return [
        f"Queued frames: probably {_with_chance(found, first, chance)}, and then {fixed}.",
        f"Not excluded: {named}.",
        sum_told,
    ]


def _most_of_it(found: QueuePosterior) -> list[tuple[tuple[int, ...], float, float]]:
    """Return the fewest sets that hold 95 % of the chance, each with its chance and fit."""
    kept: list[tuple[tuple[int, ...], float, float]] = []
    for one in zip(found.queues, found.chances, found.fits, strict=True):
        if kept and sum(chance for _, chance, _ in kept) >= _SURE:
            break
        kept.append(one)
    return kept


def _with_chance(found: QueuePosterior, queue: tuple[int, ...], chance: float) -> str:
    return f"{_queue(found, queue)} (chance {say_chance(chance)})"


def _queue(found: QueuePosterior, queue: tuple[int, ...]) -> str:
    if len(set(queue)) == 1:
        where = f" in {found.names[0]}" if len(queue) == 1 else " in every mode"
        return f"{queue[0]}{where}"
    return listed([f"{k} in {name}" for k, name in zip(queue, found.names, strict=True)])
