"""The chart: exact (what is drawn where), nothing clipped or overlapping; second readers judge."""

import io
import itertools
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from PIL import Image

from blinkspan.publish.charts import (
    VIDEO_PX,
    ChartRow,
    chart_row,
    fitting_px,
    levels,
    span_chart,
    to_png,
    to_svg,
)
from blinkspan.publish.palette import DARK, LIGHT


@pytest.fixture
def row(document):
    return chart_row("Console A, 60 frames a second", document.presses, document.summary)


def texts_of(figure):
    """Return every text that is drawn with its box in pixels."""
    from matplotlib.text import Text

    figure.draw_without_rendering()
    return [
        (text.get_text(), text.get_window_extent())
        for text in figure.findobj(Text)
        if text.get_visible() and text.get_text().strip()
    ]


def test_every_accepted_and_doubtful_press_is_a_dot_and_rejected_ones_are_counted(row, document):
    axes = span_chart([row]).axes[0]
    full, hollow = (line for line in axes.lines if line.get_marker() == "o")
    assert sorted(full.get_xdata()) == sorted(row.accepted_ms)
    assert len(row.accepted_ms) == 12
    assert sorted(hollow.get_xdata()) == sorted(
        p.span_ms for p in document.presses if p.verdict == "doubtful"
    )
    assert hollow.get_markerfacecolor() == "none"
    assert full.get_markerfacecolor() == LIGHT.dot
    assert "n = 12, 2 doubtful, 1 rejected" in axes.get_yticklabels()[0].get_text()


def test_median_interval_and_ends_stand_at_their_numbers(row):
    axes = span_chart([row]).axes[0]
    summary = row.summary
    (middle,) = (line for line in axes.lines if line.get_marker() == "D")
    assert list(middle.get_xdata()) == [summary.median_ms]
    (ends,) = (line for line in axes.lines if line.get_marker() == "|")
    assert list(ends.get_xdata()) == [summary.low_ms, summary.high_ms]
    (interval,) = (line for line in axes.lines if line.get_linewidth() == 10)
    assert tuple(interval.get_xdata()) == summary.median_interval_ms


@pytest.mark.parametrize("rows", [1, 4, 5, 9])
@pytest.mark.parametrize("label", ["A", "A console with a name that goes on, 120 frames a second"])
def test_no_text_is_clipped_or_covers_another(row, rows, label):
    figure = span_chart(
        [
            ChartRow(f"{label} {i}", row.accepted_ms, row.doubtful_ms, row.summary)
            for i in range(rows)
        ],
        title="From the button to the screen",
    )
    boxes = [box for _, box in texts_of(figure)]
    assert len(boxes) > 3 * rows
    width, height = figure.bbox.size
    for box in boxes:
        assert box.x0 >= 0
        assert box.y0 >= 0
        assert box.x1 <= width
        assert box.y1 <= height
    for one, other in itertools.combinations(boxes, 2):
        assert not one.overlaps(other)


def test_the_picture_fills_a_video_and_letters_are_large(row):
    figure = span_chart([row] * 3, title="Spans")
    assert Image.open(io.BytesIO(to_png(figure))).size == VIDEO_PX == (1920, 1080)
    # 1080p video is read at 1/45 of its height and above (our own rule).
    smallest = min(t.get_fontsize() * 120 / 72 for t in figure.axes[0].get_yticklabels())
    assert smallest >= 1080 / 45


def test_more_setups_make_a_higher_picture():
    assert fitting_px(9)[1] > fitting_px(5)[1]
    assert fitting_px(9)[0] == 1920


def test_the_svg_is_whole_and_the_same_twice(row):
    drawing = to_svg(span_chart([row]))
    assert drawing == to_svg(span_chart([row]))
    root = ElementTree.fromstring(drawing)
    assert root.get("viewBox") == "0 0 1152 648"  # 1920 x 1080 at 120 to the inch, in points
    assert LIGHT.dot.encode() in drawing
    assert b"<text" not in drawing


def test_dark_uses_the_dark_palette_alone(row):
    drawing = to_svg(span_chart([row], palette=DARK)).decode()
    assert DARK.paper in drawing
    assert LIGHT.ink not in drawing


def test_a_name_is_no_formula(row):
    named = ChartRow("$x^2$ \\alpha", row.accepted_ms, row.doubtful_ms, row.summary)
    labels = span_chart([named], title="10 $ and 20 $").axes[0].get_yticklabels()
    assert labels[0].get_text().startswith("$x^2$ \\alpha")
    assert not labels[0].get_parse_math()


def test_a_setup_without_accepted_presses_keeps_its_row(row):
    nothing = replace(
        row.summary, n=0, median_ms=None, median_interval_ms=None, low_ms=None, high_ms=None,
        median_game_frames=None,
    )  # fmt: skip
    figure = span_chart([ChartRow("none", (), (80.0,), nothing), ChartRow("no", (), (), nothing)])
    said = [text for text, _ in texts_of(figure)]
    assert "–" in said
    assert any(text.startswith("none\nn = 0") for text in said)


@given(st.lists(st.floats(0, 50), max_size=60), st.floats(0.1, 10))
def test_dots_on_a_level_keep_apart(values, apart):
    chosen = levels(values, apart)
    for level in set(chosen):
        same = sorted(v for v, on in zip(values, chosen, strict=True) if on == level)
        assert np.all(np.diff(same) >= apart)
    # No dot stands higher than the others near it force it to.
    for value, on in zip(values, chosen, strict=True):
        near = sum(abs(other - value) < apart for other in values) - 1
        assert on <= near
