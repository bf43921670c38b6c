"""The pipeline model: published (uniform waits, JCGM 101 sums, link periods) and exact checks.

Uniform sampling: a wait for a clock of period P has mean P / 2 and sd P / √12
(algebra). Sums of waits are worked from the same two formulas. JCGM 101:2008
9.2.3 and 9.2.4 add four rectangular laws; the first interval also follows from
the closed form of the sum, ± 2 √3 (2 - 0.6 ** (1/4)).
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import kstest, norm

from blinkspan.errors import BadSetting
from blinkspan.study import pipeline_links as links
from blinkspan.study.pipeline import Pipeline
from blinkspan.study.pipeline_distribution import predicted, sum_of_waits
from blinkspan.study.pipeline_events import simulate_spans

PIPELINES = {
    "locked 60": Pipeline(1 / 60, 2, 1 / 60, 1e-3, 8e-3, 5e-3, 9e-3),
    "30 on a 60 Hz panel, no queue": Pipeline(1 / 30, 0, 1 / 60, row_fraction=0.25),
    "120 with late frames": Pipeline(1 / 120, 3, 1 / 120, 0.0, 4e-3, late_share=0.2),
    "free-running refresh": Pipeline(1 / 60, 1, 1 / 60, 0.0, 8e-3, free_refresh=True),
    "wireless, every frame late": Pipeline(1 / 60, 0, 1 / 60, 2e-3, 7.5e-3, 1e-3, late_share=1.0),
}


@pytest.mark.parametrize(
    ("waits_ms", "mean_ms", "sd_ms"),
    [
        ([1.0], 0.5, 0.288675),
        ([4.0], 2.0, 1.154701),
        ([8.0], 4.0, 2.309401),
        ([50 / 3], 8.333333, 4.811252),
        ([100 / 3], 16.666667, 9.622504),
        ([8.0, 50 / 3], 12.3333, 5.33681),
        ([1.0, 50 / 3], 8.8333, 4.81991),
        ([4.0, 25 / 3], 6.1667, 2.66839),
        ([8.0, 50 / 3, 50 / 3], 20.6667, 7.18539),
    ],
)
def test_waits_add_as_uniform_laws_do(waits_ms, mean_ms, sd_ms):
    both = sum_of_waits([1e-3 * wait for wait in waits_ms], step_s=0.01e-3)
    assert 1e3 * both.mean_s == pytest.approx(mean_ms, abs=5e-5)
    assert 1e3 * both.sd_s == pytest.approx(sd_ms, rel=2e-4)
    assert both.quantile(np.array([0.0]))[0] == pytest.approx(0.0, abs=0.03e-3)
    assert both.quantile(np.array([1.0]))[0] == pytest.approx(1e-3 * sum(waits_ms), abs=0.1e-3)


def test_four_equal_rectangulars_of_jcgm_101():
    width = 2.0 * math.sqrt(3.0)  # u = 1 each
    four = sum_of_waits([width] * 4, step_s=0.005)
    assert four.sd_s == pytest.approx(2.0, rel=1e-5)
    half = four.quantile(np.array([0.975]))[0] - four.mean_s
    assert half == pytest.approx(width * (2.0 - 0.6**0.25), abs=1e-4)
    assert half == pytest.approx(3.88, abs=5e-3)


def test_one_rectangular_ten_times_wider_of_jcgm_101():
    width = 2.0 * math.sqrt(3.0)
    four = sum_of_waits([width] * 3 + [10.0 * width], step_s=0.01)
    assert four.sd_s == pytest.approx(math.sqrt(103.0), rel=1e-5)
    assert four.quantile(np.array([0.975]))[0] - four.mean_s == pytest.approx(17.0, abs=0.05)


@given(st.floats(1e-3, 0.05), st.floats(0.0, 3e-3), st.floats(1e-5, 1e-3))
def test_the_grid_keeps_the_mean_at_any_step(wait_s, noise_s, step_s):
    law = sum_of_waits([wait_s], noise_s=noise_s, step_s=step_s)
    assert law.mass.sum() == pytest.approx(1.0)
    assert law.mean_s == pytest.approx(wait_s / 2.0, abs=1e-9)
    exact = wait_s**2 / 12.0 + noise_s**2
    assert exact - 1e-12 <= law.sd_s**2 <= exact + 3 * step_s**2 / 4.0


def test_a_wait_with_noise_has_the_density_of_its_closed_form():
    wait, noise = 1 / 60, 1.5e-3
    at = np.linspace(-5e-3, 25e-3, 61)
    exact = (norm.cdf(at / noise) - norm.cdf((at - wait) / noise)) / wait
    law = sum_of_waits([wait], noise_s=noise, step_s=0.02e-3)
    assert law.density(at) == pytest.approx(exact, abs=0.01)  # of a plateau of 60 per second


@pytest.mark.parametrize("name", PIPELINES)
def test_convolution_and_played_events_agree(name):
    pipeline = PIPELINES[name]
    law = predicted(pipeline)
    played = simulate_spans(pipeline, 3000, np.random.default_rng(5))
    assert law.mean_s == pytest.approx(pipeline.mean_s, abs=1e-9)
    assert law.sd_s == pytest.approx(pipeline.sd_s, rel=1e-4)
    assert played.mean() == pytest.approx(law.mean_s, abs=4 * law.sd_s / math.sqrt(3000))
    assert kstest(played, law.chance_below).pvalue > 0.01
    # and the test can fail: a tenth of a game frame elsewhere is seen
    assert kstest(played + pipeline.game_frame_s / 10, law.chance_below).pvalue < 1e-4


def test_draws_follow_the_law():
    law = predicted(PIPELINES["free-running refresh"])
    drawn = law.drawn((40, 100), np.random.default_rng(3))
    assert drawn.shape == (40, 100)
    assert kstest(drawn.ravel(), law.chance_below).pvalue > 0.01


def test_parts_tell_where_the_time_goes():
    parts = {part.name: part for part in PIPELINES["locked 60"].parts}
    assert parts["queue"].mean_s == pytest.approx(2 / 60)
    assert parts["game tick"].mean_s == pytest.approx(1 / 120)
    # CTA-861 HD formats scan 16.0 of 16.667 ms; mid-screen is 8.0 ms down
    assert 1e3 * parts["scan-out"].mean_s == pytest.approx(8.0)
    assert parts["link poll"].to_dict() == {
        "name": "link poll",
        "least_ms": 0.0,
        "mean_ms": 4.0,
        "most_ms": 8.0,
    }


@pytest.mark.parametrize(
    ("exponent", "period_ms"), [(1, 0.125), (4, 1.0), (5, 2.0), (7, 8.0), (16, 4096.0)]
)
def test_high_speed_intervals_double(exponent, period_ms):
    # the encoding of USB 2.0, 2 ** (n - 1) microframes of 125 µs
    assert 1e3 * links.high_speed_poll_s(exponent) == pytest.approx(period_ms)


def test_wireless_intervals_come_in_slots():
    assert 1e3 * links.low_energy_poll_s(6) == pytest.approx(7.5)
    assert links.low_energy_poll_s(3200) == pytest.approx(4.0)
    assert 1e3 * links.wireless_poll_s(11.2500001e-3) == pytest.approx(11.25)
    assert links.wireless_poll_s(8e-3) == 8e-3, "a maker's own link counts no such slots"


@pytest.mark.parametrize(
    "bad",
    [
        lambda: Pipeline(0.0, 2, 1 / 60),
        lambda: Pipeline(1 / 60, -1, 1 / 60),
        lambda: Pipeline(1 / 60, 1, 1 / 60, late_share=1.5),
        lambda: Pipeline(1 / 60, 1, 1 / 60, poll_period_s=-1e-3),
        lambda: Pipeline(1 / 60, 1, 1 / 60, poll_period_s=math.nan),
        lambda: sum_of_waits([-1.0]),
        lambda: sum_of_waits([1.0], step_s=0.0),
        lambda: simulate_spans(PIPELINES["locked 60"], 0, np.random.default_rng(0)),
        lambda: links.high_speed_poll_s(17),
        lambda: links.low_energy_poll_s(5),
        lambda: links.wireless_poll_s(math.nan),
        lambda: links.wireless_poll_s(0.0),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(bad):
    with pytest.raises(BadSetting) as refused:
        bad()
    assert "\n" not in str(refused.value)
    assert "give" in str(refused.value) or "ask" in str(refused.value)
