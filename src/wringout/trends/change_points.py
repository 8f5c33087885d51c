"""Where the level of a signal changes: optimal partitioning of block means, as pure functions."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wringout.trends.table import Array

__all__ = ["change_points", "jump_statistic"]

MOST_BLOCKS = 3000


def change_points(
    values: Array, penalty: float, least: int = 2, allowed: NDArray[np.bool_] | None = None
) -> list[int]:
    """Indices at which a piecewise constant signal changes its level.

    Parameters
    ----------
    values : array, (blocks,)
        Block means without NaN; at most 3000.
    penalty : float
        Price of a change, in the unit of the values squared. With noise of standard deviation s,
        3 s^2 ln(blocks) is strict and s^2 ln(blocks) the least.
    least : int, optional
        Shortest segment, blocks.
    allowed : array of bool, (blocks,), optional
        Where a new level may begin; everywhere if not given. The fewer, the faster.

    Returns
    -------
    list of int
        First index of each new level, in order.

    Raises
    ------
    ValueError
        For more blocks than are worth a quadratic search.

    Notes
    -----
    Exact minimum of the squared error plus penalty a change, by dynamic programming over the last change
    (optimal partitioning), with the candidates that can never win again dropped on the way.

    References
    ----------
    Jackson et al., An algorithm for optimal partitioning of data on an interval, IEEE Signal Processing
    Letters 12 (2005); Killick, Fearnhead & Eckley, Optimal detection of changepoints with a linear
    computational cost, JASA 107 (2012) (both from memory).
    """
    n = len(values)
    if n > MOST_BLOCKS:
        raise ValueError(f"{n} blocks; at most {MOST_BLOCKS} are taken, average over longer ones")
    if n < 2 * least:
        return []
    total = np.concatenate([[0.0], np.cumsum(values)])
    square = np.concatenate([[0.0], np.cumsum(values * values)])
    best = np.full(n + 1, np.inf)
    best[0] = -penalty
    last = np.zeros(n + 1, dtype=np.int64)
    starts = np.array([0])
    ends = np.arange(least, n + 1)
    if allowed is not None:
        ends = np.append(ends[:-1][allowed[ends[:-1]]], n)
    for end in ends.tolist():
        open_ = starts[starts <= end - least]
        if not len(open_):
            continue
        length = end - open_
        cost = square[end] - square[open_] - (total[end] - total[open_]) ** 2 / length
        value = best[open_] + cost + penalty
        k = int(np.argmin(value))
        best[end], last[end] = value[k], open_[k]
        keep = np.concatenate([open_[value - penalty <= best[end]], starts[starts > end - least]])
        starts = np.append(keep, end)
    found = []
    at = n
    while last[at] > 0:
        at = int(last[at])
        found.append(at)
    return found[::-1]


def jump_statistic(values: Array, width: int) -> Array:
    """Mean of the `width` blocks from each index on less that of the `width` blocks before it.

    Parameters
    ----------
    values : array, (blocks,)
        Without NaN.
    width : int

    Returns
    -------
    array, (blocks,)
        NaN where one side is not whole.
    """
    total = np.concatenate([[0.0], np.cumsum(values)])
    out = np.full(len(values), np.nan)
    index = np.arange(width, len(values) - width + 1)
    out[index] = (total[index + width] - 2.0 * total[index] + total[index - width]) / width
    return out
