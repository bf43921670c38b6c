"""true_clock: exact (hand-computed stamps, properties) and the rates of the video standards."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blinkspan.errors import BadSetting, UnreadableTake
from blinkspan.footage.clock import (
    dropped_frames,
    given_capture_rate,
    nominal_rate,
    tagged_capture_rate,
    true_clock,
)

# Colour video runs at n * 1000 / 1001 frames a second (SMPTE 170M; arithmetic).
BROADCAST = [Fraction(n * 1000, 1001) for n in (24, 30, 60, 120, 240, 480, 960)]
WHOLE = [Fraction(n) for n in (24, 25, 30, 50, 60, 100, 120, 240, 300, 480, 960, 1000)]
RATES = BROADCAST + WHOLE

TICKS = {  # 90 kHz is MPEG's clock; 1/600 s QuickTime's; microseconds and milliseconds phones'
    "90 kHz": Fraction(1, 90_000),
    "microseconds": Fraction(1, 1_000_000),
    "milliseconds": Fraction(1, 1000),
}


def stamps_of(frames: np.ndarray, rate_hz: Fraction, time_base_s: Fraction) -> np.ndarray:
    """Return the stamps of numbered frames, each rounded to a tick."""
    return np.array([round(int(i) / rate_hz / time_base_s) for i in frames], dtype=np.int64)


@pytest.mark.parametrize("rate_hz", RATES, ids=str)
@pytest.mark.parametrize("ticks", ["90 kHz", "microseconds"])
def test_every_standard_rate_is_told_from_its_neighbour(rate_hz, ticks):
    assert nominal_rate(stamps_of(np.arange(500), rate_hz, TICKS[ticks]), TICKS[ticks]) == rate_hz


@pytest.mark.parametrize("rate_hz", [r for r in RATES if r < 400], ids=str)
def test_thousandths_of_a_second_suffice_for_a_long_film(rate_hz):
    stamps = stamps_of(np.arange(3600), rate_hz, TICKS["milliseconds"])
    assert nominal_rate(stamps, TICKS["milliseconds"]) == rate_hz


def test_the_header_decides_where_ticks_are_too_coarse():
    short = stamps_of(np.arange(60), Fraction(240), TICKS["milliseconds"])
    for declared in (Fraction(240), Fraction(240_000, 1001)):
        assert nominal_rate(short, TICKS["milliseconds"], declared) == declared
    # It is not heard where it contradicts the stamps.
    assert nominal_rate(short, TICKS["milliseconds"], Fraction(30)) in (
        Fraction(240),
        Fraction(240_000, 1001),
    )


def test_the_nearer_rate_is_taken_where_the_header_is_silent():
    # 200 steps end on tick 834 of 834.17: 240 fits within one tick as well, but lies further off.
    short = stamps_of(np.arange(201), Fraction(240_000, 1001), TICKS["milliseconds"])
    assert nominal_rate(short, TICKS["milliseconds"]) == Fraction(240_000, 1001)


def test_an_unusual_rate_is_kept_exactly():
    # 7 ticks of 1/1601 s: 228.714... frames a second, near no standard rate.
    assert nominal_rate(7 * np.arange(50), Fraction(1, 1601)) == Fraction(1601, 7)


def test_240_read_for_239_76_shortens_100_ms_by_a_tenth():
    # 24 frames at 240/1.001 last 100.1 ms (arithmetic).
    true = true_clock(1001 * np.arange(25), Fraction(1, 240_000))
    assert true.rate_hz == Fraction(240_000, 1001)
    assert 1e3 * true.start_s[24] == pytest.approx(100.1, abs=1e-9)


@given(
    rate_hz=st.sampled_from(RATES),
    gone=st.sets(st.integers(3, 396), max_size=12),
    start=st.integers(-(10**6), 10**6),
)
@settings(deadline=None, max_examples=60)
def test_dropped_frames_are_counted_and_move_no_other_frame(rate_hz, gone, start):
    tick = TICKS["90 kHz"]
    frames = np.array([i for i in range(400) if i not in gone])
    clock = true_clock(stamps_of(frames, rate_hz, tick) + start, tick)
    assert dropped_frames(clock) == len(gone)
    assert clock.start_s == pytest.approx(frames / float(rate_hz), abs=float(tick))
    assert clock.rate_hz == rate_hz


def test_times_are_the_doubles_nearest_to_the_exact_fractions():
    stamps = np.array([5, 1006, 2007, 10**9 + 7], dtype=np.int64)
    clock = true_clock(stamps, Fraction(1, 30_000))
    assert clock.start_s.tolist() == [float(Fraction(int(s) - 5, 30_000)) for s in stamps]


def test_slow_motion_stamped_for_playback_runs_at_the_cameras_rate():
    # 240 frames a second stamped as 30: every gap times 30/240, dropped frames kept as gaps.
    frames = np.delete(np.arange(100), [40, 41, 70])
    clock = true_clock(512 * frames, Fraction(1, 15_360), given=given_capture_rate(240))
    assert clock.rate_hz == 240
    assert clock.start_s == pytest.approx(frames / 240, abs=1e-12)
    assert dropped_frames(clock) == 3
    assert clock.source == "given; the file is stamped 30 frames a second"


def test_broadcast_stamps_under_a_broadcast_capture_rate_cancel():
    # 30/1.001 stamped, 240/1.001 filmed: exactly one eighth of each step.
    clock = true_clock(1001 * np.arange(50), Fraction(1, 30_000), given=given_capture_rate(239.76))
    assert clock.rate_hz == Fraction(240_000, 1001)
    assert clock.start_s[48] == float(48 * Fraction(1001, 240_000))


def test_a_tag_that_repeats_the_stamped_rate_leaves_the_stamps_alone():
    # One project's note: a phone's film tagged 240 ran at 239.981 by its stamps.
    stamps = stamps_of(np.arange(2823), Fraction(239_981, 1000), TICKS["90 kHz"])
    tagged, notes = tagged_capture_rate({"com.android.capture.fps": "240.000000"})
    clock = true_clock(stamps, TICKS["90 kHz"], tagged=tagged)
    assert clock.start_s[-1] == pytest.approx(2822 / 239.981, abs=1e-4)
    assert clock.source == "container, as the capture-rate tag says"
    assert notes == ()


def test_a_given_rate_outranks_the_tag():
    tagged, _ = tagged_capture_rate({"com.android.capture.fps": "120"})
    clock = true_clock(
        512 * np.arange(9), Fraction(1, 15_360), tagged=tagged, given=given_capture_rate(480)
    )
    assert clock.rate_hz == 480


@pytest.mark.parametrize("text", ["", "fast", "nan", "inf", "0", "-240", "1e9"])
def test_a_senseless_tag_is_left_aside_and_told(text):
    tagged, notes = tagged_capture_rate({"com.android.capture.fps": text})
    assert tagged is None
    assert notes == (f"the capture-rate tag reads {text!r} and was left aside",)


@pytest.mark.parametrize(("text", "words"), [("0", "slowed"), ("1", "at full rate")])
def test_the_playback_wish_sets_no_rate(text, words):
    tagged, notes = tagged_capture_rate(
        {"com.apple.quicktime.full-frame-rate-playback-intent": text}
    )
    assert tagged is None
    assert words in notes[0]


@pytest.mark.parametrize("bad", [0.0, -240.0, 100_001.0, float("nan"), float("inf")])
def test_an_absurd_capture_rate_is_refused(bad):
    with pytest.raises(BadSetting, match="give a number above 0 and up to 100000"):
        given_capture_rate(bad)


@pytest.mark.parametrize("stamps", [[], [7]])
def test_too_few_frames_make_no_clock(stamps):
    with pytest.raises(UnreadableTake, match="a take needs at least 2 frames"):
        true_clock(np.array(stamps, dtype=np.int64), Fraction(1, 240))


@pytest.mark.parametrize("stamps", [[0, 1, 1, 2], [0, 2, 1, 3]])
def test_times_that_do_not_rise_are_refused(stamps):
    with pytest.raises(UnreadableTake, match="do not rise"):
        true_clock(np.array(stamps, dtype=np.int64), Fraction(1, 240))


def test_an_impossible_rate_is_refused():
    with pytest.raises(UnreadableTake, match="which no camera reaches"):
        true_clock(np.arange(10), Fraction(1, 1_000_000))
