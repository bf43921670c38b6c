"""Platforms over titles: exact (balanced layouts, symmetry), intervals against truth, statsmodels.

In a balanced layout the mixed model's effect is the mean of the paired title
differences, and away from its boundary its standard error is theirs over √titles
(Searle, Casella and McCulloch 1992, ch. 4: REML repeats the analysis of variance).
"""

import subprocess
import sys

import numpy as np
import pytest
import scipy.stats

from blinkspan.errors import BadSample, BadSetting
from blinkspan.study.matrix import Cell, compare_platforms


def layout(rng, *, titles=6, modes=("quality 30", "performance 60"), n=10, effect=8.0, differ=4.0):
    """Return cells of two platforms, the first slower by ``effect`` ms on average."""
    cells = []
    for title in range(titles):
        level, own = rng.normal(80.0, 15.0), rng.normal(effect, differ)
        for mode in modes:
            at = level + rng.normal(0.0, 5.0) + (30.0 if "30" in mode else 0.0)
            for platform, shift in (("Aldra", own), ("Borel", 0.0)):
                seen = 1e-3 * (at + shift + rng.uniform(-8.0, 8.0, n))
                cells.append(Cell(platform, mode, f"title {title}", seen, np.full(n, 0.7e-3)))
    return cells


def title_differences(cells):
    of = {(c.platform, c.mode, c.title): 1e3 * c.latency_s.mean() for c in cells}
    titles, modes = {c.title for c in cells}, {c.mode for c in cells}
    return np.array(
        [
            np.mean([of["Aldra", mode, title] - of["Borel", mode, title] for mode in modes])
            for title in sorted(titles)
        ]
    )


def test_titles_like_these_are_the_paired_t_interval():
    cells = layout(np.random.default_rng(1))
    shifts = title_differences(cells)
    found = compare_platforms(cells, "Aldra", "Borel").like_these_ms
    interval = scipy.stats.ttest_1samp(shifts, 0.0).confidence_interval(0.95)
    assert found.value == pytest.approx(shifts.mean())
    assert [found.low, found.high] == pytest.approx([interval.low, interval.high])


def test_one_title_in_one_mode_is_welchs_comparison():
    first, second = layout(np.random.default_rng(2), titles=1, modes=("performance 60",))
    found = compare_platforms([first, second], "Aldra", "Borel")
    welch = scipy.stats.ttest_ind(first.latency_s, second.latency_s, equal_var=False)
    interval = welch.confidence_interval(0.95)
    assert found.filmed_ms.low == pytest.approx(1e3 * interval.low)
    assert found.filmed_ms.high == pytest.approx(1e3 * interval.high)
    assert found.by_title_ms[0][1] == found.filmed_ms
    assert found.like_these_ms is None
    assert "So few titles say nothing of others." in str(found)


def test_swapping_the_platforms_turns_the_sign():
    cells = layout(np.random.default_rng(3))
    there = compare_platforms(cells, "Aldra", "Borel")
    back = compare_platforms(cells, "Borel", "Aldra")
    for ours, theirs in (
        (there.filmed_ms, back.filmed_ms),
        (there.like_these_ms, back.like_these_ms),
    ):
        assert ours.value == pytest.approx(-theirs.value)
        assert ours.low == pytest.approx(-theirs.high)
    assert "Aldra is slower than Borel by" in str(there)
    assert "Aldra is slower than Borel by" in str(back)


def test_a_titles_own_level_does_not_matter():
    cells = layout(np.random.default_rng(4))
    moved = [
        Cell(c.platform, c.mode, c.title, c.latency_s + 0.01 * int(c.title[-1]), c.own_u_s)
        for c in cells
    ]
    plain, other = (compare_platforms(these, "Aldra", "Borel") for these in (cells, moved))
    assert other.filmed_ms.low == pytest.approx(plain.filmed_ms.low)
    assert other.like_these_ms.high == pytest.approx(plain.like_these_ms.high)


def test_modes_are_told_apart():
    rng = np.random.default_rng(5)
    cells = [
        Cell(c.platform, c.mode, c.title, c.latency_s + shift, c.own_u_s)
        for c in layout(rng, differ=0.0, n=40)
        for shift in [0.02 if c.platform == "Aldra" and "30" in c.mode else 0.0]
    ]
    by_mode = dict(compare_platforms(cells, "Aldra", "Borel").by_mode_ms)
    assert by_mode["quality 30"].value == pytest.approx(28.0, abs=2.0)
    assert by_mode["performance 60"].value == pytest.approx(8.0, abs=2.0)


def test_what_has_no_partner_is_left_out_and_said():
    rng = np.random.default_rng(6)
    cells = layout(rng)
    alone = Cell("Borel", "performance 60", "title 9", np.full(5, 0.3), np.full(5, 1e-3))
    other = Cell("Corvid", "performance 60", "title 0", np.full(5, 0.3), np.full(5, 1e-3))
    found = compare_platforms([*cells, alone, other], "Aldra", "Borel")
    assert found.filmed_ms == compare_platforms(cells, "Aldra", "Borel").filmed_ms
    assert found.left_out == ("title 9, performance 60 on Borel",)
    assert "Left out for want of a partner: title 9, performance 60 on Borel." in str(found)


def test_doubt_between_the_platforms_themselves_does_not_average_out():
    cells = layout(np.random.default_rng(7), titles=12, n=100, differ=0.0)
    filmed = compare_platforms(cells, "Aldra", "Borel", apart_u_s=2e-3).filmed_ms
    assert filmed.high - filmed.value == pytest.approx(1.96 * 2.0, rel=0.05)


def test_intervals_hold_the_truth():
    rng = np.random.default_rng(8)
    filmed = like_these = 0
    for _ in range(400):
        found = compare_platforms(layout(rng, n=5), "Aldra", "Borel")
        like_these += found.like_these_ms.low <= 8.0 <= found.like_these_ms.high
        same = compare_platforms(layout(rng, n=5, differ=0.0), "Aldra", "Borel").filmed_ms
        filmed += same.low <= 8.0 <= same.high
    assert 0.917 <= filmed / 400 <= 0.983  # 95 % and three standard errors
    assert 0.917 <= like_these / 400 <= 0.983


@pytest.mark.parametrize("modes", [("performance 60",), ("quality 30", "performance 60")])
def test_mixed_model_repeats_the_paired_titles_of_a_balanced_layout(modes):
    pytest.importorskip("statsmodels")
    cells = layout(np.random.default_rng(9), titles=8, modes=modes, n=8, differ=6.0)
    found = compare_platforms(cells, "Aldra", "Borel", mixed=True)
    mixed, paired = found.mixed_ms.effect, found.like_these_ms
    assert mixed.value == pytest.approx(paired.value, abs=1e-6)
    assert mixed.high - mixed.value == pytest.approx(paired.high - paired.value, rel=0.03)
    shifts = title_differences(cells)
    assert found.mixed_ms.title_sd == pytest.approx(shifts.std(ddof=1), rel=0.25)
    assert found.mixed_ms.notes == ()
    assert "By a mixed model, Aldra is slower than Borel" in str(found)


def test_mixed_model_says_when_titles_do_not_differ():
    pytest.importorskip("statsmodels")
    cells = layout(np.random.default_rng(11), titles=5, modes=("performance 60",), differ=0.0)
    (note,) = compare_platforms(cells, "Aldra", "Borel", mixed=True).mixed_ms.notes
    assert "titles differ in this effect no more than their presses explain" in note


def test_without_statsmodels_one_line_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "statsmodels.regression.mixed_linear_model", None)
    cells = layout(np.random.default_rng(10))
    assert compare_platforms(cells, "Aldra", "Borel").mixed_ms is None
    with pytest.raises(BadSetting, match=r'run: pip install "blinkspan\[matrix\]"$'):
        compare_platforms(cells, "Aldra", "Borel", mixed=True)


def test_importing_the_matrix_leaves_statsmodels_alone():
    code = "import sys, blinkspan.study.matrix; sys.exit('statsmodels' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize(
    ("change", "refusal"),
    [
        (lambda cells: [*cells, cells[0]], "title 0, quality 30 on Aldra is given twice"),
        (lambda cells: [c for c in cells if c.platform == "Aldra"], "share no title and mode"),
        (
            lambda cells: [
                Cell("Aldra", "quality 30", "title 0", np.zeros(2), np.zeros(2)),
                *cells[1:],
            ],
            "title 0, quality 30 on Aldra has 2 accepted presses",
        ),
    ],
)
def test_cells_that_cannot_be_paired_are_refused(change, refusal):
    cells = layout(np.random.default_rng(12), titles=2)
    with pytest.raises(BadSample, match=refusal):
        compare_platforms(change(cells), "Aldra", "Borel")


def test_a_mixed_model_of_two_titles_is_refused():
    pytest.importorskip("statsmodels")
    cells = layout(np.random.default_rng(13), titles=2)
    with pytest.raises(BadSample, match="over 2 titles says nothing; film three or more"):
        compare_platforms(cells, "Aldra", "Borel", mixed=True)
