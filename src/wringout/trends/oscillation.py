"""Does a signal swing, how regularly, with which period: the published indices, as pure functions."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wringout.trends.signals import block_means
from wringout.trends.table import Array

__all__ = [
    "Oscillation",
    "autocorrelation",
    "decay_ratio",
    "iae_limit",
    "load_disturbances",
    "oscillation_of",
    "own_decay",
    "regularity",
    "zero_crossing_intervals",
]

BLOCKS = 8  # to a period: fine enough for its shape, and noise averages out within one


@dataclass(frozen=True, slots=True)
class Oscillation:
    """A signal's swing: ``period`` [s] (NaN where none), ``amplitude`` half of top to bottom, in the signal's
    unit, ``regularity`` and ``decay_ratio`` as in the functions of that name."""

    period: float
    amplitude: float
    regularity: float
    decay_ratio: float

    @property
    def swings(self) -> bool:
        """Whether both indices call it an oscillation."""
        return self.regularity > 1.0 and self.decay_ratio > 0.5


def autocorrelation(values: Array) -> Array:
    """Autocorrelation of a signal without NaN, lags 0 to half its length; zero where it stands still."""
    n = len(values)
    centred = values - values.mean()
    spectrum = np.fft.rfft(centred, 2 * n)
    raw = np.fft.irfft(spectrum * np.conj(spectrum))[: n // 2 + 1]
    counts = n - np.arange(len(raw))
    scaled = raw / counts
    return np.asarray(scaled / scaled[0] if scaled[0] > 0.0 else np.zeros_like(scaled), dtype=float)


def zero_crossing_intervals(values: Array, step: float) -> Array:
    """Times between successive zero crossings [s], interpolated; empty for fewer than two."""
    sign = np.signbit(values)
    k = np.flatnonzero(sign[1:] != sign[:-1])
    at = k + values[k] / (values[k] - values[k + 1])
    return np.diff(at) * step


def regularity(intervals: Array) -> float:
    """How regular an oscillation is: mean over three standard deviations of its intervals; above 1 it counts
    as one.

    Parameters
    ----------
    intervals : array, (crossings - 1,), [s]
        Between zero crossings, of the signal or better of its autocorrelation.

    Returns
    -------
    float
        0 for fewer than four intervals; infinite for a perfect one.

    References
    ----------
    Thornhill & Hagglund, Detection and diagnosis of oscillation in control loops, Control Eng. Practice 5
    (1997); Thornhill, Huang & Zhang, Detection of multiple oscillations in control loops, J. Process Control
    13 (2003) 91-100 (formula r = mean / (3 sd) from memory).
    """
    if len(intervals) < 4:
        return 0.0
    spread = float(np.std(intervals, ddof=1))
    return math.inf if spread < 1e-9 else float(np.mean(intervals)) / (3.0 * spread)


def decay_ratio(acf: Array) -> tuple[float, int]:
    """How much of the autocorrelation's swing is left after one period, and the lag of its first maximum.

    Returns
    -------
    tuple of float and int
        Ratio (height of the first maximum over the first minimum to that over the line from 1 to that
        minimum); 0 and 0 where there is no maximum.

    References
    ----------
    Miao & Seborg, Automatic detection of excessively oscillatory feedback control loops, Proc. IEEE CCA
    (1999): ratio above 0.5 is excessive (from memory).
    """
    falling = np.flatnonzero((acf[1:-1] < acf[:-2]) & (acf[1:-1] <= acf[2:])) + 1
    if not len(falling):
        return 0.0, 0
    # ripples of noise before the signal has fallen through zero are no minima
    crossed = int(np.argmax(acf < 0.0)) if np.any(acf < 0.0) else 0
    falling = falling[falling >= crossed] if crossed else falling[:0]
    if not len(falling):
        return 0.0, 0
    half = _lobe(acf, crossed, lowest=True)
    rising = np.flatnonzero(acf[half:] > 0.0)
    if not len(rising):
        return 0.0, 0
    top = _lobe(acf, half + int(rising[0]), lowest=False)
    if top >= len(acf) - 1:
        return 0.0, 0
    next_cross = np.flatnonzero(acf[top:] < 0.0)
    if not len(next_cross):
        return 0.0, 0
    low2 = _lobe(acf, top + int(next_cross[0]), lowest=True)
    a = acf[top] - 0.5 * (acf[half] + acf[low2])
    b = 0.5 * (acf[0] + acf[top]) - acf[half]
    return (float(a / b) if b > 0.0 else 0.0), top


def _lobe(acf: Array, start: int, lowest: bool) -> int:
    """Index of the extreme of the lobe that begins at `start`, up to where the sign changes again."""
    part = acf[start:] if not lowest else -acf[start:]
    ends = np.flatnonzero(part < 0.0)
    stop = int(ends[0]) if len(ends) else len(part)
    return start + int(np.argmax(part[: max(stop, 1)]))


def oscillation_of(values: Array, step: float) -> Oscillation:
    """The swing of a signal (slow parts taken off before; no NaN).

    Parameters
    ----------
    values : array, (samples,)
    step : float, [s]

    Returns
    -------
    Oscillation
        Period from the autocorrelation's zero crossings: noise hardly moves them.
    """
    amplitude = math.sqrt(2.0) * float(values.std())
    if amplitude <= 0.0 or len(values) < 16:
        return Oscillation(math.nan, 0.0, 0.0, 0.0)
    acf = autocorrelation(values)
    ratio, lag = decay_ratio(acf)
    if lag == 0:
        return Oscillation(math.nan, amplitude, 0.0, 0.0)
    intervals = zero_crossing_intervals(acf, step)[:11]
    period = 2.0 * float(np.mean(intervals)) if len(intervals) >= 3 else lag * step
    return Oscillation(period, amplitude, regularity(intervals), ratio)


def own_decay(values: Array, kicks: Array, step: float, period: float) -> float:
    """How much of a swing is left after one period where nothing from outside kicks it.

    Parameters
    ----------
    values, kicks : array, (samples,)
        The signal and what kicks it from outside (stages of cooling that come and go), each without its slow
        part; no NaN.
    step, period : float, [s]

    Returns
    -------
    float
        Ratio of a swing to the one before it: near 1 for a loop that swings for itself. A loop that rings
        out, kicked anew each time, has a steady autocorrelation and yet a small ratio. NaN where the signal
        is too short to tell.

    Notes
    -----
    After a whole turn the state of a second-order system is back where it was, but for the decay; what came
    in meanwhile adds its convolution. Least squares, then, of the signal on itself one period ago and on the
    kicks of that period, in block means.
    """
    width = max(round(period / BLOCKS / step), 1)
    turn = max(round(period / (width * step)), 1)
    signal, pushed = block_means(values, width), block_means(kicks, width)
    at = np.arange(turn, len(signal))
    if len(at) < 2 * (turn + 2):
        return math.nan
    columns = [signal[at - turn], *(pushed[at - k] for k in range(turn + 1))]
    (decay, *_), *_ = np.linalg.lstsq(np.stack(columns, axis=1), signal[at], rcond=None)
    return float(decay)


def iae_limit(amplitude: float, integral_time: float) -> float:
    """Integral of the absolute error from which a stretch between zero crossings counts as a disturbance.

    Parameters
    ----------
    amplitude : float
        Of a swing that would still be let pass, in the unit of the error (1 % of range is common).
    integral_time : float, [s]
        Of the controller: 2 pi over it stands for the ultimate frequency.

    Returns
    -------
    float
        2 a / omega, [unit of the error * s].

    References
    ----------
    Hagglund, A control-loop performance monitor, Control Eng. Practice 3 (1995) 1543-1551 (formula from
    memory).
    """
    return 2.0 * amplitude / (2.0 * math.pi / integral_time)


def load_disturbances(error: Array, step: float, limit: float) -> int:
    """How many stretches between zero crossings of the error are larger than the limit.

    Parameters
    ----------
    error : array, (samples,)
        Set point less value, no NaN.
    step : float, [s]
    limit : float
        As from `iae_limit`.

    Returns
    -------
    int
        Ten or more within the supervision time (50 ultimate periods) count as swinging.

    References
    ----------
    Hagglund 1995, as in `iae_limit`.
    """
    sign = np.signbit(error)
    edges = np.concatenate([[0], np.flatnonzero(sign[1:] != sign[:-1]) + 1])
    areas = np.add.reduceat(np.abs(error), edges) * step
    return int(np.count_nonzero(areas > limit))
