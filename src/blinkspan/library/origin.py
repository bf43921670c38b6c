"""Where a press's numbers come from: back to its run, its take, its frames and all that was said.

A press of an earlier run can be followed as well, since it may have been published.
"""

from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from blinkspan.errors import NotInLibrary
from blinkspan.library import corrections, presses, rows, runs, setups, takes
from blinkspan.library.kept import KeptCorrection, KeptPress, KeptRun, KeptSetup, KeptTake
from blinkspan.library.tables import CorrectionRow, PressRow, RegionSetRow, RunRow, TakeRow
from blinkspan.presses.measurement import CameraFindings, TakeFacts
from blinkspan.profiles import DisplayProfile
from blinkspan.traces.regions import Regions


@dataclass(frozen=True, slots=True)
class Origin:
    """A press and everything that its numbers were made of.

    Attributes
    ----------
    press : KeptPress
        As it stands; of an earlier run, as that run found it.
    later_run_id : int | None
        The run that counts instead, None where the press is of the latest run.
    facts : TakeFacts
        What the run read from the file, among it the rate and where that was read.
    regions_by : str
        Who gave the regions: the program, or the person or order that did.
    camera, display
        As the run used them.
    corrections : tuple of KeptCorrection
        All that were made on this press and all undoings, whether in force or not.
    """

    press: KeptPress
    run: KeptRun
    later_run_id: int | None
    take: KeptTake
    setup: KeptSetup
    facts: TakeFacts
    regions: Regions
    regions_by: str
    camera: CameraFindings
    display: DisplayProfile
    corrections: tuple[KeptCorrection, ...]


def origin(db: Connection, press_id: int) -> Origin:
    """Return where the numbers of a press come from.

    Raises
    ------
    NotInLibrary
        There is no such press.
    """
    row = db.execute(
        sa.select(PressRow.__table__, RunRow.take_id, TakeRow.setup_id)
        .join(RunRow, RunRow.id == PressRow.run_id)
        .join(TakeRow, TakeRow.id == RunRow.take_id)
        .where(PressRow.id == press_id)
    ).first()
    if row is None:
        raise NotInLibrary(f"no press has the key {press_id}; list the presses to see their keys")
    used = db.execute(
        sa.select(RunRow.facts, RunRow.camera, RunRow.display, RegionSetRow.__table__)
        .join(RegionSetRow, RegionSetRow.id == RunRow.region_set_id)
        .where(RunRow.id == row.run_id)
    ).one()
    latest = runs.runs(db, row.take_id)[-1].id
    standing = presses.presses(db, TakeRow.id == row.take_id) if latest == row.run_id else ()
    press = next((kept for kept in standing if kept.id == press_id), presses.as_found(row))
    said = corrections.corrections(db, CorrectionRow.take_id == row.take_id)
    return Origin(
        press=press,
        run=runs.run_by_id(db, row.run_id),
        later_run_id=None if latest == row.run_id else latest,
        take=takes.take_by_id(db, row.take_id),
        setup=setups.setup_by_id(db, row.setup_id),
        facts=rows.facts_from(used.facts),
        regions=rows.regions_from(used),
        regions_by=used.by,
        camera=rows.camera_from(used.camera),
        display=rows.display_from(used.display),
        corrections=tuple(
            kept for kept in said if kept.press_id == press_id or kept.id in press.corrections
        ),
    )
