"""Summary, compare and plan on measured takes: exact (what is shared), whole job on JSON files."""

import io
import json
import math

import numpy as np
import pytest
from click.testing import CliRunner
from rich.console import Console

from blinkspan.cli.main import main
from blinkspan.cli.setup_table import setup_table
from blinkspan.errors import BadSample, BadSetting, UnreadableTake
from blinkspan.jobs.compare import compare
from blinkspan.jobs.plan import Wishes, plan
from blinkspan.jobs.setups import read_setups
from blinkspan.presses.measurement import CameraFindings, Measurement, TakeFacts
from blinkspan.presses.press import Press, Reason, Verdict
from blinkspan.profiles import DisplayProfile
from blinkspan.publish.document import document_of, to_json
from blinkspan.quantities import Budget, Measured, Term
from blinkspan.study.comparison import Answer
from blinkspan.study.phrases import told
from blinkspan.study.summary import summarise
from blinkspan.traces.regions import Rectangle, Regions
from blinkspan.traces.trace import Trace

CAMERA = CameraFindings(Measured(2e-3, 1e-4), "given", Measured(3e-3, 1e-4), "given")
LAG = Measured(0.013, 1.5e-3)
SHUTTER_U_MS = 0.4


def press(number, span_ms, lag, accepted):
    span = Measured(1e-3 * span_ms, 7e-4)
    on = Measured(float(number), 3e-4)
    return Press(
        number=number,
        lamp_on=on,
        lamp_off=None,
        response=on + span,
        response_row_px=200.0,
        span=span,
        net=None if lag is None else span - lag,
        budget=Budget(
            (
                Term("lamp onset", 3e-4),
                Term("response onset", 4e-4),
                Term("panel step", 2e-4, shared=True),
                Term("rolling shutter", 1e-3 * SHUTTER_U_MS, shared=True),
            )
        ),
        verdict=Verdict.ACCEPTED if accepted else Verdict.DOUBTFUL,
        reason=None if accepted else Reason.WEAK_RESPONSE,
    )


@pytest.fixture
def take(tmp_path):
    """Return a maker of measured takes whose presses wait evenly for a game frame."""
    made = []

    def make(
        name,
        middle_ms,
        *,
        n=16,
        lag=LAG,
        rate_hz=60.0,
        conditions=None,
        camera=CAMERA,
        lamp_top_px=10,
        doubtful=0,
        spans_ms=None,
    ):
        made.append(name)
        rng = np.random.default_rng(len(made))
        half = 500.0 / (rate_hz or 60.0)
        spans = middle_ms + rng.uniform(-half, half, n) if spans_ms is None else spans_ms
        presses = tuple(press(i + 1, s, lag, i >= doubtful) for i, s in enumerate(spans))
        facts = TakeFacts(
            f"{name}.mp4", f"{len(made):064d}", "h264", 640, 360, 8, 9, 1.0, 240.0, "x", 0
        )
        measurement = Measurement(
            take=facts,
            regions=Regions(Rectangle(0, lamp_top_px, 9, 9), None, Rectangle(200, 150, 50, 100)),
            camera=camera,
            display=DisplayProfile(lag, 60.0, rate_hz),
            presses=presses,
            unpaired_responses=(),
            lamp_trace=Trace(np.zeros(3), np.arange(3) / 240),
            response_trace=Trace(np.zeros(3), np.arange(3) / 240),
            notes=(),
        )
        path = tmp_path / f"{name}.json"
        path.write_bytes(to_json(document_of(measurement, summarise([], 0.0), conditions)))
        return path

    return make


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def test_takes_that_state_the_same_conditions_are_one_setup(take):
    one = {"title": "Lantern Quay", "mode": "60 fps"}
    other = {"title": "Lantern Quay", "mode": "30 fps"}
    setups, notes = read_setups(
        [
            take("a", 60.0, conditions=one),
            take("b", 80.0, conditions=other, n=9, rate_hz=30.0, doubtful=2),
            take("c", 60.0, conditions=one, n=5),
        ]
    )
    assert [(s.sample.name, s.summary.n) for s in setups] == [("60 fps", 21), ("30 fps", 7)]
    assert setups[1].summary.doubtful == 2
    assert [s.game_rate_hz for s in setups] == [60.0, 30.0]
    assert notes == ("Net latencies are used: the display's lag is taken off.",)


def test_a_setup_is_named_after_what_tells_it_apart_and_no_more(take):
    one = {"title": "Lantern Quay", "mode": "60 fps", "display": "panel A", "spot": "at the quay"}
    other = one | {"mode": "30 fps", "display": "panel B"}
    files = [take("a", 60.0, conditions=one), take("b", 80.0, conditions=other, lag=None)]
    setups, notes = read_setups(files)
    assert [s.sample.name for s in setups] == ["60 fps", "30 fps"]
    assert "The setups differ in display as well, which their names leave out." in notes
    assert any("a difference may be the displays'" in note for note in notes)
    (alone,), notes = read_setups([take("c", 60.0, conditions=one)])
    assert alone.sample.name == "Lantern Quay, 60 fps"
    assert len(notes) == 1
    _, notes = read_setups(files, ["X", "Y"])
    assert not any("names leave out" in note for note in notes)


def test_presses_left_out_are_told(take):
    shown = run("summary", take("a", 60.0, n=8, doubtful=2)).output
    assert "a: 2 doubtful presses are not in these numbers." in shown
    assert "not in these numbers" not in run("summary", take("c", 60.0, n=8)).output


def test_a_pilot_of_one_press_plans_nothing(take):
    refused = run("plan", take("a", 60.0, n=1), "--width", "5")
    assert refused.exit_code == 2
    assert "the pilot has 1 accepted press, which says nothing of how presses spread" in (
        refused.output.replace("\n", " ")
    )
    tied = run("plan", take("b", 60.0, spans_ms=[60.0] * 8), "--width", "5").output
    assert "The pilot: The presses differ by less than waiting" in tied


def test_takes_that_state_nothing_are_setups_by_their_files_names(take):
    setups, _ = read_setups([take("a", 60.0), take("b", 60.0)])
    assert [s.sample.name for s in setups] == ["a", "b"]


def test_names_pool_takes(take):
    setups, _ = read_setups([take("a", 60.0), take("b", 60.0), take("c", 60.0)], ["X", "Y", "X"])
    assert [(s.sample.name, s.summary.n) for s in setups] == [("X", 32), ("Y", 16)]


def test_outliers_keep_their_numbers_in_the_take(take):
    spans = [60.0, 58.0, 63.0, 61.0, 57.0, 66.0, 59.0, 190.0]
    ((setup,), _) = read_setups([take("a", 60.0, spans_ms=spans, doubtful=2)])
    assert [one.press for one in setup.summary.outliers] == [8]


def test_one_panel_and_one_camera_cancel_in_a_difference_and_the_takes_own_does_not(take):
    found = compare([take("a", 70.0), take("b", 60.0)], plan=False)
    (one,) = found.comparisons
    assert set(one.doubt.cancelled) == {"display lag", "rolling shutter"}
    # The panel's step, 0.2 ms, is fitted in each take anew.
    assert one.doubt.left_u_ms == pytest.approx(math.hypot(0.2, 0.2))
    assert found.setups[0].sample.shared_u_ms == pytest.approx(
        math.hypot(1.5, 0.2, SHUTTER_U_MS), rel=1e-6
    )


def test_two_lags_and_a_lamp_on_the_other_side_do_not_cancel(take):
    files = [take("a", 70.0), take("b", 60.0, lag=Measured(0.02, 1e-3), lamp_top_px=340)]
    (one,) = compare(files, plan=False).comparisons
    assert one.doubt.cancelled == ()
    assert one.doubt.left_u_ms == pytest.approx(
        math.hypot(1.5, 1.0, 0.2, 0.2, SHUTTER_U_MS, SHUTTER_U_MS), rel=1e-6
    )


def test_two_displays_of_one_stated_lag_do_not_cancel(take):
    said = [{"platform": "P", "display": name} for name in ("left panel", "right panel")]
    files = [take(n, 60.0, conditions=one) for n, one in zip("ab", said, strict=True)]
    (one,) = compare(files, plan=False).comparisons
    assert one.doubt.cancelled == ("rolling shutter",)
    assert one.doubt.left_u_ms == pytest.approx(math.hypot(1.5, 1.5, 0.2, 0.2))


def test_pooled_takes_of_one_panel_share_its_lag_whole_and_their_own_steps_in_part(take):
    ((setup,), _) = read_setups([take("a", 60.0), take("b", 60.0)], ["X", "X"])
    by_name = {}
    for doubt in setup.sample.shared:
        by_name.setdefault(doubt.name, []).append(doubt.u_ms)
    assert by_name["display lag"] == pytest.approx([1.5])
    assert by_name["panel step"] == pytest.approx([0.1, 0.1])


def test_a_lag_known_for_one_take_only_is_left_in_both(take):
    setups, notes = read_setups([take("a", 60.0), take("b", 60.0, lag=None)])
    assert notes[0] == "Spans are used: the display's lag is not known for every take."
    assert setups[0].summary.median_ms.value == pytest.approx(60.0, abs=6.0)
    assert "display lag" not in {doubt.name for doubt in setups[0].sample.shared}


@pytest.mark.parametrize(
    ("margin", "rates_hz", "ms", "name"),
    [
        ("game", (60.0, 60.0), 1000 / 60, "one game frame"),
        ("game", (60.0, 30.0), 1000 / 60, "one game frame at 60 fps"),
        ("camera", (60.0, 60.0), 1000 / 240, "one camera frame"),
        ("felt", (60.0, 60.0), 20.0, "a difference a sensitive player notices"),
        ("12.5", (None, None), 12.5, ""),
    ],
)
def test_margins_by_name(take, margin, rates_hz, ms, name):
    files = [take(n, 60.0, rate_hz=rate) for n, rate in zip("ab", rates_hz, strict=True)]
    (one,) = compare(files, margin=margin, plan=False).comparisons
    assert one.margin.ms == pytest.approx(ms)
    assert one.margin.name == name


def test_compare_prints_setups_answers_and_what_is_felt(take):
    done = run("compare", take("Aldra", 90.0), take("Brisa", 57.0))
    assert done.exit_code == 0
    assert "Aldra answers later than Brisa, by at least one game frame (16.7 ms): 3" in done.output
    assert "at or above 20 ms (noticed by a sensitive player in fast online play)" in done.output
    assert "Common to both setups of every pair, the doubt of display lag and rolling" in (
        done.output
    )
    assert "Held against 40 to 50 ms, noticed by a casual player (reviewers' rule" in done.output


def test_compare_as_json(take):
    files = [take("a", 90.0), take("b", 57.0), take("c", 57.0)]
    done = run("compare", *files, "--json", "-", "--against", "b", "--margin", "8")
    told = json.loads(done.stdout)
    assert told["schema"] == "blinkspan.compare/1"
    assert [one["first"] for one in told["comparisons"]] == ["a", "c"]
    assert told["comparisons"][0]["answer"] == str(Answer.DIFFERENT)
    assert told["comparisons"][0]["family"] == 2
    assert told["setups"][2]["summary"]["n"] == 16
    assert told["comparisons"][0]["felt"]["placed"][0]["place"] == "above"


def test_the_same_seed_gives_the_same_answer(take):
    files = [take("a", 60.0, n=8), take("b", 62.0, n=8)]
    words = ["compare", *files, "--margin", "camera", "--json", "-"]
    assert run(*words, "--seed", 3).stdout == run(*words, "--seed", 3).stdout


def test_summary_prints_each_setup_and_what_to_be_wary_of(take):
    done = run("summary", take("Aldra", 60.0, n=4), take("Brisa", 57.0))
    assert done.exit_code == 0
    assert "Aldra" in done.output
    assert "Aldra: 4 accepted presses hold the median with 88 % confidence at most" in done.output
    told = json.loads(run("summary", take("Corva", 60.0), "--json", "-").stdout)
    assert told["setups"][0]["summary"]["median_ms"]["level"] == 0.95
    assert {one["threshold"]["kind"] for one in told["setups"][0]["felt"]["placed"]} == {"latency"}


def test_plan_from_a_pilot_agrees_with_the_closed_form(take):
    pilot = take("a", 60.0, n=200)
    found = plan([pilot], Wishes(width_ms=5.0), lag_u_ms=0.0)
    # z w / root n of even waits, reached in 80 of 100 experiments rather than 50.
    assert found.plans[0].presses == pytest.approx((1.96 * 16.7 / 5.0) ** 2, rel=0.35)
    assert found.notes[0].startswith("Planned from 200 pilot presses")


def test_plan_from_the_model_has_its_waits(take):
    known = plan([], Wishes(detect_ms=5.0), game_rate_hz=60.0)
    slow = plan([], Wishes(detect_ms=5.0), game_rate_hz=30.0)
    # The number grows as the variance: 4 at the most, less for what does not double.
    assert 2.5 < slow.plans[0].presses / known.plans[0].presses < 4.5
    assert "a link polled every 4 ms and a game frame of 16.7 ms" in known.notes[0]


def test_plan_prints_beats_gear_and_advice():
    done = run("plan", "--game-rate", 60, "--metronome", 5, "--gear", 12)
    assert done.exit_code == 0
    assert done.output.count(" s\n") >= 5
    assert "240 fps, whole frames counted: each press known to 1.7 ms" in done.output
    assert "Press at random" in done.output


def test_a_table_of_setups_fits_80_columns_and_cuts_no_number(take):
    name = "Lantern Quay, 120 fps, balanced mode"
    setups, _ = read_setups([take("a", 110.0)], [name])
    out = Console(width=80, record=True, file=io.StringIO())
    out.print(setup_table(setups))
    shown = out.export_text()
    assert max(map(len, shown.splitlines())) <= 80
    assert "…" not in shown
    assert all(word in shown for word in name.split())
    assert told(setups[0].summary.median_ms) in shown


def test_a_metronome_alone_needs_neither_pilot_nor_rate():
    done = run("plan", "--metronome", 4, "--gap", 2)
    assert done.exit_code == 0
    beats = [float(line.split()[0]) for line in done.output.splitlines() if line.endswith(" s")]
    # Each is late by up to a quarter of the gap, rounded up to whole frames of 1/30 s.
    assert all(0.0 <= beat - 2.0 * k <= 0.534 for k, beat in enumerate(beats))
    assert len(beats) == 4
    assert "Planned from" not in done.output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["plan"], "there is nothing to plan"),
        (["plan", "--width", 5], "there is no pilot to plan from"),
        (["plan", "--game-rate", 0, "--width", 5], "a game rate of 0 Hz cannot be"),
        (["plan", "--game-rate", 60, "--width", -5], "give a width above zero"),
        (["plan", "--game-rate", 60, "--detect", 0], "a difference of 0 ms cannot be told"),
        (["plan", "--game-rate", 60, "--detect", 5, "--power", 1], "a share of 1 cannot"),
        (["plan", "--game-rate", 60, "--width", 5, "--u", -1], "an uncertainty of -1 ms"),
        (["plan", "--game-rate", 60, "--metronome", 5, "--gap", 0.01], "give a longer gap"),
        (["compare", "nowhere.json"], "there is no such file"),
        (["summary", "nowhere.json"], "there is no such file"),
    ],
)
def test_refusals_are_one_line_and_exit_2(words, said):
    done = run(*words)
    assert done.exit_code == 2
    assert said in done.output
    assert "Traceback" not in done.output


def test_a_take_without_an_accepted_press_is_summed_up_beside_others(take):
    shown = run("summary", take("a", 60.0), take("f", 60.0, n=3, doubtful=3))
    assert shown.exit_code == 0, shown.output
    assert "3 doubtful presses are not in these numbers" in " ".join(shown.output.split())
    (_, empty), _ = read_setups([take("b", 60.0), take("g", 60.0, n=3, doubtful=3)])
    assert (empty.summary.n, empty.summary.doubtful, empty.summary.median_ms) == (0, 3, None)
    assert read_setups([take("h", 60.0, n=3, doubtful=3)])[1] == ()


def test_files_that_cannot_be_compared_are_refused(take, tmp_path):
    one = take("a", 60.0)
    for files, names, said in [
        ([one, one], [], "given twice"),
        ([one, take("b", 60.0)], ["X"], "1 names for 2 takes"),
        ([one], [], "one setup only, a"),
        ([take("c", 60.0, rate_hz=None), take("d", 60.0, rate_hz=None)], [], "game's rate"),
    ]:
        with pytest.raises(BadSetting, match=said):
            compare(files, names=names)
    copy = tmp_path / "copy.json"
    copy.write_bytes(one.read_bytes())
    with pytest.raises(BadSetting, match="the same recording"):
        read_setups([one, copy])
    with pytest.raises(BadSetting, match="margin of wide"):
        compare([one, take("e", 60.0)], margin="wide")
    with pytest.raises(BadSample, match="f has no accepted press"):
        compare([one, take("f", 60.0, n=3, doubtful=3)])
    with pytest.raises(UnreadableTake, match="no such file"):
        read_setups([tmp_path / "nowhere.json"])
