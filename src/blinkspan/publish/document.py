"""A measured take as one versioned JSON document, and back.

The keys and their meanings are in ``parts``. Seconds are kept to 0.1 µs and
milliseconds to 0.1 µs: far below any camera's doubt, so rounding never shows.
"""

import json
import math
from collections.abc import Mapping
from importlib.metadata import version
from typing import Any

import msgspec

from blinkspan.errors import BadSample, BadSetting
from blinkspan.presses.measurement import Findings
from blinkspan.presses.press import Press
from blinkspan.publish.parts import (
    SCHEMA,
    BudgetPart,
    CameraPart,
    ChangePart,
    DisplayPart,
    PressPart,
    RegionsPart,
    SummaryPart,
    TakeDocument,
    TakePart,
    TermPart,
)
from blinkspan.quantities import Budget, Measured
from blinkspan.study.summary import Summary
from blinkspan.traces.regions import Rectangle

_S_DIGITS = 7
_MS_DIGITS = 4


class _Head(msgspec.Struct):
    """What must be known before the rest of a document may be read."""

    schema: str


def document_of(
    measurement: Findings,
    summary: Summary,
    conditions: Mapping[str, str] | None = None,
    *,
    net: Summary | None = None,
) -> TakeDocument:
    """Return the document of one measured take.

    Parameters
    ----------
    measurement : Findings
    summary : Summary
        Of the spans of this take's presses, in milliseconds.
    conditions : mapping of str to str, optional
        What was held equal in this setup, in the order it should be shown.
    net : Summary, optional
        Of their net latencies, where the display's lag is known.

    Raises
    ------
    BadSample
        A number is not finite.
    """
    take, regions, camera, display = (
        measurement.take,
        measurement.regions,
        measurement.camera,
        measurement.display,
    )
    return TakeDocument(
        program=f"blinkspan {version('blinkspan')}",
        take=TakePart(
            name=take.name,
            sha256=take.sha256,
            codec=take.codec,
            width_px=take.width_px,
            height_px=take.height_px,
            bit_depth=take.bit_depth,
            frames=take.frames,
            duration_s=_rounded(take.duration_s, _S_DIGITS),
            rate_hz=_rounded(take.rate_hz, _S_DIGITS),
            rate_source=take.rate_source,
            dropped_frames=take.dropped_frames,
        ),
        conditions=dict(conditions or {}),
        regions=RegionsPart(
            lamp=_box(regions.lamp),
            panel=None if regions.panel is None else regions.panel.corners,
            watch=_box(regions.watch),
            proposed=regions.proposed,
        ),
        camera=CameraPart(
            exposure_ms=_ms(camera.exposure_s.value),
            exposure_u_ms=_ms(camera.exposure_s.u),
            exposure_source=camera.exposure_source,
            readout_ms=_ms(camera.readout_s.value),
            readout_u_ms=_ms(camera.readout_s.u),
            readout_source=camera.readout_source,
        ),
        display=DisplayPart(
            lag_ms=_value_ms(display.lag_s),
            lag_u_ms=_u_ms(display.lag_s),
            refresh_hz=display.refresh_hz,
            game_rate_hz=display.game_rate_hz,
        ),
        presses=tuple(_press(press) for press in measurement.presses),
        unpaired_responses=tuple(
            ChangePart(at_s=_rounded(at.value, _S_DIGITS), u_ms=_ms(at.u))
            for at in measurement.unpaired_responses
        ),
        summary=summary_part(summary),
        net_summary=None if net is None else summary_part(net),
        notes=measurement.notes,
    )


def summary_part(summary: Summary) -> SummaryPart:
    """Return a summary in the document's form.

    Raises
    ------
    BadSample
        A number is not finite.
    """
    median, frames = summary.median_ms, summary.median_game_frames
    return SummaryPart(
        n=summary.n,
        doubtful=summary.doubtful,
        rejected=summary.rejected,
        median_ms=None if median is None else _rounded(median.value, _MS_DIGITS),
        median_interval_ms=None if median is None else _interval(median.low, median.high),
        interval_level=None if median is None else _rounded(median.level, _MS_DIGITS),
        interval_method=None if median is None else median.method,
        low_ms=_maybe(summary.low_ms),
        lower_quartile_ms=_maybe(summary.lower_quartile_ms),
        upper_quartile_ms=_maybe(summary.upper_quartile_ms),
        high_ms=_maybe(summary.high_ms),
        spread_ms=_maybe(summary.spread_ms),
        median_game_frames=None if frames is None else _rounded(frames.value, _MS_DIGITS),
        median_interval_game_frames=(
            None if frames is None else _interval(frames.low, frames.high)
        ),
    )


def to_json(document: TakeDocument) -> bytes:
    """Return the document as indented UTF-8 JSON with a line end.

    Raises
    ------
    BadSample
        A number is not finite: JSON has no word for it.
    """
    return msgspec.json.format(msgspec.json.encode(document), indent=2) + b"\n"


def read_document(text: bytes | str) -> TakeDocument:
    """Return the take document that the text holds; keys it does not know are passed over.

    Raises
    ------
    BadSetting
        The text is no take document, is of another version, or lacks what must be there.
    """
    try:
        head = msgspec.json.decode(text, type=_Head)
    except (msgspec.DecodeError, UnicodeError) as error:
        raise BadSetting(
            f"this is not a take document ({error}); give a file that --json wrote"
        ) from error
    if head.schema != SCHEMA:
        raise BadSetting(
            f"the document's schema is {head.schema[:60]!r} and this program reads "
            f"{SCHEMA!r}; measure the take again"
        )
    try:
        return msgspec.json.decode(text, type=TakeDocument)
    except msgspec.DecodeError as error:
        raise BadSetting(
            f"the take document is damaged ({error}); measure the take again"
        ) from error


def json_schema() -> bytes:
    """Return the JSON Schema of the take document as indented JSON."""
    schema: dict[str, Any] = msgspec.json.schema(TakeDocument)
    return json.dumps(schema, indent=2, ensure_ascii=False).encode() + b"\n"


def _press(press: Press) -> PressPart:
    return PressPart(
        number=press.number,
        lamp_on_s=_rounded(press.lamp_on.value, _S_DIGITS),
        lamp_on_u_ms=_ms(press.lamp_on.u),
        lamp_off_s=_value_s(press.lamp_off),
        lamp_off_u_ms=_u_ms(press.lamp_off),
        response_s=_value_s(press.response),
        response_u_ms=_u_ms(press.response),
        response_row_px=_maybe(press.response_row_px),
        span_ms=_value_ms(press.span),
        u_ms=_u_ms(press.span),
        net_ms=_value_ms(press.net),
        net_u_ms=_u_ms(press.net),
        verdict=press.verdict,
        reason=press.reason,
        budget=_budget(press.budget),
    )


def _budget(budget: Budget) -> BudgetPart:
    leading = budget.leading
    return BudgetPart(
        leading=None if leading is None else leading.name,
        own_u_ms=_ms(budget.own_u_s),
        terms=tuple(
            TermPart(name=term.name, u_ms=_ms(term.u_s), shared=term.shared)
            for term in budget.terms
        ),
    )


def _box(box: Rectangle) -> tuple[int, int, int, int]:
    return box.x, box.y, box.width, box.height


def _interval(low: float, high: float) -> tuple[float, float]:
    return _rounded(low, _MS_DIGITS), _rounded(high, _MS_DIGITS)


def _rounded(value: float, digits: int) -> float:
    """Return a plain rounded float, refused where JSON could not hold it."""
    if not math.isfinite(value):
        raise BadSample(f"a result is {value}; only finite numbers can be published")
    return round(float(value), digits)


def _maybe(value: float | None) -> float | None:
    return None if value is None else _rounded(value, _MS_DIGITS)


def _ms(seconds: float) -> float:
    return _rounded(1e3 * seconds, _MS_DIGITS)


def _value_s(quantity: Measured | None) -> float | None:
    return None if quantity is None else _rounded(quantity.value, _S_DIGITS)


def _value_ms(quantity: Measured | None) -> float | None:
    return None if quantity is None else _ms(quantity.value)


def _u_ms(quantity: Measured | None) -> float | None:
    return None if quantity is None else _ms(quantity.u)
