"""blinkspan measure: whole job on a staged film, its numbers held against the film's truth."""

import csv
import json
import math

import pytest

from blinkspan.publish.document import read_document


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("results")


@pytest.fixture
def measured(run, small_take, known, folder):
    """Measure once into files; return the printed words and the folder."""
    printed = folder / "printed.txt"
    if not printed.exists():
        result = run(
            "measure", small_take.path, *known, "--lag=14", "--lag-u=0.5",
            "--condition=picture-mode=game", "--condition=platform=Corvid",
            f"--json={folder / 'take.json'}", f"--csv={folder / 'take.csv'}",
            f"--report={folder / 'take.html'}",
        )  # fmt: skip
        assert (result.exit_code, result.stderr) == (0, "")
        printed.write_text(result.stdout)
    return printed.read_text(), folder


@pytest.fixture
def document(measured):
    return json.loads((measured[1] / "take.json").read_text())


def test_every_press_lies_where_it_truly_was(document, small_take):
    true = small_take.truth.presses
    assert len(document["presses"]) == len(true) == 6
    for press, was in zip(document["presses"], true, strict=True):
        assert press["lamp_on_s"] == pytest.approx(was.lamp_on_s, abs=0.0025)
        assert press["lamp_off_s"] == pytest.approx(was.lamp_off_s, abs=0.0025)
        if was.missed:
            assert (press["span_ms"], press["response_s"]) == (None, None)
            assert (press["verdict"], press["reason"]) == ("doubtful", "no response")
        else:
            assert press["verdict"] == "accepted"
            error_ms = abs(press["span_ms"] - was.span_ms)
            assert error_ms < 2.5
            assert error_ms < 4 * press["u_ms"]
            assert press["response_s"] == pytest.approx(was.response_s, abs=0.0025)


def test_the_document_says_what_was_measured_and_how(document, small_take):
    truth = small_take.truth
    assert document["conditions"] == {"platform": "Corvid", "picture_mode": "game"}
    take = document["take"]
    assert (take["name"], take["frames"], take["width_px"]) == ("small.mp4", truth.frames, 320)
    assert take["rate_hz"] == 240
    assert "capture-rate tag" in take["rate_source"]
    assert document["regions"]["watch"] == [
        truth.watch.x, truth.watch.y, truth.watch.width, truth.watch.height,
    ]  # fmt: skip
    assert document["regions"]["proposed"] == []
    assert document["display"] == {
        "lag_ms": 14, "lag_u_ms": 0.5, "refresh_hz": truth.refresh_hz, "game_rate_hz": 60,
    }  # fmt: skip
    camera = document["camera"]
    assert abs(camera["exposure_ms"] - truth.exposure_ms) < 3 * camera["exposure_u_ms"]


def test_net_is_the_span_less_the_lag_and_carries_its_doubt(document):
    for press in document["presses"]:
        if press["span_ms"] is not None:
            assert press["net_ms"] == pytest.approx(press["span_ms"] - 14, abs=2e-4)
            assert press["net_u_ms"] == pytest.approx(math.hypot(press["u_ms"], 0.5), abs=2e-4)
            terms = [term["u_ms"] for term in press["budget"]["terms"]]
            assert press["u_ms"] == pytest.approx(math.hypot(*terms), abs=5e-4)


def test_the_summary_is_of_the_accepted_presses(document):
    spans = sorted(p["span_ms"] for p in document["presses"] if p["verdict"] == "accepted")
    summary = document["summary"]
    assert (summary["n"], summary["doubtful"], summary["rejected"]) == (5, 1, 0)
    assert (summary["low_ms"], summary["high_ms"]) == (spans[0], spans[-1])
    low, high = summary["median_interval_ms"]
    assert spans[0] - 2 < low < summary["median_ms"] < high < spans[-1] + 2
    assert summary["median_game_frames"] == pytest.approx(summary["median_ms"] * 0.06, abs=1e-3)


def test_the_table_holds_the_same_presses(measured, document):
    with (measured[1] / "take.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [float(row["lamp_on_s"]) for row in rows] == [
        press["lamp_on_s"] for press in document["presses"]
    ]
    assert [row["span_ms"] for row in rows] == [
        "" if press["span_ms"] is None else str(press["span_ms"]) for press in document["presses"]
    ]


def test_the_report_and_the_terminal_show_the_numbers(measured, document):
    page = (measured[1] / "take.html").read_text()
    for text in (page, measured[0]):
        for press in document["presses"]:
            assert f"{press['lamp_on_s']:.4f}" in text
            if press["span_ms"] is not None:
                assert f"{press['span_ms']:.1f} ±" in text
        assert f"{document['summary']['median_ms']:.1f}" in text
        assert "no response" in text
    assert page.count("data:image/jpeg") > 6 * 6  # a still and the frames of each press
    assert page.count("<html") == 1


def test_json_to_standard_output_is_one_object_and_nothing_else(run, small_take, known, document):
    result = run("measure", small_take.path, *known, "--lag=14", "--json=-")
    held = json.loads(result.stdout)
    assert read_document(result.stdout).presses[0].number == 1
    assert held["presses"][0]["span_ms"] == document["presses"][0]["span_ms"]
    assert "accepted" in result.stderr
    assert held["display"]["lag_u_ms"] == 0
    assert any("without its uncertainty" in note for note in held["notes"])


def test_regions_that_are_not_given_are_proposed_and_told(run, small_take, document):
    result = run("measure", small_take.path, "--refresh=59.94", "--game-rate=60", "--json=-")
    held = json.loads(result.stdout)
    assert held["regions"]["proposed"] == ["lamp", "panel", "watch"]
    assert "Proposed from the take, to be checked: --lamp" in result.stderr
    for proposed, was in zip(held["presses"], small_take.truth.presses, strict=True):
        assert (proposed["span_ms"] is None) == was.missed
        if not was.missed:
            assert proposed["span_ms"] == pytest.approx(was.span_ms, abs=3)


def test_measuring_leaves_the_take_alone_and_nothing_beside_it(measured, small_take):
    beside = sorted(path.name for path in small_take.path.parent.iterdir())
    assert beside == ["small.mp4", "small.truth.json"]
    assert sorted(path.name for path in measured[1].iterdir()) == [
        "printed.txt", "take.csv", "take.html", "take.json",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--condition=platform"], "'platform' says nothing; write it as name=value"),
        (["--condition=platform="], "'platform=' says nothing"),
        (["--condition=plattform=Corvid"], "'plattform' is no condition of a setup"),
        (["--condition=mode=30", "--condition=mode=60"], "'mode' is given twice"),
        (["--condition=mode=60", "--study=lag"], "blinkspan add"),
    ],
)
def test_conditions_that_would_sort_takes_wrongly_are_refused(run, small_take, options, told):
    take = [] if "--study=lag" in options else [small_take.path]
    result = run("measure", *take, *options)
    assert (result.exit_code, len(result.stderr.splitlines())) == (2, 1)
    assert told in result.stderr
