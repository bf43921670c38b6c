"""The commands that show and correct: whole job, through the command line itself."""

import json

import pytest
from click.testing import CliRunner
from invented_takes import LAG_SETUP, LAG_STUDY, measured_take, write_clip

from blinkspan.cli.main import main
from blinkspan.library.runs import Inputs
from blinkspan.profiles import DisplayProfile
from blinkspan.quantities import Measured


@pytest.fixture
def run(library, tmp_path):
    """Return a way to run a command on a library with one measured take."""
    setup = library.setup(LAG_STUDY.name, LAG_SETUP.name)
    clip = write_clip(tmp_path / "a.mp4", 1)
    take = library.add_take(clip, setup).take
    library.keep_run(take, measured_take(clip), Inputs("0.1.0", {}))

    def command(*words, code=0):
        environment = {"BLINKSPAN_LIBRARY": str(library.folder), "COLUMNS": "140"}
        result = CliRunner().invoke(main, ["library", *map(str, words)], env=environment)
        assert result.exit_code == code, result.output
        if code == 2:
            assert len(result.stderr.strip().splitlines()) == 1
            return result.stderr
        return result.stdout

    return command


def test_results_are_shown_and_corrected_and_corrections_taken_back(run, library):
    before = library.presses()
    shown = run("show")
    assert LAG_SETUP.name in shown
    assert "1 of 1" in shown
    listed = run("show", "--study", LAG_STUDY.name, "--setup", LAG_SETUP.name)
    assert f"{1e3 * before[1].press.span.value:.1f}" in listed
    key, at_s = before[1].id, before[1].press.response.value + 0.004
    said = run("correct", key, "--response", at_s, "--u", 0.5, "--why", "seen", "--by", "Ida")
    now = library.presses()[1]
    assert now.press.response == Measured(at_s, 0.0005)
    assert now.press.span.value == pytest.approx(before[1].press.span.value + 0.004)
    (correction,) = now.corrections
    assert f"correction {correction}" in said
    run("correct", key, "--verdict", "rejected", "--reason", "bounce", "--why", "twice")
    assert library.presses()[1].press.verdict.value == "rejected"
    run("undo", correction, "--by", "Ole")
    assert library.presses()[1].press.span == before[1].press.span
    kept = library.corrections(library.takes()[0])
    assert [row.by for row in kept][::2] == ["Ida", "Ole"]
    assert kept[1].by  # whoever runs the tests


def test_a_response_can_be_taken_away(run, library):
    key = library.presses()[0].id
    run("correct", key, "--no-response", "--why", "nothing moves")
    press = library.presses()[0].press
    assert (press.span, press.verdict.value, press.reason.value) == (
        None,
        "rejected",
        "no response",
    )


def test_profiles_are_kept_and_replaced(run, library):
    run("display", "panel one", "--lag", 12.5, "--lag-u", 0.7, "--refresh", 120)
    assert library.displays()[0].profile == DisplayProfile(Measured(0.0125, 0.0007), 120.0)
    assert "revision 2" in run("display", "panel one", "--lag", 11, "--lag-u", 0.7)
    run("camera", "camera one", "--readout", 3.1, "--readout-u", 0.2)
    readout = library.cameras()[0].profile.readout_s
    assert (readout.value, readout.u) == (pytest.approx(0.0031), pytest.approx(0.0002))


def test_a_study_goes_out_and_comes_in(run, tmp_path):
    run("export", "--study", LAG_STUDY.name, tmp_path / "package")
    assert run("validate", tmp_path / "package") == "no fault found\n"
    run("init", tmp_path / "other")
    said = run("import", "--library", tmp_path / "other", tmp_path / "package")
    assert said == f"kept the study {LAG_STUDY.name!r}\n"
    run("export", "--study", LAG_STUDY.name, tmp_path / "presses.json")
    assert len(json.loads((tmp_path / "presses.json").read_text())) == 4
    (tmp_path / "package" / "data" / "take.csv").write_text("x")
    assert run("validate", tmp_path / "package", code=1)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("show", "--study", "no"), "no study is named 'no'"),
        (("show", "--setup", "a"), "give --study too"),
        (("correct", 99, "--verdict", "rejected", "--why", "x"), "no press has the key 99"),
        (("correct", 1, "--why", "x"), "say one thing"),
        (("correct", 1, "--response", 1, "--no-response", "--why", "x"), "say one thing"),
        (("correct", 1, "--response", 1, "--why", "x"), "give --u"),
        (("origin", 99), "no press has the key 99"),
        (("undo", 5), "no correction has the key 5"),
        (("display", "d", "--lag", 5), "give --lag and --lag-u"),
        (("display", "d", "--lag", -5, "--lag-u", 1), "-5"),
        (("import", "nowhere"), "datapackage.json"),
        (("validate", "nowhere"), "datapackage.json"),
        (("export", "--study", "no", "x.csv"), "no study is named"),
    ],
)
def test_refusals_are_one_line(run, words, told):
    assert told in run(*words, code=2)


def test_a_new_profile_makes_nothing_stale_and_a_replaced_one_does(run):
    first = run("display", "panel one", "--lag", 12, "--lag-u", 0.7)
    assert "stale" not in first
    assert "blinkspan add --display-profile" in first
    assert "stale now" in run("display", "panel one", "--lag", 11, "--lag-u", 0.7)


def test_the_numbers_of_a_press_are_followed_to_run_file_frames_and_corrections(run, library):
    press = library.presses()[1]
    take = library.takes()[0]
    run("correct", press.id, "--verdict", "doubtful", "--why", "a cut", "--by", "Ida")
    (correction,) = library.presses()[1].corrections
    told = run("origin", press.id)
    (made,) = library.runs(take)
    for expected in (
        f"{press.id}, number 2 of its take",
        LAG_STUDY.name,
        LAG_SETUP.name,
        take.sha256,
        f"lamp {press.lamp_on_frame}, response {press.response_frame}",
        f"{made.id}, {made.made_at:%Y-%m-%d %H:%M} UTC, blinkspan 0.1.0",
        f"span {1e3 * press.press.span.value:.1f} ± ",
        "doubtful",
        "a cut; by Ida",
    ):
        assert expected in told
    run("undo", correction, "--by", "Ole")
    told = run("origin", press.id)
    assert "not in force" in told
    assert f"undoes correction {correction}; by Ole" in told


def test_a_press_of_an_earlier_run_is_followed_as_it_was_found(run, library):
    before = library.presses()[1]
    take = library.takes()[0]
    measurement = library.measurement(library.runs(take)[0])
    later = library.keep_run(take, measurement, Inputs("0.2.0", {"capture_rate_hz": 240.0}))
    followed = library.origin(before.id)
    assert (followed.press, followed.run.program_version) == (before, "0.1.0")
    assert followed.later_run_id == later.id
    assert f"run {later.id} of the same take counts instead" in run("origin", before.id)
    now = library.origin(library.presses()[1].id)
    assert now.later_run_id is None
    assert now.regions == measurement.regions
    assert (now.camera, now.display, now.facts) == (
        measurement.camera,
        measurement.display,
        measurement.take,
    )
    assert "capture_rate_hz" in run("origin", now.press.id)
