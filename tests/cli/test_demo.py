"""blinkspan demo: whole job on two small setups; takes of an earlier run serve again."""

import csv
import json
from dataclasses import replace

import pytest

from blinkspan.stage.demo import demo_setups
from blinkspan.stage.equipment import Camera


@pytest.fixture
def small_setups(monkeypatch):
    """Film the first and the last setup small and short."""

    def small(setup):
        scene = setup.scene
        presses = replace(scene.presses, count=4)
        camera = Camera(width_px=320, height_px=180)
        film = replace(scene.film, quality=18)
        return replace(setup, scene=replace(scene, camera=camera, presses=presses, film=film))

    setups = tuple(small(setup) for setup in (demo_setups()[0], demo_setups()[3]))
    monkeypatch.setattr("blinkspan.jobs.demo.demo_setups", lambda: setups)
    return setups


def test_the_demonstration_films_measures_and_says_how_far_off_it_was(
    run, small_setups, tmp_path, monkeypatch
):
    out = tmp_path / "demo"
    result = run("demo", out)
    assert (result.exit_code, result.stderr) == (0, "")
    assert "Held against the truth that was filmed, the 8 measured spans" in result.stdout
    assert "8 of 8 presses were found" in result.stdout
    names = [setup.name for setup in small_setups]
    takes = sorted(p.name for p in (out / "takes").iterdir())
    assert takes == sorted(f"{name}.{end}" for name in names for end in ("mp4", "truth.json"))
    assert sorted(p.name for p in out.iterdir()) == sorted(
        ["takes", "library", "report.html", "chart.svg", "chart.png", "presses.csv"]
        + [f"{name}.json" for name in names]
    )
    page = (out / "report.html").read_text()
    for setup in small_setups:
        document = json.loads((out / f"{setup.name}.json").read_text())
        assert document["conditions"]["platform"] == setup.platform
        assert f"{document['summary']['median_ms']:.1f}" in page
        assert f"{document['summary']['median_ms']:.1f}" in result.stdout
        truth = json.loads((out / "takes" / f"{setup.name}.truth.json").read_text())
        for press, was in zip(document["presses"], truth["presses"], strict=True):
            assert press["span_ms"] == pytest.approx(was["span_ms"], abs=2.5)
    with (out / "presses.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["condition platform"] for row in rows] == ["Veldrin Arc"] * 4 + [
        "Tolvane Ember"
    ] * 4
    assert (out / "chart.png").read_bytes().startswith(b"\x89PNG")

    take, result_of = out / "takes" / f"{names[0]}.mp4", out / f"{names[0]}.json"
    inode, before = take.stat().st_ino, result_of.read_bytes()
    monkeypatch.setattr("blinkspan.jobs.demo.demo_setups", lambda: small_setups[:1])
    assert run("demo", out).exit_code == 0
    assert take.stat().st_ino == inode  # not filmed again
    assert result_of.read_bytes() == before


def test_a_folder_that_cannot_be_made(run, tmp_path):
    (tmp_path / "file").touch()
    result = run("demo", tmp_path / "file")
    assert result.exit_code == 2
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
