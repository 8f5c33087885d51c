"""Small tools on sampled signals: a regular grid, block means, slow parts, noise, runs of a state."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from wringout.trends.table import DAY, Array, Span, TrendTable

__all__ = [
    "Mask",
    "block_means",
    "correlation",
    "days_of",
    "filled",
    "high_pass",
    "moving_mean",
    "noise_of",
    "regular_pieces",
    "runs",
    "settled",
    "spans_of",
]

Mask = NDArray[np.bool_]


def regular_pieces(table: TrendTable) -> list[TrendTable]:
    """The table on even steps, cut at long gaps.

    Parameters
    ----------
    table : TrendTable

    Returns
    -------
    list of TrendTable
        Each with a time axis of even steps (of a minute at least); rows that are missing inside a piece hold
        NaN.
    """
    return list(table.even_pieces)


def block_means(values: Array, width: int) -> Array:
    """Means of blocks of `width` samples, empty cells aside; NaN where more than half are empty.

    Parameters
    ----------
    values : array, (samples,)
    width : int

    Returns
    -------
    array, (samples // width,)
    """
    count = len(values) // width
    blocks = values[: count * width].reshape(count, width)
    there = np.isfinite(blocks)
    number = there.sum(axis=1)
    total = np.where(there, blocks, 0.0).sum(axis=1)
    return np.where(number * 2 >= width, total / np.maximum(number, 1), np.nan)


def filled(values: Array) -> Array:
    """The values with empty cells filled in a straight line between their neighbours; all NaN stays so."""
    there = np.isfinite(values)
    if there.all() or not there.any():
        return values
    index = np.arange(len(values))
    return np.interp(index, index[there], values[there])


def moving_mean(values: Array, width: int) -> Array:
    """Centred mean over `width` samples (made odd), shorter at the ends; no NaN allowed."""
    n, half = len(values), max(width // 2, 1)
    total = np.zeros(n + 1)
    np.cumsum(values, out=total[1:])
    if n <= 2 * half + 1:
        index = np.arange(n)
        low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, n)
        return np.asarray((total[high] - total[low]) / (high - low), dtype=float)
    out = np.empty(n)
    whole = 2 * half + 1
    out[half : n - half] = (total[whole:] - total[:-whole]) / whole
    edge = np.arange(half)
    out[:half] = total[edge + half + 1] / (edge + half + 1)
    out[n - half :] = (total[n] - total[n - 2 * half : n - half]) / (2 * half - edge)
    return out


def high_pass(values: Array, width: int) -> Array:
    """What is left when the slow part (mean over `width` samples) is taken off; empty cells filled first."""
    whole = filled(values)
    return whole - moving_mean(whole, width)


def noise_of(values: Array) -> float:
    """Standard deviation of the noise from sample to sample, in the unit of the values.

    Notes
    -----
    From second differences, which a slow signal leaves alone: median absolute value / 0.6745 / sqrt(6).
    """
    finite = values[np.isfinite(values)]
    if len(finite) < 5:
        return 0.0
    return float(np.median(np.abs(np.diff(finite, 2))) / 0.6745 / np.sqrt(6.0))


def days_of(piece: TrendTable) -> list[slice]:
    """The calendar days of a piece, as slices of its rows."""
    day = (piece.time // DAY).astype(np.int64)
    edges = [0, *(np.flatnonzero(np.diff(day)) + 1).tolist(), len(day)]
    return [slice(a, b) for a, b in itertools.pairwise(edges)]


def runs(mask: Mask, least: int = 1) -> list[tuple[int, int]]:
    """Start and end (exclusive) of every run of True that is at least so many samples long."""
    if not len(mask):
        return []
    padded = np.zeros(len(mask) + 2, dtype=np.int8)
    padded[1:-1] = mask
    edges = np.flatnonzero(np.diff(padded))
    first, last = edges[::2], edges[1::2]
    long = last - first >= least
    return list(zip(first[long].tolist(), last[long].tolist(), strict=True))


def settled(mask: Mask, samples: int) -> Mask:
    """Where a state has held for `samples` samples before: the first ones of every run are left out."""
    if samples <= 0 or not len(mask):
        return mask.copy()
    index = np.arange(len(mask))
    broken = np.maximum.accumulate(np.where(mask, -1, index))  # where the state was last not there
    return np.asarray(index - broken > samples)


def spans_of(mask: Mask, time: Array, least: float = 0.0, join: float = 0.0) -> tuple[Span, ...]:
    """Runs of True as spans of time: those closer than `join` [s] made one, those shorter than `least` [s]
    left out."""
    if len(time) < 2:
        return ()
    step = float(np.median(np.diff(time)))
    joined: list[list[float]] = []
    gaps = np.flatnonzero(np.diff(time) > 3.0 * step + join) + 1  # a run does not reach over missing rows
    for start, stop in _cut(runs(mask), gaps):
        begin, end = float(time[start]), float(time[stop - 1]) + step
        if joined and begin - joined[-1][1] <= join:
            joined[-1][1] = end
        else:
            joined.append([begin, end])
    return tuple(Span(a, b) for a, b in joined if b - a >= least)


def _cut(found: list[tuple[int, int]], at: NDArray[np.int64]) -> list[tuple[int, int]]:
    if not len(at):
        return found
    out = []
    for start, stop in found:
        edges = [start, *at[(at > start) & (at < stop)].tolist(), stop]
        out += list(itertools.pairwise(edges))
    return out


def correlation(a: Array, b: Array) -> float:
    """Correlation of two signals over samples that both have; 0 where one stands still."""
    there = np.isfinite(a) & np.isfinite(b)
    if there.sum() < 5:
        return 0.0
    x, y = a[there] - a[there].mean(), b[there] - b[there].mean()
    scale = float(np.sqrt((x * x).sum() * (y * y).sum()))
    return float((x * y).sum() / scale) if scale > 1e-12 else 0.0
