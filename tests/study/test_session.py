"""Order in a session: NIST's certified sets, Sen's worked example, SciPy and pingouin as judges.

Lag-1 autocorrelation, mean and standard deviation: NIST StRD univariate Lew, Lottery and
Mavro. Slope: Sen, JASA 63 (1968), his worked example (from memory; SciPy agrees). Kendall's
test: SciPy. Mann's trend and the Rayleigh test have their nulls simulated.
"""

from pathlib import Path

import numpy as np
import pingouin
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from blinkspan.errors import BadSample, BadSetting
from blinkspan.study.session import autocorrelation, drift, lag_1, theil_sen
from blinkspan.study.timing import metronome, phase_lock

TRUTH = Path(__file__).parents[1] / "truth"


def nist(name):
    words = (TRUTH / name).read_text().splitlines()
    return np.array([float(word) for line in words if line[0] != "#" for word in line.split()])


@pytest.mark.parametrize(
    ("name", "mean", "sd", "lag"),
    [
        ("nist_lew.txt", -177.435, 277.332168044316, -0.307304800605679),
        ("nist_lottery.txt", 518.958715596330, 291.699727470969, -0.120948622967393),
        ("nist_mavro.txt", 2.001856, 0.000429123454003053, 0.937989183438248),
    ],
)
def test_certified_sets(name, mean, sd, lag):
    x = nist(name)
    assert x.mean() == pytest.approx(mean, rel=1e-12)
    assert x.std(ddof=1) == pytest.approx(sd, rel=1e-11)
    assert lag_1(x) == pytest.approx(lag, rel=1e-10)


def test_mavro_drifts_and_each_of_its_values_resembles_the_last():
    x = nist("nist_mavro.txt")
    found = drift(x)
    assert found.p < 1e-3
    assert found.per_press.low > 0
    assert autocorrelation(x).p < 1e-9
    assert autocorrelation(x).worth == pytest.approx(50 * 0.062010816561752 / 1.937989183438248)


def test_lottery_has_no_order():
    x = nist("nist_lottery.txt")
    assert drift(x).p > 0.05
    assert autocorrelation(x).p > 0.05


def test_sens_worked_example():
    at, values = np.array([1.0, 2, 3, 4, 10, 12, 18]), np.array([9.0, 15, 19, 20, 45, 55, 78])
    slope, rising = theil_sen(at, values, 0.93)
    assert slope.value == 4.0
    assert [slope.low, slope.high] == pytest.approx([26 / 7, 35 / 8])
    assert rising == 21.0


def test_tied_slopes_agree_with_scipy():
    rng = np.random.default_rng(1)
    values = rng.integers(0, 8, 30) + np.arange(30) // 10
    found = drift(values)
    theirs = scipy.stats.theilslopes(values)
    assert [found.per_press.value, found.per_press.low, found.per_press.high] == pytest.approx(
        [theirs.slope, theirs.low_slope, theirs.high_slope]
    )
    # SciPy's p has no continuity correction.
    kendall = scipy.stats.kendalltau(np.arange(30), values, method="asymptotic").pvalue
    assert found.p == pytest.approx(kendall, rel=0.15)
    assert found.p > kendall


def test_long_sessions_drift_as_their_runs_do():
    rng = np.random.default_rng(2)
    x = rng.normal(0.0, 1.0, 600) + 0.01 * np.arange(600)
    found = drift(x)
    assert found.per_press.low < 0.01 < found.per_press.high
    assert found.over_session.value == pytest.approx(599 * found.per_press.value)


@pytest.mark.parametrize("look", [drift, autocorrelation])
def test_presses_in_random_order_are_rarely_told_to_have_one(look):
    rng = np.random.default_rng(3)
    told = [look(rng.integers(12, 16, 20) * 4.17).p <= 0.05 for _ in range(800)]
    assert 0.02 <= np.mean(told) <= 0.07


@pytest.mark.parametrize("values", [[50.0] * 20, np.arange(7.0)])
def test_too_few_or_equal_presses_have_no_order_to_tell(values):
    assert drift(values) is None
    assert autocorrelation(values) is None


def test_slopes_need_two_places():
    with pytest.raises(BadSample, match="one place"):
        theil_sen(np.array([1.0, 1.0]), np.array([2.0, 3.0]))


@given(st.integers(1, 200), st.floats(0.3, 3.0), st.integers(0, 99))
def test_beats_keep_their_gap_and_their_jitter(beats, gap_s, seed):
    times = metronome(beats, gap_s, np.random.default_rng(seed))
    late = times - np.arange(beats) * gap_s
    assert late.min() >= 0.0
    assert late.max() <= gap_s / 4 + 1 / 30 + 1e-9
    assert (np.diff(times) > 0).all()


@pytest.mark.parametrize("rate_hz", [30.0, 60.0, 120.0])
def test_jittered_beats_are_spread_evenly_over_a_frame_whatever_the_gap(rate_hz):
    times = metronome(20_000, 0.5, np.random.default_rng(4))  # 0.5 s is in step with all rates
    phase = np.mod(times * rate_hz, 1.0)
    assert scipy.stats.kstest(phase, "uniform").pvalue > 0.01
    assert not phase_lock(times, 1 / rate_hz).locked
    assert abs(np.corrcoef(phase[1:], phase[:-1])[0, 1]) < 0.03


def test_a_steady_beat_keeps_step():
    found = phase_lock(np.arange(20) * 0.5 + 0.003, 1 / 60)
    assert found.strength == pytest.approx(1.0)
    assert found.locked
    assert "keep step" in str(found)


def test_rayleigh_agrees_with_pingouin_and_its_own_null():
    rng = np.random.default_rng(5)
    times = rng.uniform(0.0, 10.0, 30)
    found = phase_lock(times, 1 / 60)
    angles = np.mod(times * 60.0, 1.0) * 2.0 * np.pi
    z, p = pingouin.circ_rayleigh(angles)
    assert found.strength == pytest.approx(np.sqrt(z / 30))
    assert found.p == pytest.approx(p, abs=0.01)
    null = [phase_lock(rng.uniform(0, 10, 8), 1 / 60).p <= 0.05 for _ in range(2000)]
    assert np.mean(null) == pytest.approx(0.05, abs=0.015)


@pytest.mark.parametrize(
    "call",
    [
        lambda rng: metronome(0, 1.0, rng),
        lambda rng: metronome(5, 0.02, rng),
        lambda rng: metronome(5, 1.0, rng, jitter_s=2.0),
        lambda rng: phase_lock([1.0], 0.0),
    ],
)
def test_beats_and_periods_that_cannot_be_are_refused(call):
    with pytest.raises(BadSetting):
        call(np.random.default_rng(0))
