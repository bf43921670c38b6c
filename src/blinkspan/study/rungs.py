"""What a ladder of frame-rate modes says: its rungs, its line, and both in plain sentences."""

from dataclasses import dataclass
from typing import Any

from blinkspan.quantities import Estimate
from blinkspan.study.phrases import counted, listed, plain_estimate, told, turned


@dataclass(frozen=True, slots=True)
class Rung:
    """One mode as the ladder saw it.

    Attributes
    ----------
    mean_ms : Estimate
        Mean latency less scan-out.
    off_line_ms, off_line_frames : Estimate | None
        How far the mean lies above the line of all the other modes, with an
        interval that allows for asking it of every mode; None below three modes.
    whole_frames : tuple[int, ...]
        Whole numbers of extra queued frames, other than 0, that would explain it.
    others_hold : bool
        Whether the other modes lie on one line, as far as they can tell.
    """

    name: str
    frame_ms: float
    n: int
    mean_ms: Estimate
    off_line_ms: Estimate | None
    off_line_frames: Estimate | None
    whole_frames: tuple[int, ...]
    others_hold: bool = True

    @property
    def breaks(self) -> bool:
        """Whether the line of the others is outside the interval."""
        off = self.off_line_ms
        return off is not None and not off.low <= 0.0 <= off.high


@dataclass(frozen=True, slots=True)
class Ladder:
    """A title's modes on one line.

    Attributes
    ----------
    rungs : tuple[Rung, ...]
        From the shortest game frame to the longest.
    fixed_ms : Estimate
        Latency that does not grow with the game frame, less scan-out: control and
        link with their mean waits, system, and panel where its lag is not taken off.
    queued_frames : Estimate
        The slope less the half frame of waiting for the game to sample.
    whole_frames : tuple[int, ...]
        The whole numbers within its interval; empty where no common number fits.
    nearly_whole : tuple[int, ...]
        Where that is empty: those within an interval that misses a fifth as often.
    """

    rungs: tuple[Rung, ...]
    fixed_ms: Estimate
    queued_frames: Estimate
    whole_frames: tuple[int, ...]
    nearly_whole: tuple[int, ...] = ()

    @property
    def below_zero(self) -> bool:
        """Whether the fixed part comes out as a time that cannot be.

        The modes then do not queue alike, even where only two were filmed.
        """
        return self.fixed_ms.high < 0.0

    @property
    def line_holds(self) -> bool | None:
        """Whether all modes lie on one line; None where two modes cannot tell."""
        if self.below_zero or any(rung.breaks for rung in self.rungs):
            return False
        return None if len(self.rungs) < 3 else True

    @property
    def culprit(self) -> tuple[Rung, int] | None:
        """The rung whose break the fewest whole frames explain, and how many; None if none does."""
        broken = [
            (abs(frames), rung.frame_ms, frames, rung)
            for rung in self.rungs
            if rung.breaks and rung.others_hold
            for frames in rung.whole_frames
        ]
        if not broken:
            return None
        _, _, frames, rung = min(broken, key=lambda one: one[:2])
        return rung, frames

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for a document."""
        culprit = self.culprit
        return {
            "rungs": [_rung_dict(rung) for rung in self.rungs],
            "fixed_ms": plain_estimate(self.fixed_ms),
            "queued_frames": plain_estimate(self.queued_frames),
            "whole_frames": list(self.whole_frames),
            "nearly_whole": list(self.nearly_whole),
            "line_holds": self.line_holds,
            "culprit": culprit and {"mode": culprit[0].name, "extra_frames": culprit[1]},
            "sentence": str(self),
        }

    def __str__(self) -> str:
        """Return the ladder in plain sentences."""
        return " ".join(_sentences(self))


def _rung_dict(rung: Rung) -> dict[str, Any]:
    return {
        "name": rung.name,
        "frame_ms": rung.frame_ms,
        "n": rung.n,
        "mean_ms": plain_estimate(rung.mean_ms),
        "off_line_ms": rung.off_line_ms and plain_estimate(rung.off_line_ms),
        "off_line_frames": rung.off_line_frames and plain_estimate(rung.off_line_frames),
        "breaks": rung.breaks,
        "whole_frames": list(rung.whole_frames),
        "others_hold": rung.others_hold,
    }


def _sentences(ladder: Ladder) -> list[str]:
    said = [
        f"Fixed part {told(ladder.fixed_ms, 'ms')}, then half a game frame of waiting to be "
        f"sampled and {told(ladder.queued_frames, digits=2)} queued game frames."
    ]
    broken = [rung for rung in ladder.rungs if rung.breaks]
    if ladder.below_zero:
        said.append(
            "A fixed part below zero cannot be: the modes do not queue alike, and a mode with the "
            "longer game frame queues more."
        )
    elif not broken:
        said.append(_said_of_whole(ladder))
    if len(ladder.rungs) == 2 and not ladder.below_zero:
        said.append("Two modes always lie on a line: a longer queue in one would not show.")
    elif not broken and not ladder.below_zero:
        said.append("No mode leaves the line of the others by more than its interval.")
    for rung in broken:
        assert rung.off_line_ms is not None  # only a rung with a line of others breaks
        side = "above" if rung.off_line_ms.value > 0.0 else "below"
        said.append(
            f"{rung.name} lies {_distance(rung.off_line_ms)} {side} the line of the others."
        )
    return said + (_said_of_break(ladder) if broken else [])


def _distance(off: Estimate) -> str:
    """Return the distance without its sign; the interval of a break does not hold zero."""
    return told(off if off.value > 0.0 else turned(off), "ms")


def _said_of_whole(ladder: Ladder) -> str:
    fits = ladder.whole_frames
    if len(fits) == 1:
        return f"If all modes queue alike, it is {counted(fits[0], 'queued frame')}."
    if fits:
        return f"{listed([str(k) for k in fits], 'or')} queued frames fit; more presses would tell."
    if ladder.queued_frames.high < 0.0:
        return (
            "That is less than the wait to be sampled alone: the game samples more often than it "
            "shows frames, or the fixed part is longer where the frame rate is higher."
        )
    if ladder.nearly_whole:
        near = listed([str(k) for k in ladder.nearly_whole], "or")
        return (
            f"No whole number of queued frames lies in that interval, but {near} hardly outside: "
            f"it is {near} if all modes queue alike and this is the {_odds(ladder)} that any "
            "interval misses; or else the modes queue differently, or some presses are answered a "
            "frame late."
        )
    return (
        "No whole number of queued frames lies in that interval: the modes queue differently, some "
        f"presses are answered a frame late, or it is the chance of {_odds(ladder)} that any "
        "interval misses."
    )


def _odds(ladder: Ladder) -> str:
    """Return how often an interval of this level misses, in words a reader counts with."""
    return f"1 in {1.0 / (1.0 - ladder.queued_frames.level):.0f}"


def _said_of_break(ladder: Ladder) -> list[str]:
    said = ["So the fixed part and the queue above are no mode's own."]
    culprit = ladder.culprit
    if culprit is None:
        said.append("No whole number of queued frames in one mode explains it.")
        return said
    rung, frames = culprit
    more = "more" if frames > 0 else "fewer"
    said.append(
        f"The plainest explanation is {counted(abs(frames), 'queued frame')} {more} in {rung.name}."
    )
    others = [
        f"{abs(k)} {'more' if k > 0 else 'fewer'} in {other.name}"
        for other in ladder.rungs
        for k in other.whole_frames
        if other.breaks and other.others_hold and (other.name, k) != (rung.name, frames)
    ]
    if others:
        said.append(f"It would look the same with {listed(others, 'or')}.")
    return said
