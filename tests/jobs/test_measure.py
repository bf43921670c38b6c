"""The measuring job: known footage in memory and in a file alike; exact sums of its summary."""

import math
from dataclasses import replace

import numpy as np
import pytest

from blinkspan.jobs.film_room import film_room
from blinkspan.jobs.measure import MeasuredTake, Progress, measure_take
from blinkspan.jobs.measure_settings import MeasureSettings
from blinkspan.jobs.take_summary import summary_of
from blinkspan.presses.press import Press, Reason, Verdict
from blinkspan.profiles import DisplayProfile
from blinkspan.quantities import Budget, Measured, Term
from blinkspan.stage.against_truth import against_truth
from blinkspan.stage.truth import Truth


def settings_for(truth: Truth) -> MeasureSettings:
    return MeasureSettings(
        lamp=truth.lamp,
        panel=truth.panel,
        watch=truth.watch,
        refresh_hz=truth.refresh_hz,
        game_rate_hz=truth.game_rate_hz,
    )


def steps_of(path, settings, **more) -> tuple[list[Progress], MeasuredTake]:
    *progress, measured = measure_take(path, settings, **more)
    return progress, measured


def test_a_take_measures_alike_in_memory_and_in_a_file(small_take, monkeypatch):
    settings = settings_for(small_take.truth)
    _, in_memory = steps_of(small_take.path, settings)
    monkeypatch.setattr("blinkspan.jobs.measure.film_room", lambda: film_room(most_in_memory=0))
    progress, in_file = steps_of(small_take.path, settings, threads=1, pictures=True)
    assert in_file.measurement.presses == in_memory.measurement.presses
    assert in_file.document == in_memory.document
    score = against_truth(in_file.measurement.presses, small_take.truth)
    assert (score.found, score.invented, score.missed_told, score.unanswered) == (6, 0, 1, 0)
    assert score.rmse_ms < 1.5

    reading = [step.done for step in progress if step.doing == "reading"]
    assert reading == sorted(reading)
    assert {step.of for step in progress if step.doing == "reading"} == {small_take.truth.frames}
    assert in_memory.pictures is None
    assert in_file.pictures is not None
    shown = {strip.number: strip for strip in in_file.pictures.strips}
    assert set(shown) == {1, 2, 3, 4, 5, 6}
    assert (len(shown[1].lamp_frames), len(shown[1].response_frames)) == (6, 6)
    assert shown[4].response_frames == ()  # the press without a response


def test_conditions_and_the_doubt_left_out_are_in_the_document(small_take):
    settings = settings_for(small_take.truth)
    known = MeasureSettings(
        lamp=settings.lamp, panel=settings.panel, watch=settings.watch, lag_ms=12.0,
        readout_ms=3.4, exposure_ms=2.083,
    )  # fmt: skip
    _, measured = steps_of(small_take.path, known, conditions={"title": "Lantern Quay"})
    document = measured.document
    assert document.conditions == {"title": "Lantern Quay"}
    assert (document.camera.readout_ms, document.camera.readout_u_ms) == (3.4, 0.068)
    assert (document.camera.exposure_source, document.camera.readout_source) == ("given", "given")
    assert "The display lag was given without its uncertainty" in " ".join(document.notes)


def press(number, span_ms, own_u_ms, verdict=Verdict.ACCEPTED):
    """Return a press with a shared doubt of 0.3 and 0.4 ms."""
    terms = (
        Term("lamp onset", own_u_ms / 1e3),
        Term("rolling shutter", 0.3e-3, shared=True),
        Term("panel step", 0.4e-3, shared=True),
    )
    span = None if span_ms is None else Measured(span_ms / 1e3, Budget(terms).u_s)
    reason = None if verdict is Verdict.ACCEPTED else Reason.NO_RESPONSE
    at = Measured(float(number), 1e-4)
    return Press(number, at, None, None, None, span, None, Budget(terms), verdict, reason)


def test_the_summary_counts_accepted_presses_and_shares_what_they_share():
    spans = [50.0, 52.0, 54.0, 56.0, 58.0, 60.0, 62.0, 64.0]
    presses = [press(n, ms, 0.2) for n, ms in enumerate(spans, start=1)]
    presses.append(press(9, 500.0, 0.2, Verdict.DOUBTFUL))
    presses.append(press(10, None, 0.2, Verdict.REJECTED))
    lag = Measured(0.010, 0.0012)
    summary, net = summary_of(tuple(presses), DisplayProfile(lag_s=lag, game_rate_hz=50.0))
    assert (summary.n, summary.doubtful, summary.rejected) == (8, 1, 1)
    assert (summary.low_ms, summary.high_ms) == (50.0, 64.0)
    assert summary.spread_ms == pytest.approx(np.std(spans, ddof=1))
    assert summary.median_ms.value == pytest.approx(57.0, abs=0.2)
    assert summary.median_game_frames.value == pytest.approx(summary.median_ms.value / 20.0)
    assert net is not None
    assert net.median_ms.value == pytest.approx(summary.median_ms.value - 10.0)
    # Shared doubts (0.5 ms, with the lag's 1.3 ms) widen the interval in quadrature.
    z = 1.959964
    reach = summary.median_ms.high - summary.median_ms.value
    wider = net.median_ms.high - net.median_ms.value
    assert wider**2 - reach**2 == pytest.approx((z * 1.2) ** 2, rel=0.02)


def test_without_a_lag_there_is_no_net_and_without_presses_no_median():
    summary, net = summary_of((press(1, None, 0.2, Verdict.DOUBTFUL),), DisplayProfile())
    assert net is None
    assert (summary.n, summary.doubtful, summary.median_ms) == (0, 1, None)
    assert math.isclose(summary_of((press(1, 40.0, 0.2),), DisplayProfile())[0].low_ms, 40.0)


def test_slow_motion_that_does_not_say_so_is_suspected(small_take, tmp_path):
    """The same film without its tag, as a camera that writes none would leave it."""
    tagless = tmp_path / "tagless.mp4"
    tagless.write_bytes(small_take.path.read_bytes().replace(b"com.android.capture.fps", b"x" * 23))
    settings = settings_for(small_take.truth)
    _, suspected = steps_of(tagless, settings)
    assert suspected.measurement.take.rate_hz == 30
    assert any("give --capture-rate" in note for note in suspected.measurement.notes)
    _, told = steps_of(tagless, replace(settings, capture_rate_hz=240.0))
    assert told.measurement.take.rate_hz == 240
    assert not any("--capture-rate" in note for note in told.measurement.notes)
    rmse_ms = against_truth(told.measurement.presses, small_take.truth).rmse_ms
    assert rmse_ms is not None
    assert rmse_ms < 1.5
