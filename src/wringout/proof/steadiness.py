"""Whether a live point has come to rest, told from its own numbers: what it moves over a window, and what is
left of its way."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array
from wringout.trends.oscillation import oscillation_of

__all__ = [
    "LEAST_ROWS",
    "SHARE",
    "WINDOWS",
    "Line",
    "Steadiness",
    "Tail",
    "line_of",
    "noise_of",
    "steadiness",
    "student_95",
    "tail_of",
]

WINDOWS = (120.0, 180.0, 300.0, 600.0)  # s; the shortest that can tell counts
LEAST_ROWS = 6
SHARE = 0.5  # of a reading's standard deviation: what may be left of the way
FITTED = 1500.0  # s of the past at most that a tail is fitted to
FIT_ROWS = 200  # of them at most
TAUS = 24
NORMAL_95 = 1.6449  # one-sided
SWINGS_OVER = 2.0  # standard deviations of a reading from top to bottom, under which a swing is let pass


@dataclass(frozen=True, slots=True)
class Line:
    """A line through a window: mean and its standard deviation, what the line moves from end to end and the
    bound that its size has with 95 % (one-sided), [all in the unit of the point]; ``rows`` it stands on."""

    mean: float
    spread: float
    change: float
    bound: float
    rows: int


@dataclass(frozen=True, slots=True)
class Tail:
    """What is left of a first-order way: its size and the bound that it has with 95 % (one-sided) [unit of
    the point], and its time constant [s]."""

    left: float
    bound: float
    time_constant: float


@dataclass(frozen=True, slots=True)
class Steadiness:
    """What the numbers of one point say now.

    ``kind`` is ``steady``, ``moving``, ``swings`` or ``few`` (too few rows to tell); ``window`` [s] the one
    that told; ``value`` its mean with the standard deviation ``spread`` from scatter and drift, not the
    instrument; ``drift`` [unit/s]; ``left`` [s] until it should be steady, 0 where it is, infinite for a
    swing; ``period`` [s] and ``amplitude`` of a swing, NaN without.
    """

    kind: str
    window: float
    value: float
    spread: float
    drift: float
    left: float
    period: float = math.nan
    amplitude: float = math.nan


def student_95(freedom: float) -> float:
    """Student's t that is passed with 5 %, one-sided.

    Parameters
    ----------
    freedom : float
        Degrees of freedom, 2 and more.

    Returns
    -------
    float

    Notes
    -----
    Expansion in 1/freedom to the third order: within 0.5 % from 4 degrees of freedom on.

    References
    ----------
    Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5 (from memory).
    """
    x, n = NORMAL_95, max(freedom, 2.0)
    first = (x**3 + x) / 4.0
    second = (5.0 * x**5 + 16.0 * x**3 + 3.0 * x) / 96.0
    third = (3.0 * x**7 + 19.0 * x**5 + 17.0 * x**3 - 15.0 * x) / 384.0
    return x + first / n + second / n**2 + third / n**3


def noise_of(values: Array) -> float:
    """Scatter of a series from one row to the next, free of slow ways.

    Parameters
    ----------
    values : array, (rows,)

    Returns
    -------
    float
        Standard deviation [unit of the values]; 0 for fewer than three rows.

    Notes
    -----
    Mean square of second differences over six: steps and ramps do not count.

    References
    ----------
    J. von Neumann et al., Ann. Math. Statist. 12 (1941) 153-162, on successive differences (from memory).
    """
    second = np.diff(values, 2)
    return float(np.sqrt(np.mean(second * second) / 6.0)) if len(second) else 0.0


def line_of(time: Array, values: Array) -> Line:
    """Put a line through a window.

    Parameters
    ----------
    time : array, (rows,), [s]
    values : array, (rows,)
        Without NaN.

    Returns
    -------
    Line

    Notes
    -----
    Least squares. What is left of the line is seldom independent from row to row: its first autocorrelation
    makes fewer rows of it, n (1 - r) / (1 + r).

    References
    ----------
    Effective number of correlated samples: Bayley and Hammersley 1946, first-order form (from memory).
    """
    rows = len(values)
    centred = time - time.mean()
    length = float(time[-1] - time[0])
    square = float(centred @ centred)
    slope = float(centred @ values) / square
    left = values - values.mean() - slope * centred
    variance = float(left @ left) / max(rows - 2, 1)
    r = float(left[1:] @ left[:-1]) / max(float(left @ left), 1e-300) + 1.0 / rows if variance > 0.0 else 0.0
    r = min(max(r, 0.0), 0.95)
    effective = max(rows * (1.0 - r) / (1.0 + r), 3.0)
    swell = rows / effective
    slope_spread = math.sqrt(variance / square * swell)
    change = slope * length
    bound = abs(change) + student_95(effective - 1.0) * slope_spread * length
    return Line(float(values.mean()), math.sqrt(variance / effective), change, bound, rows)


def tail_of(time: Array, values: Array, longest: float, noise: float = 0.0) -> Tail:
    """Fit what is left of a first-order way at the last row, beside a slow drift.

    Parameters
    ----------
    time : array, (rows,), [s]
    values : array, (rows,)
        Without NaN.
    longest : float, [s]
        Longest time constant that the machine can have here; what is slower is drift.
    noise : float
        A scatter that every row has at least, [unit of the values].

    Returns
    -------
    Tail
        An infinite bound for fewer rows than the fit has unknowns.

    Notes
    -----
    x = a + c t + b exp(-t / tau), t from the last row on, so that b is what is left. Time constants from a
    few rows to the longest are tried side by side, each weighed by its likelihood.
    """
    rows = len(values)
    if rows < 6:
        return Tail(math.nan, math.inf, longest)
    t = time - time[-1]
    step = max(float(np.median(np.diff(time))), 1e-9)
    taus = np.geomspace(max(min(2.0 * step, 0.5 * longest), 1e-6), max(longest, 1e-6), TAUS)
    square, left, spread = _fits(t, values, taus)
    best = int(np.argmin(square))
    weight, variance = _weights(square, rows, noise)
    if weight[best] > 0.4:  # the likelihood falls between the constants tried: closer ones
        taus = np.geomspace(taus[max(best - 1, 0)], taus[min(best + 1, TAUS - 1)], TAUS)
        square, left, spread = _fits(t, values, taus)
        weight, variance = _weights(square, rows, noise)
    # the mean of squares: a tail of either sign is one
    size = math.sqrt(float(weight @ (left * left)))
    error = NORMAL_95 * math.sqrt(float(weight @ (spread * spread)) * variance)
    return Tail(size, size + error, float(weight @ taus))


def _fits(t: Array, values: Array, taus: Array) -> tuple[Array, Array, Array]:
    """For each time constant the squares left over, the tail at the last row, and its spread to a scatter of
    one."""
    shape = np.exp(np.minimum(-t[None, :] / taus[:, None], 60.0))
    most = shape.max(axis=1)
    line = np.broadcast_to(np.stack([np.ones_like(t), t / max(-float(t[0]), 1e-9)]), (len(taus), 2, len(t)))
    columns = np.concatenate([line, (shape / most[:, None])[:, None, :]], axis=1)
    inverse = np.linalg.pinv(columns @ columns.transpose(0, 2, 1), rcond=1e-13)
    middle = float(values.mean())
    fitted = (inverse @ (columns @ (values - middle))[:, :, None])[:, :, 0]
    rest = values - middle - np.einsum("ij,ijk->ik", fitted, columns)
    spread = np.sqrt(np.maximum(inverse[:, 2, 2], 0.0)) / most
    return np.einsum("ij,ij->i", rest, rest), fitted[:, 2] / most, spread


def _weights(square: Array, rows: int, noise: float) -> tuple[Array, float]:
    """Likelihoods of the time constants, their sum one, and the variance of a row about the fit."""
    variance = max(float(square.min()) / max(rows - 4, 1), noise * noise, 1e-30)
    weight = np.exp(-0.5 * (square - square.min()) / variance)
    return weight / weight.sum(), variance


def steadiness(
    time: Array, values: Array, since: float, sigma: float, longest: float, exact: bool = False
) -> Steadiness:
    """Say whether a point has come to rest.

    Parameters
    ----------
    time : array, (rows,), [s]
        Increasing.
    values : array, (rows,)
        NaN where there was none.
    since : float, [s]
        From when on the machine stands as it does; what came before is not looked at.
    sigma : float
        One standard deviation of a reading [unit of the values].
    longest : float, [s]
        Longest time constant that the machine can have at this point.
    exact : bool
        A count, or yes and no: steady when it has been the same for a window.

    Returns
    -------
    Steadiness

    Notes
    -----
    Steady when in one of the windows, all of it after ``since``, both hold with 95 %: the line moves by less
    than a reading's standard deviation, and what is left of a first-order way is less than half of it. That a
    slope is not told from zero is not enough: few or noisy rows would pass. Common practice, readings some
    minutes apart that agree within the instrument, is the first of the two without its bound.
    """
    there = np.isfinite(values) & (time >= since)
    time, values = time[there], values[there]
    if len(values) < LEAST_ROWS:
        return Steadiness("few", 0.0, _last(values), math.nan, math.nan, math.inf)
    if exact:
        return _exact(time, values)
    noise = noise_of(values)
    past = np.flatnonzero(time >= time[-1] - FITTED)
    past = past[:: -max(len(past) // FIT_ROWS, 1)][::-1]
    tail = tail_of(time[past], values[past], longest, max(0.2 * noise, 0.02 * sigma))
    line = None
    for window in WINDOWS:
        inside = time >= time[-1] - window
        if time[-1] - time[0] < 0.98 * window or np.count_nonzero(inside) < LEAST_ROWS:
            continue
        line = line_of(time[inside], values[inside])
        if line.bound <= sigma and tail.bound <= SHARE * sigma:
            return _found("steady", window, line, 0.0)
    swing = _swing(time, values, sigma)
    if line is None:
        return Steadiness("few", 0.0, _last(values), math.nan, math.nan, WINDOWS[0])
    if swing is not None:
        return _found("swings", window, line, math.inf, *swing)
    over = max(tail.left, 1e-300) / (SHARE * sigma) if sigma > 0.0 else math.inf
    left = tail.time_constant * math.log(over) if over > 1.0 else 0.0
    return _found("moving", window, line, max(left, 30.0))


def _last(values: Array) -> float:
    return float(values[-1]) if len(values) else math.nan


def _found(
    kind: str,
    window: float,
    line: Line,
    left: float,
    period: float = math.nan,
    amplitude: float = math.nan,
) -> Steadiness:
    # a drift leaves the mean half a window behind: evenly spread between both ends
    spread = math.hypot(line.spread, line.change / math.sqrt(12.0))
    return Steadiness(kind, window, line.mean, spread, line.change / window, left, period, amplitude)


def _exact(time: Array, values: Array) -> Steadiness:
    changed = np.flatnonzero(np.abs(np.diff(values)) > 1e-9)
    rest = float(time[-1] - time[changed[-1] + 1]) if len(changed) else float(time[-1] - time[0])
    kind = "steady" if rest >= 0.98 * WINDOWS[0] else "moving"
    return Steadiness(kind, WINDOWS[0], float(values[-1]), 0.0, 0.0, max(WINDOWS[0] - rest, 0.0))


def _swing(time: Array, values: Array, sigma: float) -> tuple[float, float] | None:
    """Period and amplitude of a regular swing that a reading would notice."""
    step = max(float(np.median(np.diff(time))), 1e-9)
    count = int((time[-1] - time[0]) / step) + 1
    if not 24 <= count <= 100_000:
        return None
    even = np.interp(time[0] + step * np.arange(count), time, values)
    # a line is taken off: a room that drifts is no swing
    at = np.arange(count)
    even = even - np.polyval(np.polyfit(at, even, 1), at)
    found = oscillation_of(even, step)
    if not found.swings or 2.0 * found.amplitude < SWINGS_OVER * sigma:
        return None
    return found.period, found.amplitude
