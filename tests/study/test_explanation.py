"""Where the time goes: exact (parts add up, differences cancel) on presses played by events."""

import numpy as np
import pytest
import scipy.stats

from blinkspan.errors import BadSetting
from blinkspan.quantities import Measured
from blinkspan.study.baseline import above_baseline
from blinkspan.study.explanation import explain
from blinkspan.study.modes import ModeSample
from blinkspan.study.pipeline import Pipeline
from blinkspan.study.pipeline_events import simulate_spans
from blinkspan.study.pipeline_prior import QueuePrior

LINK = [(4e-3,)]


def played(name, fps, queued, rng, *, n=30, late=0.0, row=0.5, mode_u_s=0.0):
    pipeline = Pipeline(1 / fps, queued, 1 / 60, 0.0, 4e-3, 0.02, late_share=late, row_fraction=row)
    seen = simulate_spans(pipeline, n, rng) + rng.normal(0.0, 0.7e-3, n)
    u = np.full(n, 0.7e-3)
    return ModeSample(name, 1 / fps, seen, u, mode_u_s, pipeline.scanout_s)


def test_parts_add_up_to_the_mean_seen():
    rng = np.random.default_rng(1)
    modes = [played("30 fps", 30, 2, rng), played("60 fps", 60, 2, rng)]
    found = explain(modes, LINK, rng, prior=QueuePrior(same_queue=1.0))
    assert [time.name for time in found.times] == ["60 fps", "30 fps"]
    for time, frame_ms in zip(found.times, (1e3 / 60, 1e3 / 30), strict=True):
        parts = dict(time.parts_ms)
        assert parts["queued frames"] == pytest.approx(2 * frame_ms)
        assert parts["wait for the game to sample"] == pytest.approx(frame_ms / 2)
        assert parts["waits of control and link"] == pytest.approx(2.0)
        assert parts["scan-out to the row"] == pytest.approx(8.0)
        # the mean of 30 presses of a uniform wait scatters by T / √(12 * 30)
        assert time.predicted_ms == pytest.approx(time.seen_ms, abs=3 * frame_ms / 19)
    assert found.to_dict()["times"][0]["predicted_ms"] == found.times[0].predicted_ms
    assert found.above == ()


def test_late_frames_are_counted_and_explain_the_spread():
    rng = np.random.default_rng(2)
    prior = QueuePrior(fixed_s=Measured(0.02, 2e-3))
    found = explain([played("60 fps", 60, 1, rng, n=60, late=0.35)], LINK, rng, prior=prior)
    assert dict(found.times[0].parts_ms)["late frames"] == pytest.approx(0.35 * 1e3 / 60, abs=2.5)
    assert found.spreads[0].wider
    assert "would explain it" in str(found)


def test_the_menu_takes_away_what_it_shares():
    rng = np.random.default_rng(3)
    menu = played("menu", 60, 1, rng, n=200, row=0.2)
    title = played("30 fps", 30, 2, rng, n=200, row=0.8)
    above = above_baseline(title, menu)
    # (2 + 1/2) frames of 33.3 ms less (1 + 1/2) of 16.7 ms, wherever on the screen
    assert above.above_ms.low <= 2.5 * 100 / 3 - 1.5 * 50 / 3 <= above.above_ms.high
    assert above.above_frames.value == pytest.approx(above.above_ms.value / (100 / 3))
    assert above.sampling_ms == pytest.approx(50 / 6)
    assert "Its wait to be sampled is 8.3 ms longer." in str(above)
    back = above_baseline(menu, title)
    assert back.above_ms.value == pytest.approx(-above.above_ms.value)
    assert f"menu takes {above.above_ms.value:.1f} ms" in str(back)
    assert "less than 30 fps" in str(back)


def test_above_the_menu_is_welchs_interval_with_what_is_not_shared():
    rng = np.random.default_rng(4)
    menu, title = played("menu", 60, 1, rng, n=9), played("60 fps", 60, 1, rng, n=12)
    welch = scipy.stats.ttest_ind(title.latency_s, menu.latency_s, equal_var=False)
    interval = welch.confidence_interval(0.95)
    found = above_baseline(title, menu).above_ms
    assert [found.low, found.high] == pytest.approx([1e3 * interval.low, 1e3 * interval.high])
    assert "not shown to differ from menu" in str(above_baseline(title, menu))
    doubtful = played("60 fps", 60, 1, rng, n=400, mode_u_s=5e-3)
    wide = above_baseline(doubtful, played("menu", 60, 1, rng, n=400)).above_ms
    assert wide.high - wide.value == pytest.approx(1.96 * 5.0, rel=0.03)


def test_explaining_needs_a_set_of_waits():
    rng = np.random.default_rng(5)
    with pytest.raises(BadSetting, match="no set of waits was given; give one"):
        explain([played("60 fps", 60, 1, rng)], [], rng)
