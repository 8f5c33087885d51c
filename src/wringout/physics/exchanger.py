"""Heat exchangers: effectiveness by arrangement, heat transferred, sizing, conductance off its rating.

Each arrangement is a function of its own. Effectiveness is the heat transferred over the most that could
be: that which takes the stream of the smaller capacity rate to the inlet temperature of the other.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from wringout.physics._limits import Array, floats, within
from wringout.physics.crossflow import (
    below_one,
    crossflow_both_unmixed,
    crossflow_both_unmixed_kays_london,
    ntu_from_effectiveness_crossflow,
    units,
)

__all__ = [
    "transfer_units",
    "counterflow",
    "parallel_flow",
    "crossflow_both_unmixed",
    "crossflow_both_unmixed_kays_london",
    "crossflow_minimum_mixed",
    "crossflow_maximum_mixed",
    "shell_and_tube_one_pass",
    "heat_transferred",
    "ntu_from_effectiveness_counterflow",
    "ntu_from_effectiveness_crossflow",
    "log_mean_difference",
    "scaled_conductance",
]

_LEAST = 1e-12  # instead of 0 where a formula divides by a capacity ratio, or by what it lacks to 1


def transfer_units(
    conductance: ArrayLike, capacity_rate_hot: ArrayLike, capacity_rate_cold: ArrayLike
) -> tuple[Array, Array]:
    """Number of transfer units and capacity ratio, also where a stream stands still.

    Parameters
    ----------
    conductance : array_like, any shape, in [W/K]
        Conductance between the streams, 0 or more.
    capacity_rate_hot, capacity_rate_cold : array_like, broadcast, in [W/K]
        Mass flow times specific heat of each stream, 0 or more.

    Returns
    -------
    ntu : ndarray, broadcast shape, in [-]
        Number of transfer units: infinite where a stream stands still, 0 where the conductance is 0.
    capacity_ratio : ndarray, broadcast shape, in [-]
        Smaller over larger capacity rate; 0 where both are 0. NaN where an argument is NaN.

    Raises
    ------
    InputError
        A conductance or a capacity rate below 0.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 4, section on heat exchangers.
    """
    ua = within("conductance", conductance, "W/K", 0.0)
    hot = within("capacity rate of the hot stream", capacity_rate_hot, "W/K", 0.0)
    cold = within("capacity rate of the cold stream", capacity_rate_cold, "W/K", 0.0)
    smaller, larger = np.minimum(hot, cold), np.maximum(hot, cold)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # a trickle counts as standing still
        ntu = np.where(ua == 0.0, 0.0 * smaller, ua / smaller)
        ratio = np.where(larger == 0.0, 0.0, smaller / larger)
    return ntu[()], ratio[()]


def counterflow(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Array:
    """Effectiveness in counterflow: the most that a conductance can do.

    Parameters
    ----------
    ntu : array_like, any shape, in [-]
        Number of transfer units, conductance over the smaller capacity rate; 0 to infinity.
    capacity_ratio : array_like, broadcasts with `ntu`, in [-]
        Smaller over larger capacity rate, 0 to 1.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Effectiveness; NaN where an argument is NaN.

    Raises
    ------
    InputError
        A number of transfer units below 0, a capacity ratio outside 0 to 1.

    Notes
    -----
    ``eps = (1 - e)/(1 - Cr e)``, ``e = exp(-NTU (1 - Cr))``, written to lose no digits as Cr goes to 1; there
    ``NTU/(1 + NTU)``.

    References
    ----------
    R. K. Shah, D. P. Sekulic, Fundamentals of Heat Exchanger Design (2003), table 3.6.
    F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, 6th ed., table 11.3.
    """
    n, c = units(ntu, capacity_ratio)
    gap = np.maximum(1.0 - c, _LEAST)
    rise = -np.expm1(-n * gap)
    return np.asarray(rise / (gap + c * rise))[()]


def parallel_flow(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Array:
    """Effectiveness with both streams running the same way: the least that a conductance can do.

    Parameters
    ----------
    ntu : array_like, any shape, in [-]
        Number of transfer units, conductance over the smaller capacity rate; 0 to infinity.
    capacity_ratio : array_like, broadcasts with `ntu`, in [-]
        Smaller over larger capacity rate, 0 to 1.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Effectiveness; NaN where an argument is NaN.

    Raises
    ------
    InputError
        A number of transfer units below 0, a capacity ratio outside 0 to 1.

    Notes
    -----
    ``eps = (1 - exp(-NTU (1 + Cr)))/(1 + Cr)``.

    References
    ----------
    R. K. Shah, D. P. Sekulic, Fundamentals of Heat Exchanger Design (2003), table 3.6.
    F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, 6th ed., table 11.3.
    """
    n, c = units(ntu, capacity_ratio)
    total = 1.0 + c
    return np.asarray(-np.expm1(-n * total) / total)[()]


def crossflow_minimum_mixed(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Array:
    """Effectiveness in crossflow, the stream of the smaller capacity rate mixed, the other unmixed.

    Parameters
    ----------
    ntu : array_like, any shape, in [-]
        Number of transfer units, conductance over the smaller capacity rate; 0 to infinity.
    capacity_ratio : array_like, broadcasts with `ntu`, in [-]
        Smaller over larger capacity rate, 0 to 1.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Effectiveness; NaN where an argument is NaN.

    Raises
    ------
    InputError
        A number of transfer units below 0, a capacity ratio outside 0 to 1.

    Notes
    -----
    ``eps = 1 - exp(-(1 - exp(-Cr NTU))/Cr)``.

    References
    ----------
    R. K. Shah, D. P. Sekulic, Fundamentals of Heat Exchanger Design (2003), table 3.6.
    F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, 6th ed., table 11.3.
    """
    n, c = units(ntu, capacity_ratio)
    c = np.maximum(c, _LEAST)
    return np.asarray(-np.expm1(np.expm1(-c * n) / c))[()]


def crossflow_maximum_mixed(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Array:
    """Effectiveness in crossflow, the stream of the larger capacity rate mixed, the other unmixed.

    Parameters
    ----------
    ntu : array_like, any shape, in [-]
        Number of transfer units, conductance over the smaller capacity rate; 0 to infinity.
    capacity_ratio : array_like, broadcasts with `ntu`, in [-]
        Smaller over larger capacity rate, 0 to 1.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Effectiveness; NaN where an argument is NaN.

    Raises
    ------
    InputError
        A number of transfer units below 0, a capacity ratio outside 0 to 1.

    Notes
    -----
    ``eps = (1 - exp(-Cr (1 - exp(-NTU))))/Cr``.

    References
    ----------
    R. K. Shah, D. P. Sekulic, Fundamentals of Heat Exchanger Design (2003), table 3.6.
    F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, 6th ed., table 11.3.
    """
    n, c = units(ntu, capacity_ratio)
    c = np.maximum(c, _LEAST)
    return np.asarray(-np.expm1(c * np.expm1(-n)) / c)[()]


def shell_and_tube_one_pass(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Array:
    """Effectiveness with one shell pass and 2, 4, ... tube passes.

    Parameters
    ----------
    ntu : array_like, any shape, in [-]
        Number of transfer units, conductance over the smaller capacity rate; 0 to infinity.
    capacity_ratio : array_like, broadcasts with `ntu`, in [-]
        Smaller over larger capacity rate, 0 to 1.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Effectiveness; NaN where an argument is NaN.

    Raises
    ------
    InputError
        A number of transfer units below 0, a capacity ratio outside 0 to 1.

    Notes
    -----
    ``eps = 2/(1 + Cr + s coth(NTU s/2))``, ``s = sqrt(1 + Cr^2)``.

    References
    ----------
    R. K. Shah, D. P. Sekulic, Fundamentals of Heat Exchanger Design (2003), table 3.6.
    F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, 6th ed., table 11.3.
    """
    n, c = units(ntu, capacity_ratio)
    root = np.sqrt(1.0 + c * c)
    reach = np.tanh(0.5 * n * root)
    return np.asarray(2.0 * reach / ((1.0 + c) * reach + root))[()]


def heat_transferred(
    effectiveness: ArrayLike,
    capacity_rate_hot: ArrayLike,
    capacity_rate_cold: ArrayLike,
    hot_in: ArrayLike,
    cold_in: ArrayLike,
) -> Array:
    """Heat from the hot to the cold stream.

    Parameters
    ----------
    effectiveness : array_like, any shape, in [-]
        Effectiveness, 0 to 1.
    capacity_rate_hot, capacity_rate_cold : array_like, broadcast, in [W/K]
        Mass flow times specific heat of each stream, 0 or more.
    hot_in, cold_in : array_like, broadcast, in [degC]
        Inlet temperatures.

    Returns
    -------
    ndarray, broadcast shape, in [W]
        Heat, negative where the "hot" stream is the colder one; 0 where a stream stands still, whatever the
        effectiveness. NaN where an argument is NaN otherwise.

    Raises
    ------
    InputError
        An effectiveness outside 0 to 1, a capacity rate below 0.

    References
    ----------
    F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, 6th ed., eq. 11.18 to 11.22.
    """
    e = within("effectiveness", effectiveness, "", 0.0, 1.0 + 1e-9)
    hot = within("capacity rate of the hot stream", capacity_rate_hot, "W/K", 0.0)
    cold = within("capacity rate of the cold stream", capacity_rate_cold, "W/K", 0.0)
    smaller = np.minimum(hot, cold)
    heat = e * smaller * (floats(hot_in) - floats(cold_in))
    return np.where(smaller == 0.0, 0.0, heat)[()]


def ntu_from_effectiveness_counterflow(effectiveness: ArrayLike, capacity_ratio: ArrayLike) -> Array:
    """Number of transfer units that gives an effectiveness in counterflow.

    Parameters
    ----------
    effectiveness : array_like, any shape, in [-]
        Effectiveness, 0 to below 1.
    capacity_ratio : array_like, broadcasts with `effectiveness`, in [-]
        Smaller over larger capacity rate, 0 to 1.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Number of transfer units; NaN where an argument is NaN.

    Raises
    ------
    InputError
        An effectiveness outside 0 to below 1, a capacity ratio outside 0 to 1.

    Notes
    -----
    ``NTU = ln((1 - Cr eps)/(1 - eps))/(1 - Cr)``; for Cr = 1 ``eps/(1 - eps)``.

    References
    ----------
    F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, 6th ed., table 11.4.
    """
    e = below_one(effectiveness)
    c = within("capacity ratio", capacity_ratio, "", 0.0, 1.0)
    gap = np.maximum(1.0 - c, _LEAST)
    return np.asarray(np.log1p(gap * (e / (1.0 - e))) / gap)[()]


def log_mean_difference(difference_one_end: ArrayLike, difference_other_end: ArrayLike) -> Array:
    """Logarithmic mean of the temperature differences at the two ends of an exchanger.

    Parameters
    ----------
    difference_one_end, difference_other_end : array_like, broadcast, in [K]
        Hot minus cold at either end, 0 or more.

    Returns
    -------
    ndarray, broadcast shape, in [K]
        Mean difference; 0 where one is 0; NaN where an argument is NaN.

    Raises
    ------
    InputError
        A difference below 0: the temperatures would cross.

    References
    ----------
    F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, 6th ed., eq. 11.15.
    """
    check = "the temperatures cross; check which sensor is which"
    a = within("temperature difference at one end", difference_one_end, "K", 0.0, check=check)
    b = within("temperature difference at the other end", difference_other_end, "K", 0.0, check=check)
    mean = 0.5 * (a + b)
    with np.errstate(divide="ignore", invalid="ignore"):
        skew = (a - b) / (a + b)
        result = mean * skew / np.arctanh(skew)  # (a - b)/ln(a/b), without cancellation
    return np.where(a == b, mean, result)[()]


def scaled_conductance(
    rated_conductance: ArrayLike,
    ratio_air: ArrayLike,
    ratio_water: ArrayLike,
    air_share: ArrayLike = 2.0 / 3.0,
    air_exponent: float = 0.8,
    water_exponent: float = 0.85,
) -> Array:
    """Conductance of a coil at other flows than rated.

    Parameters
    ----------
    rated_conductance : array_like, any shape, in [W/K]
        Conductance at rated flows, 0 or more.
    ratio_air, ratio_water : array_like, broadcast, in [-]
        Flow over rated flow, 0 or more.
    air_share : array_like, broadcasts, in [-]
        Share of the resistance on the air side at rated flows, 0 to 1. Two thirds belong to a coil whose
        water side conducts twice as well as its air side.
    air_exponent : float, in [-]
        Of air flow in the air side's conductance. 0.8 for ducts; finned coils 0.4 to 0.65 (from memory).
    water_exponent : float, in [-]
        Of water flow in the water side's conductance; 0.85 includes that warmer water conducts better.

    Returns
    -------
    ndarray, broadcast shape, in [W/K]
        Conductance; 0 where a flow is 0; NaN where an argument is NaN.

    Raises
    ------
    InputError
        A conductance or flow ratio below 0, a share outside 0 to 1.

    Notes
    -----
    Resistances in series: ``UA0/UA = share x_air^-m + (1 - share) x_water^-n``. Turbulent flow on both
    sides: far below rated water flow, where the flow turns laminar, it is too high.

    References
    ----------
    M. Wetter, Simulation Model: Finned Water-to-Air Coil without Condensation, LBNL-42355 (1999).
    """
    ua = within("rated conductance", rated_conductance, "W/K", 0.0)
    share = within("air side's share of the resistance", air_share, "", 0.0, 1.0)
    air = within("air flow over rated", ratio_air, "", 0.0) ** air_exponent
    water = within("water flow over rated", ratio_water, "", 0.0) ** water_exponent
    both = air * water
    resistance = share * water + (1.0 - share) * air
    return np.asarray(ua * both / np.where(both == 0.0, 1.0, resistance))[()]
