"""Corrections as rows: added, undone, and found again after measuring anew."""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from blinkspan.errors import BadSetting, LibraryConflict, NotInLibrary
from blinkspan.library.kept import KeptCorrection
from blinkspan.library.rows import measured, pair
from blinkspan.library.tables import CorrectionRow, PressRow, RunRow
from blinkspan.presses.correction import Correction, Corrects
from blinkspan.presses.press import Reason, Verdict
from blinkspan.quantities import Measured


def correct(
    db: Connection,
    press_id: int,
    kind: Corrects,
    to: Measured | None,
    verdict: Verdict | None,
    reason: Reason | None,
    why: str,
    by: str,
    now: datetime,
) -> KeptCorrection:
    """Return the correction after writing it.

    Raises
    ------
    BadSetting
        It would say nothing, or has no name of who says it.
    NotInLibrary
        There is no such press.
    """
    if not by.strip():
        raise BadSetting("a correction needs the name of who makes it; give one")
    if kind is Corrects.VERDICT and verdict is None:
        raise BadSetting("a corrected verdict is missing; say accepted, doubtful or rejected")
    if kind is Corrects.LAMP_ON and to is None:
        raise BadSetting("a press has a lamp onset; to take a press away, reject it")
    press = db.execute(
        sa.select(PressRow.lamp_on_s, RunRow.take_id)
        .join(RunRow, RunRow.id == PressRow.run_id)
        .where(PressRow.id == press_id)
    ).first()
    if press is None:
        raise NotInLibrary(f"no press has the key {press_id}; list the presses to see their keys")
    value_s, value_u_s = pair(to)
    key = db.execute(
        sa.insert(CorrectionRow).values(
            take_id=press.take_id,
            press_id=press_id,
            anchor_s=press.lamp_on_s,
            kind=kind.value,
            value_s=value_s,
            value_u_s=value_u_s,
            verdict=None if verdict is None else verdict.value,
            reason=None if reason is None else reason.value,
            why=why,
            by=by,
            made_at=now,
        )
    ).inserted_primary_key
    assert key is not None  # both databases return it
    return by_id(db, key[0])


def undo(db: Connection, correction_id: int, why: str, by: str, now: datetime) -> KeptCorrection:
    """Return the undoing of a correction; undoing that one brings the correction back.

    Raises
    ------
    LibraryConflict
        The correction is undone already.
    NotInLibrary
        There is no such correction.
    """
    undone = by_id(db, correction_id)
    if db.execute(
        sa.select(CorrectionRow.id).where(CorrectionRow.undoes_id == correction_id)
    ).first():
        raise LibraryConflict(f"the correction {correction_id} is undone already; read it again")
    row = db.execute(
        sa.select(CorrectionRow.anchor_s).where(CorrectionRow.id == correction_id)
    ).one()
    key = db.execute(
        sa.insert(CorrectionRow).values(
            take_id=undone.take_id,
            press_id=undone.press_id,
            anchor_s=row.anchor_s,
            kind="undo",
            why=why,
            by=by,
            made_at=now,
            undoes_id=correction_id,
        )
    ).inserted_primary_key
    assert key is not None  # both databases return it
    return by_id(db, key[0])


def corrections(db: Connection, asked: sa.ColumnElement[bool]) -> tuple[KeptCorrection, ...]:
    """Return every correction and undoing that matches, in the order they were made."""
    found = db.execute(sa.select(CorrectionRow.__table__).where(asked).order_by(CorrectionRow.id))
    kept = []
    for row in found:
        correction = None
        if row.kind != "undo":
            correction = Correction(
                anchor_s=row.anchor_s,
                kind=Corrects(row.kind),
                to=measured(row.value_s, row.value_u_s),
                verdict=None if row.verdict is None else Verdict(row.verdict),
                reason=None if row.reason is None else Reason(row.reason),
                why=row.why,
            )
        kept.append(
            KeptCorrection(
                row.id, row.take_id, row.press_id, correction, row.by, row.made_at, row.undoes_id
            )
        )
    return tuple(kept)


def in_force(kept: tuple[KeptCorrection, ...]) -> tuple[KeptCorrection, ...]:
    """Return the corrections that hold after every undoing, and undoing of an undoing.

    Later rows undo earlier ones only, so reading from the last row back meets
    each undoing before what it undoes.
    """
    off: set[int] = set()
    holding = []
    for row in sorted(kept, key=lambda row: row.id, reverse=True):
        if row.id in off:
            continue
        if row.undoes_id is not None:
            off.add(row.undoes_id)
        else:
            holding.append(row)
    return tuple(reversed(holding))


def by_id(db: Connection, key: int) -> KeptCorrection:
    """Return the correction or undoing of that key."""
    found = corrections(db, CorrectionRow.id == key)
    if not found:
        raise NotInLibrary(f"no correction has the key {key}; list a take's corrections")
    return found[0]
