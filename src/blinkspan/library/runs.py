"""Measuring runs: written once, presses and all, and read back as they were."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from blinkspan.errors import LibraryConflict, NotInLibrary
from blinkspan.library import rows
from blinkspan.library.connection import insert_many
from blinkspan.library.kept import KeptRun, KeptTake
from blinkspan.library.profiles import profile_id
from blinkspan.library.tables import (
    PRESS_TABLE,
    CameraProfileRow,
    DisplayProfileRow,
    PressRow,
    RegionSetRow,
    RunRow,
)
from blinkspan.library.takes import PROGRAM, given_regions, keep_regions
from blinkspan.library.trace_cache import cached
from blinkspan.presses.measurement import Findings, Measurement
from blinkspan.profiles import CameraProfile, DisplayProfile
from blinkspan.quantities import Measured
from blinkspan.traces.regions import Regions

# Who gave regions that came with the order to measure.
_GIVEN = "given"


@dataclass(frozen=True, slots=True)
class Inputs:
    """What goes into measuring a take; a run is stale when any of it has changed since.

    Attributes
    ----------
    parameters : dict
        Plain values by name: every option that changes the numbers.
    regions : Regions | None
        Regions that a person gave; None where the program proposes them.
    display_name, camera_name : str | None
        The kept profiles that ``display`` and ``camera`` were read from.
    """

    program_version: str
    parameters: dict[str, Any]
    regions: Regions | None = None
    display_name: str | None = None
    display: DisplayProfile | None = None
    camera_name: str | None = None
    camera: CameraProfile | None = None

    @property
    def fingerprint(self) -> str:
        """The hash of everything here that changes the numbers."""
        return rows.digest(
            {
                "program_version": self.program_version,
                "parameters": rows.plain(self.parameters),
                "regions": None if self.regions is None else rows.region_values(self.regions),
                "display": rows.display_columns(self.display or DisplayProfile()),
                "camera": rows.camera_columns(self.camera or CameraProfile()),
            }
        )


def keep_run(
    db: Connection, take: KeptTake, measurement: Measurement, inputs: Inputs, now: datetime
) -> KeptRun:
    """Return the run after writing it with all its presses.

    Raises
    ------
    LibraryConflict
        The measurement was made of other bytes than the take's.
    """
    if measurement.take.sha256 != take.sha256:
        raise LibraryConflict(
            f"the measurement of {measurement.take.name} is of another file than the take "
            f"{take.name!r}; measure the kept clip"
        )
    given = inputs.regions
    if given is not None and given != given_regions(db, take.id):
        keep_regions(db, take.id, given, _GIVEN, now)
    by = _GIVEN if measurement.regions == given else PROGRAM
    found = [rows.press_row(press) for press in measurement.presses]
    run_id = db.execute(
        sa.insert(RunRow).values(
            take_id=take.id,
            region_set_id=keep_regions(db, take.id, measurement.regions, by, now),
            display_profile_id=profile_id(db, DisplayProfileRow, inputs.display_name, "display"),
            camera_profile_id=profile_id(db, CameraProfileRow, inputs.camera_name, "camera"),
            made_at=now,
            program_version=inputs.program_version,
            parameters=rows.plain(inputs.parameters),
            fingerprint=inputs.fingerprint,
            **rows.run_values(measurement, found),
        )
    ).inserted_primary_key
    assert run_id is not None  # both databases return it
    insert_many(db, PRESS_TABLE, _press_values(run_id[0], measurement, found))
    return run_by_id(db, run_id[0])


_COLUMNS = (*rows.PRESS_COLUMNS, "run_id", "lamp_on_frame", "response_frame")


def _press_values(
    run_id: int, measurement: Measurement, found: list[tuple[Any, ...]]
) -> list[dict[str, Any]]:
    presses = measurement.presses
    lamp = rows.frames_at(measurement.lamp_trace.start_s, [p.lamp_on for p in presses])
    response = rows.frames_at(measurement.response_trace.start_s, [p.response for p in presses])
    return [
        dict(zip(_COLUMNS, (*row, run_id, lit, shown), strict=True))
        for row, lit, shown in zip(found, lamp, response, strict=True)
    ]


def runs(db: Connection, take_id: int) -> tuple[KeptRun, ...]:
    """Return the runs of a take, oldest first; the last one counts."""
    return _runs(db, RunRow.take_id == take_id)


def run_by_id(db: Connection, key: int) -> KeptRun:
    """Return the run of that key."""
    found = _runs(db, RunRow.id == key)
    if not found:
        raise NotInLibrary(f"no run has the key {key}; list a take's runs to see what is kept")
    return found[0]


def latest_runs(db: Connection, take_ids: list[int]) -> dict[int, KeptRun]:
    """Return the run that counts for each take that has one."""
    latest = (
        sa.select(sa.func.max(RunRow.id))
        .where(RunRow.take_id.in_(take_ids))
        .group_by(RunRow.take_id)
    )
    return {run.take_id: run for run in _runs(db, RunRow.id.in_(latest))}


def measurement(db: Connection, folder: Path, run_id: int) -> Measurement | None:
    """Return what a run found, whole, or None where its traces are not in the cache."""
    row = _found(db, run_id)
    traces = cached(folder, row.traces_sha256)
    if traces is None:
        return None
    return Measurement(**_findings(db, row), lamp_trace=traces[0], response_trace=traces[1])


def findings(db: Connection, run_id: int) -> Findings:
    """Return what a run found, without its traces, which may have to be built again."""
    return Findings(**_findings(db, _found(db, run_id)))


def _found(db: Connection, run_id: int) -> Any:
    row = db.execute(
        sa.select(
            RunRow.__table__,
            RegionSetRow.lamp,
            RegionSetRow.panel,
            RegionSetRow.watch,
            RegionSetRow.proposed,
        )
        .join(RegionSetRow, RegionSetRow.id == RunRow.region_set_id)
        .where(RunRow.id == run_id)
    ).first()
    if row is None:
        raise NotInLibrary(f"no run has the key {run_id}; list a take's runs to see what is kept")
    return row


def _findings(db: Connection, row: Any) -> dict[str, Any]:
    presses = db.execute(
        sa.select(PressRow.__table__).where(PressRow.run_id == row.id).order_by(PressRow.number)
    )
    return {
        "take": rows.facts_from(row.facts),
        "regions": rows.regions_from(row),
        "camera": rows.camera_from(row.camera),
        "display": rows.display_from(row.display),
        "presses": tuple(rows.press_from(press) for press in presses),
        "unpaired_responses": tuple(Measured(value, u) for value, u in row.unpaired),
        "notes": tuple(row.notes),
    }


def _runs(db: Connection, asked: sa.ColumnElement[bool]) -> tuple[KeptRun, ...]:
    found = db.execute(
        sa.select(
            RunRow.__table__,
            DisplayProfileRow.name.label("display_name"),
            CameraProfileRow.name.label("camera_name"),
        )
        .select_from(RunRow)
        .outerjoin(DisplayProfileRow, DisplayProfileRow.id == RunRow.display_profile_id)
        .outerjoin(CameraProfileRow, CameraProfileRow.id == RunRow.camera_profile_id)
        .where(asked)
        .order_by(RunRow.id)
    )
    return tuple(
        KeptRun(
            row.id,
            row.take_id,
            row.made_at,
            row.program_version,
            row.parameters,
            row.display_name,
            row.camera_name,
            row.fingerprint,
            row.press_count,
            row.traces_sha256,
            row.seal,
        )
        for row in found
    )
