"""Where the doubt of a take's presses comes from, term by term."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from blinkspan.publish.parts import PressPart


@dataclass(frozen=True, slots=True)
class TermRow:
    """One term over the presses of a take that carry a span.

    Attributes
    ----------
    median_u_ms, highest_u_ms : float
        Over the presses.
    share : float
        Of the summed squares of all terms and presses, 0 to 1.
    shared : bool
        True where all presses share it, so that more of them do not shrink it.
    """

    name: str
    median_u_ms: float
    highest_u_ms: float
    share: float
    shared: bool


def term_rows(presses: Sequence[PressPart]) -> tuple[TermRow, ...]:
    """Return the terms of all presses with a span, the largest share first."""
    terms = [term for p in presses if p.span_ms is not None for term in p.budget.terms]
    whole = sum(term.u_ms**2 for term in terms)
    rows = []
    for name in dict.fromkeys(term.name for term in terms):
        same = [term for term in terms if term.name == name]
        us = [term.u_ms for term in same]
        rows.append(
            TermRow(
                name=name,
                median_u_ms=median(us),
                highest_u_ms=max(us),
                share=sum(u**2 for u in us) / whole if whole else 0.0,
                shared=any(term.shared for term in same),
            )
        )
    return tuple(sorted(rows, key=lambda row: -row.share))
