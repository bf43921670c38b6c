"""Keeping a measurement: exact (store then load is identity, any values; the seal)."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst
from invented_takes import LAG_SETUP, LAG_STUDY, measured_take, write_clip

from blinkspan.errors import LibraryConflict
from blinkspan.library.runs import Inputs
from blinkspan.presses.measurement import CameraFindings, Measurement, TakeFacts
from blinkspan.presses.press import Press, Reason, Verdict
from blinkspan.profiles import DisplayProfile
from blinkspan.quantities import Budget, Measured, Term
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions
from blinkspan.traces.trace import Trace

reals = st.floats(allow_nan=False, allow_infinity=False)
measureds = st.builds(Measured, reals, reals.map(abs))
maybe = st.none() | measureds
words = st.text(max_size=30).filter(lambda text: "\x00" not in text)
wholes = st.integers(0, 2**31 - 1)
terms = st.builds(Term, words, reals.map(abs), st.booleans())


@st.composite
def presses(draw):
    count = draw(st.integers(0, 4))
    return tuple(
        Press(
            number=number,
            lamp_on=draw(measureds),
            lamp_off=draw(maybe),
            response=draw(maybe),
            response_row_px=draw(st.none() | reals),
            span=draw(maybe),
            net=draw(maybe),
            budget=Budget(tuple(draw(st.lists(terms, max_size=5)))),
            verdict=draw(st.sampled_from(Verdict)),
            reason=draw(st.none() | st.sampled_from(Reason)),
        )
        for number in range(1, count + 1)
    )


@st.composite
def traces(draw):
    n = draw(st.integers(0, 12))
    values = draw(npst.arrays(float, n, elements=reals))
    times = draw(st.lists(reals, min_size=n, max_size=n, unique=True).map(sorted))
    return Trace(values, np.array(times, dtype=float))


boxes = st.builds(Rectangle, wholes, wholes, wholes, wholes)
corners = st.tuples(reals, reals)
quadrilaterals = st.builds(Quadrilateral, st.tuples(corners, corners, corners, corners))
measurements = st.builds(
    Measurement,
    take=st.builds(
        TakeFacts,
        words,
        st.just("0" * 64),
        words,
        wholes,
        wholes,
        wholes,
        wholes,
        reals,
        reals,
        words,
        wholes,
    ),
    regions=st.builds(
        Regions, boxes, st.none() | quadrilaterals, boxes, st.lists(words, max_size=3).map(tuple)
    ),
    camera=st.builds(CameraFindings, measureds, words, measureds, words),
    display=st.builds(DisplayProfile, maybe, st.none() | reals, st.none() | reals),
    presses=presses(),
    unpaired_responses=st.lists(measureds, max_size=3).map(tuple),
    lamp_trace=traces(),
    response_trace=traces(),
    notes=st.lists(words, max_size=3).map(tuple),
)
serial = itertools.count()


def same(one: Measurement, other: Measurement) -> bool:
    for name in ("lamp_trace", "response_trace"):
        a, b = getattr(one, name), getattr(other, name)
        if a.values.tobytes() != b.values.tobytes() or a.start_s.tobytes() != b.start_s.tobytes():
            return False
    bare = {"lamp_trace": None, "response_trace": None}
    return replace(one, **bare) == replace(other, **bare)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(measurements)
def test_what_is_kept_comes_back_as_it_was(library, tmp_path, found):
    clip = write_clip(tmp_path / f"take {next(serial)}.mp4", next(serial) + 1_000_000)
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    take = library.add_take(clip, setup).take
    found = replace(found, take=replace(found.take, sha256=take.sha256))
    run = library.keep_run(take, found, Inputs("0.1.0", {}))
    assert same(library.measurement(run), found)


def test_values_of_arrays_are_kept_like_plain_ones(library, tmp_path):
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    take = library.add_take(write_clip(tmp_path / "a.mp4", 1), setup).take
    found = measured_take(tmp_path / "a.mp4")
    first = found.presses[0]
    odd = replace(
        found,
        take=replace(found.take, frames=np.int64(found.take.frames), rate_hz=np.float64(240)),
        presses=(replace(first, number=np.int64(1), lamp_on=Measured(np.float64(0.1), 0.0004)),),
    )
    run = library.keep_run(take, odd, Inputs("0.1.0", {"rate": np.float64(240.0)}))
    assert same(library.measurement(run), odd)
    assert run.parameters == {"rate": 240.0}


def test_a_run_without_its_traces_asks_for_them_to_be_built_again(library, tmp_path):
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    take = library.add_take(write_clip(tmp_path / "a.mp4", 1), setup).take
    run = library.keep_run(take, measured_take(tmp_path / "a.mp4"), Inputs("0.1.0", {}))
    (cached,) = (library.folder / "cache").rglob("*.npz")
    cached.write_bytes(cached.read_bytes()[:-400])
    assert library.measurement(run) is None
    cached.unlink()
    assert library.measurement(run) is None
    assert len(library.presses(take=take)) == 4


def test_a_measurement_of_another_file_is_refused(library, tmp_path):
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    take = library.add_take(write_clip(tmp_path / "a.mp4", 1), setup).take
    other = measured_take(write_clip(tmp_path / "b.mp4", 2))
    with pytest.raises(LibraryConflict, match="of another file than the take"):
        library.keep_run(take, other, Inputs("0.1.0", {}))
    assert library.runs(take) == ()


def test_frames_of_the_measured_instants_are_those_whose_exposure_holds_them(library, tmp_path):
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    take = library.add_take(write_clip(tmp_path / "a.mp4", 1), setup).take
    found = measured_take(tmp_path / "a.mp4")
    library.keep_run(take, found, Inputs("0.1.0", {}))
    for kept in library.presses(take=take):
        start_s = found.lamp_trace.start_s
        at_s = kept.press.lamp_on.value
        assert start_s[kept.lamp_on_frame] <= at_s < start_s[kept.lamp_on_frame + 1]


@pytest.mark.parametrize(
    "change",
    [
        {"program_version": "0.2.0"},
        {"parameters": {"capture_rate": 120}},
        {"regions": Regions(Rectangle(1, 2, 3, 4), None, Rectangle(5, 6, 7, 8))},
        {"display": DisplayProfile(Measured(0.012, 0.001))},
    ],
)
def test_a_fingerprint_changes_with_each_thing_that_changes_numbers(change):
    asked = Inputs("0.1.0", {"capture_rate": 240})
    assert replace(asked, **change).fingerprint != asked.fingerprint
    assert Inputs("0.1.0", {"capture_rate": 240}).fingerprint == asked.fingerprint
