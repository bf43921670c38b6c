"""What measuring a take anew has changed."""

from collections.abc import Sequence
from dataclasses import dataclass

from blinkspan.presses.correction import same_press
from blinkspan.presses.press import Press

# Below the last digit that is ever shown: a tenth of a millisecond, halved.
_SAME_SPAN_S = 0.00005


@dataclass(frozen=True, slots=True)
class Changes:
    """Two measurings of one take held against each other, press by press.

    Attributes
    ----------
    found, lost : tuple[Press, ...]
        Presses of the later measuring alone, and of the earlier alone.
    moved : tuple[tuple[Press, Press], ...]
        The same press before and after, where its span moved visibly, came or went.
    judged : tuple[tuple[Press, Press], ...]
        The same press before and after, where its verdict or its reason changed.
    """

    found: tuple[Press, ...]
    lost: tuple[Press, ...]
    moved: tuple[tuple[Press, Press], ...]
    judged: tuple[tuple[Press, Press], ...]

    def __bool__(self) -> bool:
        """Return whether anything changed at all."""
        return bool(self.found or self.lost or self.moved or self.judged)

    def __str__(self) -> str:
        """Return the changes in words."""
        if not self:
            return "nothing changed"
        said = []
        if self.found:
            said.append(f"{len(self.found)} presses more")
        if self.lost:
            said.append(f"{len(self.lost)} presses fewer")
        if self.moved:
            both = [(b.span, a.span) for b, a in self.moved if b.span and a.span]
            most_ms = max((abs(1e3 * (a.value - b.value)) for b, a in both), default=None)
            most = "" if most_ms is None else f", by {most_ms:.1f} ms at most"
            said.append(f"{len(self.moved)} spans moved{most}")
        if self.judged:
            said.append(f"{len(self.judged)} verdicts changed")
        return "; ".join(said)


def changes(before: Sequence[Press], after: Sequence[Press]) -> Changes:
    """Return what changed between two measurings, presses matched by their lamp onsets.

    Examples
    --------
    >>> str(changes([], []))
    'nothing changed'
    """
    onsets_s = [press.lamp_on.value for press in before]
    matched: dict[int, Press] = {}
    found = []
    for press in after:
        at = same_press(press.lamp_on.value, onsets_s)
        if at is None or at in matched:
            found.append(press)
        else:
            matched[at] = press
    pairs = [(before[at], matched[at]) for at in sorted(matched)]
    return Changes(
        found=tuple(found),
        lost=tuple(press for at, press in enumerate(before) if at not in matched),
        moved=tuple((b, a) for b, a in pairs if _moved(b, a)),
        judged=tuple((b, a) for b, a in pairs if (b.verdict, b.reason) != (a.verdict, a.reason)),
    )


def _moved(before: Press, after: Press) -> bool:
    if before.span is None or after.span is None:
        return (before.span is None) != (after.span is None)
    return abs(before.span.value - after.span.value) > _SAME_SPAN_S
