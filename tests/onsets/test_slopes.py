"""Slopes of the joint fit: exact, against the same slopes written out as one matrix."""

import numpy as np
import pytest

from blinkspan.onsets.slopes import Slopes


@pytest.mark.parametrize("tied", [False, True], ids=["begins free", "begins on a grid"])
def test_products_are_those_of_the_matrix_written_out(tied):
    rng = np.random.default_rng(12)
    presses, n = 7, 200
    basis = np.column_stack([np.ones(presses), np.arange(presses)]) if tied else np.eye(presses)
    k = basis.shape[1]
    press = rng.integers(0, presses - 1, n)  # one press has no sample that counts
    by_begin, by_shared = rng.normal(size=n), rng.normal(size=(n, 3))
    rest = rng.normal(size=(presses + 2, k + 3))
    slopes = Slopes(basis, press, by_begin, by_shared, rest)
    whole = np.vstack([np.hstack([by_begin[:, None] * basis[press], by_shared]), rest])
    residuals = rng.normal(size=n + presses + 2)
    assert slopes.normal() == pytest.approx(whole.T @ whole, abs=1e-9)
    assert slopes.along(residuals) == pytest.approx(whole.T @ residuals, abs=1e-9)
