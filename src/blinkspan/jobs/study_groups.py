"""Which takes of a study belong together: modes of one title, shots of one setup, platforms."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from blinkspan.jobs.retests import HELD_EQUAL
from blinkspan.jobs.study_takes import StudyTake


@dataclass(frozen=True, slots=True)
class TakeGroup:
    """Takes that answer one question together, and what they have in common."""

    name: str
    takes: tuple[StudyTake, ...]

    @property
    def days(self) -> tuple[date, ...]:
        """The day each take was added, in UTC; when it was filmed no file tells for sure."""
        return tuple(take.take.added_at.date() for take in self.takes)


def by_title(takes: Sequence[StudyTake]) -> tuple[TakeGroup, ...]:
    """Return takes by title and platform, to be laid on one line by their modes."""
    return _grouped(takes, lambda take: _said(take, ("title", "platform")))


def retested(takes: Sequence[StudyTake]) -> tuple[TakeGroup, ...]:
    """Return takes that differ in build and day at most, by day, where there are two or more."""
    by_day = sorted(takes, key=lambda take: take.take.added_at.date())
    groups = _grouped(by_day, lambda take: _said(take, HELD_EQUAL))
    return tuple(group for group in groups if len(group.takes) > 1)


def platforms(takes: Sequence[StudyTake]) -> tuple[str, ...]:
    """Return the platforms that takes were filmed on, by name."""
    return tuple(sorted({take.setup.setup.conditions.platform for take in takes} - {""}))


def _said(take: StudyTake, conditions: Iterable[str]) -> tuple[str, ...]:
    return tuple(getattr(take.setup.setup.conditions, name) for name in conditions)


def _grouped(
    takes: Sequence[StudyTake], key: Callable[[StudyTake], tuple[str, ...]]
) -> tuple[TakeGroup, ...]:
    groups: dict[tuple[str, ...], list[StudyTake]] = {}
    for take in takes:
        groups.setdefault(key(take), []).append(take)
    return tuple(
        TakeGroup(", ".join(word for word in said if word) or "no conditions said", tuple(of))
        for said, of in sorted(groups.items())
    )
