"""Scenes from TOML: exact (what is written is what is meant, and every refusal is one line)."""

from fractions import Fraction

import pytest

from blinkspan.errors import BadSetting
from blinkspan.stage.catalogue import CATALOGUE
from blinkspan.stage.demo import demo_setups
from blinkspan.stage.limits import check_scene
from blinkspan.stage.play import ActionKind
from blinkspan.stage.scene import Scene
from blinkspan.stage.scene_file import find_scene, parse_scene, read_scene
from blinkspan.stage.truth_of import expected_truth


def test_an_empty_file_is_the_usual_scene():
    assert parse_scene("") == Scene()


def test_what_is_written_is_what_is_meant():
    scene = parse_scene(
        """
        seed = 9
        [camera]
        rate_hz = "240000/1001"
        exposure_share = 0.25
        [display]
        corners = [[0.3, 0.1], [0.9, 0.1], [0.9, 0.7], [0.3, 0.7]]
        [film]
        stamped_hz = 30
        [action]
        kind = "fade"
        [lamp]
        place = [0.1, 0.9]
        """
    )
    assert scene.seed == 9
    assert scene.camera.rate_hz == Fraction(240000, 1001)
    assert scene.camera.exposure_s == pytest.approx(0.25 * 1001 / 240000)
    assert scene.display.corners[2] == (0.9, 0.7)
    assert scene.film.stamped_hz == 30
    assert scene.action.kind is ActionKind.FADE
    assert scene.lamp.place == (0.1, 0.9)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[camera]\nexposre_share = 1", "camera.exposre_share; did you mean camera.exposure_share"),
        ("[camra]\nrate_hz = 1", "there is no setting camra; did you mean camera"),
        ("[camera]\nexposure_share = 1.5", "camera.exposure_share is 1.5; give 0.001 to 1"),
        ("[camera]\nreadout_ms = nan", "camera.readout_ms is nan"),
        ("[camera]\nreadout_ms = 5.0", "camera.readout_ms is 5, longer than a frame of 4.167 ms"),
        ("[camera]\nrate_hz = 'fast'", "camera.rate_hz is 'fast'; give a number, or a fraction"),
        ("[camera]\nrate_hz = '1/0'", "camera.rate_hz is '1/0'"),
        ("[camera]\nwidth_px = true", "camera.width_px is True; give a whole number"),
        ("camera = 3", "camera is 3; give it as a table [camera]"),
        ("seed = 1.5", "seed is 1.5; give a whole number"),
        ("seed = -1", "the seed is -1; give 0 or more"),
        ("name = '../x'", "use letters, digits, dots and dashes only"),
        ("[action]\nkind = 'jump'", "give one of flash, pan, pose, fade, none"),
        ("[lamp]\nplace = [0.1]", "lamp.place is [0.1]; give a list of 2"),
        ("[lamp]\nplace = [0.1, 1.2]", "lamp.place is 0.1, 1.2; give shares of the picture"),
        ("[game]\nrate_hz = 45", "game.rate_hz is 45 on a panel of 59.9401 Hz"),
        ("[film]\nstamped_hz = 500", "film.stamped_hz is 500"),
        ("[film]\ncodec = 'xvid'", "there is no codec 'xvid'"),
        ("[presses]\nevery_s = 0.2", "presses.every_s is 0.2"),
        ("[presses]\nbounce_ms = 50\nhold_s = 0.06", "presses.bounce_ms is 50"),
        (
            "[display]\ncorners = [[0.3, 0.1], [0.3, 0.7], [0.9, 0.7], [0.9, 0.1]]",
            "display.corners do not go round the panel",
        ),
        ("[camera", "not valid TOML"),
    ],
)
def test_a_wrong_scene_is_refused_in_one_line(text, words):
    with pytest.raises(BadSetting) as refusal:
        parse_scene(text)
    assert words in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_a_file_is_named_in_its_refusals(tmp_path):
    path = tmp_path / "dim.toml"
    path.write_text("[lamp]\nglow = 3\n")
    with pytest.raises(BadSetting, match=r"dim\.toml: lamp\.glow is 3"):
        read_scene(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadSetting, match="cannot be read"):
        read_scene(path)


def test_scenes_are_found_by_name_or_file(tmp_path):
    path = tmp_path / "dim.toml"
    path.write_text("[room]\nambient = 0.01\n")
    assert find_scene(str(path)).room.ambient == 0.01
    assert find_scene(str(path)).name == "dim"
    assert find_scene("pan-idle") is CATALOGUE["pan-idle"]
    with pytest.raises(BadSetting, match="did you mean 'pan-idle'"):
        find_scene("pan-idel")
    with pytest.raises(BadSetting, match="no such file"):
        find_scene(str(tmp_path / "none.toml"))


@pytest.mark.parametrize("scene", CATALOGUE.values(), ids=CATALOGUE)
def test_every_built_in_scene_can_be_filmed_and_has_its_own_seed(scene):
    check_scene(scene)
    assert CATALOGUE[scene.name] is scene
    assert [other.seed for other in CATALOGUE.values()].count(scene.seed) == 1


def test_the_demonstration_has_two_consoles_in_two_modes():
    setups = demo_setups()
    assert len({setup.scene.name for setup in setups}) == 4
    assert sorted((s.platform, s.mode) for s in setups) == [
        ("Tolvane Ember", "30 fps"),
        ("Tolvane Ember", "60 fps"),
        ("Veldrin Arc", "30 fps"),
        ("Veldrin Arc", "60 fps"),
    ]
    for setup in setups:
        check_scene(setup.scene)
        assert 12 <= setup.scene.presses.count <= 15


def test_one_press_of_the_demonstration_is_left_unanswered():
    presses = [p for setup in demo_setups() for p in expected_truth(setup.scene).presses]
    assert len(presses) == 52
    assert [press.missed for press in presses].count(True) == 1
