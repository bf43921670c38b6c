"""Plans: published (Noether, Happ and others), closed forms, known truth, exact ties.

Noether, JASA 82 (1987) 645-647: the formula's values for p 0.75 and 0.349 are inputs of R's
manual examples. Happ, Bathke and Brunner 2019: the p of their example with pilot data, as
kept in statsmodels' tests. Width of a median's interval in evenly spread presses: z w / √n,
from the variance 1 / (4 n f²) of a median. Counting whole frames: JCGM 100, 4.3.9.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.nonparametric import rank_compare_2indep

from blinkspan.errors import BadSample, BadSetting
from blinkspan.study.gear import Gear, cameras, what_gear_buys
from blinkspan.study.median import median_interval
from blinkspan.study.planning import (
    noether_total,
    presses_for_width,
    presses_to_detect,
    presses_to_show_same,
    share_told,
)
from blinkspan.study.populations import (
    Population,
    counted,
    from_pilot,
    measured,
    tie_step,
    true_like,
)
from blinkspan.study.ranks import probability_less, shift_interval


def waits(rng, n):
    return rng.uniform(50.0, 66.7, n)


def normals(rng, n):
    return rng.normal(60.0, 5.0, n)


@pytest.mark.parametrize(
    ("p", "total"),
    [(0.75, 41.8607), (0.7, 65.4073), (2 / 3, 94.1866), (0.64, 133.4843), (0.349, 114.7447)],
)
def test_noethers_formula(p, total):
    assert noether_total(p) == pytest.approx(total, abs=5e-5)


def test_noethers_formula_one_sided():
    assert noether_total(0.7, power=0.9, two_sided=False) == pytest.approx(71.3654, abs=5e-5)


def test_probability_of_the_pilot_of_happ_and_others():
    control = np.array([6.62, 6.65, 5.78, 5.63, 6.05, 6.48, 5.50, 5.37])
    found = probability_less(control, control + 0.30)
    assert found.value == 0.703125
    judged = rank_compare_2indep(control, control + 0.30)
    assert found.value == pytest.approx(1.0 - judged.prob1)


def test_detection_agrees_with_noether():
    # 5 ms between normal setups with deviation 5 ms: p = Phi(1 / sqrt 2).
    p = 0.5 * (1.0 + math.erf(0.5))
    plain = Population(normals, 0.0)
    plan = presses_to_detect(plain, plain.shifted(5.0), rng=np.random.default_rng(1))
    assert plan.presses == pytest.approx(noether_total(p) / 2, rel=0.25)
    assert plan.reached == pytest.approx(0.8, abs=0.06)


def test_the_promised_power_is_achieved_afresh():
    counts = counted(waits, 240.0)
    plan = presses_to_detect(counts, counts.shifted(5.0), rng=np.random.default_rng(2))
    achieved = share_told(
        counts,
        counts.shifted(5.0),
        lambda shift: shift.excludes(0.0),
        (plan.presses, plan.presses),
        repeats=1500,
        rng=np.random.default_rng(3),
    )
    assert achieved == pytest.approx(plan.reached, abs=0.05)
    assert achieved == pytest.approx(0.8, abs=0.06)


def test_width_agrees_with_the_variance_of_a_median():
    plain = Population(waits, 0.0)
    plan = presses_for_width(plain, 5.0, rng=np.random.default_rng(4), share=0.5)
    assert plan.presses == pytest.approx((1.96 * 16.7 / 5.0) ** 2, rel=0.25)


def test_showing_the_same_needs_more_presses_for_a_narrower_margin():
    counts = counted(waits, 240.0)
    rng = np.random.default_rng(5)
    wide = presses_to_show_same(counts, counts, 8.0, rng=rng)
    narrow = presses_to_show_same(counts, counts, 4.0, rng=rng)
    # The number grows as the square of the margin's inverse.
    assert 2.5 < narrow.presses / wide.presses < 5.0


def test_a_shared_doubt_wider_than_the_wish_is_told():
    plan = presses_for_width(
        Population(waits, 0.5), 3.0, shared_u=1.0, rng=np.random.default_rng(6), most=60
    )
    assert plan.presses is None
    assert plan.reached == 0.0
    assert str(plan) == (
        "a median's 95 % interval no wider than 3 ms (what all presses share makes it 3.9 ms wide "
        "by itself): no number of presses reaches it"
    )


def test_a_wish_beyond_the_most_presses_is_told():
    plan = presses_for_width(Population(waits, 0.5), 3.0, rng=np.random.default_rng(6), most=20)
    assert plan.presses is None
    assert "20 presses of each setup reach it in only" in str(plan)


def test_what_is_simulated_errs_as_much_as_it_says():
    # Without any difference, "different" is told in alpha of the experiments, the shared
    # error of each included.
    counts = counted(waits, 240.0)
    told = share_told(
        counts,
        counts,
        lambda shift: shift.excludes(0.0),
        (12, 12),
        repeats=800,
        rng=np.random.default_rng(7),
        systematic_u=3.0,
    )
    assert told == pytest.approx(0.05, abs=0.025)


@given(st.lists(st.integers(0, 20), min_size=3, max_size=20), st.floats(0.5, 20.0))
def test_a_tied_pilot_is_drawn_on_its_own_grid(counts, frame):
    values = np.array([*counts, counts[0]]) * frame
    drawn = from_pilot(values, 0.0).draw(np.random.default_rng(8), 50)
    assert np.isin(drawn, values).all() or tie_step(values) is None


def test_a_pilot_is_drawn_with_its_median_and_spread():
    values = np.random.default_rng(9).uniform(50.0, 66.7, 12)
    drawn = from_pilot(values, 0.8).draw(np.random.default_rng(10), 100_000)
    assert drawn.mean() == pytest.approx(values.mean(), abs=0.1)
    assert drawn.std() == pytest.approx(values.std(ddof=1), rel=0.01)


def test_a_pilot_of_one_value_is_drawn_with_the_measurements_doubt():
    drawn = from_pilot([60.0], 0.8).draw(np.random.default_rng(11), 100_000)
    assert drawn.std() == pytest.approx(0.8, rel=0.01)


def test_the_true_spread_behind_a_pilot_is_less_by_that_of_measuring():
    values = np.random.default_rng(12).normal(60.0, 5.0, 400)
    drawn = true_like(values, 3.0)(np.random.default_rng(13), 100_000)
    assert drawn.std() == pytest.approx(math.sqrt(values.var(ddof=1) - 9.0), rel=0.01)


def test_counted_frames_err_as_a_triangle():
    # Mean unbiased at random phase; deviation of the error over even waits T / sqrt 6.
    rng = np.random.default_rng(14)
    counts = counted(waits, 240.0)
    drawn = counts.draw(rng, 200_000)
    frame = 1000.0 / 240.0
    assert counts.u == pytest.approx(1.701035, abs=5e-7)
    assert drawn.mean() == pytest.approx(58.35, abs=0.05)
    assert drawn.var() == pytest.approx(16.7**2 / 12 + frame**2 / 6, rel=0.02)
    assert np.allclose(drawn / frame, np.rint(drawn / frame))


def test_faster_cameras_buy_less_and_less():
    bought = what_gear_buys(cameras(waits), 15, rng=np.random.default_rng(15))
    widths = [one.difference_width_ms for one in bought]
    assert widths[0] > widths[1] > 0.98 * widths[2]
    assert widths[0] - widths[1] > widths[2] - widths[3]
    # What even waits alone leave: the exact rank-sum interval of untied presses.
    rng = np.random.default_rng(18)
    exact = [shift_interval(waits(rng, 15), waits(rng, 15)) for _ in range(300)]
    assert widths[-1] == pytest.approx(
        np.median([found.high - found.low for found in exact]), rel=0.1
    )


def test_a_better_display_profile_lowers_the_medians_floor_alone():
    rng = np.random.default_rng(16)
    rough, fine = what_gear_buys(
        [Gear(name, measured(waits, 0.5), u) for name, u in (("rough", 2.0), ("fine", 0.5))],
        15,
        rng=rng,
    )
    assert rough.median_floor_ms == pytest.approx(4 * 1.959964, rel=1e-5)
    assert fine.median_floor_ms == pytest.approx(1.959964, rel=1e-5)
    assert rough.difference_width_ms == pytest.approx(fine.difference_width_ms, rel=0.1)
    # The floor is where a median's interval ends up with very many presses.
    many = median_interval(measured(waits, 0.5).draw(rng, 100_000), 0.5, 2.0)
    assert many.high - many.low == pytest.approx(rough.median_floor_ms, rel=0.01)


def test_gear_plans_say_how_many_presses():
    (only,) = what_gear_buys(
        [Gear("sharp", measured(waits, 0.1))], 15, rng=np.random.default_rng(17), width_ms=4.0
    )
    # Of the shift in even waits: variance 2 w² / (12 n).
    assert only.plan.presses == pytest.approx((2 * 1.96 * 16.7 / 4.0) ** 2 / 6, rel=0.3)
    assert f"{only.plan.presses} presses of each reach the width asked." in str(only)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: noether_total(0.5), "no difference"),
        (lambda: noether_total(1.2), "no probability"),
        (lambda: counted(waits, 0.0), "rate of 0 Hz"),
        (
            lambda: presses_for_width(Population(waits, 0.1), 0.0, rng=np.random.default_rng(0)),
            "width above zero",
        ),
        (
            lambda: presses_for_width(
                Population(waits, 0.1), 5.0, share=1.0, rng=np.random.default_rng(0)
            ),
            "share of 1",
        ),
        (
            lambda: presses_to_show_same(
                Population(waits, 0.1), Population(waits, 0.1), -1.0, rng=np.random.default_rng(0)
            ),
            "margin of -1",
        ),
        (lambda: what_gear_buys(cameras(waits), 0, rng=np.random.default_rng(0)), "0 presses"),
    ],
)
def test_wishes_that_cannot_be_are_refused(call, said):
    with pytest.raises(BadSetting, match=said):
        call()


def test_an_empty_pilot_is_refused():
    with pytest.raises(BadSample, match="no value"):
        from_pilot([], 0.1)
