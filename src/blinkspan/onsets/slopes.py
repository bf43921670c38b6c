"""The slopes of the joint fit, kept as what they are: mostly nothing.

A sample depends on its own press and on the shared parameters alone. Summed up
by presses, a take of many costs no more than as many takes of one.
"""

from dataclasses import dataclass, replace

import numpy as np

from blinkspan.traces.trace import Samples


@dataclass(frozen=True, slots=True)
class Slopes:
    """How residuals change with the parameters: first the presses' own, then the shared ones.

    Attributes
    ----------
    basis : ndarray, shape (presses, k)
    press : ndarray of int, shape (n,)
        Which press each sample is of.
    by_begin : ndarray, shape (n,)
        By the begin of the sample's own press.
    by_shared : ndarray, shape (n, 3)
    rest : ndarray, shape (m, k + 3)
        Of the residuals that are no samples.
    """

    basis: Samples
    press: np.ndarray
    by_begin: Samples
    by_shared: Samples
    rest: Samples

    def weighed(self, weights: Samples) -> "Slopes":
        """Return the slopes of residuals of which each sample's, shape (n,), is weighed."""
        by_begin, by_shared = self.by_begin * weights, self.by_shared * weights[:, None]
        return replace(self, by_begin=by_begin, by_shared=by_shared)

    def along(self, residuals: Samples) -> Samples:
        """Return the slopes' transpose times the residuals."""
        n = self.press.size
        data, rest = residuals[:n], residuals[n:]
        begins = self.basis.T @ self._by_press(self.by_begin * data)
        product: Samples = np.concatenate([begins, self.by_shared.T @ data]) + self.rest.T @ rest
        return product

    def normal(self) -> Samples:
        """Return the slopes' transpose times the slopes."""
        k = self.basis.shape[1]
        crossed = np.column_stack(
            [self._by_press(self.by_begin * shared) for shared in self.by_shared.T]
        )
        cross = self.basis.T @ crossed
        product: Samples = self.rest.T @ self.rest
        product[:k, :k] += self.basis.T @ (self._by_press(self.by_begin**2)[:, None] * self.basis)
        product[:k, k:] += cross
        product[k:, :k] += cross.T
        product[k:, k:] += self.by_shared.T @ self.by_shared
        return product

    def _by_press(self, values: Samples) -> Samples:
        sums: Samples = np.bincount(self.press, values, self.basis.shape[0]).astype(np.float64)
        return sums
