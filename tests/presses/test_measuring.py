"""measure_presses: known footage (arrays, exact in time) and exact symmetries.

The films hold no encoder, so what is wrong here is the method alone.
"""

from dataclasses import replace

import numpy as np
import pytest

from blinkspan.errors import NothingToMeasure
from blinkspan.presses.measuring import measure_presses
from blinkspan.presses.press import Reason, Verdict
from blinkspan.profiles import CameraProfile, DisplayProfile, usual_readout
from blinkspan.quantities import Measured
from blinkspan.traces.regions import Regions
from presses.array_film import LAMP, PANEL, WATCH, measured, series_of, staged


@pytest.fixture(scope="module")
def plain():
    """Ten presses on a fast panel, all answered."""
    film = staged()
    return film, measured(film)


def errors_ms(film, found):
    true = [(r - on) * 1e3 for r, on in zip(film.responses_s, film.lamp_on_s, strict=True) if r]
    got = [p.span.value * 1e3 for p in found.presses if p.span]
    assert len(got) == len(true)
    return np.array(got) - np.array(true)


def stated_ms(found):
    return np.array([p.span.u * 1e3 for p in found.presses if p.span])


def test_each_press_is_found_and_timed_far_below_a_frame(plain):
    film, found = plain
    off = errors_ms(film, found)
    assert [p.verdict for p in found.presses] == [Verdict.ACCEPTED] * 10
    assert abs(off.mean()) < 0.15
    assert np.sqrt((off**2).mean()) < 0.35
    assert (np.abs(off) < 2 * stated_ms(found)).mean() >= 0.9


@pytest.mark.parametrize("response_time_s", [0.002, 0.005])
def test_a_slow_panel_does_not_delay_the_instant_it_begins(response_time_s):
    film = staged(response_time_s=response_time_s, seed=4)
    off = errors_ms(film, measured(film))
    assert abs(off.mean()) < 0.3
    assert np.sqrt((off**2).mean()) < 0.6


def test_a_rolling_shutter_is_taken_out(plain):
    film, found = plain
    rolling = replace(film, readout_s=0.0038)
    off = errors_ms(rolling, measured(rolling))
    assert abs(off.mean() - errors_ms(film, found).mean()) < 0.25


def test_an_unknown_readout_is_read_from_the_slant_of_the_scan():
    film = staged(readout_s=0.0030, seed=8)
    found = measured(film, camera=CameraProfile())
    readout = found.camera.readout_s
    assert found.camera.readout_source == "from the take"
    assert abs(readout.value - 0.0030) < 2 * readout.u < 0.0024


def test_a_readout_of_nothing_is_not_believed(plain):
    """A panel lit in pulses at the camera's own pace shows the scan alone too."""
    film, _ = plain
    found = measured(film, camera=CameraProfile())
    assert found.camera.readout_source == "assumed"


def test_a_refresh_that_is_not_given_is_learnt_from_the_answers():
    film = staged(readout_s=0.0030)
    found = measured(film, camera=CameraProfile(), display=DisplayProfile())
    assert found.camera.readout_source == "from the take"
    assert any("grid of 60.000 Hz" in note for note in found.notes)


def test_without_the_panels_height_the_whole_range_of_readouts_is_budgeted(plain):
    film, _ = plain
    found = measured(film, camera=CameraProfile(), display=DisplayProfile(), panel=None)
    period = 1 / 240
    assert found.camera.readout_source == "assumed"
    assert found.camera.readout_s == usual_readout(period)
    assert any("readout time is unknown" in note for note in found.notes)


def test_display_lag_is_taken_off_with_its_uncertainty(plain):
    film, _ = plain
    lag = Measured(0.012, 0.0009)
    found = measured(film, display=DisplayProfile(lag, film.refresh_hz, film.refresh_hz))
    for press in found.presses:
        assert press.net.value == pytest.approx(press.span.value - 0.012)
        assert press.net.u == pytest.approx(np.hypot(press.span.u, 0.0009))


def test_the_budget_adds_up_to_the_spans_uncertainty(plain):
    for press in plain[1].presses:
        terms = [term.u_s for term in press.budget.terms]
        assert press.span.u == pytest.approx(np.sqrt(np.sum(np.square(terms))))
        assert press.budget.leading.u_s == max(terms)


def test_a_missed_press_and_an_answer_without_press_are_told_apart(plain):
    film, _ = plain
    missed = list(film.responses_s)
    missed[6] = None
    strange = replace(film, responses_s=tuple(missed), stray_s=(film.lamp_on_s[6] + 0.45,))
    found = measured(strange)
    press = found.presses[6]
    assert press.response is None
    assert press.span is None
    assert (press.verdict, press.reason) == (Verdict.DOUBTFUL, Reason.NO_RESPONSE)
    assert len(found.unpaired_responses) == 1
    assert found.unpaired_responses[0].value == pytest.approx(strange.stray_s[0], abs=0.02)
    others = [p.verdict for k, p in enumerate(found.presses) if k != 6]
    assert others == [Verdict.ACCEPTED] * 9


def test_an_idle_screen_invents_nothing(plain):
    film, _ = plain
    found = measured(replace(film, responses_s=(None,) * 10))
    assert {p.reason for p in found.presses} == {Reason.NO_RESPONSE}
    assert found.unpaired_responses == ()
    assert any("No press was found answered" in note for note in found.notes)


def test_a_coarsely_encoded_film_leaves_more_in_doubt(plain):
    film, found = plain
    coarse = measured(replace(film, format=replace(film.format, coarseness=3.0)))
    for fine_press, press in zip(found.presses, coarse.presses, strict=True):
        assert press.verdict is Verdict.ACCEPTED
        assert press.span.u > fine_press.span.u
        assert abs(press.span.value - fine_press.span.value) < press.span.u


def test_a_bouncing_contact_is_one_doubtful_press():
    film = staged(count=6, lamp_held_s=0.006)
    bounced = tuple(sorted([*film.lamp_on_s, film.lamp_on_s[2] + 0.016]))
    found = measured(replace(film, lamp_on_s=bounced))
    assert len(found.presses) == 6
    assert found.presses[2].reason is Reason.BOUNCE


def test_a_lamp_that_fades_while_it_is_held_is_unsteady():
    film = staged(count=6)
    steady = series_of(film)
    fading = steady.lamp.astype(float)
    first = round(film.lamp_on_s[3] * film.rate_hz)
    held = np.arange(24)
    fading[first + held] *= (1 - 0.03 * held)[:, None, None]
    series = replace(steady, lamp=fading.astype(np.uint16))
    found = measure_presses(series, Regions(LAMP, PANEL, WATCH), CameraProfile(), DisplayProfile())
    assert found.presses[3].reason is Reason.UNSTEADY_LAMP
    assert found.presses[2].verdict is Verdict.ACCEPTED


def test_a_second_press_before_the_answer_is_doubtful():
    film = staged(count=6)
    double = tuple(sorted([*film.lamp_on_s, film.lamp_on_s[3] + 0.035]))
    film = replace(film, lamp_on_s=double, lamp_held_s=0.012)
    found = measured(film)
    assert found.presses[3].reason is Reason.OVERLAP


def test_an_answer_before_any_game_can_give_one_is_too_soon():
    film = staged(count=8)
    early = list(film.responses_s)
    early[5] = film.lamp_on_s[5] - 0.004
    found = measured(replace(film, responses_s=tuple(early)))
    assert found.presses[5].verdict is Verdict.DOUBTFUL


def test_missing_frames_at_an_onset_are_told(plain):
    film, _ = plain
    at = round(film.responses_s[4] * film.rate_hz)
    lost = set(range(at - 1, at + 2))
    kept = tuple(i for i in range(len(film.frames)) if i not in lost)
    found = measured(replace(film, kept=kept))
    assert found.presses[4].reason is Reason.DROPPED_FRAMES
    assert found.presses[3].verdict is Verdict.ACCEPTED


def test_moving_a_take_in_time_moves_every_onset_alike(plain):
    film, found = plain
    whole_frames = 12 / 240
    later = replace(
        film,
        lamp_on_s=tuple(t + whole_frames for t in film.lamp_on_s),
        responses_s=tuple(t + whole_frames for t in film.responses_s),
        seconds=film.seconds + whole_frames,
    )
    moved = measured(later)
    for before, after in zip(found.presses, moved.presses, strict=True):
        assert after.lamp_on.value - before.lamp_on.value == pytest.approx(whole_frames, abs=3e-4)
        assert after.span.value == pytest.approx(before.span.value, abs=4e-4)


def test_mirroring_the_picture_changes_nothing(plain):
    film, found = plain
    mirrored = measured(replace(film, mirrored=True))
    for one, other in zip(found.presses, mirrored.presses, strict=True):
        assert other.span.value == pytest.approx(one.span.value, abs=1e-5)


def test_half_the_light_changes_nothing_beyond_noise(plain):
    film, found = plain
    darker = measured(replace(film, brightness=0.5))
    for one, other in zip(found.presses, darker.presses, strict=True):
        assert abs(other.span.value - one.span.value) < 2 * one.span.u


def test_idle_film_at_the_end_changes_nothing(plain):
    film, found = plain
    longer = measured(replace(film, seconds=film.seconds + 2.0))
    for one, other in zip(found.presses, longer.presses, strict=True):
        assert abs(other.span.value - one.span.value) < 0.5 * one.span.u


def test_a_lamp_that_never_blinks_is_refused():
    with pytest.raises(NothingToMeasure, match="no lamp found"):
        measured(staged(count=3, lamp_on_s=()))


def test_one_press_alone_is_measured():
    film = staged(count=1, seconds=2.0)
    found = measured(film)
    assert len(found.presses) == 1
    assert abs(errors_ms(film, found)[0]) < 3 * stated_ms(found)[0]


def test_a_panel_in_step_with_the_camera_is_known_no_better_than_the_dead_time():
    # 240 Hz filmed at 240 with 0.5 ms of exposure: every answer begins at the same place
    # between the same two frames, and nothing tells where. What the rows of the answer leave
    # of the dead time is 3.7 - 1.8 = 1.9 ms; GUM 4.3.7: u = 1.9 / sqrt(12) = 0.5.
    film = staged(count=8, refresh_hz=240.0, exposure_s=0.0005, noise=0.5)
    in_the_gap = tuple(np.floor(r * 240) / 240 + 0.0023 for r in film.responses_s)
    found = measured(replace(film, responses_s=in_the_gap))
    for press, true in zip(found.presses, in_the_gap, strict=True):
        assert press.response.u > 0.0004
        assert abs(press.response.value - true) < 2 * press.response.u


def test_a_single_faint_answer_with_no_other_to_bear_it_out_is_doubtful():
    film = replace(staged(count=1), seconds=3.0)
    clear = measured(film).presses[0]
    assert clear.verdict is Verdict.ACCEPTED
    faint = measured(replace(film, strength=4.0, noise=3.0)).presses[0]
    assert faint.verdict is Verdict.DOUBTFUL
    assert faint.reason in (Reason.WEAK_RESPONSE, Reason.NO_RESPONSE, Reason.TWO_CANDIDATES)


def test_a_single_answer_is_doubtful_where_the_picture_jumps_as_much_before_the_press():
    film = replace(staged(count=1), seconds=1.6, flash_s=0.05)
    assert measured(film).presses[0].verdict is Verdict.ACCEPTED
    (press,) = measured(replace(film, stray_s=(0.35,))).presses
    assert (press.verdict, press.reason) == (Verdict.DOUBTFUL, Reason.WEAK_RESPONSE)
