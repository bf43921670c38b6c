"""Regions and traces as drawings: exact places, parsed by the standard library's XML reader."""

import itertools
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from blinkspan.presses.press import Verdict
from blinkspan.publish.parts import BudgetPart, PressPart, RegionsPart, TakePart
from blinkspan.publish.region_drawing import draw_regions
from blinkspan.publish.trace_drawing import draw_traces
from blinkspan.traces.trace import Trace

TAKE = TakePart(
    name="quay.mp4", sha256="", codec="h264", width_px=640, height_px=360, bit_depth=8,
    frames=1, duration_s=1.0, rate_hz=240.0, rate_source="container", dropped_frames=0,
)  # fmt: skip

PRESS = PressPart(
    number=1, lamp_on_s=1.0, lamp_on_u_ms=0.3, lamp_off_s=None, lamp_off_u_ms=None,
    response_s=None, response_u_ms=0.6, response_row_px=165.0, span_ms=None, u_ms=0.7,
    net_ms=None, net_u_ms=None, verdict=Verdict.ACCEPTED, reason=None,
    budget=BudgetPart(leading=None, own_u_ms=0.0, terms=()),
)  # fmt: skip


def boxes(width: int, height: int):
    return st.tuples(st.integers(0, 620), st.integers(0, 340)).flatmap(
        lambda corner: st.tuples(
            st.just(corner[0]),
            st.just(corner[1]),
            st.integers(2, width - corner[0]),
            st.integers(2, height - corner[1]),
        )
    )


@given(boxes(640, 360), boxes(640, 360))
def test_names_stay_in_the_picture_and_off_each_other(lamp, watch):
    x, y, w, h = watch
    panel = ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
    regions = RegionsPart(lamp=lamp, panel=panel, watch=watch, proposed=("watch", "panel"))
    drawing = ElementTree.fromstring(draw_regions(TAKE, regions, b"still"))
    plates = [
        tuple(float(plate.get(side)) for side in ("x", "y", "width", "height"))
        for plate in drawing.iter("rect")
    ]
    assert len(plates) == 3
    for left, top, width, height in plates:
        assert left >= 0
        assert left + width <= 640.1
        assert top >= 0
        assert top + height <= 360.1
    for one, other in itertools.combinations(plates, 2):
        apart_x = one[0] + one[2] <= other[0] + 0.2 or other[0] + other[2] <= one[0] + 0.2
        apart_y = one[1] + one[3] <= other[1] + 0.2 or other[1] + other[3] <= one[1] + 0.2
        assert apart_x or apart_y


def test_what_the_program_proposed_is_marked_so(document):
    drawing = ElementTree.fromstring(draw_regions(document.take, document.regions, b"still"))
    names = [text.text for text in drawing.iter("text")]
    assert names == ["watched (proposed)", "lamp", "panel (proposed)"]
    assert "the program proposed: panel, watched" in drawing.get("aria-label")
    points = [p.get("points") for p in drawing.iter("polygon") if p.get("class") == "lamp"]
    assert points == ["70,300 94,300 94,320 70,320"]


def test_marks_stand_where_the_axis_says(document, measured):
    measurement, _ = measured
    press = document.presses[0]
    drawing = ElementTree.fromstring(
        draw_traces(press, measurement.lamp_trace, measurement.response_trace, 1 / 480)
    )
    ticks = {
        float(text.text.replace("\N{MINUS SIGN}", "-")): float(text.get("x"))
        for text in drawing.iter("text")
        if text.get("class") == "tick" and text.text != "ms"
    }
    assert len(ticks) >= 4
    scale = (max(ticks.values()) - min(ticks.values())) / (max(ticks) - min(ticks))
    marks = {
        path.get("class"): float(re.match(r"M([\d.]+)", path.get("d"))[1])
        for path in drawing.iter("path")
        if path.get("class").startswith("mark")
    }
    assert marks["mark lamp"] == pytest.approx(ticks[0], abs=0.11)
    assert marks["mark response"] == pytest.approx(ticks[0] + press.span_ms * scale, abs=0.3)
    bands = {b.get("class"): b for b in drawing.iter("rect")}
    assert float(bands["band response"].get("width")) == pytest.approx(
        4 * press.response_u_ms * scale, abs=0.3
    )
    # The lamp's line is at its lower level before the mark and at its upper one after it.
    line = next(p for p in drawing.iter("polyline") if p.get("class") == "lamp")
    points = [tuple(map(float, p.split(","))) for p in line.get("points").split()]
    before = [y for x, y in points if x < marks["mark lamp"] - 5 * scale]
    after = [y for x, y in points if marks["mark lamp"] + 5 * scale < x < marks["mark response"]]
    assert min(before) > max(after) + 50


def test_a_press_without_response_says_so(document, measured):
    measurement, _ = measured
    silent = document.presses[8]
    drawing = ElementTree.fromstring(
        draw_traces(silent, measurement.lamp_trace, measurement.response_trace, 1 / 480)
    )
    assert "no response found" in [text.text for text in drawing.iter("text")]
    assert not [p for p in drawing.iter("path") if p.get("class") == "mark response"]


@given(st.floats(-0.05, 3.0), st.floats(0.0, 20.0))
def test_every_label_and_line_stays_inside(span_s, level):
    press = replace(PRESS, response_s=1.0 + span_s, span_ms=1e3 * span_s)
    flat = Trace(np.full(2000, level), np.arange(2000) / 500)
    drawing = ElementTree.fromstring(draw_traces(press, flat, flat, 1 / 480))
    for text in drawing.iter("text"):
        # 8.6 px a letter is the widest of common bold sans serif at 15 px, about.
        width = 8.6 * len(text.text)
        start = {"end": -width, "middle": -width / 2}.get(text.get("text-anchor"), 0.0)
        assert float(text.get("x")) + start >= 0
        assert float(text.get("x")) + start + width <= 900
    for line in drawing.iter("polyline"):
        for x, y in (map(float, p.split(",")) for p in line.get("points").split()):
            assert 100 <= x <= 890
            assert 60 <= y <= 216
