"""Corrections as rows: added, undone, and found again after measuring anew."""

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from blinkspan.errors import BadSetting, LibraryConflict, NotInLibrary
from blinkspan.library.kept import KeptCorrection
from blinkspan.library.rows import measured, pair
from blinkspan.library.tables import CorrectionRow, PressRow, RunRow
from blinkspan.presses.correction import SAME_PRESS_S, Correction, Corrects
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
    seen: int | None = None,
) -> KeptCorrection:
    """Return the correction after writing it.

    Parameters
    ----------
    seen : int | None
        The key of the last correction or undoing of this press that the person
        has seen, 0 for none; None where nobody else can be at work.

    Raises
    ------
    BadSetting
        It would say nothing, or has no name of who says it.
    NotInLibrary
        There is no such press.
    LibraryConflict
        The press was corrected or measured anew since it was seen.
    """
    if not by.strip():
        raise BadSetting("a correction needs the name of who makes it; give one")
    if kind is Corrects.VERDICT and verdict is None:
        raise BadSetting("a corrected verdict is missing; say accepted, doubtful or rejected")
    if kind is Corrects.LAMP_ON and to is None:
        raise BadSetting("a press has a lamp onset; to take a press away, reject it")
    press = db.execute(
        sa.select(PressRow.lamp_on_s, PressRow.run_id, RunRow.take_id)
        .join(RunRow, RunRow.id == PressRow.run_id)
        .where(PressRow.id == press_id)
    ).first()
    if press is None:
        raise NotInLibrary(f"no press has the key {press_id}; list the presses to see their keys")
    if seen is not None:
        _require_seen(db, press.take_id, press.run_id, press.lamp_on_s, seen)
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


def _require_seen(db: Connection, take_id: int, run_id: int, anchor_s: float, seen: int) -> None:
    """Refuse to lay a word over something that its speaker has not seen."""
    latest = db.execute(sa.select(sa.func.max(RunRow.id)).where(RunRow.take_id == take_id)).scalar()
    if latest != run_id:
        raise LibraryConflict(
            "this take was measured anew since you opened it; load the page again"
        )
    last = db.execute(
        sa.select(sa.func.max(CorrectionRow.id)).where(
            CorrectionRow.take_id == take_id,
            CorrectionRow.anchor_s.between(anchor_s - SAME_PRESS_S, anchor_s + SAME_PRESS_S),
        )
    ).scalar()
    if (last or 0) != seen:
        raise LibraryConflict(
            "this press was corrected elsewhere since you opened it, and nothing of yours was "
            "saved; look at it as it stands now"
        )


def undo(
    db: Connection,
    correction_id: int,
    why: str,
    by: str,
    now: datetime,
    seen: int | None = None,
) -> KeptCorrection:
    """Return the undoing of a correction; undoing that one brings the correction back.

    Parameters
    ----------
    seen : int | None
        The key of the last correction or undoing of the whole take that the
        person has seen; None where nobody else can be at work.

    Raises
    ------
    LibraryConflict
        The correction is undone already, or the take was corrected since it was seen.
    NotInLibrary
        There is no such correction.
    """
    undone = by_id(db, correction_id)
    if seen is not None and seen != last_of_take(db, undone.take_id):
        raise LibraryConflict(
            "this take was corrected elsewhere since you opened it, and nothing was undone; "
            "look at it as it stands now"
        )
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


def last_of_take(db: Connection, take_id: int) -> int:
    """Return the key of a take's last correction or undoing, 0 where there is none."""
    last = sa.select(sa.func.max(CorrectionRow.id)).where(CorrectionRow.take_id == take_id)
    return db.execute(last).scalar() or 0


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
