"""Fans: affinity, a constant-speed fan against its system, filters, power, motor current, heat into the air.

Pressures are static pressures in Pa across the part; a system without a held static pressure resists with
the square of the airflow.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from wringout.physics._limits import Array, within

__all__ = [
    "airflow_at_speed",
    "pressure_at_speed",
    "power_at_speed",
    "system_resistance",
    "fan_curve",
    "fan_airflow",
    "airflow_ratio_with_added_resistance",
    "added_resistance_for_airflow_ratio",
    "fan_power",
    "motor_current",
    "filter_drop",
    "heat_rise",
]


def airflow_at_speed(airflow: ArrayLike, speed_ratio: ArrayLike) -> Array:
    """Carry an airflow to another fan speed in the same duct system.

    Parameters
    ----------
    airflow : array_like, any shape, in [m3/s]
        Airflow at the old speed.
    speed_ratio : array_like, broadcastable, in [-]
        New speed over old.

    Returns
    -------
    ndarray, broadcast shape, in [m3/s]
        ``airflow ratio``; NaN where an input is NaN.

    Raises
    ------
    InputError
        An input below 0.
    """
    return within("airflow", airflow, "m3/s", 0.0) * within("speed ratio", speed_ratio, "", 0.0)


def pressure_at_speed(pressure: ArrayLike, speed_ratio: ArrayLike) -> Array:
    """Carry a fan's pressure to another speed in the same duct system.

    Parameters
    ----------
    pressure : array_like, any shape, in [Pa]
        Pressure at the old speed.
    speed_ratio : array_like, broadcastable, in [-]
        New speed over old.

    Returns
    -------
    ndarray, broadcast shape, in [Pa]
        ``pressure ratio**2``; NaN where an input is NaN.

    Raises
    ------
    InputError
        An input below 0.
    """
    return within("fan pressure", pressure, "Pa", 0.0) * within("speed ratio", speed_ratio, "", 0.0) ** 2


def power_at_speed(power: ArrayLike, speed_ratio: ArrayLike) -> Array:
    """Carry a fan's shaft power to another speed in the same duct system.

    Parameters
    ----------
    power : array_like, any shape, in [W]
        Shaft power at the old speed.
    speed_ratio : array_like, broadcastable, in [-]
        New speed over old.

    Returns
    -------
    ndarray, broadcast shape, in [W]
        ``power ratio**3``; NaN where an input is NaN.

    Raises
    ------
    InputError
        An input below 0.
    """
    return within("fan power", power, "W", 0.0) * within("speed ratio", speed_ratio, "", 0.0) ** 3


def system_resistance(pressure: ArrayLike, airflow: ArrayLike) -> Array:
    """Give the quadratic resistance of a duct system or part from one known point.

    Parameters
    ----------
    pressure : array_like, any shape, in [Pa]
        Drop at the airflow.
    airflow : array_like, broadcastable, in [m3/s]
        Airflow.

    Returns
    -------
    ndarray, broadcast shape, in [Pa/(m3/s)2]
        ``pressure / airflow**2``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `pressure` below 0 or `airflow` not above 0.
    """
    q = within("airflow", airflow, "m3/s", 0.0, above_low=True)
    return within("pressure drop", pressure, "Pa", 0.0) / (q * q)


def fan_curve(airflow: ArrayLike, pressure: ArrayLike, shutoff_ratio: ArrayLike = 1.4) -> tuple[Array, Array]:
    """Give the quadratic curve of a fan at one speed from its design point.

    Parameters
    ----------
    airflow : array_like, any shape, in [m3/s]
        Design airflow.
    pressure : array_like, broadcastable, in [Pa]
        Fan pressure there.
    shutoff_ratio : array_like, broadcastable, in [-]
        Pressure the falling branch of the curve points to at no airflow, over design pressure. ESTIMATE:
        the branch right of the peak of centrifugal fans; take the fan's own curve where there is one.

    Returns
    -------
    shutoff_pressure : ndarray, broadcast shape, in [Pa]
        Pressure at no airflow; NaN where an input is NaN.
    resistance : ndarray, broadcast shape, in [Pa/(m3/s)2]
        Fall of the curve, ``pressure = shutoff_pressure - resistance airflow**2``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `airflow` or `pressure` not above 0, or `shutoff_ratio` below 1.
    """
    q = within("design airflow", airflow, "m3/s", 0.0, above_low=True)
    p = within("design fan pressure", pressure, "Pa", 0.0, above_low=True)
    ratio = within("shut-off ratio of the fan", shutoff_ratio, "", 1.0)
    return p * ratio, p * (ratio - 1.0) / (q * q)


def fan_airflow(
    shutoff_pressure: ArrayLike, fan_resistance: ArrayLike, system: ArrayLike, speed_ratio: ArrayLike = 1.0
) -> Array:
    """Give the airflow at which a fan and its system meet.

    Parameters
    ----------
    shutoff_pressure : array_like, any shape, in [Pa]
        Fan pressure at no airflow, full speed.
    fan_resistance : array_like, broadcastable, in [Pa/(m3/s)2]
        Fall of the fan curve.
    system : array_like, broadcastable, in [Pa/(m3/s)2]
        Resistance of the system with all its filters; infinite where it is shut.
    speed_ratio : array_like, broadcastable, in [-]
        Speed over full speed; 0 stands still.

    Returns
    -------
    ndarray, broadcast shape, in [m3/s]
        ``speed sqrt(shutoff / (fan + system))``; NaN where an input is NaN.

    Raises
    ------
    InputError
        An input below 0, or a system without resistance.
    """
    p = within("shut-off pressure of the fan", shutoff_pressure, "Pa", 0.0)
    k = within("resistance of the fan curve", fan_resistance, "Pa/(m3/s)2", 0.0)
    r = within("resistance of the system", system, "Pa/(m3/s)2", 0.0, above_low=True)
    return within("speed ratio", speed_ratio, "", 0.0) * np.sqrt(p / (k + r))


def airflow_ratio_with_added_resistance(added_share: ArrayLike, shutoff_ratio: ArrayLike = 1.4) -> Array:
    """Give airflow over design airflow when something adds resistance to a fan at constant speed.

    Parameters
    ----------
    added_share : array_like, any shape, in [-]
        Added resistance over that of the design system (a filter that drops at design airflow 100 Pa more
        than clean, in a system of 400 Pa: 0.25).
    shutoff_ratio : array_like, broadcastable, in [-]
        As in `fan_curve`.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        ``sqrt(s / (s + added_share))`` with s the shut-off ratio; NaN where an input is NaN.

    Raises
    ------
    InputError
        `added_share` below 0 or `shutoff_ratio` below 1.

    Notes
    -----
    ``s - (s - 1) q**2 = (1 + a) q**2`` with q the airflow ratio: quadratic fan curve and system.
    """
    a = within("added resistance", added_share, "", 0.0)
    s = within("shut-off ratio of the fan", shutoff_ratio, "", 1.0)
    return np.sqrt(s / (s + a))


def added_resistance_for_airflow_ratio(airflow_ratio: ArrayLike, shutoff_ratio: ArrayLike = 1.4) -> Array:
    """Give the added resistance that brings a constant-speed fan down to a share of its design airflow.

    Parameters
    ----------
    airflow_ratio : array_like, any shape, in [-]
        Airflow over design airflow, above 0 to 1.
    shutoff_ratio : array_like, broadcastable, in [-]
        As in `fan_curve`.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Added resistance over that of the design system; NaN where an input is NaN.

    Raises
    ------
    InputError
        `airflow_ratio` outside above 0 to 1 or `shutoff_ratio` below 1.
    """
    q = within("airflow ratio", airflow_ratio, "", 0.0, 1.0, above_low=True)
    s = within("shut-off ratio of the fan", shutoff_ratio, "", 1.0)
    return s * (1.0 / (q * q) - 1.0)


def fan_power(airflow: ArrayLike, pressure: ArrayLike, efficiency: ArrayLike) -> Array:
    """Give the power a fan takes.

    Parameters
    ----------
    airflow : array_like, any shape, in [m3/s]
        Airflow.
    pressure : array_like, broadcastable, in [Pa]
        Fan pressure, static or total.
    efficiency : array_like, broadcastable, in [-]
        On the same pressure: of the fan for shaft power, of fan, belt and motor for electric power.

    Returns
    -------
    ndarray, broadcast shape, in [W]
        ``airflow pressure / efficiency``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `airflow` or `pressure` below 0, or `efficiency` outside above 0 to 1.
    """
    q = within("airflow", airflow, "m3/s", 0.0)
    p = within("fan pressure", pressure, "Pa", 0.0)
    return q * p / within("fan efficiency", efficiency, "", 0.0, 1.0, above_low=True)


def motor_current(load: ArrayLike, rated_current: ArrayLike, idle_share: ArrayLike = 0.4) -> Array:
    """Give the current of an induction motor on the mains from its load.

    Parameters
    ----------
    load : array_like, any shape, in [-]
        Shaft power over that at `rated_current`.
    rated_current : array_like, broadcastable, in [A]
        Current at load 1.
    idle_share : array_like, broadcastable, in [-]
        Current without load over `rated_current`. ESTIMATE: 0.3 to 0.5 for four-pole motors of fan size,
        more for small and slow ones.

    Returns
    -------
    ndarray, broadcast shape, in [A]
        ``rated sqrt(i**2 + (1 - i**2) load**2)``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `load` or `rated_current` below 0, or `idle_share` outside 0 to 1.

    Notes
    -----
    The magnetising current stands at a right angle to the load current. Constant voltage and frequency:
    belt and direct drives. A variable drive's line current has no magnetising part (`idle_share` 0) and
    goes with power alone.
    """
    share = within("motor load", load, "", 0.0)
    idle = within("idle share of the motor current", idle_share, "", 0.0, 1.0) ** 2
    return within("rated motor current", rated_current, "A", 0.0) * np.sqrt(
        idle + (1.0 - idle) * share * share
    )


def filter_drop(
    airflow: ArrayLike, known_drop: ArrayLike, known_airflow: ArrayLike, exponent: ArrayLike = 1.5
) -> Array:
    """Give a filter's pressure drop at an airflow from its drop at another.

    Parameters
    ----------
    airflow : array_like, any shape, in [m3/s]
        Airflow.
    known_drop : array_like, broadcastable, in [Pa]
        Drop at the known airflow, of the filter as it is loaded.
    known_airflow : array_like, broadcastable, in [m3/s]
        That airflow.
    exponent : array_like, broadcastable, in [-]
        1 for laminar flow through the media, 2 for frames and coils. ESTIMATE: 1.5 for pleated filters; use
        2 where the figures to compare with were made so.

    Returns
    -------
    ndarray, broadcast shape, in [Pa]
        ``known_drop (airflow / known_airflow)**exponent``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `airflow` or `known_drop` below 0, `known_airflow` not above 0, or `exponent` outside 1 to 2.
    """
    ratio = within("airflow", airflow, "m3/s", 0.0) / within(
        "known airflow", known_airflow, "m3/s", 0.0, above_low=True
    )
    power = within("filter exponent", exponent, "", 1.0, 2.0)
    return within("filter drop", known_drop, "Pa", 0.0) * ratio**power


def heat_rise(
    pressure: ArrayLike, efficiency: ArrayLike, density: ArrayLike = 1.2, specific_heat: ArrayLike = 1006.0
) -> Array:
    """Give the temperature rise of the air through a fan.

    Parameters
    ----------
    pressure : array_like, any shape, in [Pa]
        Total pressure of the fan.
    efficiency : array_like, broadcastable, in [-]
        Total efficiency of all that stands in the airstream: fan, and belt and motor too if they do.
    density : array_like, broadcastable, in [kg/m3]
        Density of the air.
    specific_heat : array_like, broadcastable, in [J/(kg K)]
        Of moist air, for each kg of it.

    Returns
    -------
    ndarray, broadcast shape, in [K]
        ``pressure / (efficiency density specific_heat)``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `pressure` below 0, `efficiency` outside above 0 to 1, or a property not above 0.

    Notes
    -----
    All the shaft power ends as heat in the air, in the fan or further down the duct where the pressure is
    spent.
    """
    p = within("fan pressure", pressure, "Pa", 0.0)
    eta = within("fan efficiency", efficiency, "", 0.0, 1.0, above_low=True)
    rho = within("air density", density, "kg/m3", 0.0, above_low=True)
    return p / (eta * rho * within("specific heat of air", specific_heat, "J/(kg K)", 0.0, above_low=True))
