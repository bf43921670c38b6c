"""The ladder: published (NIST Norris line), exact (lines, symmetries), intervals against truth.

Norris: NIST StRD linear regression, certified intercept -0.262323073774029 and
slope 1.00211681802045; the data file ships in SciPy's tests and the certified
values are repeated here.
"""

import math
from pathlib import Path

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from blinkspan.errors import BadSample, BadSetting
from blinkspan.study.ladder import climb, line_weights
from blinkspan.study.modes import ModeSample

NORRIS = Path(scipy.stats.__file__).parent / "tests/data/nist_linregress/Norris.dat"


def mode(fps, queued, rng, *, n=20, fixed_s=0.02, poll_s=4e-3, u_s=0.7e-3, **more):
    frame_s = 1.0 / fps
    waits = rng.random(n) * frame_s + rng.random(n) * poll_s + rng.normal(0.0, u_s, n)
    latency = fixed_s + queued * frame_s + waits
    return ModeSample(f"{fps} fps", frame_s, latency, np.full(n, u_s), **more)


def exact_mode(fps, queued, fixed_s=0.03):
    """Presses evenly spread over the game frame, so that their mean is exact."""
    frame_s = 1.0 / fps
    wait = frame_s * (np.arange(8) + 0.5) / 8
    return ModeSample(f"{fps} fps", frame_s, fixed_s + queued * frame_s + wait, np.zeros(8))


def test_the_line_is_norris_line():
    y, x = np.loadtxt(NORRIS, skiprows=60).T
    assert x.size == 36
    fixed, slope = line_weights(x, np.ones(36))
    assert slope @ y == pytest.approx(1.00211681802045, rel=1e-13)
    assert fixed @ y == pytest.approx(-0.262323073774029, rel=1e-11)


def test_weighted_line_is_numpys():
    rng = np.random.default_rng(4)
    x, y, worth = rng.random(6), rng.random(6), rng.random(6)
    fixed, slope = line_weights(x, worth)
    assert [slope @ y, fixed @ y] == pytest.approx(np.polyfit(x, y, 1, w=np.sqrt(worth)))


def test_modes_on_a_line_give_their_queue_and_fixed_part():
    ladder = climb([exact_mode(30, 2), exact_mode(120, 2), exact_mode(60, 2)])
    assert [rung.name for rung in ladder.rungs] == ["120 fps", "60 fps", "30 fps"]
    assert ladder.queued_frames.value == pytest.approx(2.0)
    assert ladder.fixed_ms.value == pytest.approx(30.0)
    assert 2 in ladder.whole_frames
    assert ladder.to_dict()["line_holds"] is True
    assert [rung.off_line_ms.value for rung in ladder.rungs] == pytest.approx([0.0] * 3, abs=1e-9)


def test_two_modes_give_welchs_interval():
    rng = np.random.default_rng(8)
    fast, slow = mode(60, 2, rng, n=9), mode(30, 2, rng, n=14)
    welch = scipy.stats.ttest_ind(slow.latency_s, fast.latency_s, equal_var=False)
    interval = welch.confidence_interval(0.95)
    queued = climb([fast, slow]).queued_frames
    assert queued.low == pytest.approx(interval.low * 60 - 0.5)
    assert queued.high == pytest.approx(interval.high * 60 - 0.5)


def test_two_modes_cannot_show_a_longer_queue_and_say_so():
    # 2 and 3 frames with 50 ms fixed = 4 frames in both with a game frame at 30 less
    longer = climb([exact_mode(60, 2, 0.05), exact_mode(30, 3, 0.05)])
    alike = climb([exact_mode(60, 4, 0.05 - 1 / 30), exact_mode(30, 4, 0.05 - 1 / 30)])
    assert longer.queued_frames.value == pytest.approx(alike.queued_frames.value)
    assert longer.fixed_ms.value == pytest.approx(alike.fixed_ms.value)
    assert longer.to_dict()["line_holds"] is None
    assert "a longer queue in one would not show" in str(longer)


def test_two_modes_show_a_longer_queue_where_the_fixed_part_would_be_below_zero():
    longer = climb([exact_mode(60, 2, 0.02), exact_mode(30, 3, 0.02)])
    assert longer.fixed_ms.value == pytest.approx(20.0 - 100 / 3)
    rng = np.random.default_rng(9)
    ladder = climb([mode(60, 2, rng, n=60), mode(30, 3, rng, n=60)])
    assert ladder.below_zero
    assert ladder.line_holds is False
    assert "A fixed part below zero cannot be" in str(ladder)
    assert "queue alike, it is" not in str(ladder)


@pytest.mark.parametrize(
    ("queues", "culprit", "extra"),
    [((2, 2, 3), "30 fps", 1), ((3, 2, 2), "120 fps", 1), ((1, 2, 2), "120 fps", -1)],
)
def test_a_mode_that_breaks_the_line_is_told(queues, culprit, extra):
    rng = np.random.default_rng(20)
    rates = (120, 60, 30)
    ladder = climb([mode(fps, k, rng) for fps, k in zip(rates, queues, strict=True)])
    assert ladder.to_dict()["line_holds"] is False
    assert ladder.to_dict()["culprit"] == {"mode": culprit, "extra_frames": extra}
    assert f"1 queued frame {'more' if extra > 0 else 'fewer'} in {culprit}" in str(ladder)


def test_what_looks_the_same_is_said():
    rng = np.random.default_rng(21)
    ladder = climb([mode(120, 2, rng), mode(60, 2, rng), mode(30, 3, rng)])
    assert "It would look the same with 2 more in 120 fps" in str(ladder)


def test_with_four_modes_the_breaking_one_stands_out():
    modes = [exact_mode(fps, 3 if fps == 40 else 2) for fps in (30, 40, 60, 120)]
    off = {r.name: r.off_line_ms.value for r in climb(modes).rungs}
    assert off["40 fps"] == pytest.approx(25.0)


def test_scan_out_passes_for_frames_unless_it_is_given():
    # mid-screen is scanned 8.0 ms into a 60 Hz refresh and 4.0 ms into one of 120 Hz
    rng = np.random.default_rng(2)
    fast = mode(120, 1, rng, n=400, fixed_s=0.024)
    slow = mode(60, 1, rng, n=400, fixed_s=0.028)
    blind = climb([fast, slow]).queued_frames.value
    fast, slow = (
        ModeSample(m.name, m.frame_s, m.latency_s, m.own_u_s, scanout_s=s)
        for m, s in ((fast, 4e-3), (slow, 8e-3))
    )
    ladder = climb([fast, slow])
    assert blind - ladder.queued_frames.value == pytest.approx(4e-3 * 120)
    assert ladder.whole_frames == (1,)
    assert ladder.fixed_ms.value == pytest.approx(22.0, abs=1.0)  # 20 ms and half a 4 ms poll


@given(st.floats(-0.01, 0.05), st.floats(0.0, 5e-3))
def test_what_all_modes_share_moves_the_fixed_part_alone(shift_s, shared_u_s):
    rng = np.random.default_rng(6)
    modes = [mode(fps, 2, rng, n=8) for fps in (30, 60)]
    moved = [ModeSample(m.name, m.frame_s, m.latency_s + shift_s, m.own_u_s) for m in modes]
    plain, other = climb(modes), climb(moved, shared_u_s=shared_u_s)
    assert other.queued_frames.low == pytest.approx(plain.queued_frames.low, abs=1e-9)
    assert other.queued_frames.high == pytest.approx(plain.queued_frames.high, abs=1e-9)
    assert other.fixed_ms.value == pytest.approx(plain.fixed_ms.value + 1e3 * shift_s, abs=1e-6)
    wider = other.fixed_ms.high - other.fixed_ms.value
    assert wider >= 1.9 * 1e3 * shared_u_s


def test_a_mode_of_ties_is_not_known_without_doubt():
    tied = ModeSample("60 fps", 1 / 60, np.full(6, 0.075), np.full(6, 1.7e-3))
    rung = climb([tied, exact_mode(30, 2)]).rungs[0]
    assert rung.mean_ms.high - rung.mean_ms.value == pytest.approx(
        scipy.stats.t.ppf(0.975, 5) * 1.7 / math.sqrt(6)
    )


@pytest.mark.parametrize("n", [5, 20])
def test_intervals_hold_the_truth_and_breaks_are_rarely_false(n):
    rng = np.random.default_rng(11)
    repetitions, held, held_fixed, false_breaks = 1000, 0, 0, 0
    for _ in range(repetitions):
        ladder = climb([mode(fps, 2, rng, n=n) for fps in (30, 60, 120)])
        held += ladder.queued_frames.low <= 2.0 <= ladder.queued_frames.high
        held_fixed += ladder.fixed_ms.low <= 22.0 <= ladder.fixed_ms.high  # with half the poll
        false_breaks += any(rung.breaks for rung in ladder.rungs)
    # three standard errors of 95 % in 1000 are 2 points
    assert 0.93 <= held / repetitions <= 0.97
    assert 0.93 <= held_fixed / repetitions <= 0.97
    assert false_breaks / repetitions <= 0.07


def test_frames_late_half_the_time_pass_for_queued_ones():
    often_late = exact_mode(30, 2)
    late = often_late.latency_s + np.tile([0.0, often_late.frame_s], 4)
    many = np.tile(late, 40)
    half = ModeSample("30 fps", often_late.frame_s, many, np.zeros(many.size))
    ladder = climb([exact_mode(60, 2), half])
    assert ladder.queued_frames.value == pytest.approx(3.0)  # half a frame of 30 is one of 60
    steady = climb([exact_mode(60, 2), exact_mode(30, 2)])
    assert ladder.queued_frames.value - steady.queued_frames.value == pytest.approx(1.0)


@pytest.mark.parametrize(("at_30", "culprit"), [(3, ("30 fps", 1)), (2, None)])
def test_of_four_modes_one_is_only_blamed_where_the_others_hold_a_line(at_30, culprit):
    # Known truth: one frame more at 30 fps; then none more there, but 12 ms more at 60 fps
    # and 20 ms less at 40 fps, which no whole number of frames in one mode explains.
    off_s = {60: 0.0, 40: 0.0} if culprit else {60: 0.012, 40: -0.02}
    rng = np.random.default_rng(17)
    modes = [
        mode(fps, at_30 if fps == 30 else 2, rng, n=60, fixed_s=0.04 + off_s.get(fps, 0.0))
        for fps in (120, 60, 40, 30)
    ]
    ladder = climb(modes)
    assert any(rung.breaks for rung in ladder.rungs)
    found = ladder.culprit
    assert (found and (found[0].name, found[1])) == culprit
    assert [rung.others_hold for rung in ladder.rungs] == [False] * 3 + [culprit is not None]
    said = "1 queued frame more in 30 fps" if culprit else "No whole number of queued frames in one"
    assert said in str(ladder)


def test_a_slope_below_the_wait_itself_is_explained():
    ladder = climb([exact_mode(60, 0, 0.06), exact_mode(30, 0, 0.02)])
    assert ladder.queued_frames.high < 0.0
    assert ladder.whole_frames == ()
    assert "samples more often than it shows frames" in str(ladder)


@pytest.mark.parametrize(("by", "near"), [(0.9, None), (1.1, (2,)), (1.75, ())])
def test_a_whole_number_at_the_intervals_edge_is_named(by, near):
    # Welch's interval of 2 queued frames, moved down by its own reach times ``by``.
    slow, fast = (
        ModeSample(m.name, m.frame_s, np.tile(m.latency_s, 4), np.zeros(32))
        for m in (exact_mode(30, 2), exact_mode(60, 2))
    )
    reach = climb([slow, fast]).queued_frames.high - 2.0
    late = ModeSample(fast.name, fast.frame_s, fast.latency_s + by * reach / 60, fast.own_u_s)
    ladder = climb([slow, late])
    assert ladder.queued_frames.value == pytest.approx(2.0 - by * reach)
    assert ladder.whole_frames == ((2,) if near is None else ())
    assert ladder.nearly_whole == (near or ())
    assert ("but 2 hardly outside" in str(ladder)) is bool(near)
    assert ("No whole number" in str(ladder)) is (near is not None)


@pytest.mark.parametrize(
    ("modes", "refusal"),
    [
        (list, "no mode to look at"),
        (lambda: [exact_mode(60, 2)], "two or more frame rates"),
        (lambda: [exact_mode(60, 2), exact_mode(59.94, 2)], "two or more frame rates"),
        (lambda: [exact_mode(60, 2), exact_mode(60, 2)], "two modes are named 60 fps"),
        (
            lambda: [ModeSample("60 fps", 1 / 60, np.zeros(2), np.zeros(2)), exact_mode(30, 2)],
            "60 fps has 2 accepted presses; film until there are at least 3",
        ),
        (
            lambda: [ModeSample("a", 1 / 60, np.array([0.1, math.nan]), np.zeros(2))],
            "leave those out",
        ),
        (lambda: [ModeSample("a", 1 / 60, np.zeros(3), np.zeros(2))], "one of each a press"),
    ],
)
def test_samples_that_make_no_ladder_are_refused(modes, refusal):
    with pytest.raises(BadSample, match=refusal):
        climb(modes())


def test_a_mode_without_a_frame_time_is_refused():
    with pytest.raises(BadSetting, match="a game frame of 0"):
        ModeSample("a", 0.0, np.zeros(3), np.zeros(3))
