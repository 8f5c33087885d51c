"""Heat exchangers: effectiveness by arrangement, heat transferred, sizing, conductance off its rating."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wringout.errors import InputError, NotConverged

__all__ = [
    "counterflow",
    "parallel_flow",
    "crossflow_both_unmixed",
    "crossflow_minimum_mixed",
    "crossflow_maximum_mixed",
    "shell_and_tube_one_pass",
    "heat_transferred",
    "ntu_from_effectiveness_counterflow",
    "ntu_from_effectiveness_crossflow",
    "log_mean_difference",
    "scaled_conductance",
]

Floats = NDArray[np.float64]


def _floats(value: ArrayLike) -> Floats:
    return np.asarray(value, dtype=np.float64)


def _checked(ntu: ArrayLike, capacity_ratio: ArrayLike) -> tuple[Floats, Floats]:
    n, c = _floats(ntu), _floats(capacity_ratio)
    if np.any(n < 0.0):
        raise InputError(f"number of transfer units {np.nanmin(n):.6g} is negative")
    if np.any((c < 0.0) | (c > 1.0)):
        worst = np.nanmin(c) if np.nanmin(c) < 0 else np.nanmax(c)
        raise InputError(f"capacity ratio {worst:.6g} is outside 0 to 1: it is the smaller over the larger")
    return n, c


def counterflow(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Floats:
    """Effectiveness in counterflow."""
    n, c = _checked(ntu, capacity_ratio)
    gap = 1.0 - c
    with np.errstate(divide="ignore", invalid="ignore"):
        # (1 - e)/(1 - c e) with e = exp(-n gap): written with expm1 so that c -> 1 loses no digits
        x = np.where(np.isinf(n) & (gap == 0.0), np.inf, n * gap)
        rise = -np.expm1(-x)
        even = n / (1.0 + n)
        result = np.where(gap < 1e-9, np.where(np.isinf(n), 1.0, even), rise / (gap + c * rise))
    return np.where(np.isnan(n + c), np.nan, result)[()]


def parallel_flow(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Floats:
    """Effectiveness with both streams running the same way."""
    n, c = _checked(ntu, capacity_ratio)
    return (-np.expm1(-n * (1.0 + c)) / (1.0 + c))[()]


def crossflow_minimum_mixed(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Floats:
    """Effectiveness in crossflow, the stream of the smaller capacity rate mixed, the other not."""
    n, c = _checked(ntu, capacity_ratio)
    with np.errstate(divide="ignore", invalid="ignore"):
        exponent = np.where(c * n < 1e-12, n, -np.expm1(-c * n) / c)
    return np.where(np.isnan(n + c), np.nan, -np.expm1(-exponent))[()]


def crossflow_maximum_mixed(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Floats:
    """Effectiveness in crossflow, the stream of the larger capacity rate mixed, the other not."""
    n, c = _checked(ntu, capacity_ratio)
    rise = -np.expm1(-n)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(c < 1e-12, rise, -np.expm1(-c * rise) / c)[()]


def shell_and_tube_one_pass(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Floats:
    """Effectiveness with one shell pass and two, four, ... tube passes."""
    n, c = _checked(ntu, capacity_ratio)
    root = np.sqrt(1.0 + c * c)
    ratio = 1.0 / np.tanh(np.maximum(0.5 * n * root, 1e-300))
    return (2.0 / (1.0 + c + root * ratio))[()]


def crossflow_both_unmixed(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Floats:
    """Effectiveness in crossflow, neither stream mixed (the exact series)."""
    n, c = np.broadcast_arrays(*_checked(ntu, capacity_ratio))
    known = np.isfinite(n) & ~np.isnan(c)
    a = np.where(known, np.clip(n, 1e-9, 200.0), 1.0)
    b = a * np.where(known, c, 0.5)
    term_a, term_b = np.exp(-a), np.exp(-b)
    left_a, left_b = -np.expm1(-a), -np.expm1(-b)
    total = left_a * left_b
    for k in range(1, 600):
        term_a = term_a * (a / k)
        term_b = term_b * (b / k)
        left_a = left_a - term_a
        left_b = left_b - term_b
        more = left_a * left_b
        total = total + more
        if not np.any(more > 1e-14 * total):
            break
    else:
        raise NotConverged("crossflow series did not settle", state={"ntu": n, "capacity_ratio": c})
    with np.errstate(divide="ignore", invalid="ignore"):
        result = np.where(b < 1e-9, -np.expm1(-a), total / b)
    result = np.where(n == 0.0, 0.0, np.where(np.isposinf(n) & ~np.isnan(c), 1.0, result))
    return np.where(np.isnan(n + c), np.nan, result)[()]


def heat_transferred(
    effectiveness: ArrayLike,
    capacity_rate_hot: ArrayLike,
    capacity_rate_cold: ArrayLike,
    hot_in: ArrayLike,
    cold_in: ArrayLike,
) -> Floats:
    """Heat from the hot to the cold stream; negative if the names are the wrong way round."""
    smaller = np.minimum(_floats(capacity_rate_hot), _floats(capacity_rate_cold))
    if np.any(smaller < 0.0):
        raise InputError(f"capacity rate {np.nanmin(smaller):.6g} W/K is negative")
    return (_floats(effectiveness) * smaller * (_floats(hot_in) - _floats(cold_in)))[()]


def ntu_from_effectiveness_counterflow(effectiveness: ArrayLike, capacity_ratio: ArrayLike) -> Floats:
    """Number of transfer units that gives an effectiveness in counterflow."""
    e = _floats(effectiveness)
    if np.any((e < 0.0) | (e >= 1.0)):
        raise InputError("effectiveness must be from 0 to below 1 in counterflow")
    _, c = _checked(0.0, capacity_ratio)
    gap = 1.0 - c
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(gap < 1e-9, e / (1.0 - e), np.log1p(e * gap / (1.0 - e)) / gap)[()]


def ntu_from_effectiveness_crossflow(effectiveness: ArrayLike, capacity_ratio: ArrayLike) -> Floats:
    """Number of transfer units that gives an effectiveness in crossflow, both unmixed."""
    e = _floats(effectiveness)
    if np.any((e < 0.0) | (e >= 1.0)):
        raise InputError("effectiveness must be from 0 to below 1 in crossflow")
    _, c = _checked(0.0, capacity_ratio)
    e, c = np.broadcast_arrays(e, c)
    low, high = np.zeros(e.shape), np.full(e.shape, 150.0)
    if np.any(crossflow_both_unmixed(high, c) < e):
        raise InputError("effectiveness cannot be had in crossflow with up to 150 transfer units")
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = crossflow_both_unmixed(middle, c) < e
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.where(np.isnan(e + c), np.nan, 0.5 * (low + high))[()]


def log_mean_difference(difference_one_end: ArrayLike, difference_other_end: ArrayLike) -> Floats:
    """Logarithmic mean of the temperature differences at the two ends."""
    a, b = _floats(difference_one_end), _floats(difference_other_end)
    if np.any((a <= 0.0) | (b <= 0.0)):
        raise InputError("a temperature difference is zero or negative: the streams cross")
    x = (a - b) / b
    with np.errstate(divide="ignore", invalid="ignore"):
        exact = (a - b) / np.log1p(x)
    return np.where(np.abs(x) < 1e-6, 0.5 * (a + b), exact)[()]


def scaled_conductance(
    rated_conductance: ArrayLike,
    ratio_air: ArrayLike,
    ratio_water: ArrayLike,
    air_share: ArrayLike = 2.0 / 3.0,
    air_exponent: float = 0.8,
    water_exponent: float = 0.85,
) -> Floats:
    """Conductance of a coil at other flows than rated."""
    share = _floats(air_share)
    air, water = _floats(ratio_air), _floats(ratio_water)
    if np.any((share < 0.0) | (share > 1.0)):
        raise InputError("air_share is a fraction of resistance, 0 to 1")
    if np.any(air < 0.0) or np.any(water < 0.0):
        raise InputError("a flow ratio is negative")
    with np.errstate(divide="ignore", invalid="ignore"):
        resistance = share * air**-air_exponent + (1.0 - share) * water**-water_exponent
        return (_floats(rated_conductance) / resistance)[()]
