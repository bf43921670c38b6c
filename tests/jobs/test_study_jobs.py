"""Measured takes to the answers of a study: exact (what is shared), whole job on JSON files."""

import json
import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from click.testing import CliRunner

from blinkspan.cli.explain import explain as explain_command
from blinkspan.cli.ladder import ladder as ladder_command
from blinkspan.cli.matrix import matrix as matrix_command
from blinkspan.cli.retests import retests as retests_command
from blinkspan.errors import BadSample, BadSetting, UnreadableTake
from blinkspan.jobs.explain import Known, explain
from blinkspan.jobs.ladder import ladder
from blinkspan.jobs.matrix import matrix
from blinkspan.jobs.retests import retests
from blinkspan.jobs.title_modes import read_modes
from blinkspan.presses.measurement import CameraFindings, Measurement, TakeFacts
from blinkspan.presses.press import Press, Verdict
from blinkspan.profiles import DisplayProfile
from blinkspan.publish.document import document_of, to_json
from blinkspan.quantities import Budget, Measured, Term
from blinkspan.study.pipeline import Pipeline
from blinkspan.study.pipeline_events import simulate_spans
from blinkspan.study.summary import Summary
from blinkspan.traces.regions import Quadrilateral, Rectangle, Regions
from blinkspan.traces.trace import Trace

CAMERA = CameraFindings(Measured(2e-3, 1e-4), "given", Measured(3e-3, 1e-4), "given")
PANEL = Quadrilateral(((100.0, 50.0), (500.0, 50.0), (500.0, 250.0), (100.0, 250.0)))
EMPTY = Summary(0, 0, 0, None, None, None, None, None, None, None)
CONDITIONS = {"title": "Lantern Quay", "platform": "Aldra"}
MIDDLE_PX = 150.0


def press_of(number, span_s, lag_s, shutter_u_s, row_px):
    on, span = Measured(float(number), 3e-4), Measured(float(span_s), 7e-4)
    budget = Budget(
        (
            Term("lamp onset", 3e-4),
            Term("response onset", 5e-4),
            Term("panel step", 2e-4, shared=True),
            Term("rolling shutter", shutter_u_s, shared=True),
        )
    )
    return Press(
        number=number,
        lamp_on=on,
        lamp_off=None,
        response=on + span,
        response_row_px=row_px,
        span=span,
        net=None if lag_s is None else span - lag_s,
        budget=budget,
        verdict=Verdict.ACCEPTED,
        reason=None,
    )


@pytest.fixture
def measured(tmp_path):
    """Return a maker of measured takes, played event by event, as JSON files."""

    def make(
        name,
        fps,
        queued,
        *,
        n=20,
        seed=1,
        lag=None,
        refresh_hz=60.0,
        rate_told=True,
        shutter_u_s=4e-4,
        camera=CAMERA,
        conditions=CONDITIONS,
        row_px=MIDDLE_PX,
        reject=0,
        panel=PANEL,
    ):
        rng = np.random.default_rng(seed)
        pipeline = Pipeline(
            1 / fps, queued, 1 / (refresh_hz or 60.0), 0.0, 4e-3, 0.02, row_fraction=0.5
        )
        spans = simulate_spans(pipeline, n, rng) + rng.normal(0.0, 5e-4, n)
        presses = [press_of(i + 1, span, lag, shutter_u_s, row_px) for i, span in enumerate(spans)]
        presses[:reject] = [replace(p, verdict=Verdict.REJECTED) for p in presses[:reject]]
        trace = Trace(np.zeros(3), np.arange(3) / 240)
        measurement = Measurement(
            take=TakeFacts(f"{name}.mp4", "0" * 64, "h264", 640, 360, 8, 99, 1.0, 240.0, "x", 0),
            regions=Regions(Rectangle(0, 0, 9, 9), panel, Rectangle(200, 100, 50, 100)),
            camera=camera,
            display=DisplayProfile(lag, refresh_hz, float(fps) if rate_told else None),
            presses=tuple(presses),
            unpaired_responses=(),
            lamp_trace=trace,
            response_trace=trace,
            notes=(),
        )
        path = tmp_path / f"{name}.json"
        path.write_bytes(to_json(document_of(measurement, EMPTY, conditions)))
        return path

    return make


def test_modes_are_sorted_out_by_the_games_rate(measured):
    takes = [measured("a", 60, 2), measured("b", 30, 2, n=12), measured("c", 60, 2, seed=2)]
    modes = read_modes(takes)
    assert [(mode.name, mode.n) for mode in modes.samples] == [("30 fps", 12), ("60 fps", 40)]
    assert modes.samples[1].frame_s == pytest.approx(1 / 60)
    assert modes.baseline is None


def test_spans_lose_their_scan_out_and_net_latencies_have_none(measured):
    spans = read_modes([measured("a", 60, 2)])
    # CTA-861 HD formats: mid-screen comes 8.0 ms into a refresh of 60 Hz
    assert spans.samples[0].scanout_s == pytest.approx(8e-3)
    assert "Spans are used" in spans.notes[0]
    net = read_modes([measured("b", 60, 2, lag=Measured(0.021, 1e-3))])
    assert net.samples[0].scanout_s == 0.0
    assert "Net latencies are used" in net.notes[0]
    difference = spans.samples[0].latency_s.mean() - net.samples[0].latency_s.mean()
    assert difference == pytest.approx(0.021, abs=1e-6)
    top = read_modes([measured("c", 60, 2, row_px=50.0)])
    assert top.samples[0].scanout_s == 0.0


def test_scan_out_that_is_not_known_for_all_is_left_in_and_said(measured):
    modes = read_modes([measured("a", 60, 2), measured("b", 120, 2, refresh_hz=None)])
    assert [mode.scanout_s for mode in modes.samples] == [0.0, 0.0]
    assert any("passes for part of a queued frame" in note for note in modes.notes)
    outside = read_modes([measured("c", 60, 2, row_px=400.0)])
    assert outside.samples[0].scanout_s == 0.0


def test_what_one_camera_and_one_panel_err_by_is_shared(measured):
    lag = Measured(0.021, 1e-3)
    modes = read_modes([measured("a", 60, 2, lag=lag), measured("b", 30, 2, lag=lag)])
    assert modes.shared_u_s == pytest.approx(math.hypot(1e-3, 4e-4))
    # the panel's step is fitted in every take anew
    assert [mode.mode_u_s for mode in modes.samples] == pytest.approx([2e-4, 2e-4])
    assert modes.samples[0].own_u_s[0] == pytest.approx(math.hypot(3e-4, 5e-4), rel=1e-3)


def test_what_two_cameras_or_two_lags_err_by_is_not(measured):
    other = CameraFindings(Measured(1e-3, 1e-4), "given", Measured(3e-3, 1e-4), "given")
    lag = Measured(0.021, 1e-3)
    apart = read_modes([measured("a", 60, 2, lag=lag), measured("b", 30, 2, lag=lag, camera=other)])
    assert apart.shared_u_s == pytest.approx(1e-3)
    assert apart.samples[0].mode_u_s == pytest.approx(math.hypot(2e-4, 4e-4))
    lags = [measured("c", 60, 2, lag=lag), measured("d", 30, 2, lag=Measured(0.02, 3e-3))]
    modes = read_modes(lags)
    assert modes.shared_u_s == pytest.approx(4e-4)
    assert modes.samples[0].mode_u_s == pytest.approx(math.hypot(2e-4, 3e-3))


def test_a_larger_shared_term_errs_by_the_rest_alone(measured):
    modes = read_modes([measured("a", 60, 2), measured("b", 30, 2, shutter_u_s=5e-4)])
    assert modes.shared_u_s == pytest.approx(4e-4)
    assert modes.samples[0].mode_u_s == pytest.approx(math.hypot(2e-4, 3e-4))  # 3, 4, 5


def test_rejected_presses_do_not_count(measured):
    assert read_modes([measured("a", 60, 2, reject=5)]).samples[0].n == 15


def test_the_ladder_command_tells_queue_and_fixed_part(measured):
    takes = [str(measured("a", 60, 2)), str(measured("b", 30, 2, rate_told=False))]
    rates = ["--game-rate", "60", "--game-rate", "30"]
    shown = CliRunner().invoke(ladder_command, [*takes, *rates])
    assert shown.exit_code == 0
    assert "If all modes queue alike, it is 2 queued frames." in shown.output.replace("\n", " ")
    told = CliRunner().invoke(ladder_command, [*takes, *rates, "--json", "-"])
    answer = json.loads(told.stdout)
    assert answer["schema"] == "blinkspan.ladder/1"
    assert answer["files"] == ["a.json", "b.json"]
    assert answer["whole_frames"] == [2]
    # 20 ms of system and half a 4 ms poll
    fixed = answer["fixed_ms"]
    assert fixed["low"] <= 22.0 <= fixed["high"]


def test_the_explain_command_writes_what_it_shows(measured, tmp_path):
    takes = [str(measured(f"{fps}", fps, 2)) for fps in (30, 60)]
    menu = measured("menu", 60, 1)
    target = tmp_path / "answer.json"
    options = ["--alike", "--poll", "4", "--baseline", str(menu), "--json", str(target)]
    shown = CliRunner().invoke(explain_command, [*takes, *options])
    assert shown.exit_code == 0
    text = " ".join(shown.output.split())
    assert "Queued frames: 2 in every mode" in text
    assert "60 fps takes" in text
    assert "more than the menu" in text
    answer = json.loads(target.read_text())
    assert answer["schema"] == "blinkspan.explain/1"
    assert answer["queue"]["queues"][0]["frames"] == {"60 fps": 2, "30 fps": 2}
    above = answer["above_baseline"][0]["above_ms"]
    assert above["low"] <= 1e3 / 60 <= above["high"]
    assert "All modes are held to queue as many frames." in answer["notes"]


def test_one_mode_is_explained_with_a_known_fixed_part(measured):
    takes = [measured("a", 60, 2)]
    alone, notes = explain(takes, Known())
    assert not alone.queue.told
    assert any("1, 2, 4, 8 ms are taken as equally probable" in note for note in notes)
    known, _ = explain(takes, Known(poll_ms=4.0, fixed_ms=20.0, fixed_u_ms=2.0))
    assert known.queue.told
    assert known.queue.queues[0] == (2,)


@pytest.mark.parametrize(
    ("known", "refusal"),
    [
        (Known(wireless=True), "give it with --poll"),
        (Known(wireless=True, poll_ms=0.0), "a wireless interval of 0 ms cannot be"),
        (Known(poll_ms=math.nan), "a link poll every nan ms cannot be"),
        (Known(scan_ms=-1.0), "a control scan every -1 ms cannot be"),
        (Known(free_refresh_hz=0.0), "a refresh of 0 Hz cannot be"),
        (Known(fixed_ms=20.0), "give --fixed and --fixed-u"),
        (Known(fixed_ms=20.0, fixed_u_ms=0.0), "give 0 to 1000 ms"),
    ],
)
def test_what_cannot_be_known_is_refused(measured, known, refusal):
    with pytest.raises(BadSetting, match=refusal):
        explain([measured("a", 60, 2)], known)


def test_files_that_make_no_title_are_refused(measured, tmp_path):
    good = measured("good", 60, 2)
    with pytest.raises(UnreadableTake, match="there is no such file"):
        ladder([tmp_path / "nowhere.json"])
    with pytest.raises(UnreadableTake, match="it cannot be read"):
        ladder([tmp_path])
    (tmp_path / "bad.json").write_text("[1]")
    with pytest.raises(BadSetting, match=r"bad\.json: this is not a take document"):
        ladder([tmp_path / "bad.json"])
    with pytest.raises(BadSetting, match="2 game rates for 1 files"):
        ladder([good], game_rates_hz=[30.0, 60.0])
    with pytest.raises(BadSetting, match="does not say the game's rate; give it with --game-rate"):
        ladder([measured("silent", 60, 2, rate_told=False)])
    with pytest.raises(BadSetting, match="a game rate of 0 Hz cannot be"):
        ladder([good], game_rates_hz=[0.0])
    with pytest.raises(BadSample, match="has no accepted press"):
        ladder([measured("none", 60, 2, n=4, reject=4)])
    other = measured("other", 30, 2, conditions={**CONDITIONS, "title": "Salt Ferry"})
    with pytest.raises(BadSetting, match=r"of title Lantern Quay and .* of Salt Ferry"):
        ladder([good, other])
    with pytest.raises(BadSample, match="two or more frame rates"):
        ladder([good])


def test_the_matrix_command_pairs_platforms_by_title(measured):
    takes = []
    for index, title in enumerate(("Lantern Quay", "Salt Ferry", "Low Orchard")):
        for platform, queued in (("Aldra", 3), ("Borel", 2)):
            of = {"title": title, "platform": platform}
            seed = 10 * index + queued
            takes.append(str(measured(f"{platform}{index}", 60, queued, conditions=of, seed=seed)))
    named = ["--first", "Aldra", "--second", "Borel"]
    shown = CliRunner().invoke(matrix_command, [*takes, *named])
    assert shown.exit_code == 0
    assert "Aldra is slower than Borel by" in " ".join(shown.output.split())
    told = CliRunner().invoke(matrix_command, [*takes, *named, "--json", "-"])
    answer = json.loads(told.stdout)
    assert answer["schema"] == "blinkspan.matrix/1"
    assert list(answer["by_title_ms"]) == ["Lantern Quay", "Low Orchard", "Salt Ferry"]
    assert answer["filmed_ms"]["low"] <= 1e3 / 60 <= answer["filmed_ms"]["high"]
    assert list(answer["by_mode_ms"]) == ["60 fps"]


def test_the_matrix_needs_takes_that_say_what_they_are_of(measured):
    nameless = measured("nameless", 60, 2, conditions={})
    with pytest.raises(BadSetting, match="does not say its platform"):
        matrix([nameless], "Aldra", "Borel")
    with pytest.raises(BadSample, match="share no title and mode"):
        matrix([measured("a", 60, 2)], "Aldra", "Borel")
    with pytest.raises(BadSample, match="share no title and mode"):
        matrix([measured("b", 60, 2)], "Corvid", "Borel")


def test_the_retests_command_follows_builds(measured):
    takes = [str(measured(f"shot{n}", 60, k, seed=n)) for n, k in enumerate((3, 2, 2))]
    days = [part for day in (1, 8, 15) for part in ("--on", f"2031-05-{day:02d}")]
    builds = [part for build in ("1.0", "1.1", "1.1") for part in ("--build", build)]
    shown = CliRunner().invoke(retests_command, [*takes, *days, *builds])
    assert shown.exit_code == 0
    text = " ".join(shown.output.split())
    assert "quicker than 1.0 of 2031-05-01" in text
    assert "1.1 of 2031-05-15 agrees with 1.1 of 2031-05-08" in text
    told = CliRunner().invoke(retests_command, [*takes, *days, *builds, "--json", "-"])
    first, second = json.loads(told.stdout)["changes"]
    assert first["shift_ms"]["low"] <= -1e3 / 60 <= first["shift_ms"]["high"] < 0.0
    assert not second["disagrees"]


def test_retests_must_be_of_one_setup_with_a_day_each(measured):
    takes = [measured("a", 60, 2), measured("b", 60, 2)]
    day = date(2031, 5, 1)
    with pytest.raises(BadSetting, match="1 dates for 2 files; give one for each"):
        retests(takes, [day])
    with pytest.raises(BadSetting, match="does not say its build; give it with --build"):
        retests(takes, [day, day])
    with pytest.raises(BadSetting, match="nan ms from session to session"):
        retests(takes, [day, day], builds=["1", "2"], session_u_ms=math.nan)
    other = measured("c", 60, 2, conditions={**CONDITIONS, "title": "Salt Ferry"})
    with pytest.raises(BadSetting, match="give takes of one title"):
        retests([takes[0], other], [day, day], builds=["1", "2"])
