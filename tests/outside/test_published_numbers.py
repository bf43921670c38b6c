"""Worked numbers of others, held against quantities and summaries: published.

- JCGM 100:2008 (GUM), H.1: the end gauge; parts of 25, 9.7, 2.9 and 16.6 nm
  combine to 32 nm (two independent copies were read). 4.3.7: a half-width of
  0.40e-6 a degree has u = 0.23e-6 (from memory; it follows by algebra).
- R. J. Hyndman, Y. Fan, "Sample quantiles in statistical packages", The American
  Statistician 50 (1996) 361-365, type 7, worked by hand; SciPy as a second judge.
- Common practice: a camera frame at 240 a second is some 4.17 ms, a game frame at
  30, 60 and 120 a second 33.3, 16.7 and 8.3 ms.
"""

import numpy as np
import pytest
from scipy.stats.mstats import mquantiles

from blinkspan.footage.frames import Clock
from blinkspan.footage.video import open_take
from blinkspan.quantities import Budget, Measured, Term, rectangular, triangular
from blinkspan.study.summary import summarise


def test_the_end_gauge_of_the_guide():
    parts_nm = {"standard": 25.0, "comparator": 9.7, "expansion": 2.9, "temperature": 16.6}
    budget = Budget(tuple(Term(name, u) for name, u in parts_nm.items()))
    assert budget.u_s == pytest.approx(32, abs=0.5)  # any unit: the rule knows none
    assert budget.u_s**2 == pytest.approx(1002, abs=1.5)
    assert budget.leading.name == "standard"
    whole = Measured(50_000_838.0, 0.0)
    for u in parts_nm.values():
        whole = whole + Measured(0.0, u)
    assert whole.u == pytest.approx(budget.u_s)


def test_half_widths_of_the_guide():
    assert rectangular(0.40e-6) == pytest.approx(0.23e-6, abs=0.005e-6)
    # A trapezoid of top/base b has a^2 (1 + b^2) / 6: b = 1 rectangular, b = 0 triangular.
    assert rectangular(3.0) ** 2 == pytest.approx(3.0**2 * 2 / 6)
    assert triangular(3.0) ** 2 == pytest.approx(3.0**2 / 6)


def test_quartiles_are_those_of_the_seventh_type():
    ten = summarise([float(x) for x in range(1, 11)], 0.0)
    assert (ten.lower_quartile_ms, ten.upper_quartile_ms) == (3.25, 7.75)
    rng = np.random.default_rng(4)
    spans = rng.normal(60, 5, 23).tolist()
    found = summarise(spans, 0.0)
    theirs = mquantiles(spans, [0.25, 0.5, 0.75], alphap=1, betap=1)  # R's type 7
    ours = (found.lower_quartile_ms, found.median_ms.value, found.upper_quartile_ms)
    assert ours == pytest.approx(tuple(theirs), rel=1e-12)


@pytest.mark.parametrize(("rate_hz", "frame_ms"), [(30, 33.3), (60, 16.7), (120, 8.3)])
def test_a_game_frame_is_what_the_trade_calls_it(rate_hz, frame_ms):
    found = summarise([frame_ms] * 6, 0.0, game_rate_hz=float(rate_hz))
    assert found.median_game_frames.value == pytest.approx(1.0, abs=0.005)


def test_a_camera_frame_is_what_the_trade_calls_it(small_take):
    # Filmed at 240 frames a second and stamped for slow playback.
    with open_take(small_take.path) as take:
        assert isinstance(take.clock, Clock)
        assert 1e3 * take.clock.period_s == pytest.approx(4.17, abs=0.005)
