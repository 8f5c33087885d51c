"""The curvature of many posteriors at once: prior identity plus what the readings add, in the smaller of
two forms.

With A the weighted Jacobian of one hypothesis, the curvature is A'A + I. There are often fewer readings
than unknowns; then everything is solved in the space of the readings (the matrix inversion lemma), which
costs a tenth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array

__all__ = ["Curvature"]


@dataclass(frozen=True)
class Curvature:
    """Curvature A'A + I of many hypotheses; ``root`` (hypotheses, terms, width) holds A."""

    root: Array

    @property
    def _few(self) -> bool:
        return bool(self.root.shape[1] < self.root.shape[2])

    def solve(self, vector: Array, damping: Array | float = 0.0) -> Array:
        """Solve (A'A + (1 + damping) I) x = vector.

        Parameters
        ----------
        vector : array, (hypotheses, width) or (hypotheses, width, columns)
        damping : array, (hypotheses,), or float

        Returns
        -------
        array, like vector
        """
        flat = vector.ndim == 2
        b = vector[:, :, None] if flat else vector
        scale = np.broadcast_to(1.0 + np.asarray(damping), self.root.shape[0])[:, None, None]
        a = self.root
        at = a.transpose(0, 2, 1)
        if self._few:
            small = np.matmul(a, at) + scale * np.eye(a.shape[1])
            x = (b - np.matmul(at, np.linalg.solve(small, np.matmul(a, b)))) / scale
        else:
            x = np.linalg.solve(np.matmul(at, a) + scale * np.eye(a.shape[2]), b)
        return np.asarray(x[:, :, 0] if flat else x)

    def log_determinant(self) -> Array:
        """Logarithm of the determinant of A'A + I, (hypotheses,)."""
        a, at = self.root, self.root.transpose(0, 2, 1)
        inner = np.matmul(a, at) if self._few else np.matmul(at, a)
        return np.asarray(np.linalg.slogdet(inner + np.eye(inner.shape[1]))[1])

    def draw(self, count: int, rng: np.random.Generator) -> Array:
        """Draw from N(0, (A'A + I)^-1).

        Parameters
        ----------
        count : int
            Draws a hypothesis.
        rng : numpy.random.Generator

        Returns
        -------
        array, (hypotheses, count, width)

        Notes
        -----
        (A'A + I)^-1 (A' e + f) with standard normal e and f has just that covariance, and needs no factor.
        """
        size, terms, width = self.root.shape
        noise = np.matmul(self.root.transpose(0, 2, 1), rng.standard_normal((size, terms, count)))
        return self.solve(noise + rng.standard_normal((size, width, count))).transpose(0, 2, 1)

    def square(self, vector: Array) -> Array:
        """Give x' (A'A + I) x of draws.

        Parameters
        ----------
        vector : array, (hypotheses, count, width)

        Returns
        -------
        array, (hypotheses, count)
        """
        seen = np.matmul(vector, self.root.transpose(0, 2, 1))
        return np.asarray(np.square(seen).sum(axis=2) + np.square(vector).sum(axis=2))
