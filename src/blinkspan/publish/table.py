"""Take documents as one CSV table: a line for each press."""

import csv
import io
from collections.abc import Iterable

from blinkspan.publish.parts import TakeDocument

_PRESS_COLUMNS = (
    "number",
    "lamp_on_s",
    "lamp_off_s",
    "response_s",
    "response_row_px",
    "span_ms",
    "u_ms",
    "net_ms",
    "net_u_ms",
    "verdict",
    "reason",
)


def to_csv(documents: Iterable[TakeDocument]) -> str:
    """Return one line a press under a head line; an empty cell where there is none.

    The columns are the take's name, the conditions (every name that any of the
    takes carries, in order of appearance), the press's own keys of the JSON
    document, and the leading term of its budget. Lines end as RFC 4180 has it.

    References
    ----------
    RFC 4180, Common Format and MIME Type for Comma-Separated Values (CSV) Files.
    """
    documents = tuple(documents)
    conditions = tuple(dict.fromkeys(name for each in documents for name in each.conditions))
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(
        ("take", *(f"condition {name}" for name in conditions), *_PRESS_COLUMNS, "leading_term")
    )
    for each in documents:
        for press in each.presses:
            writer.writerow(
                (
                    _harmless(each.take.name),
                    *(_harmless(each.conditions.get(name, "")) for name in conditions),
                    *(getattr(press, column) for column in _PRESS_COLUMNS),
                    press.budget.leading,
                )
            )
    return text.getvalue()


def _harmless(text: str) -> str:
    """Put an apostrophe before what a spreadsheet would run as a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
