"""The measured takes of a study as they stand, as documents that every answer is made from.

What the command line reads from the files that ``--json`` wrote is here made of
what the library keeps, corrections laid over it, so that both give one answer.
"""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from blinkspan.errors import NotInLibrary
from blinkspan.jobs.accepted import NamedDocument
from blinkspan.jobs.setups import MeasuredSetup, read_setups
from blinkspan.jobs.take_summary import summary_of
from blinkspan.library import Library
from blinkspan.library.kept import KeptPress, KeptRun, KeptSetup, KeptStudy, KeptTake
from blinkspan.library.overview import SetupOverview
from blinkspan.presses.press import Verdict
from blinkspan.publish.document import document_of

__all__ = [
    "KeptPress",
    "KeptRun",
    "KeptSetup",
    "KeptStudy",
    "KeptTake",
    "MeasuredStudy",
    "SetupOverview",
    "StudyTake",
    "measured_study",
    "setup_by_key",
    "study_key",
    "study_of_setup",
    "summed_up",
]


@dataclass(frozen=True, slots=True)
class StudyTake:
    """A take as it stands; ``run``, ``source`` None and no press where it is not measured."""

    take: KeptTake
    setup: KeptSetup
    run: KeptRun | None
    presses: tuple[KeptPress, ...]
    source: NamedDocument | None

    @property
    def mark(self) -> tuple[int, ...]:
        """What changes as soon as an answer made from this take would."""
        run = 0 if self.run is None else self.run.id
        laid = (key for kept in self.presses for key in (kept.id, *kept.corrections))
        return self.take.id, run, self.setup.id, self.setup.revision, *laid

    @property
    def accepted(self) -> int:
        """How many presses count."""
        return sum(_counts(kept) for kept in self.presses)


@dataclass(frozen=True, slots=True)
class MeasuredStudy:
    """A study, its setups at a glance by name, and its takes from the oldest on."""

    kept: KeptStudy
    setups: tuple[SetupOverview, ...]
    takes: tuple[StudyTake, ...]

    def of(self, setups: Collection[int]) -> tuple[StudyTake, ...]:
        """Return the takes of some setups that hold an accepted press, setup by setup."""
        chosen = [take for take in self.takes if take.setup.id in setups and take.accepted]
        order = {each.setup.id: place for place, each in enumerate(self.setups)}
        return tuple(sorted(chosen, key=lambda take: order[take.setup.id]))

    @property
    def doubtful(self) -> tuple[tuple[StudyTake, KeptPress], ...]:
        """The presses that wait for a person."""
        return tuple(
            (take, kept)
            for take in self.takes
            for kept in take.presses
            if kept.press.verdict is Verdict.DOUBTFUL
        )


def measured_study(library: Path, study_id: int, only: int | None = None) -> MeasuredStudy:
    """Return a study with every take and press as they stand.

    Parameters
    ----------
    only : int | None
        The key of a setup whose takes alone are wanted.

    Raises
    ------
    NotInLibrary
        No study has that key.
    """
    with Library.open(library) as opened:
        kept = next((each for each in opened.studies() if each.id == study_id), None)
        if kept is None:
            raise NotInLibrary(f"no study has the key {study_id}; choose one in the library")
        view = opened.study(kept.study.name)
        by_take: dict[int, list[KeptPress]] = defaultdict(list)
        for press in view.presses():
            by_take[press.take_id].append(press)
        setups = {each.id: each for each in view.setups()}
        takes = tuple(
            _study_take(opened, take, setups[take.setup_id], tuple(by_take[take.id]))
            for take in view.takes()
            if only in (None, take.setup_id)
        )
        return MeasuredStudy(kept, view.overview(), takes)


def study_key(library: Path, name: str) -> int:
    """Return the key of the study of that name.

    Raises
    ------
    NotInLibrary
    """
    with Library.open(library) as opened:
        return opened.study(name).kept.id


def setup_by_key(library: Path, setup_id: int) -> KeptSetup:
    """Return the setup of that key.

    Raises
    ------
    NotInLibrary
    """
    with Library.open(library) as opened:
        found = next((each for each in opened.find_setups() if each.id == setup_id), None)
    if found is None:
        raise NotInLibrary(f"no setup has the key {setup_id}; choose one in its study")
    return found


def study_of_setup(library: Path, setup: KeptSetup) -> MeasuredStudy:
    """Return the study that a setup belongs to, with the takes of this setup alone."""
    return measured_study(library, study_key(library, setup.study), setup.id)


def summed_up(takes: Sequence[StudyTake]) -> tuple[dict[int, MeasuredSetup], tuple[str, ...]]:
    """Return the setups of takes by key, as `summary` sums them up, and what was assumed."""
    if not takes:
        return {}, ()
    keys = list(dict.fromkeys(take.setup.id for take in takes))
    setups, notes = read_setups(sources(takes), names_of(takes))
    return dict(zip(keys, setups, strict=True)), notes


def sources(takes: Sequence[StudyTake]) -> list[NamedDocument]:
    """Return the documents of takes, all measured."""
    return [take.source for take in takes if take.source is not None]


def names_of(takes: Sequence[StudyTake]) -> list[str]:
    """Return the name of each take's setup."""
    return [take.setup.setup.name for take in takes]


def _study_take(
    library: Library, take: KeptTake, setup: KeptSetup, presses: tuple[KeptPress, ...]
) -> StudyTake:
    run = (library.runs(take) or (None,))[-1]
    if run is None:
        return StudyTake(take, setup, None, (), None)
    found = replace(library.findings(run), presses=tuple(kept.press for kept in presses))
    spans, nets = summary_of(found.presses, found.display)
    said = {name: word for name, word in asdict(setup.setup.conditions).items() if word}
    document = document_of(found, spans, said, net=nets)
    return StudyTake(take, setup, run, presses, NamedDocument(take.name, document))


def _counts(kept: KeptPress) -> bool:
    return kept.press.verdict is Verdict.ACCEPTED and kept.press.span is not None
