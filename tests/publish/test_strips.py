"""Which frames and which part of them a report shows: exact."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blinkspan.footage.frames import PictureFormat, TransferCurve
from blinkspan.publish.strips import frames_around, lamp_view, response_view, worth_showing
from blinkspan.traces.regions import Rectangle, Regions
from blinkspan.traces.trace import Trace

TRACE = Trace(np.zeros(100), np.arange(100) / 240)


@given(st.floats(0.0, 0.4))
def test_the_shown_frames_straddle_the_instant(at_s):
    shown = frames_around(TRACE, at_s)
    assert len(shown) <= 6
    assert TRACE.start_s[shown[0]] <= at_s
    assert TRACE.start_s[shown[-1]] > at_s
    if 2 / 240 <= at_s <= 96 / 240:
        assert [TRACE.start_s[i] <= at_s for i in shown] == [True] * 3 + [False] * 3


def test_the_ends_of_the_take_cut_the_strip():
    assert frames_around(TRACE, 0.001) == range(4)
    assert frames_around(TRACE, 99.5 / 240) == range(97, 100)


@given(
    st.integers(2, 300), st.integers(2, 300), st.integers(0, 339), st.integers(0, 59),
    st.sampled_from([(640, 360), (360, 640), (640, 640)]),
)  # fmt: skip
def test_a_view_lies_in_the_picture_and_holds_its_region(width, height, x, y, size):
    shape = PictureFormat(*size, 8, True, TransferCurve.SRGB)
    box = Rectangle(min(x, size[0] - width), min(y, size[1] - height), width, height)
    regions = Regions(box, None, box)
    for view in (lamp_view(regions, shape), response_view(regions, shape)):
        view.within(*size, "view")
        assert view.x <= box.x
        assert view.x + view.width >= box.x + width
        assert view.y <= box.y
        assert view.y + view.height >= box.y + height


@pytest.mark.parametrize(("most", "shown"), [(3, (4, 9, 13)), (5, (1, 2, 4, 9, 13))])
def test_what_a_person_must_judge_is_shown_first(document, most, shown):
    assert worth_showing(document.presses, most) == shown
