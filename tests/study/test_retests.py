"""Series and sessions: published (NIST SiRstv), exact (budgets), false alarms by simulation.

SiRstv: NIST StRD analysis of variance, resistivity of silicon wafers, 5 groups of
5; certified sums of squares, F and residual standard deviation. The data file
ships in SciPy's tests and the certified values are repeated here.
"""

import math
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from blinkspan.errors import BadSample, BadSetting
from blinkspan.study.retests import Shot, follow
from blinkspan.study.sessions import split_sessions

NIST = Path(scipy.stats.__file__).parent / "tests/data/nist_anova"
LAG = "lag of the panel in game mode"


def groups_of(name, skip=60):
    rows = np.loadtxt(NIST / name, skiprows=skip)
    return [rows[rows[:, 0] == group, 1] for group in np.unique(rows[:, 0])]


def shot(build, day, centre_ms, rng, *, n=20, sd_ms=4.8, **systematic_ms):
    seen = 1e-3 * (centre_ms + rng.uniform(-1, 1, n) * sd_ms * math.sqrt(3))
    parts = {name: 1e-3 * u for name, u in systematic_ms.items()}
    return Shot(build, date(2031, 5, day), seen, np.full(n, 0.7e-3), parts)


def test_sessions_split_as_nist_certifies():
    groups = groups_of("SiRstv.dat")
    assert [group.size for group in groups] == [5] * 5
    split = split_sessions([groups])
    assert split.between_ss == pytest.approx(5.11462616000000e-02, rel=1e-9)
    assert split.within_ss == pytest.approx(2.16636560000000e-01, rel=1e-9)
    assert (split.between_df, split.within_df) == (4, 20)
    assert split.ratio == pytest.approx(1.18046237440255, rel=1e-9)
    assert split.within_sd == pytest.approx(0.104076068334656, rel=1e-9)
    assert split.p == pytest.approx(scipy.stats.f_oneway(*groups).pvalue)
    assert split.between_sd == pytest.approx(
        math.sqrt((5.11462616e-2 / 4 - 2.16636560e-1 / 20) / 5), rel=1e-9
    )


def test_constant_leading_digits_do_not_cancel():
    # SmLs04: certified F 2.1e1, seven leading digits in common
    split = split_sessions([groups_of("SmLs04.dat")])
    assert split.ratio == pytest.approx(21.0, rel=1e-6)


def test_sessions_no_further_apart_than_presses_have_no_spread_of_their_own():
    split = split_sessions([[np.array([1.0, 3.0]), np.array([1.1, 2.9])]])
    assert split.between_sd is None
    assert split.to_dict()["between_df"] == 1


def test_a_patch_that_took_off_eighteen_milliseconds():
    rng = np.random.default_rng(1)
    series = follow([shot("1.0", 3, 90, rng), shot("1.1", 20, 72, rng)])
    (change,) = series.changes
    assert change.shown
    assert change.shift_ms.low <= -18.0 <= change.shift_ms.high < 0.0
    assert str(series).startswith("1.1 of 2031-05-20 is 1")
    assert "quicker than 1.0 of 2031-05-03." in str(series)


def test_shots_are_taken_in_order_of_date():
    rng = np.random.default_rng(2)
    late, early = shot("1.1", 9, 80, rng), shot("1.0", 2, 90, rng)
    assert follow([late, early]).labels == ("1.0 of 2031-05-02", "1.1 of 2031-05-09")


def test_a_retest_that_disagrees_is_told_and_one_that_agrees_is_not():
    rng = np.random.default_rng(3)
    series = follow([shot("1.0", 1, 90, rng), shot("1.1", 2, 101, rng), shot("1.1", 3, 90, rng)])
    assert [change.to_dict()["disagrees"] for change in series.changes] == [False, True]
    assert "disagrees with 1.1 of 2031-05-02 of the same build" in str(series)
    steady = follow([shot("1.0", 1, 90, rng), shot("1.0", 2, 90, rng)])
    assert not steady.changes[0].shown
    assert "agrees with 1.0 of 2031-05-01, within" in str(steady)


def test_what_both_share_cancels_and_what_one_carries_counts():
    def half_width(first, second):
        rng = np.random.default_rng(4)
        a, b = shot("1.0", 1, 90, rng, **first), shot("1.1", 2, 90, rng, **second)
        shift = follow([a, b]).changes[0].shift_ms
        return shift.high - shift.value

    bare = half_width({}, {})
    assert half_width({LAG: 5.0}, {LAG: 5.0}) == pytest.approx(bare)
    # 5 ms systematic dwarfs the presses: about 1.96 times both together
    one = half_width({LAG: 5.0}, {})
    assert one == pytest.approx(1.96 * math.hypot(5.0, bare / 2.02), rel=0.02)
    two = half_width({LAG: 5.0}, {"lag of another panel": 5.0})
    assert two == pytest.approx(1.96 * math.hypot(5.0, 5.0, bare / 2.02), rel=0.02)


def test_means_carry_every_systematic_part_and_sessions_never_cancel():
    rng = np.random.default_rng(5)
    shots = [shot("1.0", day, 90, rng, **{LAG: 3.0}) for day in (1, 2)]
    plain, doubtful = follow(shots), follow(shots, session_u_s=2e-3)
    assert plain.means_ms[0].high - plain.means_ms[0].value > 1.95 * 3.0
    wider = doubtful.changes[0].shift_ms
    assert wider.high - wider.value > 1.95 * math.sqrt(2) * 2.0


def test_sessions_that_differ_are_told():
    rng = np.random.default_rng(6)
    shots = [shot("1.0", day, 90 + 9 * (day % 2), rng) for day in range(1, 7)]
    series = follow(shots)
    assert series.sessions.between_sd == pytest.approx(5.0, abs=2.0)
    assert "beyond what their presses explain" in str(series)
    assert follow([shot("1.0", 1, 90, rng), shot("1.1", 2, 90, rng)]).sessions is None


def test_a_series_raises_a_false_alarm_in_one_of_twenty():
    rng = np.random.default_rng(7)
    alarms = sum(
        any(c.shown for c in follow([shot("1.0", d, 90, rng, n=8) for d in range(1, 6)]).changes)
        for _ in range(600)
    )
    assert 0.02 <= alarms / 600 <= 0.077  # at most 5 %, and three standard errors


@pytest.mark.parametrize(
    ("shots", "error", "refusal"),
    [
        (lambda rng: [shot("1.0", 1, 90, rng)], BadSample, "two or more shots, got 1"),
        (
            lambda rng: [shot("1.0", 1, 90, rng), shot("1.0", 2, 90, rng, n=2)],
            BadSample,
            "1.0 of 2031-05-02 has 2 accepted presses",
        ),
        (
            lambda rng: [shot("a", 1, 9, rng, lag=1.0), shot("a", 2, 9, rng, lag=2.0)],
            BadSetting,
            "lag has an uncertainty of 1 ms in a of 2031-05-01 and 2 ms",
        ),
    ],
)
def test_shots_that_make_no_series_are_refused(shots, error, refusal):
    with pytest.raises(error, match=refusal):
        follow(shots(np.random.default_rng(8)))


@pytest.mark.parametrize(
    ("setups", "refusal"),
    [
        ([[np.array([1.0, 2.0])]], "no setup was filmed twice"),
        ([[np.array([1.0]), np.array([2.0])]], "no session has two presses"),
    ],
)
def test_sessions_that_cannot_be_split_are_refused(setups, refusal):
    with pytest.raises(BadSample, match=refusal):
        split_sessions(setups)
