"""A study of an open library, with all that belongs to it."""

from dataclasses import dataclass
from typing import Any

from blinkspan.library import presses, setups, takes
from blinkspan.library.connection import Database
from blinkspan.library.kept import KeptSetup, KeptStudy, KeptTake
from blinkspan.library.overview import SetupOverview, overview
from blinkspan.library.presses import Presses
from blinkspan.library.tables import SetupRow

_WORDS = ("study", "setup", *setups.CONDITIONS, "take", "take_sha256")

# What each column of a study's table holds where it holds anything.
COLUMN_KINDS: dict[str, type] = dict.fromkeys(_WORDS, str) | presses.COLUMN_KINDS


@dataclass(frozen=True, slots=True)
class StudyView:
    """Reads what is kept at the moment of each call."""

    database: Database
    kept: KeptStudy

    def setups(self) -> tuple[KeptSetup, ...]:
        """Return the study's setups by name."""
        with self.database.reading() as db:
            return setups.find_setups(db, self.kept.study.name, {}, None, None)

    def takes(self) -> tuple[KeptTake, ...]:
        """Return the study's takes, oldest first."""
        with self.database.reading() as db:
            return takes.takes(db, None, self.kept.id)

    def presses(self) -> Presses:
        """Return the study's presses as they stand."""
        with self.database.reading() as db:
            return presses.presses(db, SetupRow.study_id == self.kept.id)

    def overview(self) -> tuple[SetupOverview, ...]:
        """Return every setup of the study at a glance, by name."""
        with self.database.reading() as db:
            return overview(db, self.kept.study.name)

    def columns(self) -> dict[str, list[Any]]:
        """Return the presses with their setups' conditions, one list a column.

        ``pandas.DataFrame(...)`` and ``polars.DataFrame(...)`` take it as it is.
        """
        by_setup = {kept.id: kept for kept in self.setups()}
        by_take = {kept.id: kept for kept in self.takes()}
        standing = self.presses()
        of = [by_setup[kept.setup_id] for kept in standing]
        table: dict[str, list[Any]] = {
            "study": [self.kept.study.name] * len(of),
            "setup": [kept.setup.name for kept in of],
        }
        for name in setups.CONDITIONS:
            table[name] = [getattr(kept.setup.conditions, name) for kept in of]
        table["take"] = [by_take[kept.take_id].name for kept in standing]
        table["take_sha256"] = [by_take[kept.take_id].sha256 for kept in standing]
        return table | standing.columns()
