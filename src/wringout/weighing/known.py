"""What earlier visits have told of a machine, in place of what is known of machines of its kind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array

__all__ = ["Known"]


@dataclass(frozen=True)
class Known:
    """A machine's healthy spreads as one normal distribution, in the standard deviations of its kind.

    ``names`` of the spreads; ``mean`` (names,); ``covariance`` (names, names). All zeros and the identity are
    what is known of any machine of the kind.
    """

    names: tuple[str, ...]
    mean: Array
    covariance: Array

    def of(self, names: Sequence[str]) -> tuple[Array, Array]:
        """Give mean and root of the covariance of some spreads.

        Parameters
        ----------
        names : sequence of str
            One that was never told of keeps what is known of its kind.

        Returns
        -------
        (array, array)
            (names,) and (names, names), symmetric. Unlike a triangular root, it keeps each standard normal
            number next to the spread of its name.
        """
        mean, covariance = np.zeros(len(names)), np.eye(len(names))
        here = [k for k, name in enumerate(names) if name in self.names]
        there = [self.names.index(names[k]) for k in here]
        mean[here] = self.mean[there]
        covariance[np.ix_(here, here)] = self.covariance[np.ix_(there, there)]
        size, axes = np.linalg.eigh(covariance)
        return mean, np.asarray((axes * np.sqrt(np.maximum(size, 0.0))) @ axes.T)
