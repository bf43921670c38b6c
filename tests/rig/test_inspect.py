"""blinkspan inspect: whole job on encoded films, its findings held against their truth."""

import json
from dataclasses import replace
from fractions import Fraction

import pytest
from click.testing import CliRunner

from blinkspan.cli.main import main
from blinkspan.stage.equipment import Camera, Film, Room
from blinkspan.stage.play import Action, ActionKind, Game, Presses, World
from blinkspan.stage.render import StagedTake, render_scene
from blinkspan.stage.scene import Scene

_CAMERA = Camera(width_px=320, height_px=180)
_MOVING = Scene(
    name="moving",
    seed=11,
    camera=replace(_CAMERA, clock_ppm=-300.0),
    world=World(drift_px=240.0),
    presses=Presses(count=8, first_s=0.6, every_s=0.9, jitter_s=0.05, hold_s=0.1),
    room=Room(ambient=0.18, flicker_hz=100.0, flicker_depth=0.35),
)
# A game at 30 frames a second that drops some and tears some, on a film that hides its rate.
_TORN = replace(
    _MOVING,
    name="torn",
    seed=12,
    camera=_CAMERA,
    film=Film(stamped_hz=Fraction(30), capture_tag=False),
    game=Game(rate_hz=Fraction(30), torn=0.15, dropped_frame=0.05),
    presses=replace(_MOVING.presses, count=5),
    room=Room(),
)


@pytest.fixture(scope="module")
def films(tmp_path_factory):
    """Return a moving take on a slow camera clock and a torn one stamped for slow playback."""
    folder = tmp_path_factory.mktemp("rig")
    return {s.name: render_scene(s, folder / s.name, threads=1) for s in (_MOVING, _TORN)}


def inspected(take: StagedTake, *words: str) -> dict:
    result = CliRunner().invoke(main, ["inspect", str(take.path), *words, "--json=-"])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def panel_of(take: StagedTake) -> str:
    corners = take.truth.panel.corners
    return "--panel=" + ",".join(f"{value:.2f}" for corner in corners for value in corner)


@pytest.fixture(scope="module")
def moving(films):
    return inspected(films["moving"], panel_of(films["moving"]), "--readout=3.4")


def test_the_camera_clock_is_calibrated_from_the_grid(moving, films):
    grid = moving["grid"]
    assert grid["nominal_hz"] == pytest.approx(60000 / 1001)
    # The stage ran the camera 300 parts per million slow (truth), so the refresh seems fast.
    ppm = grid["clock_ppm"]
    assert ppm["value"] == pytest.approx(-300, abs=4 * ppm["u"])
    assert ppm["u"] < 40


def test_the_scan_is_that_of_the_signal(moving):
    # CTA-861: 1080 of 1125 lines, 0.96 of 16.683 ms = 16.016 ms.
    scan = moving["scan_ms"]
    assert scan["value"] == pytest.approx(16.016, abs=max(0.3, 4 * scan["u"]))


def test_the_cadence_of_60_without_faults(moving):
    cadence = moving["cadence"]
    assert cadence["refreshes_a_frame"] == 1
    assert cadence["moving_share"] > 0.9
    assert cadence["late"] + cadence["early"] + cadence["torn"] <= 0.01 * cadence["steps"]


def test_mains_flicker_is_told_by_its_frequency(moving):
    assert moving["flicker"]["ripple_hz"] == 100
    assert 0.05 < moving["flicker"]["depth"] <= 0.36


def test_lamp_exposure_and_budget(moving, films):
    truth = films["moving"].truth
    assert moving["lamp"]["presses"] == len(truth.presses)
    assert not moving["lamp"]["clipped"]
    exposure = moving["camera"]["exposure_ms"]
    assert abs(exposure["value"] - truth.exposure_ms) < 3 * exposure["u"]
    terms = {term["name"]: term["u_ms"] for term in moving["press"]["terms"]}
    assert moving["press"]["u_ms"] == pytest.approx(
        sum(u**2 for u in terms.values()) ** 0.5, abs=1e-3
    )
    assert moving["press"]["leading"] == max(terms, key=terms.get)
    then = [advice["u_then_ms"] for advice in moving["advice"]]
    assert then == sorted(then)
    assert all(a["u_then_ms"] < a["u_now_ms"] == moving["press"]["u_ms"] for a in moving["advice"])


def test_dropped_and_torn_frames_of_a_30_hz_game(films):
    seen = inspected(films["torn"], panel_of(films["torn"]), "--capture-rate=240")
    cadence = seen["cadence"]
    assert (cadence["refreshes_a_frame"], round(cadence["game_hz"], 2)) == (2, 29.97)
    frames = seen["take"]["duration_s"] * cadence["game_hz"]
    # The scene drops 5 and tears 15 frames in a hundred: binomial, so within four deviations.
    assert abs(cadence["late"] - 0.05 * frames) < 4 * (0.05 * frames) ** 0.5
    assert abs(cadence["torn"] - 0.14 * frames) < 4 * (0.14 * frames) ** 0.5
    assert seen["times_slower"] is None


def test_slow_motion_that_nobody_told_is_unmasked(films):
    seen = inspected(films["torn"], panel_of(films["torn"]))
    assert seen["take"]["rate_hz"] == 30
    # 240 frames a second stamped 30: a 60 Hz panel seems to refresh at 7.5 Hz.
    assert seen["times_slower"] == 8
    assert any("--capture-rate 240" in note for note in seen["notes"])


def test_a_take_whose_screen_stands_still_says_so(small_take):
    seen = inspected(small_take, "--refresh=59.94")
    assert seen["grid"] == {"found": False, "why_not": "still picture"}
    assert seen["cadence"] is None
    assert any("Too little moves" in note for note in seen["notes"])


def test_without_a_lamp_the_screen_is_still_inspected(tmp_path):
    scene = replace(
        _MOVING,
        name="dark",
        camera=_CAMERA,
        presses=Presses(count=0),
        action=Action(ActionKind.NONE),
    )
    take = render_scene(replace(scene, room=Room()), tmp_path, threads=1)
    seen = inspected(take, panel_of(take))
    assert (seen["lamp"], seen["camera"], seen["press"], seen["regions"]) == (None,) * 4
    assert any("lamp" in note for note in seen["notes"])
