"""Queued frames from presses: exact (likelihood, trade-off), simulated truth, calibration.

The trade-off is arithmetic: k frames of T with a fixed part F give the same
presses as k - 1 frames with F + T. Simulated presses are played event by event,
not drawn from the law that the likelihood uses.
"""

import math

import numpy as np
import pytest
from scipy.stats import norm

from blinkspan.errors import BadSample, BadSetting
from blinkspan.quantities import Measured
from blinkspan.study.modes import ModeSample
from blinkspan.study.pipeline import Pipeline
from blinkspan.study.pipeline_events import simulate_spans
from blinkspan.study.pipeline_inference import infer_queue
from blinkspan.study.pipeline_likelihood import LATE_SHARES, log_likelihood
from blinkspan.study.pipeline_links import USUAL_WIRED_POLLS_S
from blinkspan.study.pipeline_prior import QueuePrior, queues_of
from blinkspan.study.pipeline_spread import check_spread

LINK = [(4e-3,)]
UNKNOWN_LINK = [(poll,) for poll in USUAL_WIRED_POLLS_S]
NOISE_S = 0.7e-3


def played(fps, queued, rng, *, n=20, fixed_s=0.02, poll_s=4e-3, late=0.0, **more):
    """Presses of one mode, played event by event on a 60 Hz panel or a faster one."""
    refresh_s = 1.0 / max(60, fps)
    pipeline = Pipeline(
        1.0 / fps, queued, refresh_s, 0.0, poll_s, system_s=fixed_s, late_share=late
    )
    seen = simulate_spans(pipeline, n, rng) + rng.normal(0.0, NOISE_S, n)
    u = np.full(n, NOISE_S)
    return ModeSample(f"{fps} fps", 1.0 / fps, seen, u, scanout_s=pipeline.scanout_s, **more)


def test_likelihood_of_one_wait_is_the_closed_form():
    frame_s, u_s = 1 / 60, 1e-3
    seen = np.array([0.031, 0.035, 0.0401])
    sample = ModeSample("60 fps", frame_s, seen, np.full(3, u_s))
    fixed_s = np.array([0.010, 0.0131, 0.0145])
    for k in (0, 1):
        left = seen - fixed_s[:, None] - k * frame_s
        density = (norm.cdf(left / u_s) - norm.cdf((left - frame_s) / u_s)) / frame_s
        exact = np.log(0.997 * density + 0.003 / 0.5).sum(axis=1)
        found = log_likelihood(sample, (), fixed_s, 2)[0, k]
        assert found == pytest.approx(exact, abs=0.02)


def test_a_frame_and_as_many_milliseconds_are_the_same_presses():
    rng = np.random.default_rng(1)
    sample = played(60, 2, rng)
    fixed_s = np.arange(0.0, 0.06, 1e-3)
    found = log_likelihood(sample, (4e-3,), fixed_s, 3)
    shifted = log_likelihood(sample, (4e-3,), fixed_s + 1 / 60, 3)
    assert shifted[:, :3] == pytest.approx(found[:, 1:], abs=1e-6)


def test_log_likelihood_of_many_presses_neither_overflows_nor_vanishes():
    sample = ModeSample("120 fps", 1 / 120, np.tile([0.05, 0.3], 400), np.full(800, 1e-5))
    found = log_likelihood(sample, (), np.array([0.04, 0.045]), 1)
    assert np.isfinite(found).all()


def test_one_mode_alone_tells_only_the_sum():
    rng = np.random.default_rng(3)
    found = infer_queue([played(60, 2, rng)], LINK)
    assert not found.told
    # 20 ms and two frames of 16.7 ms: 0, 1, 2 or 3 frames with 53, 37, 20 or 3 ms
    assert found.frames_of("60 fps") == pytest.approx(dict.fromkeys(range(4), 0.25), abs=0.02)
    assert found.fixed_ms.low < 5.0 < 50.0 < found.fixed_ms.high
    total = found.sum_ms[0]
    assert total.low <= 20.0 + 2 * 1e3 / 60 <= total.high
    assert total.high - total.low < 5.0
    assert "do not tell queued frames from the fixed part" in str(found)
    assert "Told is only the sum" in str(found)


def test_a_fixed_part_known_from_elsewhere_tells_the_frames():
    rng = np.random.default_rng(3)
    prior = QueuePrior(fixed_s=Measured(0.021, 3e-3))
    found = infer_queue([played(60, 2, rng)], LINK, prior)
    assert found.told
    assert found.queues[0] == (2,)
    assert found.fixed_of_first_ms.low <= 20.0 <= found.fixed_of_first_ms.high
    assert str(found).startswith("Queued frames: 2 in 60 fps (chance above 0.99)")
    assert found.saving("60 fps").ms == pytest.approx(1e3 / 60)
    assert "One queued frame fewer would save 16.7 ms in 60 fps." in str(found)


def test_two_modes_that_may_differ_leave_the_honest_alternative():
    rng = np.random.default_rng(5)
    modes = [played(60, 2, rng), played(30, 2, rng)]
    open_minded = infer_queue(modes, LINK)
    assert open_minded.queues[0] == (2, 2)
    assert (0, 1) in open_minded.queues  # 33 ms more fixed part, the same presses
    assert not open_minded.told  # two equations for three unknowns
    alike = infer_queue(modes, LINK, QueuePrior(same_queue=1.0))
    assert alike.told
    assert alike.queues[0] == (2, 2)
    # of equal likelihood, so their chances are as the priors of the sets
    queues, log_prior = queues_of(2, QueuePrior())
    of = {tuple(queue): by for queue, by in zip(queues.tolist(), log_prior, strict=True)}
    chance = dict(zip(open_minded.queues, open_minded.chances, strict=True))
    ratio = math.exp(of[2, 2] - of[0, 1])
    assert chance[2, 2] / chance[0, 1] == pytest.approx(ratio, rel=0.05)
    # so that only what was held beforehand chooses, and the sentence says so
    fit = dict(zip(open_minded.queues, open_minded.fits, strict=True))
    assert fit[2, 2] / fit[0, 1] == pytest.approx(1.0, rel=0.05)
    assert "2 in every mode (chance 0.7" in str(open_minded)
    assert "or 0 in 60 fps and 1 in 30 fps (chance 0.2" in str(open_minded)
    assert "too nearly alike to choose" in str(open_minded)
    assert "probably" not in str(open_minded)


def test_a_queue_that_fits_better_is_called_probable():
    # Known truth: 2 frames, the fixed part known to 5 ms, which fits one frame more or fewer
    # by 16.7 ms / 5 ms: three standard deviations.
    rng = np.random.default_rng(3)
    prior = QueuePrior(fixed_s=Measured(0.0265, 5e-3))
    found = infer_queue([played(60, 2, rng)], LINK, prior)
    assert found.queues[0] == (2,)
    assert 0.7 < found.chances[0] < 0.95
    assert found.fits == pytest.approx(np.array(found.chances) / found.chances[0])
    assert str(found).startswith("Queued frames: probably 2 in 60 fps (chance 0.")


def test_three_modes_tell_the_one_that_queues_longer():
    rng = np.random.default_rng(6)
    found = infer_queue([played(30, 3, rng), played(60, 2, rng), played(120, 2, rng)], LINK)
    assert found.names == ("120 fps", "60 fps", "30 fps")
    assert found.told
    assert found.queues[0] == (2, 2, 3)
    assert "2 in 120 fps, 2 in 60 fps and 3 in 30 fps" in str(found)


def test_late_frames_are_told_and_their_share():
    rng = np.random.default_rng(7)
    found = infer_queue([played(60, 2, rng, n=40, late=0.3), played(30, 2, rng)], LINK)
    late, steady = found.late
    assert found.queues[0] == (2, 2)
    assert late.chance > 0.95 > 0.6 > steady.chance
    assert late.share.low <= 0.3 <= late.share.high
    assert "In 60 fps some presses were answered a game frame late" in str(found)
    ruled_out = infer_queue([played(60, 2, rng)], LINK, QueuePrior(steady=1.0))
    assert ruled_out.late[0].chance == pytest.approx(0.0, abs=1e-9)


def test_systematic_parts_widen_what_they_must_and_nothing_else():
    rng = np.random.default_rng(8)
    modes = [played(60, 2, rng), played(30, 2, rng)]
    prior = QueuePrior(same_queue=1.0)
    plain = infer_queue(modes, LINK, prior)
    shared = infer_queue(modes, LINK, prior, shared_u_s=3e-3)
    assert shared.chances == plain.chances
    width = shared.fixed_ms.high - shared.fixed_ms.low
    assert width > 2 * 1.9 * 3.0 > plain.fixed_ms.high - plain.fixed_ms.low
    apart = [
        ModeSample(m.name, m.frame_s, m.latency_s, m.own_u_s, 6e-3, m.scanout_s) for m in modes
    ]
    assert infer_queue(apart, LINK, prior).chances[0] < plain.chances[0]


def test_a_stray_press_does_not_outvote_the_others():
    rng = np.random.default_rng(9)
    sample = played(60, 2, rng)
    seen = sample.latency_s.copy()
    seen[3] += 0.2
    strayed = ModeSample(sample.name, sample.frame_s, seen, sample.own_u_s, 0.0, sample.scanout_s)
    prior = QueuePrior(fixed_s=Measured(0.02, 3e-3))
    assert infer_queue([strayed], LINK, prior).queues[0] == (2,)


def test_presses_that_nothing_explains_are_refused():
    rng = np.random.default_rng(10)
    with pytest.raises(BadSample, match=r"fit no queue of 0 to 8 frames .* allow more"):
        infer_queue([played(60, 25, rng)], LINK)


@pytest.mark.parametrize(
    ("design", "prior"),
    [
        ((60,), QueuePrior(fixed_s=Measured(0.03, 3e-3))),
        ((30, 60), QueuePrior(same_queue=1.0)),
        ((30, 60, 120), QueuePrior()),
    ],
)
def test_the_right_number_of_frames_in_95_of_100_setups(design, prior):
    rng = np.random.default_rng(12)
    right = 0
    for _ in range(40):
        queued = int(rng.integers(0, 5))
        fixed_s = rng.uniform(0.005, 0.06)
        if prior.fixed_s is not None:
            fixed_s = max(rng.normal(prior.fixed_s.value, prior.fixed_s.u), 0.0)
        modes = [played(fps, queued, rng, fixed_s=fixed_s) for fps in design]
        right += infer_queue(modes, LINK, prior).queues[0] == (queued,) * len(design)
    assert right >= 38


def test_chances_are_as_often_right_as_they_say():
    """Truth drawn from the prior: a queue given a chance of p is the truth in a share p."""
    rng = np.random.default_rng(13)
    prior = QueuePrior(most_frames=5, most_fixed_s=0.08)
    queues, log_prior = queues_of(2, prior)
    claimed, true, held = [], [], 0
    repetitions = 100
    for _ in range(repetitions):
        queue = tuple(rng.choice(queues, p=np.exp(log_prior) / np.exp(log_prior).sum()).tolist())
        fixed_s = rng.uniform(0.0, prior.most_fixed_s)
        (poll_s,) = UNKNOWN_LINK[rng.integers(len(UNKNOWN_LINK))]
        late = LATE_SHARES[rng.integers(1, LATE_SHARES.size) if rng.random() < 0.5 else 0]
        modes = [
            played(fps, k, rng, n=10, fixed_s=fixed_s, poll_s=poll_s, late=late)
            for fps, k in zip((60, 30), queue, strict=True)
        ]
        found = infer_queue(modes, UNKNOWN_LINK, prior)
        claimed += found.chances
        true += [listed == queue for listed in found.queues]
        held += found.fixed_ms.low <= 1e3 * fixed_s <= found.fixed_ms.high
    claims, truths = np.array(claimed), np.array(true)
    for low, high in ((0.0, 0.1), (0.1, 0.5), (0.5, 0.9), (0.9, 1.01)):
        these = (claims >= low) & (claims < high)
        expected, got = claims[these].sum(), truths[these].sum()
        slack = 3.0 * math.sqrt((claims[these] * (1 - claims[these])).sum())
        assert abs(got - expected) <= slack + 0.5
    assert held >= 88  # of 100, three standard errors below 95


def test_spread_of_a_steady_pipeline_is_explained_as_often_as_stated():
    rng = np.random.default_rng(14)
    checks = [check_spread(played(60, 2, rng, n=12), LINK, rng) for _ in range(200)]
    alarms = sum(check.wider or check.narrower for check in checks)
    assert 3 <= alarms <= 20  # 5 % of 200, three standard errors either way
    assert checks[0].expected_ms == pytest.approx(
        1e3 * math.sqrt((1 / 60) ** 2 / 12 + 4e-3**2 / 12 + NOISE_S**2), rel=1e-3
    )


def test_more_spread_than_sampling_makes_is_told_and_explained():
    rng = np.random.default_rng(15)
    sample = played(60, 2, rng, n=60, late=0.4)
    check = check_spread(sample, LINK, rng, late_share=0.4)
    assert check.wider
    assert check.excess_ms == pytest.approx(
        math.sqrt(check.seen_ms**2 - check.expected_ms**2), rel=1e-9
    )
    assert "would explain it" in str(check)
    assert "Not even" not in str(check)
    far = ModeSample("60 fps", 1 / 60, rng.uniform(0.05, 0.15, 40), np.full(40, NOISE_S))
    assert "something else varies" in str(check_spread(far, LINK, rng, late_share=0.3))


def test_less_spread_than_random_presses_make_is_told():
    rng = np.random.default_rng(16)
    locked = ModeSample("30 fps", 1 / 30, rng.normal(0.09, 1e-3, 20), np.full(20, NOISE_S))
    check = check_spread(locked, UNKNOWN_LINK, rng)
    assert check.narrower
    assert not check.wider
    assert check.excess_ms is None
    assert "not at random times against the game's frames" in str(check)


@pytest.mark.parametrize(
    "bad",
    [
        lambda: QueuePrior(most_frames=-1),
        lambda: QueuePrior(least_fixed_s=0.1, most_fixed_s=0.05),
        lambda: QueuePrior(fixed_s=Measured(0.02, 0.0)),
        lambda: QueuePrior(same_queue=0.0),
        lambda: QueuePrior(steady=math.nan),
        lambda: check_spread(played(60, 1, np.random.default_rng()), [], np.random.default_rng()),
    ],
)
def test_priors_that_cannot_be_are_refused(bad):
    with pytest.raises(BadSetting, match="give"):
        bad()
