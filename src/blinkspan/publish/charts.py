"""The chart of a study: every press a dot, each setup's median with its interval, low to high.

Matplotlib is imported where it draws, for it takes longer to load than most
takes' tables to print; nothing of it is kept open, since no window is ever made.
"""

import io
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from blinkspan.presses.press import Verdict
from blinkspan.publish import words
from blinkspan.publish.palette import LIGHT, Palette
from blinkspan.publish.parts import PressPart, SummaryPart

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

VIDEO_PX = (1920, 1080)
_DPI = 120
_TEXT_PT = 17  # 28 px of 1080: readable on a phone showing the video
_SMALL_PT = 14
_DOT_PT = 10
_LABEL_CHARACTERS = 24
_ROWS_AT_1080 = 5
_BESIDE_PX = 760  # what the words left and right of the axes take, about
_FAINT = 0.55
# Heights as shares of a row: the summary lies below the dots, never over them.
_LOWEST_DOT = 0.02
_HIGHEST_DOT = 0.42
_DOT_STEP = 0.13
_BAR = 0.24


@dataclass(frozen=True, slots=True)
class ChartRow:
    """One setup's row: its spans in milliseconds and what they say together."""

    label: str
    accepted_ms: tuple[float, ...]
    doubtful_ms: tuple[float, ...]
    summary: SummaryPart


def chart_row(label: str, presses: Sequence[PressPart], summary: SummaryPart) -> ChartRow:
    """Return the row of one setup; rejected presses are only counted."""
    return ChartRow(
        label,
        tuple(p.span_ms for p in presses if p.verdict is Verdict.ACCEPTED and p.span_ms),
        tuple(p.span_ms for p in presses if p.verdict is Verdict.DOUBTFUL and p.span_ms),
        summary,
    )


def fitting_px(rows: int) -> tuple[int, int]:
    """Return a size, 1920 wide, that is as high as that many rows need."""
    return VIDEO_PX[0], 240 + 168 * max(rows, 1)


def span_chart(
    rows: Sequence[ChartRow],
    title: str = "",
    size_px: tuple[int, int] | None = None,
    palette: Palette = LIGHT,
) -> "Figure":
    """Return the chart of all rows, the first on top, as a matplotlib figure.

    Parameters
    ----------
    rows : sequence of ChartRow
        Cost is quadratic in the presses of a row, from keeping dots apart.
    title : str, optional
    size_px : (int, int), optional
        Width and height; a whole 1080p picture where not given, higher for
        more setups than that holds.
    palette : Palette, optional
    """
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    width_px, height_px = size_px or _picture_px(len(rows))
    figure = Figure(
        figsize=(width_px / _DPI, height_px / _DPI),
        dpi=_DPI,
        layout=ConstrainedLayoutEngine(w_pad=0.25, h_pad=0.2),
        facecolor=palette.paper,
    )
    axes = figure.add_subplot(facecolor=palette.paper)
    low, high = _range_ms(rows)
    axes.set_xlim(low, high)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    dot_ms = (high - low) * _DOT_PT * 1.15 * _DPI / 72 / max(width_px - _BESIDE_PX, _BESIDE_PX)
    for place, row in enumerate(rows):
        _draw_row(axes, place, row, dot_ms, palette)
    _dress(axes, rows, palette)
    if title:
        figure.suptitle(
            title, fontsize=_TEXT_PT + 5, color=palette.ink, fontweight="bold", parse_math=False
        )
    figure.legend(
        handles=_legend(rows, palette),
        loc="outside lower center",
        ncols=5,
        frameon=False,
        fontsize=_SMALL_PT,
        labelcolor=palette.ink,
        handletextpad=0.7,
        columnspacing=1.6,
    )
    return figure


def to_png(figure: "Figure") -> bytes:
    """Return the figure as PNG at its own size."""
    picture = io.BytesIO()
    figure.savefig(picture, format="png", dpi=_DPI, facecolor=figure.get_facecolor())
    return picture.getvalue()


def to_svg(figure: "Figure") -> bytes:
    """Return the figure as SVG, letters as outlines so that it looks the same everywhere."""
    import matplotlib as mpl

    picture = io.BytesIO()
    # A fixed salt and no date: the same presses make the same bytes.
    with mpl.rc_context({"svg.fonttype": "path", "svg.hashsalt": "blinkspan"}):
        figure.savefig(
            picture,
            format="svg",
            facecolor=figure.get_facecolor(),
            metadata={"Date": None, "Creator": None, "Format": None, "Type": None},
        )
    return picture.getvalue()


def levels(values: Sequence[float], apart: float) -> list[int]:
    """Return for each value the lowest level, from 0, on which it keeps ``apart`` from others.

    Examples
    --------
    >>> levels([10.0, 10.0, 14.0, 11.0], apart=2.0)
    [0, 1, 0, 2]
    """
    chosen = [0] * len(values)
    placed: list[int] = []
    for this in sorted(range(len(values)), key=lambda i: values[i]):
        taken = {chosen[i] for i in placed if abs(values[i] - values[this]) < apart}
        chosen[this] = next(level for level in range(len(values)) if level not in taken)
        placed.append(this)
    return chosen


def _picture_px(rows: int) -> tuple[int, int]:
    return VIDEO_PX if rows <= _ROWS_AT_1080 else fitting_px(rows)


def _range_ms(rows: Sequence[ChartRow]) -> tuple[float, float]:
    """Begin the axis at 0 where that costs little, so that lengths compare honestly."""
    spans = [ms for row in rows for ms in (*row.accepted_ms, *row.doubtful_ms)]
    spans += [ms for row in rows for ms in row.summary.median_interval_ms or ()]
    if not spans:
        return 0.0, 100.0
    low, high = min(spans), max(spans)
    room = max(0.06 * (high - low), 2.0)
    if low <= high - low:
        return min(0.0, low - room), high + room
    return low - room, high + room


def _draw_row(axes: "Axes", place: int, row: ChartRow, dot_ms: float, palette: Palette) -> None:
    """Draw the dots above the row's line, the summary on it, its numbers at the right."""
    spans = (*row.accepted_ms, *row.doubtful_ms)
    heights = levels(spans, dot_ms)
    step = min(_DOT_STEP, _HIGHEST_DOT / max((1, *heights)))
    ys = [place - _LOWEST_DOT - height * step for height in heights]
    n = len(row.accepted_ms)
    axes.plot(spans[:n], ys[:n], "o", ms=_DOT_PT, mfc=palette.dot, mec=palette.paper, mew=0.8)
    axes.plot(spans[n:], ys[n:], "o", ms=_DOT_PT - 1, mfc="none", mec=palette.dot, mew=2.2)
    bar = place + _BAR
    summary = row.summary
    if summary.median_ms is not None and summary.low_ms is not None and summary.high_ms is not None:
        ends = [summary.low_ms, summary.high_ms]
        axes.plot(ends, [bar, bar], "|-", color=palette.quiet, ms=16, mew=2, lw=2)
        if summary.median_interval_ms is not None:
            axes.plot(
                summary.median_interval_ms,
                [bar, bar],
                color=palette.middle,
                lw=10,
                solid_capstyle="butt",
                alpha=_FAINT,
            )
        axes.plot(
            summary.median_ms, bar, "D", ms=13, mfc=palette.middle, mec=palette.paper, mew=1.2
        )
    _say(axes, place, summary, palette)


def _say(axes: "Axes", place: int, summary: SummaryPart, palette: Palette) -> None:
    """Write the median and what belongs to it at the row's right end."""
    right = axes.get_yaxis_transform()
    axes.text(
        1.03,
        place - 0.02,
        words.milliseconds(summary.median_ms),
        transform=right,
        fontsize=_TEXT_PT + 5,
        fontweight="bold",
        color=palette.ink,
        va="bottom",
    )
    lines = [words.interval(summary.median_interval_ms)] if summary.median_interval_ms else []
    if summary.median_game_frames is not None:
        lines.append(words.game_frames(summary.median_game_frames))
    axes.text(
        1.03,
        place + 0.02,
        "\n".join(lines),
        transform=right,
        fontsize=_SMALL_PT,
        color=palette.quiet,
        va="top",
    )


def _dress(axes: "Axes", rows: Sequence[ChartRow], palette: Palette) -> None:
    labels = [f"{_wrapped(row.label)}\n{words.counts(row.summary)}" for row in rows]
    # A dollar sign in a name is no formula.
    axes.set_yticks(
        range(len(rows)), labels, fontsize=_TEXT_PT, color=palette.ink, parse_math=False
    )
    axes.set_xlabel(
        "span, from the lamp to the response, in milliseconds",
        fontsize=_TEXT_PT,
        color=palette.ink,
        labelpad=10,
    )
    axes.tick_params(axis="x", labelsize=_TEXT_PT, labelcolor=palette.ink, color=palette.quiet)
    axes.tick_params(axis="y", length=0, pad=16)
    axes.grid(axis="x", color=palette.rule, lw=1.2)
    axes.set_axisbelow(True)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(palette.quiet)
    for edge in range(1, len(rows)):
        axes.axhline(edge - 0.5, color=palette.rule, lw=1.2)


def _levels_said(rows: Sequence[ChartRow]) -> str:
    """Name the intervals' level where all rows share it."""
    said = {words.level(row.summary.interval_level) for row in rows if row.summary.interval_level}
    return f"{said.pop()} " if len(said) == 1 else ""


def _wrapped(label: str) -> str:
    """Break a label at its commas while they are few, else where it grows too long."""
    parts = label.split(", ")
    if len(parts) > 2:
        return textwrap.fill(label, _LABEL_CHARACTERS)
    return "\n".join(textwrap.fill(part, _LABEL_CHARACTERS) for part in parts)


def _legend(rows: Sequence[ChartRow], palette: Palette) -> "list[Line2D]":
    from matplotlib.lines import Line2D

    def dot(label: str, inside: str) -> Line2D:
        return Line2D(
            [],
            [],
            label=label,
            ls="none",
            marker="o",
            ms=_DOT_PT,
            mfc=inside,
            mec=palette.dot,
            mew=2,
        )

    middle = palette.middle
    return [
        dot("accepted press", palette.dot),
        dot("doubtful press", "none"),
        Line2D([], [], label="median", ls="none", marker="D", ms=12, mfc=middle, mec=palette.paper),
        Line2D([], [], label=f"its {_levels_said(rows)}interval", color=middle, lw=9, alpha=_FAINT),
        Line2D([], [], label="low to high", color=palette.quiet, lw=2),
    ]
