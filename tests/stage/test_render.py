"""Whole takes: known footage (light in the decoded film against the truth) and determinism."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import av
import numpy as np
import pytest

from blinkspan.errors import BadSetting, UnwritableOutput
from blinkspan.stage.camera import plan_shots
from blinkspan.stage.catalogue import CATALOGUE
from blinkspan.stage.equipment import Camera, Display, Film, Lamp, Room
from blinkspan.stage.play import Action, ActionKind, Game, Presses, World
from blinkspan.stage.render import film_frames, render_scene
from blinkspan.stage.scene import Scene
from blinkspan.stage.timeline import plan
from blinkspan.stage.truth import read_truth
from blinkspan.stage.truth_of import truth_of

_SMALL = Camera(width_px=320, height_px=180)
_SILENT = replace(_SMALL, full_well_e=1e9, read_noise=0.0, blur_px=0.0)
_TWO = Presses(count=2, first_s=0.1, every_s=0.3, jitter_s=0.1, hold_s=0.08)


def _filmed(scene, background=None):
    """Return luma planes, their starts and the truth, without an encoder in between."""
    rng = np.random.default_rng(scene.seed)
    timeline = plan(scene, rng)
    shots = plan_shots(scene.camera, scene.film, timeline.duration_s, rng)
    height = scene.camera.height_px
    planes = [
        frame[:height].copy() for frame in film_frames(scene, timeline, shots, rng, background)
    ]
    return np.array(planes), shots.start_s, truth_of(scene, timeline, shots)


def _light(luma):
    """Invert the camera curve of BT.709."""
    coded = (luma.astype(float) - 16) / 219
    return np.where(coded < 0.081, coded / 4.5, ((coded + 0.099) / 1.099) ** (1 / 0.45))


def _onset_s(trace, start_s, after_s, exposure_s):
    """Return when light of two levels changed, from the part of the exposure that it lit."""
    before = trace[(start_s > after_s - 0.03) & (start_s < after_s - 0.006)].mean()
    window = np.flatnonzero((start_s > after_s - 0.006) & (start_s < after_s + 0.02))
    full = trace[window].max()
    share = (trace[window] - before) / (full - before)
    first = int(np.flatnonzero(share > 0.004)[0])
    return start_s[window[first]] + exposure_s * (1 - share[first])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_lamp_lights_up_in_the_film_when_the_truth_says(seed):
    camera = replace(_SILENT, exposure_share=0.98)
    scene = Scene(seed=seed, camera=camera, presses=_TWO, room=Room(spill=0.0))
    luma, start_s, truth = _filmed(scene)
    row = round(scene.lamp.place[1] * 180)
    column = round(scene.lamp.place[0] * 320)
    trace = _light(luma[:, row, column])
    for press in truth.presses:
        onset_s = _onset_s(trace, start_s + row * camera.row_s, press.lamp_on_s, camera.exposure_s)
        # the lamp may be lit in the dead time of 2 %
        assert onset_s == pytest.approx(press.lamp_on_s, abs=0.00015)


@pytest.mark.parametrize("rate", [30, 60])
def test_the_flash_shows_in_the_film_when_and_where_the_truth_says(rate):
    camera = replace(_SILENT, exposure_share=0.98)
    scene = Scene(
        seed=7,
        camera=camera,
        presses=_TWO,
        room=Room(spill=0.0),
        display=Display(brightness=0.5),
        game=Game(rate_hz=Fraction(rate)),
    )
    luma, start_s, truth = _filmed(scene)
    row = int(truth.response_row_px)
    column = truth.watch.x + truth.watch.width // 2
    trace = _light(luma[:, row, column])
    for press in truth.presses:
        row_start_s = start_s + row * camera.row_s
        onset_s = _onset_s(trace, row_start_s, press.response_s, camera.exposure_s)
        assert onset_s == pytest.approx(press.response_s, abs=0.0002)


def test_rows_below_answer_later_by_the_scan_out():
    scene = Scene(
        seed=3, camera=replace(_SILENT, exposure_share=0.98), presses=_TWO, room=Room(spill=0.0)
    )
    luma, start_s, truth = _filmed(scene)
    column = truth.watch.x + truth.watch.width // 2
    top, bottom = truth.panel.corners[0][1], truth.panel.corners[3][1]
    scan_s = truth.scan_fraction / truth.refresh_hz
    press = truth.presses[0]
    for row in range(int(truth.response_row_px) - 4, int(truth.response_row_px) + 5, 4):
        trace = _light(luma[:, row, column])
        expected = press.response_s + (row + 0.5 - truth.response_row_px) / (bottom - top) * scan_s
        onset_s = _onset_s(
            trace, start_s + row * scene.camera.row_s, expected, scene.camera.exposure_s
        )
        assert onset_s == pytest.approx(expected, abs=0.0002)


def test_nothing_answers_a_missed_press():
    scene = Scene(camera=_SILENT, presses=_TWO, game=Game(miss=1.0), room=Room(spill=0.0))
    luma, _, truth = _filmed(scene)
    assert all(press.missed and press.response_s is None for press in truth.presses)
    watch = truth.watch
    seen = luma[:, watch.y : watch.y + watch.height, watch.x : watch.x + watch.width].astype(int)
    assert np.ptp(seen, axis=0).max() <= 1


def test_a_pan_starts_slowly_and_its_picture_moves():
    scene = Scene(
        camera=_SILENT,
        presses=replace(_TWO, count=1),
        action=Action(ActionKind.PAN, start_px=1.0, top_px=8.0),
    )
    luma, start_s, truth = _filmed(scene)
    watch = truth.watch
    seen = luma[:, watch.y : watch.y + watch.height, watch.x : watch.x + watch.width].astype(float)
    change = np.abs(np.diff(seen, axis=0)).mean(axis=(1, 2))
    at = truth.presses[0].response_s
    still = change[start_s[1:] < at - 0.02]
    early = change[(start_s[1:] > at) & (start_s[1:] < at + 0.02)].max()
    later = change[(start_s[1:] > at + 0.08) & (start_s[1:] < at + 0.2)].max()
    assert still.max() < 0.05
    assert 0.1 < early < 0.5 * later


def test_a_filmed_background_keeps_the_picture_moving():
    film = np.random.default_rng(5).integers(0, 256, (25, 90, 160), np.uint8)
    scene = Scene(camera=_SILENT, presses=replace(_TWO, count=0))
    luma, _, truth = _filmed(scene, film)
    still, _, _ = _filmed(scene)
    box = truth.panel.bounding_box()
    inside = np.s_[:, box.y + 9 : box.y + box.height - 9, box.x + 9 : box.x + box.width - 9]
    assert np.abs(np.diff(luma[inside].astype(int), axis=0)).mean() > 1.0
    assert np.abs(np.diff(still[inside].astype(int), axis=0)).max() <= 1


def test_equal_scenes_make_equal_films_and_other_seeds_other_ones():
    scene = Scene(
        camera=_SMALL, presses=replace(_TWO, count=1), world=World(particles=9, grain=0.1)
    )
    first, _, truth = _filmed(scene)
    again, _, truth_again = _filmed(scene)
    other, _, truth_other = _filmed(replace(scene, seed=2))
    assert np.array_equal(first, again)
    assert truth == truth_again
    assert truth != truth_other
    assert not np.array_equal(first[:20], other[:20])


def test_the_decoded_take_has_the_frames_and_times_of_the_truth(tmp_path):
    camera = replace(_SMALL, dropped_frames=0.05)
    take = render_scene(Scene(name="drops", camera=camera, presses=_TWO), tmp_path)
    with av.open(str(take.path)) as container:
        times = [frame.pts * frame.time_base for frame in container.decode(video=0)]
    assert len(times) == take.truth.frames
    missing = sum(round((b - a) * 240) - 1 for a, b in pairwise(times))
    assert missing == take.truth.dropped_frames > 0
    assert read_truth(tmp_path / "drops.truth.json") == take.truth


def test_a_take_stamped_slow_tells_its_capture_rate(tmp_path):
    film = Film(stamped_hz=Fraction(30), quality=30)
    take = render_scene(Scene(name="slow", camera=_SMALL, film=film, presses=_TWO), tmp_path)
    with av.open(str(take.path)) as container:
        assert container.streams.video[0].average_rate == 30
        assert float(container.metadata["com.android.capture.fps"]) == 240
    assert take.truth.rate_hz == 240
    assert take.truth.stated_rate_hz == 30


def test_progress_ends_at_the_last_frame(tmp_path):
    told = []
    scene = Scene(camera=_SMALL, presses=replace(_TWO, count=1))
    take = render_scene(scene, tmp_path, lambda done, total: told.append((done, total)))
    assert told[-1] == (take.truth.frames, take.truth.frames)
    assert [done for done, _ in told] == sorted({done for done, _ in told})


def test_an_interrupted_take_leaves_nothing(tmp_path):
    def stop(done, _total):
        if done >= 40:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        render_scene(Scene(camera=_SMALL, presses=_TWO), tmp_path, stop)
    assert list(tmp_path.iterdir()) == []


def test_a_scene_that_cannot_be_filmed_is_refused_before_anything_is_made(tmp_path):
    with pytest.raises(BadSetting, match=r"camera\.exposure_share is 2"):
        render_scene(Scene(camera=replace(_SMALL, exposure_share=2)), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_folder_that_cannot_be_made_is_refused(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(UnwritableOutput, match="cannot be made"):
        render_scene(Scene(), tmp_path / "file" / "out")


@pytest.mark.parametrize("name", ["hand-held-pan", "keystone-pan", "moving-pad", "bounce"])
def test_hard_scenes_keep_the_lamp_in_its_box(name):
    scene = CATALOGUE[name]
    camera = replace(scene.camera, width_px=320, height_px=180)
    presses = replace(scene.presses, count=1, first_s=0.1)
    luma, start_s, truth = _filmed(replace(scene, camera=camera, presses=presses))
    press, lamp = truth.presses[0], truth.lamp
    lit = (start_s > press.lamp_on_s + 0.02) & (start_s < press.lamp_off_s - 0.02)
    rest = start_s < press.lamp_on_s - 0.02
    gain = _light(luma[lit]).mean(axis=0) - _light(luma[rest]).mean(axis=0)
    brightest = np.unravel_index(np.argmax(gain[100:, :100]), (80, 100))
    assert lamp.y <= brightest[0] + 100 < lamp.y + lamp.height
    assert lamp.x <= brightest[1] < lamp.x + lamp.width


def test_a_lamp_that_lights_up_slowly_is_dimmer_at_first():
    lamp = Lamp(rise_ms=2.0)
    scene = Scene(camera=_SILENT, presses=replace(_TWO, count=1), lamp=lamp, room=Room(spill=0.0))
    luma, start_s, truth = _filmed(scene)
    row, column = round(0.8 * 180), round(0.125 * 320)
    trace = _light(luma[:, row, column])
    on_s = truth.presses[0].lamp_on_s
    middle_s = start_s + row * scene.camera.row_s + scene.camera.exposure_s / 2 - on_s
    rising = (middle_s > 0.0015) & (middle_s < 0.015)
    full = trace[(middle_s > 0.03) & (middle_s < 0.05)].mean()
    rest = trace[middle_s < -0.01].mean()
    half = scene.camera.exposure_s / 2
    # the mean of an exponential over the exposure, at its middle
    held = 0.002 / half * np.sinh(half / 0.002)
    expected = rest + (full - rest) * (1 - np.exp(-middle_s[rising] / 0.002) * held)
    assert trace[rising] == pytest.approx(expected, abs=0.006)
