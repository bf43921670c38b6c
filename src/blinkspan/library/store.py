"""The library: plain values in and out, never a row.

>>> from blinkspan.library import Library  # doctest: +SKIP
>>> with Library.open("results") as library:  # doctest: +SKIP
...     table = pandas.DataFrame(library.study("lag").presses().columns())
"""

import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from blinkspan.errors import NotInLibrary, UnwritableOutput
from blinkspan.library import (
    corrections,
    exchange,
    place,
    presses,
    profiles,
    runs,
    schema,
    setups,
    takes,
)
from blinkspan.library.connection import Database, database_url
from blinkspan.library.kept import (
    Keeping,
    KeptCamera,
    KeptCorrection,
    KeptDisplay,
    KeptRun,
    KeptSetup,
    KeptStudy,
    KeptTake,
    Still,
)
from blinkspan.library.media import Media, Progress, file_sha256
from blinkspan.library.origin import Origin, origin
from blinkspan.library.overview import refresh_digest, refresh_digests
from blinkspan.library.presses import Presses
from blinkspan.library.runs import Inputs
from blinkspan.library.study_view import StudyView
from blinkspan.library.tables import CorrectionRow, LibraryRow, TakeRow
from blinkspan.library.trace_cache import cache
from blinkspan.presses.correction import Corrects
from blinkspan.presses.measurement import Findings, Measurement
from blinkspan.presses.press import Reason, Verdict
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.study.setup import Setup, Study
from blinkspan.traces.regions import Regions

Clock = Callable[[], datetime]

STILL_ENDING = ".png"


def utc_now() -> datetime:
    """Return the time of day in UTC."""
    return datetime.now(UTC)


class Library:
    """An open library; use it in a ``with`` block or close it.

    Every verb that writes is one transaction: done whole and on the disk when
    it returns, or not at all. Verbs may be called from several processes.
    """

    def __init__(self, folder: Path, database: Database, clock: Clock = utc_now) -> None:
        self.folder = folder
        self.database = database
        self.media = Media(folder / "media")
        self.now = clock

    @classmethod
    def init(
        cls,
        folder: str | Path,
        database: str = place.SQLITE,
        made_by: str = "",
        clock: Clock = utc_now,
    ) -> "Library":
        """Return a new, empty library, made in a folder that is empty or not there yet.

        Parameters
        ----------
        database : str
            A file name in the folder, or the SQLAlchemy URL of an empty database.

        Raises
        ------
        LibraryConflict
            The folder or the database holds something already.
        UnwritableOutput
            The folder cannot be made.
        """
        folder = Path(folder)
        place.require_free(folder)
        try:
            (folder / "media").mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise UnwritableOutput(
                f"the library folder {folder} cannot be made ({error.strerror}); "
                "choose a place that may be written"
            ) from error
        kept = Database(database_url(database, folder))
        if kept.is_sqlite:
            schema.prepare_file(kept)
        else:
            schema.require_empty(kept)
        schema.migrate(kept)
        with kept.writing() as db:
            if db.execute(sa.select(LibraryRow.id)).first() is None:
                db.execute(
                    sa.insert(LibraryRow).values(
                        id=1, uuid=str(uuid.uuid4()), made_at=clock(), made_by=made_by
                    )
                )
        place.write_settings(folder, database)
        return cls(folder, kept, clock)

    @classmethod
    def open(cls, folder: str | Path, clock: Clock = utc_now) -> "Library":
        """Return the library in a folder.

        Raises
        ------
        UnusableLibrary
            It is no library, is damaged, or has an older or a newer schema.
        """
        database = place.database_of(Path(folder))
        with database.reading() as db:
            schema.require_newest(schema.revision_of(db), database.shown)
        return cls(Path(folder), database, clock)

    @classmethod
    def upgrade(cls, folder: str | Path, clock: Clock = utc_now) -> tuple[str, str]:
        """Return the schemas a library had and has, after bringing it to the newest.

        Raises
        ------
        UnusableLibrary
            It is no library, or its schema is newer than this program.
        """
        database = place.database_of(Path(folder))
        with database.reading() as db:
            before = schema.revision_of(db)
        if before not in schema.REVISIONS:
            schema.require_newest(before, database.shown)
        if before != schema.NEWEST:
            schema.migrate(database)
        with database.writing() as db:
            refresh_digests(db)
        database.close()
        return str(before), schema.NEWEST

    def close(self) -> None:
        """Give back the connections."""
        self.database.close()

    def own_files(self) -> tuple[Path, ...]:
        """Return the files that make this library the one it is: its settings, its database."""
        settings = self.folder / place.SETTINGS
        kept = self.database.url.database if self.database.is_sqlite else None
        return (settings,) if kept is None else (settings, Path(kept))

    def __enter__(self) -> "Library":
        """Return the library itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close it."""
        self.close()

    # ---- studies, setups, profiles

    def add_study(self, study: Study) -> KeptStudy:
        """Return the study after keeping it under its name."""
        with self.database.writing() as db:
            return setups.add_study(db, study, self.now())

    def edit_study(self, kept: KeptStudy, study: Study) -> KeptStudy:
        """Return the study with new words, refused where it changed since ``kept`` was read."""
        with self.database.writing() as db:
            return setups.edit_study(db, kept.id, kept.revision, study)

    def studies(self) -> tuple[KeptStudy, ...]:
        """Return every study by name."""
        with self.database.reading() as db:
            return setups.studies(db)

    def study(self, name: str) -> StudyView:
        """Return the study of that name, with what belongs to it."""
        with self.database.reading() as db:
            return StudyView(self.database, setups.study_named(db, name))

    def add_setup(self, study: str, setup: Setup) -> KeptSetup:
        """Return the setup after keeping it in the study of that name."""
        with self.database.writing() as db:
            return setups.add_setup(db, study, setup, self.now())

    def edit_setup(self, kept: KeptSetup, setup: Setup) -> KeptSetup:
        """Return the changed setup, refused where it changed since ``kept`` was read."""
        with self.database.writing() as db:
            return setups.edit_setup(db, kept.id, kept.revision, setup)

    def setup(self, study: str, name: str) -> KeptSetup:
        """Return the setup of that name in a study."""
        with self.database.reading() as db:
            return setups.setup_named(db, study, name)

    def setup_of(self, take: KeptTake) -> KeptSetup:
        """Return the setup that a take was filmed in."""
        with self.database.reading() as db:
            return setups.setup_by_id(db, take.setup_id)

    def find_setups(
        self,
        study: str | None = None,
        like: Mapping[str, str] | None = None,
        text: str | None = None,
        tag: str | None = None,
    ) -> tuple[KeptSetup, ...]:
        """Return the setups whose conditions match everything asked for."""
        with self.database.reading() as db:
            return setups.find_setups(db, study, like or {}, text, tag)

    def keep_still(self, setup: KeptSetup, still: Still) -> None:
        """Keep the picture that shows a setup's spot, in place of an earlier one."""
        sha256 = self.media.put(still.png, STILL_ENDING)
        with self.database.writing() as db:
            setups.set_still(db, setup.id, sha256, still.panel)

    def still(self, setup: KeptSetup) -> Still | None:
        """Return the picture of a setup's spot, or None where none is kept or it is lost."""
        with self.database.reading() as db:
            sha256 = setups.setup_by_id(db, setup.id).still_sha256
            panel = setups.still_panel(db, setup.id)
        place = self.media.place(sha256 or "", f"still{STILL_ENDING}")
        return Still(place.read_bytes(), panel) if sha256 and place.is_file() else None

    def keep_display(
        self,
        name: str,
        profile: DisplayProfile,
        notes: str = "",
        over: KeptDisplay | None = None,
    ) -> KeptDisplay:
        """Return the display profile kept under a new name, or over the one that was read."""
        with self.database.writing() as db:
            revision = None if over is None else over.revision
            return profiles.keep_display(db, name, profile, notes, self.now(), revision)

    def keep_camera(
        self, name: str, profile: CameraProfile, notes: str = "", over: KeptCamera | None = None
    ) -> KeptCamera:
        """Return the camera profile kept under a new name, or over the one that was read."""
        with self.database.writing() as db:
            revision = None if over is None else over.revision
            return profiles.keep_camera(db, name, profile, notes, self.now(), revision)

    def displays(self) -> tuple[KeptDisplay, ...]:
        """Return every display profile by name."""
        with self.database.reading() as db:
            return profiles.displays(db)

    def cameras(self) -> tuple[KeptCamera, ...]:
        """Return every camera profile by name."""
        with self.database.reading() as db:
            return profiles.cameras(db)

    # ---- takes

    def add_take(
        self,
        path: str | Path,
        setup: KeptSetup,
        keeping: Keeping = Keeping.COPY,
        progress: Progress = lambda _bytes: None,
        name: str | None = None,
    ) -> "Added":
        """Return the take made of a file; the same bytes twice are one take.

        Adding again what was cut off, or what has since gone missing, makes it whole.

        Parameters
        ----------
        name : str | None
            What the take is called; by default as its file.

        Raises
        ------
        UnreadableTake
            The file is missing, cannot be read or changes while it is read.
        UnwritableOutput
            It cannot be copied or linked into the library.
        LibraryConflict
            The same bytes are kept in another setup.
        """
        path = Path(path).absolute()
        sha256 = file_sha256(path, progress)
        with self.database.reading() as db:
            known = takes.take_by_hash(db, sha256)
        if known is not None and known.setup_id == setup.id and self._lies(known):
            return Added(known, new=False)
        values: dict[str, Any] = {
            "sha256": sha256,
            "name": name or path.name,
            "size_bytes": path.stat().st_size,
            "setup_id": setup.id,
            "keeping": keeping.value,
            "source": str(path),
        }
        with self.database.writing() as db:
            values["name"] = takes.announce(db, values, self.now())
        if keeping is Keeping.COPY:
            self.media.copy_in(path, sha256, values["name"], progress)
        elif keeping is Keeping.LINK:
            self.media.link_in(path, sha256, values["name"])
        with self.database.writing() as db:
            if known is None:
                takes.settle(db, values, self.now())
            else:
                takes.supply(db, sha256, keeping, str(path))
            kept = takes.take_by_hash(db, sha256)
        assert kept is not None  # settled in the same transaction
        return Added(kept, new=known is None)

    def takes(
        self, setup: KeptSetup | None = None, study: KeptStudy | None = None
    ) -> tuple[KeptTake, ...]:
        """Return the takes of a setup, a study or the whole library, oldest first."""
        with self.database.reading() as db:
            return takes.takes(
                db, None if setup is None else setup.id, None if study is None else study.id
            )

    def take(self, key: int) -> KeptTake:
        """Return the take of that key."""
        with self.database.reading() as db:
            return takes.take_by_id(db, key)

    def stamp(self, key: int) -> tuple[Any, ...]:
        """Return what changes whenever anything does that is kept of a take of that key.

        Raises
        ------
        NotInLibrary
            No take has that key.
        UnusableLibrary
            The library was brought to a newer schema meanwhile.
        """
        with self.database.reading() as db:
            revision, stamp = takes.stamp(db, key)
        schema.require_newest(revision, self.database.shown)
        return stamp

    def clip(self, take: KeptTake) -> Path:
        """Return where the bytes of a take lie; that they are still there is not promised.

        Raises
        ------
        NotInLibrary
            The take came without its clip.
        """
        if take.keeping is Keeping.ELSEWHERE:
            raise NotInLibrary(
                f"the clip of {take.name!r} is not in this library; add the file to its setup"
            )
        if take.keeping is Keeping.IN_PLACE:
            return Path(take.source)
        return self.media.place(take.sha256, take.name)

    def keep_regions(self, take: KeptTake, regions: Regions, by: str) -> None:
        """Keep the regions a person gives for a take; the next measuring uses them."""
        with self.database.writing() as db:
            takes.keep_regions(db, take.id, regions, by, self.now())

    def given_regions(self, take: KeptTake) -> Regions | None:
        """Return the regions a person last gave for a take, or None."""
        with self.database.reading() as db:
            return takes.given_regions(db, take.id)

    # ---- runs, presses, corrections

    def keep_run(self, take: KeptTake, measurement: Measurement, inputs: Inputs) -> KeptRun:
        """Return the run after keeping it with its presses and traces; earlier runs stay."""
        cache(self.folder, measurement.lamp_trace, measurement.response_trace)
        with self.database.writing() as db:
            run = runs.keep_run(db, take, measurement, inputs, self.now())
            refresh_digest(db, take.id)
            return run

    def runs(self, take: KeptTake) -> tuple[KeptRun, ...]:
        """Return the runs of a take, oldest first; the last one counts."""
        with self.database.reading() as db:
            return runs.runs(db, take.id)

    def measurement(self, run: KeptRun) -> Measurement | None:
        """Return what a run found, whole, or None where its traces must be built again."""
        with self.database.reading() as db:
            return runs.measurement(db, self.folder, run.id)

    def findings(self, run: KeptRun) -> Findings:
        """Return what a run found, without its traces."""
        with self.database.reading() as db:
            return runs.findings(db, run.id)

    def correct(
        self,
        press_id: int,
        kind: Corrects,
        *,
        by: str,
        why: str,
        to: Measured | None = None,
        verdict: Verdict | None = None,
        reason: Reason | None = None,
        seen: int | None = None,
    ) -> KeptCorrection:
        """Return a person's correction of a press, refused where it changed since it was seen."""
        with self.database.writing() as db:
            kept = corrections.correct(
                db, press_id, kind, to, verdict, reason, why, by, self.now(), seen
            )
            refresh_digest(db, kept.take_id)
            return kept

    def undo(
        self, correction: KeptCorrection, *, by: str, why: str = "", seen: int | None = None
    ) -> KeptCorrection:
        """Return the undoing of a correction; to undo that brings the correction back."""
        with self.database.writing() as db:
            kept = corrections.undo(db, correction.id, why, by, self.now(), seen)
            refresh_digest(db, kept.take_id)
            return kept

    def correction(self, key: int) -> KeptCorrection:
        """Return the correction or undoing of that key."""
        with self.database.reading() as db:
            return corrections.by_id(db, key)

    def corrections(self, take: KeptTake) -> tuple[KeptCorrection, ...]:
        """Return every correction and undoing of a take, in the order they were made."""
        with self.database.reading() as db:
            return corrections.corrections(db, CorrectionRow.take_id == take.id)

    def presses(self, setup: KeptSetup | None = None, take: KeptTake | None = None) -> Presses:
        """Return the presses of a setup, a take or the whole library, as they stand."""
        asked: list[sa.ColumnElement[bool]] = [sa.true()]
        if setup is not None:
            asked.append(TakeRow.setup_id == setup.id)
        if take is not None:
            asked.append(TakeRow.id == take.id)
        with self.database.reading() as db:
            return presses.presses(db, sa.and_(*asked))

    def origin(self, press_id: int) -> Origin:
        """Return where the numbers of a press come from, of an earlier run as well."""
        with self.database.reading() as db:
            return origin(db, press_id)

    # ---- out and in

    def tables(self, study: str) -> exchange.Tables:
        """Return everything kept under a study as plain tables."""
        with self.database.reading() as db:
            return exchange.study_tables(db, study)

    def bring(self, tables: exchange.GivenTables) -> str:
        """Return the name of a study after keeping the tables of another library's study."""
        with self.database.writing() as db:
            return exchange.bring_study(db, tables)

    def _lies(self, take: KeptTake) -> bool:
        return take.keeping is not Keeping.ELSEWHERE and self.clip(take).is_file()


@dataclass(frozen=True, slots=True)
class Added:
    """A take and whether it is new to the library."""

    take: KeptTake
    new: bool
