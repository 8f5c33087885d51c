"""Healthy machines drawn from what is known of their kind, or of this very one by earlier visits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array, Spread, healthy_values

__all__ = ["Healthy", "KnownMachine", "healthy"]


@dataclass(frozen=True)
class KnownMachine:
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

    def beside(self, wider: Mapping[str, float]) -> KnownMachine:
        """Give what the same visits tell of a machine whose kind strays further than they were read beside.

        Parameters
        ----------
        wider : mapping of str to float
            By spread, another independent standard deviation beside its usual one [usual deviations].

        Returns
        -------
        KnownMachine

        Notes
        -----
        With C the covariance beside the usual prior, the visits told inverse(C) - 1, which adds to the
        information of whichever prior; inverse(C) times the mean is what pulls. A spread of which they told
        nothing is as wide as the two together; one that they told exactly stays so.
        """
        if not wider:
            return self
        prior = 1.0 + np.square([wider.get(name, 0.0) for name in self.names])
        told = np.linalg.inv(self.covariance)
        covariance = np.linalg.inv(told + np.diag(1.0 / prior - 1.0))
        return KnownMachine(self.names, covariance @ told @ self.mean, 0.5 * (covariance + covariance.T))


@dataclass(frozen=True)
class Healthy:
    """Healthy machines as functions of standard normal numbers: any of the kind, or those that ``middle`` and
    ``root`` leave of them."""

    rows: tuple[Spread, ...]
    middle: Array | None = None
    root: Array | None = None

    def values(self, z: Array) -> dict[str, Array]:
        """Give machines.

        Parameters
        ----------
        z : array, (samples, rows), [-]
            Standard normal numbers.

        Returns
        -------
        dict of array, (samples,)
            Ratios [-] and shifts in their SI unit.
        """
        if self.middle is None or self.root is None:
            return healthy_values(self.rows, z)
        return healthy_values(self.rows, self.middle + z @ self.root)


def healthy(rows: tuple[Spread, ...], known: KnownMachine | None = None) -> Healthy:
    """Say how the healthy machines of a call are drawn, for its weighing and for all that is expected in it.

    Parameters
    ----------
    rows : tuple of Spread
    known : KnownMachine, optional
        What earlier visits told of this machine; without it, it is any machine of its kind.

    Returns
    -------
    Healthy
    """
    return Healthy(rows) if known is None else Healthy(rows, *known.of([row.name for row in rows]))
