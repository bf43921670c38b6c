"""Presses as they stand: the latest run of each take with the corrections laid over it."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, overload

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from blinkspan.library.corrections import corrections, in_force
from blinkspan.library.kept import KeptCorrection, KeptPress
from blinkspan.library.rows import display_from, press_from
from blinkspan.library.tables import CorrectionRow, PressRow, RunRow, SetupRow, TakeRow
from blinkspan.presses.correction import corrected, same_press
from blinkspan.quantities import Measured


class Presses(Sequence[KeptPress]):
    """A row of presses; ``columns()`` is what pandas and Polars make a table of."""

    def __init__(self, presses: tuple[KeptPress, ...]) -> None:
        self._presses = presses

    @overload
    def __getitem__(self, at: int) -> KeptPress: ...
    @overload
    def __getitem__(self, at: slice) -> "Presses": ...
    def __getitem__(self, at: int | slice) -> "KeptPress | Presses":
        """Return one press, or a stretch of them."""
        return Presses(self._presses[at]) if isinstance(at, slice) else self._presses[at]

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._presses)

    def __iter__(self) -> Iterator[KeptPress]:
        """Yield each press."""
        return iter(self._presses)

    def columns(self) -> dict[str, list[Any]]:
        """Return one list a column, times in milliseconds but for the take's own instants."""
        return {name: [value(kept) for kept in self] for name, (_, value) in _COLUMNS.items()}


def presses(db: Connection, asked: sa.ColumnElement[bool]) -> Presses:
    """Return the presses of the latest run of every kept take that matches.

    Parameters
    ----------
    asked : SQL condition
        On takes and setups.
    """
    latest = (
        sa.select(sa.func.max(RunRow.id))
        .join(TakeRow, TakeRow.id == RunRow.take_id)
        .join(SetupRow, SetupRow.id == TakeRow.setup_id)
        .where(asked, TakeRow.state == "kept")
        .group_by(RunRow.take_id)
    )
    found = db.execute(
        sa.select(
            PressRow.__table__,
            RunRow.take_id,
            TakeRow.setup_id,
        )
        .join(RunRow, RunRow.id == PressRow.run_id)
        .join(TakeRow, TakeRow.id == RunRow.take_id)
        .where(RunRow.id.in_(latest))
        .order_by(TakeRow.id, PressRow.number)
    ).all()
    said = (
        sa.select(CorrectionRow.take_id)
        .join(TakeRow, TakeRow.id == CorrectionRow.take_id)
        .join(SetupRow, SetupRow.id == TakeRow.setup_id)
        .where(asked)
    )
    holding = in_force(corrections(db, CorrectionRow.take_id.in_(said)))
    corrected_takes = {kept.take_id for kept in holding}
    run_ids = {row.run_id for row in found if row.take_id in corrected_takes}
    used = sa.select(RunRow.take_id, RunRow.display).where(RunRow.id.in_(run_ids))
    displays = {row.take_id: row.display for row in db.execute(used)}
    return Presses(_standing(found, holding, displays))


def _standing(
    found: Sequence[Any], holding: Sequence[KeptCorrection], displays: Mapping[int, Any]
) -> tuple[KeptPress, ...]:
    by_take: dict[int, list[KeptCorrection]] = defaultdict(list)
    for kept in holding:
        by_take[kept.take_id].append(kept)
    standing = {row.id: as_found(row) for row in found}
    onsets: dict[int, list[tuple[float, int]]] = defaultdict(list)
    for row in found:
        if row.take_id in by_take:
            onsets[row.take_id].append((row.lamp_on_s, row.id))
    for take_id, places in onsets.items():
        by_press: dict[int, list[KeptCorrection]] = defaultdict(list)
        for kept in by_take[take_id]:
            assert kept.correction is not None  # an undoing is never in force
            home = same_press(kept.correction.anchor_s, [at_s for at_s, _ in places])
            if home is not None:
                by_press[places[home][1]].append(kept)
        lag = display_from(displays[take_id]).lag_s
        for press_id, laid in by_press.items():
            said = [kept.correction for kept in laid if kept.correction is not None]
            standing[press_id] = replace(
                standing[press_id],
                press=corrected(standing[press_id].measured, said, lag),
                corrections=tuple(kept.id for kept in laid),
            )
    return tuple(standing.values())


def as_found(row: Any) -> KeptPress:
    """Return the press of a row as its run found it, without corrections."""
    press = press_from(row)
    return KeptPress(
        id=row.id,
        run_id=row.run_id,
        take_id=row.take_id,
        setup_id=row.setup_id,
        press=press,
        measured=press,
        corrections=(),
        lamp_on_frame=row.lamp_on_frame,
        response_frame=row.response_frame,
    )


def _value(of: Measured | None, factor: float = 1.0) -> float | None:
    return None if of is None else factor * of.value


def _u(of: Measured | None, factor: float = 1.0) -> float | None:
    return None if of is None else factor * of.u


_COLUMNS: dict[str, tuple[type, Callable[[KeptPress], Any]]] = {
    "press_id": (int, lambda kept: kept.id),
    "run_id": (int, lambda kept: kept.run_id),
    "take_id": (int, lambda kept: kept.take_id),
    "setup_id": (int, lambda kept: kept.setup_id),
    "number": (int, lambda kept: kept.press.number),
    "lamp_on_s": (float, lambda kept: kept.press.lamp_on.value),
    "lamp_on_u_s": (float, lambda kept: kept.press.lamp_on.u),
    "lamp_off_s": (float, lambda kept: _value(kept.press.lamp_off)),
    "response_s": (float, lambda kept: _value(kept.press.response)),
    "response_u_s": (float, lambda kept: _u(kept.press.response)),
    "span_ms": (float, lambda kept: _value(kept.press.span, 1e3)),
    "span_u_ms": (float, lambda kept: _u(kept.press.span, 1e3)),
    "net_ms": (float, lambda kept: _value(kept.press.net, 1e3)),
    "net_u_ms": (float, lambda kept: _u(kept.press.net, 1e3)),
    "verdict": (str, lambda kept: kept.press.verdict.value),
    "reason": (str, lambda kept: kept.press.reason and kept.press.reason.value),
    "corrected": (bool, lambda kept: bool(kept.corrections)),
    "lamp_on_frame": (int, lambda kept: kept.lamp_on_frame),
    "response_frame": (int, lambda kept: kept.response_frame),
}

# What a column holds where it holds anything.
COLUMN_KINDS = {name: kind for name, (kind, _) in _COLUMNS.items()}
