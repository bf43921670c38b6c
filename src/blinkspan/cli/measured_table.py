"""A measured take as a person reads it in a terminal: its presses and their summary."""

from rich.table import Table

from blinkspan.cli.region_options import box_words, panel_words
from blinkspan.cli.terminal import console, say
from blinkspan.jobs.measure import MeasuredTake
from blinkspan.publish import words
from blinkspan.publish.parts import PressPart
from blinkspan.study.summary import Summary
from blinkspan.traces.regions import Regions


def show_measured(measured: MeasuredTake, *, to_error: bool) -> None:
    """Print the presses, the summary and what should be known."""
    out, document = console(to_error=to_error), measured.document
    out.print(_presses(document.presses))
    out.print(_summary(measured))
    said = [words.sentence(document.summary)]
    if measured.net is not None and measured.net.median_ms is not None:
        net = measured.net.median_ms
        said.append(
            f"Net of the display's lag the median is {words.milliseconds(net.value)} "
            f"({words.level(net.level)} interval {words.interval((net.low, net.high))})."
        )
    said += _proposals(measured.measurement.regions)
    if document.unpaired_responses:
        at = ", ".join(words.seconds(change.at_s) for change in document.unpaired_responses)
        said.append(f"Changes like a response that no press explains: {at}.")
    for line in (*said, *document.notes):
        say(out, line)


def _presses(presses: tuple[PressPart, ...]) -> Table:
    table = Table("press", "lamp on, s", "response, s", "span, ms", "net, ms", "verdict")
    for column in table.columns[:-1]:
        column.justify, column.no_wrap = "right", True
    for press in presses:
        table.add_row(
            str(press.number),
            words.number(press.lamp_on_s, 4),
            words.number(press.response_s, 4),
            words.with_u(press.span_ms, press.u_ms, ""),
            words.with_u(press.net_ms, press.net_u_ms, ""),
            words.verdict(press),
        )
    return table


def _summary(measured: MeasuredTake) -> Table:
    table = Table("", "n", "median", _interval_head(measured.summary), "low", "high", "spread")
    for column in table.columns[1:]:
        column.justify, column.no_wrap = "right", True
    _add_row(table, "span, ms", measured.summary, 1.0)
    if measured.net is not None:
        _add_row(table, "net, ms", measured.net, 1.0)
    rate_hz = measured.measurement.display.game_rate_hz
    if rate_hz is not None:
        _add_row(table, "span, game frames", measured.summary, rate_hz / 1e3)
    return table


def _interval_head(summary: Summary) -> str:
    if summary.median_ms is None or not summary.median_ms.level:
        return "interval"
    return f"{words.level(summary.median_ms.level)} interval"


def _add_row(table: Table, name: str, summary: Summary, scale: float) -> None:
    """Add one summary, its milliseconds multiplied by the scale."""

    def told(ms: float | None) -> str:
        return words.number(None if ms is None else ms * scale)

    median = summary.median_ms
    table.add_row(
        name,
        str(summary.n),
        told(None if median is None else median.value),
        words.NONE if median is None else f"{told(median.low)} to {told(median.high)}",
        told(summary.low_ms),
        told(summary.high_ms),
        told(summary.spread_ms),
    )


def _proposals(regions: Regions) -> list[str]:
    """Return the regions the program chose, as options that a person may correct."""
    told = {"lamp": f"--lamp {box_words(regions.lamp)}"}
    if regions.panel is not None:
        told["panel"] = f"--panel {panel_words(regions.panel)}"
    told["watch"] = f"--watch {box_words(regions.watch)}"
    chosen = [words for name, words in told.items() if name in regions.proposed]
    return [f"Proposed from the take, to be checked: {' '.join(chosen)}"] if chosen else []
