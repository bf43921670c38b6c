"""Welch's interval: published (Student's sleep data, the GUM's worked degrees of freedom).

Student, "The probable error of a mean", Biometrika 6 (1908): the two columns of
extra sleep as R ships them (``sleep``); Welch's interval computed by SciPy too.
JCGM 100:2008, G.4.1: relative uncertainties 0.25, 0.57 and 0.82 % with 9, 4 and
14 degrees of freedom combine to 1.03 % with 19.0, so t95 = 2.09 (from memory,
recomputed by hand).
"""

import math

import numpy as np
import pytest
from scipy.stats import ttest_ind

from blinkspan.study.welch import variance_of_mean, welch_interval

DRUG_1 = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
DRUG_2 = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])


def test_students_sleep_data():
    exact = np.zeros(10)
    variances = [variance_of_mean(drug, exact) for drug in (DRUG_1, DRUG_2)]
    found = welch_interval(DRUG_1.mean() - DRUG_2.mean(), variances, [9, 9], method="Welch")
    assert [found.low, found.high] == pytest.approx([-3.36548323, 0.20548323], abs=1e-8)
    scipys = ttest_ind(DRUG_1, DRUG_2, equal_var=False).confidence_interval(0.95)
    assert [found.low, found.high] == pytest.approx([scipys.low, scipys.high])


def test_combined_degrees_of_freedom_of_the_gum():
    u = [0.25, 0.57, 0.82]
    found = welch_interval(0.0, [part**2 for part in u], [9, 4, 14], method="GUM")
    combined = math.sqrt(sum(part**2 for part in u))
    assert combined == pytest.approx(1.03, abs=5e-3)
    assert found.high / combined == pytest.approx(2.0930, abs=5e-4)


def test_a_systematic_part_has_no_end_of_freedom():
    found = welch_interval(1.0, [0.0], [3], systematic_u=2.0, method="")
    assert found.high - found.value == pytest.approx(2.0 * 1.959964, rel=1e-6)


def test_ties_leave_the_measurements_own_doubt():
    assert variance_of_mean(np.full(4, 5.0), np.full(4, 0.6)) == pytest.approx(0.36 / 4)
