"""blinkspan stage: whole job on a tiny scene; what cannot be filmed or written."""

import pytest

from blinkspan.footage.video import open_take
from blinkspan.stage.catalogue import CATALOGUE
from blinkspan.stage.truth import read_truth

TINY = """
name = "tiny"
[camera]
width_px = 64
height_px = 64
[presses]
count = 1
first_s = 0.1
every_s = 0.3
jitter_s = 0.0
"""


@pytest.fixture
def tiny(tmp_path):
    (tmp_path / "tiny.toml").write_text(TINY)
    return tmp_path / "tiny.toml"


def test_a_scene_is_filmed_with_its_truth(run, tiny, tmp_path):
    result = run("stage", tiny, tmp_path / "out")
    film, truth = tmp_path / "out" / "tiny.mp4", tmp_path / "out" / "tiny.truth.json"
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.split() == [str(film), str(truth)]
    with open_take(film) as take:
        assert take.frames == read_truth(truth).frames
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["tiny.mp4", "tiny.truth.json"]


def test_the_built_in_scenes_are_named(run):
    result = run("stage", "--list")
    assert result.exit_code == 0
    assert result.stdout.split() == list(CATALOGUE)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[camera]\nrate_hz = 0\n", "camera.rate_hz is 0; give 5 to 10000"),
        ("[lamp]\nglows = 1\n", "there is no setting lamp.glows"),
        ("[camera\n", "not valid TOML"),
    ],
)
def test_a_scene_that_cannot_be(run, tmp_path, text, words):
    (tmp_path / "scene.toml").write_text(text)
    result = run("stage", tmp_path / "scene.toml", tmp_path / "out")
    assert result.exit_code == 2
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    assert words in result.stderr
    assert not (tmp_path / "out").exists()


def test_an_unknown_name_suggests_one(run, tmp_path):
    result = run("stage", "flash-oled-6O", tmp_path / "out")
    assert result.exit_code == 2
    assert "did you mean 'flash-oled-60'" in result.stderr


def test_a_folder_that_cannot_be_made(run, tiny, tmp_path):
    (tmp_path / "file").touch()
    result = run("stage", tiny, tmp_path / "file" / "out")
    assert result.exit_code == 2
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
