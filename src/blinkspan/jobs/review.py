"""Look at what a library holds, and let a person correct presses."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Required, TypedDict, Unpack

from blinkspan.errors import NotInLibrary
from blinkspan.library import Library
from blinkspan.library.kept import KeptCorrection, KeptPress, KeptSetup, KeptStudy, KeptTake
from blinkspan.library.origin import Origin
from blinkspan.library.overview import SetupOverview
from blinkspan.presses.correction import Corrects
from blinkspan.presses.press import Reason, Verdict
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.study.setup import Study, reading_order

__all__ = [
    "KeptCorrection",
    "Origin",
    "StudyGlance",
    "correct",
    "keep_camera",
    "keep_display",
    "origin",
    "overview",
    "presses",
    "undo",
]


@dataclass(frozen=True, slots=True)
class StudyGlance:
    """A study and its setups at a glance."""

    study: KeptStudy
    setups: tuple[SetupOverview, ...]


def overview(library: Path, study: str | None = None) -> list[StudyGlance]:
    """Return one study, or all of a library, at a glance."""
    with Library.open(library) as opened:
        names = [kept.study.name for kept in opened.studies()] if study is None else [study]
        views = [opened.study(name) for name in names]
        return [StudyGlance(view.kept, view.overview()) for view in views]


@dataclass(frozen=True, slots=True)
class ListedTake:
    """A take with the name of its setup; the counts are None where it is not measured."""

    take: KeptTake
    setup: str
    presses: int | None
    doubtful: int | None


def listed_takes(library: Path, study: str) -> tuple[ListedTake, ...]:
    """Return the takes of a study, by setup and in the order they came."""
    with Library.open(library) as opened:
        view = opened.study(study)
        standing: dict[int, list[Verdict]] = defaultdict(list)
        for kept in view.presses():
            standing[kept.take_id].append(kept.press.verdict)
        names = {kept.id: kept.setup.name for kept in view.setups()}
        listed = []
        for take in view.takes():
            verdicts = standing.get(take.id)
            if verdicts is None and opened.runs(take):
                verdicts = []
            listed.append(
                ListedTake(
                    take,
                    names[take.setup_id],
                    None if verdicts is None else len(verdicts),
                    None if verdicts is None else verdicts.count(Verdict.DOUBTFUL),
                )
            )
    return tuple(sorted(listed, key=lambda each: (reading_order(each.setup), each.take.id)))


def found_setups(library: Path, words: str) -> tuple[KeptSetup, ...]:
    """Return the setups of all studies in whose name or conditions every word stands."""
    with Library.open(library) as opened:
        each_word = [set(opened.find_setups(text=word)) for word in words.split()]
        return tuple(
            kept
            for kept in opened.find_setups()
            if each_word and all(kept in found for found in each_word)
        )


def new_study(library: Path, name: str, question: str = "") -> KeptStudy:
    """Return a new study after keeping it."""
    with Library.open(library) as opened:
        return opened.add_study(Study(name, question))


def edit_question(library: Path, study_id: int, revision: int, question: str) -> KeptStudy:
    """Return a study after its question was said anew.

    Raises
    ------
    NotInLibrary
        No study has that key.
    LibraryConflict
        It was changed since the revision that the person saw.
    """
    with Library.open(library) as opened:
        kept = next((each for each in opened.studies() if each.id == study_id), None)
        if kept is None:
            raise NotInLibrary(f"no study has the key {study_id}; choose one in the library")
        said = replace(kept.study, question=question.strip())
        return opened.edit_study(replace(kept, revision=revision), said)


def presses(library: Path, study: str, setup: str) -> Sequence[KeptPress]:
    """Return the presses of a setup as they stand."""
    with Library.open(library) as opened:
        return opened.presses(setup=opened.setup(study, setup))


def origin(library: Path, press_id: int) -> Origin:
    """Return where the numbers of a press come from, of an earlier run as well."""
    with Library.open(library) as opened:
        return opened.origin(press_id)


class Said(TypedDict, total=False):
    """What a person says of one press, and why.

    One of an onset, a response, its absence, or a verdict alone is said; a
    verdict may go with any of them. ``seen`` is the last correction of the press
    that the person has seen, as `take_review` tells it; a press that changed
    since is refused.
    """

    by: Required[str]
    why: Required[str]
    lamp_on: Measured | None
    response: Measured | None
    no_response: bool
    verdict: Verdict | None
    reason: Reason | None
    seen: int | None


def correct(library: Path, press_id: int, **said: Unpack[Said]) -> KeptCorrection:
    """Return a person's correction of one press after keeping it."""
    with Library.open(library) as opened:
        return correct_in(opened, press_id, **said)


def correct_in(opened: Library, press_id: int, **said: Unpack[Said]) -> KeptCorrection:
    """Return a correction after keeping it in an open library; see :class:`Said`."""
    lamp_on, response = said.get("lamp_on"), said.get("response")
    kind, to = Corrects.VERDICT, None
    if lamp_on is not None:
        kind, to = Corrects.LAMP_ON, lamp_on
    elif response is not None or said.get("no_response"):
        kind, to = Corrects.RESPONSE, response
    return opened.correct(
        press_id,
        kind,
        by=said["by"],
        why=said["why"],
        to=to,
        verdict=said.get("verdict"),
        reason=said.get("reason"),
        seen=said.get("seen"),
    )


def undo(
    library: Path, correction_id: int, *, by: str, why: str = "", seen: int | None = None
) -> KeptCorrection:
    """Return the undoing of a correction after keeping it."""
    with Library.open(library) as opened:
        return opened.undo(opened.correction(correction_id), by=by, why=why, seen=seen)


def keep_display(library: Path, name: str, profile: DisplayProfile, notes: str = "") -> int:
    """Return the revision of a display profile kept under a name, new or in place of the old."""
    with Library.open(library) as opened:
        old = next((kept for kept in opened.displays() if kept.name == name), None)
        return opened.keep_display(name, profile, notes, over=old).revision


def keep_camera(library: Path, name: str, profile: CameraProfile, notes: str = "") -> int:
    """Return the revision of a camera profile kept under a name, new or in place of the old."""
    with Library.open(library) as opened:
        old = next((kept for kept in opened.cameras() if kept.name == name), None)
        return opened.keep_camera(name, profile, notes, over=old).revision
