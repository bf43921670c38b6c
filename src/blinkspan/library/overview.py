"""A study at a glance: every setup's presses in a few numbers, computed when asked.

The digests hold each take's accepted spans packed in one value, so that a
study of a million presses is a few thousand rows.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from blinkspan.library.kept import KeptSetup
from blinkspan.library.presses import presses
from blinkspan.library.setups import find_setups
from blinkspan.library.tables import (
    CorrectionRow,
    DigestRow,
    PressRow,
    RunRow,
    SetupRow,
    StudyRow,
    TakeRow,
)
from blinkspan.presses.press import Verdict

# Holds a tenth of a second to a hundredth of a microsecond, far below any digit shown.
_PACKED = np.dtype("<f4")


@dataclass(frozen=True, slots=True)
class SetupOverview:
    """A setup at a glance; times in milliseconds, None where no press is accepted.

    Attributes
    ----------
    takes, measured : int
        Kept takes, and those of them that have a run.
    n, doubtful, rejected : int
        Accepted presses (the times are theirs), and the others.
    median_net_ms : float | None
        Also None where the display's lag is not known for every accepted press.
    """

    setup: KeptSetup
    takes: int
    measured: int
    n: int
    doubtful: int
    rejected: int
    median_ms: float | None
    low_ms: float | None
    high_ms: float | None
    median_net_ms: float | None


def overview(db: Connection, study: str) -> tuple[SetupOverview, ...]:
    """Return every setup of a study at a glance, by name."""
    rows = db.execute(
        sa.select(
            TakeRow.setup_id,
            DigestRow.spans,
            DigestRow.nets,
            DigestRow.doubtful,
            DigestRow.rejected,
        )
        .select_from(TakeRow)
        .join(SetupRow, SetupRow.id == TakeRow.setup_id)
        .join(StudyRow, StudyRow.id == SetupRow.study_id)
        .outerjoin(DigestRow, DigestRow.take_id == TakeRow.id)
        .where(StudyRow.name == study, TakeRow.state == "kept")
    )
    takes: dict[int, int] = defaultdict(int)
    measured: dict[int, list[_Digest]] = defaultdict(list)
    for setup_id, *digest in rows.all():
        takes[setup_id] += 1
        if digest[0] is not None:
            measured[setup_id].append(digest)
    setups = find_setups(db, study, {}, None, None)
    return tuple(_glance(kept, takes[kept.id], measured[kept.id]) for kept in setups)


# Spans and net latencies of the accepted presses, packed; doubtful and rejected presses.
_Digest = Sequence[Any]


def _glance(kept: KeptSetup, takes: int, digests: list[_Digest]) -> SetupOverview:
    spans_ms = _sorted_ms([digest[0] for digest in digests])
    nets_ms = _sorted_ms([digest[1] for digest in digests])
    known = bool(spans_ms.size)
    return SetupOverview(
        setup=kept,
        takes=takes,
        measured=len(digests),
        n=spans_ms.size,
        doubtful=sum([digest[2] for digest in digests]),
        rejected=sum([digest[3] for digest in digests]),
        median_ms=_middle(spans_ms) if known else None,
        low_ms=float(spans_ms[0]) if known else None,
        high_ms=float(spans_ms[-1]) if known else None,
        median_net_ms=_middle(nets_ms) if known and nets_ms.size == spans_ms.size else None,
    )


def _sorted_ms(packed: list[bytes]) -> npt.NDArray[np.float32]:
    """Return times in ascending order: one sort is cheaper than a median, a least and a most."""
    ascending = np.frombuffer(b"".join(packed), dtype=_PACKED) * np.float32(1e3)
    ascending.sort()
    return ascending


def _middle(ascending: npt.NDArray[np.float32]) -> float:
    n = ascending.size
    return (float(ascending[(n - 1) // 2]) + float(ascending[n // 2])) / 2


def refresh_digest(db: Connection, take_id: int) -> bool:
    """Return whether a take's digest had to be written anew from its presses."""
    run_id = db.execute(sa.select(sa.func.max(RunRow.id)).where(RunRow.take_id == take_id)).scalar()
    if run_id is None:
        return False
    fresh = {"run_id": run_id, **_packed(_spans(db, take_id, run_id))}
    kept = db.execute(sa.select(DigestRow.__table__).where(DigestRow.take_id == take_id)).first()
    if kept is None:
        db.execute(sa.insert(DigestRow).values(take_id=take_id, **fresh))
        return True
    if all(getattr(kept, name) == value for name, value in fresh.items()):
        return False
    db.execute(sa.update(DigestRow).where(DigestRow.take_id == take_id).values(**fresh))
    return True


def refresh_digests(db: Connection) -> int:
    """Return how many digests of kept takes had to be written anew."""
    take_ids = db.execute(sa.select(TakeRow.id).where(TakeRow.state == "kept")).scalars().all()
    return sum(refresh_digest(db, take_id) for take_id in take_ids)


# Verdict, span and net latency of one press, in seconds.
_Span = tuple[str, float | None, float | None]


def _spans(db: Connection, take_id: int, run_id: int) -> list[_Span]:
    """Return what a digest holds of each press, by the short way where nobody corrected one."""
    if db.execute(sa.select(CorrectionRow.id).where(CorrectionRow.take_id == take_id)).first():
        standing = [kept.press for kept in presses(db, TakeRow.id == take_id)]
        return [
            (
                press.verdict.value,
                None if press.span is None else press.span.value,
                None if press.net is None else press.net.value,
            )
            for press in standing
        ]
    found = db.execute(
        sa.select(PressRow.verdict, PressRow.span_s, PressRow.net_s)
        .where(PressRow.run_id == run_id)
        .order_by(PressRow.number)
    )
    return [(row.verdict, row.span_s, row.net_s) for row in found]


def _packed(found: list[_Span]) -> dict[str, Any]:
    accepted = [(span, net) for verdict, span, net in found if verdict == Verdict.ACCEPTED]
    verdicts = [verdict for verdict, _, _ in found]
    spans = [span for span, _ in accepted if span is not None]
    nets = [net for _, net in accepted if net is not None]
    return {
        "spans": _as_bytes(spans),
        "nets": _as_bytes(nets),
        "doubtful": verdicts.count(Verdict.DOUBTFUL),
        "rejected": verdicts.count(Verdict.REJECTED),
    }


def _as_bytes(times_s: list[float]) -> bytes:
    # a time beyond all sense becomes an infinity here: it is kept with its press, and shows
    with np.errstate(over="ignore"):
        return np.array(times_s, dtype=_PACKED).tobytes()
