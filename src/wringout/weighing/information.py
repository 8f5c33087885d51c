"""What readings tell of which set of causes is at work: mutual information, for one reading and for two
together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.machine.parameters import Array

__all__ = ["Told", "information", "told"]

BINS, COARSE = 24, 6  # cells of one reading, and of each of two together
EDGES = np.array([-2.5, -0.9, 0.9, 2.5])  # where cells may end, in standard deviations about what is expected
TINY = np.float32(1e-20)

Places = NDArray[np.intp]


@dataclass(frozen=True)
class Told:
    """Bits about the set of causes: ``alone`` (points,) by each reading, ``both`` (points, points) by two
    readings together; on its diagonal a reading alone."""

    alone: Array
    both: Array


def information(values: Array, spreads: Array, part: Array, set_of: Places, sets: int) -> Array:
    """Mutual information between each reading and the set of causes [bits].

    Parameters
    ----------
    values : array, (points, samples), [SI]
        Predicted readings.
    spreads : array, (points, samples), [SI]
        Standard deviation of each.
    part : array, (samples,), [-]
        Probability that each sample stands for.
    set_of : array of int, (samples,)
    sets : int
        How many sets there are.

    Returns
    -------
    array, (points,), [bits]

    Notes
    -----
    Each sample's reading is a normal distribution, cut into cells that end at quantiles of what is expected.
    Within a set the samples are smoothed by Silverman's rule, so that few samples of a wide set do not pass
    for sharp knowledge. Cutting into cells loses a little, and never gains.
    """
    return _alone(_cells(values, spreads, part, set_of, sets), part, set_of, sets)


def told(values: Array, spreads: Array, part: Array, set_of: Places, sets: int) -> Told:
    """Mutual information of each reading, and of every two together, with the set of causes [bits].

    Parameters
    ----------
    values : array, (points, samples), [SI]
        Predicted readings, of one state, so that what two of them share is in them.
    spreads : array, (points, samples), [SI]
        Standard deviation of each.
    part : array, (samples,), [-]
        Probability that each sample stands for.
    set_of : array of int, (samples,)
    sets : int
        How many sets there are.

    Returns
    -------
    Told

    Notes
    -----
    What two readings tell twice, or only together, is reckoned in COARSE cells a reading; what each tells
    alone in BINS. Two are never worth less than the better of them, nor more than the doubt there is.
    """
    cells = _cells(values, spreads, part, set_of, sets)
    alone = _alone(cells, part, set_of, sets)
    points, bins, count = cells.shape
    coarse = cells.reshape(points, COARSE, bins // COARSE, count).sum(axis=2)
    joint = _joint(coarse.reshape(points * COARSE, count), points, part, set_of, sets)
    rough = _alone(coarse, part, set_of, sets)
    shared = rough[:, None] + rough[None, :] - joint
    chance = np.bincount(set_of, part, sets) / part.sum()
    doubt = -float(np.sum(chance * np.log2(np.maximum(chance, 1e-300))))
    least = np.maximum(alone[:, None], alone[None, :])
    both = np.clip(alone[:, None] + alone[None, :] - shared, least, np.maximum(least, doubt))
    np.fill_diagonal(both, alone)
    return Told(alone, both)


def _cells(values: Array, spreads: Array, part: Array, set_of: Places, sets: int) -> NDArray[np.float32]:
    """Probability of each cell of a reading under each sample, (points, BINS, samples)."""
    inside = _inside(part, set_of, sets)
    mean = values @ inside
    scatter = np.sqrt(np.maximum((values**2) @ inside - mean**2, 0.0))
    effective = 1.0 / np.maximum(np.square(inside).sum(axis=0), 1e-300)
    width = np.hypot(spreads, (scatter * (1.06 * effective**-0.2))[:, set_of])
    ends = (values[:, None, :] + EDGES[:, None] * width[:, None, :]).reshape(values.shape[0], -1)
    picks = np.linspace(0, ends.shape[1] - 1, BINS + 1).astype(int)[1:-1]
    edges = np.sort(ends, axis=1)[:, picks]
    # ends that meet, as of a reading that every sample puts alike, make empty cells
    far = np.asarray((edges[:, :, None] - values[:, None, :]) / width[:, None, :], dtype=np.float32)
    np.clip(far, -8.0, 8.0, out=far)
    below = 1.0 / (1.0 + np.exp(np.float32(-1.5957691216) * far * (1.0 + np.float32(0.044715) * far * far)))
    cells = np.empty((values.shape[0], BINS, values.shape[1]), dtype=np.float32)
    cells[:, 0] = below[:, 0]
    np.subtract(below[:, 1:], below[:, :-1], out=cells[:, 1:-1])
    cells[:, -1] = 1.0 - below[:, -1]
    return np.maximum(cells, 0.0, out=cells)


def _inside(part: Array, set_of: Places, sets: int) -> Array:
    """Each sample's share of its own set, (samples, sets)."""
    share = np.zeros((part.size, sets))
    share[np.arange(part.size), set_of] = part
    return np.asarray(share / np.maximum(share.sum(axis=0), 1e-300))


def _alone(cells: NDArray[np.float32], part: Array, set_of: Places, sets: int) -> Array:
    chance = np.bincount(set_of, part, sets) / part.sum()
    # few cells under few sets: here double precision costs nothing
    within = np.asarray(np.matmul(cells, _inside(part, set_of, sets).astype(np.float32)), dtype=float)
    overall = within @ chance
    ratio = np.log2(np.maximum(within, 1e-12) / np.maximum(overall, 1e-12)[:, :, None])
    return np.asarray(np.maximum((within * ratio).sum(axis=1) @ chance, 0.0))


def _joint(cells: NDArray[np.float32], points: int, part: Array, set_of: Places, sets: int) -> Array:
    """Bits of every two readings together, in coarse cells.

    The doubt there is before, less that in each cell of two readings afterwards.
    """
    share = (part / part.sum()).astype(np.float32)
    whole = np.zeros((cells.shape[0],) * 2, dtype=np.float32)
    ordered = np.zeros_like(whole)
    doubt = 0.0
    for k in range(sets):
        mine = np.flatnonzero(set_of == k)
        within = (cells[:, mine] * share[mine]) @ cells[:, mine].T
        whole += within
        ordered += within * np.log2(np.maximum(within, TINY))
        chance = float(share[mine].sum())
        doubt -= chance * np.log2(max(chance, 1e-20))
    ordered -= whole * np.log2(np.maximum(whole, TINY))
    return np.asarray(ordered.reshape(points, COARSE, points, COARSE).sum(axis=(1, 3)) + doubt, dtype=float)
