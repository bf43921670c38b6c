"""One HTML file that shows a study whole and opens without a network.

All is made of values handed in. Styles, drawings and pictures are inside the
page, there is no script, and the page's own policy forbids it to load anything.
"""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from statistics import median

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from blinkspan.presses.press import Reason, Verdict
from blinkspan.publish import words
from blinkspan.publish.cautions import CAUTIONS
from blinkspan.publish.charts import chart_row, fitting_px, span_chart, to_svg
from blinkspan.publish.doubt import TermRow, term_rows
from blinkspan.publish.inline_chart import inline_chart
from blinkspan.publish.palette import DARK, LIGHT
from blinkspan.publish.parts import PressPart, SummaryPart, TakeDocument
from blinkspan.publish.pictures import data_uri
from blinkspan.publish.region_drawing import draw_regions
from blinkspan.publish.strips import PressStrip, StripFrame
from blinkspan.publish.trace_drawing import draw_traces
from blinkspan.traces.trace import Trace

_CHART_PX = 1500  # narrower than a video's, so that its letters suit a page


@dataclass(frozen=True, slots=True)
class ReportTake:
    """One take as a report needs it.

    Attributes
    ----------
    document : TakeDocument
    lamp_trace, response_trace : Trace
    still : bytes | None
        One frame of the whole picture as JPEG, to draw the regions on.
    strips : tuple[PressStrip, ...]
        Frames of the presses that shall be seen; the others show their traces only.
    """

    document: TakeDocument
    lamp_trace: Trace
    response_trace: Trace
    still: bytes | None = None
    strips: tuple[PressStrip, ...] = ()


@dataclass(frozen=True, slots=True)
class ReportSetup:
    """The takes of one setup and what their presses say together."""

    name: str
    summary: SummaryPart
    takes: tuple[ReportTake, ...]


@dataclass(frozen=True, slots=True)
class _Frame:
    """One frame of a strip, ready to show."""

    picture: str
    alt: str
    index: int
    when: str
    first: bool


@dataclass(frozen=True, slots=True)
class _PressView:
    """One press with its drawings."""

    press: PressPart
    traces: Markup
    lamp_frames: tuple[_Frame, ...]
    response_frames: tuple[_Frame, ...]


@dataclass(frozen=True, slots=True)
class _TakeView:
    """One take with its drawings."""

    document: TakeDocument
    regions: Markup | None
    presses: tuple[_PressView, ...]
    terms: tuple[TermRow, ...]


@dataclass(frozen=True, slots=True)
class _SetupView:
    """One setup with its takes."""

    name: str
    summary: SummaryPart
    net_median_ms: float | None
    conditions: dict[str, str]
    takes: tuple[_TakeView, ...]


def report_html(title: str, setups: Sequence[ReportSetup], remarks: Sequence[str] = ()) -> bytes:
    """Return the report as one UTF-8 HTML page.

    Parameters
    ----------
    title : str
    setups : sequence of ReportSetup
        In the order to be shown, at least one.
    remarks : sequence of str, optional
        Plain sentences to stand at the top.
    """
    pages = Environment(
        loader=PackageLoader("blinkspan.publish"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    rows = [chart_row(s.name, _presses(s), s.summary) for s in setups]
    chart = to_svg(span_chart(rows, size_px=(_CHART_PX, fitting_px(len(rows))[1])))
    presses = [p for s in setups for p in _presses(s)]
    return (
        pages.get_template("report.html")
        .render(
            title=title,
            lead=_lead(setups),
            remarks=remarks,
            levels=sorted({s.summary.interval_level for s in setups if s.summary.interval_level}),
            setups=[_setup_view(setup) for setup in setups],
            chart=Markup(inline_chart(chart, _chart_label(setups))),
            light=asdict(LIGHT),
            dark=asdict(DARK),
            words=words,
            verdicts={
                v: words.VERDICTS[v] for v in Verdict if any(p.verdict is v for p in presses)
            },
            reasons={r: words.REASONS[r] for r in Reason if any(p.reason is r for p in presses)},
            methods=sorted(
                {s.summary.interval_method for s in setups if s.summary.interval_method}
            ),
            cautions=CAUTIONS,
            programs=sorted({t.document.program for s in setups for t in s.takes}),
        )
        .encode()
    )


def _lead(setups: Sequence[ReportSetup]) -> str:
    if len(setups) == 1:
        return words.sentence(setups[0].summary)
    return words.medians_sentence({s.name: s.summary.median_ms for s in setups})


def _presses(setup: ReportSetup) -> tuple[PressPart, ...]:
    return tuple(press for take in setup.takes for press in take.document.presses)


def _chart_label(setups: Sequence[ReportSetup]) -> str:
    told = "; ".join(
        f"{s.name}: median {words.milliseconds(s.summary.median_ms)}, {words.counts(s.summary)}"
        for s in setups
    )
    return f"Every press as a dot with each setup's median. {told}. The table above says the same."


def _setup_view(setup: ReportSetup) -> _SetupView:
    nets = [
        press.net_ms
        for press in _presses(setup)
        if press.verdict is Verdict.ACCEPTED and press.net_ms is not None
    ]
    conditions: dict[str, str] = {}
    for take in setup.takes:
        conditions |= take.document.conditions
    return _SetupView(
        name=setup.name,
        summary=setup.summary,
        net_median_ms=median(nets) if nets else None,
        conditions=conditions,
        takes=tuple(_take_view(take) for take in setup.takes),
    )


def _take_view(take: ReportTake) -> _TakeView:
    document = take.document
    regions = None
    if take.still is not None:
        regions = Markup(draw_regions(document.take, document.regions, take.still))
    return _TakeView(
        document=document,
        regions=regions,
        presses=tuple(_press_views(take)),
        terms=term_rows(document.presses),
    )


def _press_views(take: ReportTake) -> Iterator[_PressView]:
    exposure_s = take.document.camera.exposure_ms / 1e3
    strips = {strip.number: strip for strip in take.strips}
    for press in take.document.presses:
        strip = strips.get(press.number, PressStrip(press.number, (), ()))
        yield _PressView(
            press=press,
            traces=Markup(draw_traces(press, take.lamp_trace, take.response_trace, exposure_s)),
            lamp_frames=_frames(strip.lamp_frames, press.lamp_on_s, exposure_s, "lamp on"),
            response_frames=_frames(
                strip.response_frames, press.response_s, exposure_s, "the response"
            ),
        )


def _frames(
    frames: Sequence[StripFrame], at_s: float | None, exposure_s: float, event: str
) -> tuple[_Frame, ...]:
    """Say of each frame how long after the event it began, and which one saw it first."""
    if at_s is None:
        return ()
    seen = [frame.index for frame in frames if frame.start_s + exposure_s > at_s]
    shown = []
    for frame in frames:
        when = words.after(1e3 * (frame.start_s - at_s))
        shown.append(
            _Frame(
                picture=data_uri(frame.jpeg),
                alt=f"frame {frame.index}, its exposure begun {when} from {event}",
                index=frame.index,
                when=when,
                first=bool(seen) and frame.index == seen[0],
            )
        )
    return tuple(shown)
