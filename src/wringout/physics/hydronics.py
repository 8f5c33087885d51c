"""Water loops: quadratic resistances, pump curve, flows of a loop with a coil leg beside a bypass leg.

Everything resists with the square of the flow, ``drop = resistance flow**2``, so that the loop has a closed
form. A shut leg has an infinite resistance.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from wringout.errors import InputError
from wringout.physics._limits import Array, within

__all__ = [
    "STANDARD_GRAVITY",
    "LoopFlows",
    "PumpCurve",
    "Affinity",
    "series",
    "parallel",
    "split",
    "loop_flows",
    "pump_curve",
    "pump_pressure",
    "pump_at_speed",
    "affinity",
    "pressure_from_head",
    "head_from_pressure",
    "pump_power",
]

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of gravity in m/s2 (exact by convention, ISO 80000-3)."""

_RESISTANCE = "Pa/(m3/s)2"
_LARGEST = 1e300  # a pump curve is never infinitely steep


class LoopFlows(NamedTuple):
    """Flows of a loop in m3/s and the pressure its pump gives in Pa, all of one shape."""

    main: Array
    coil: Array
    bypass: Array
    pump_head: Array


class PumpCurve(NamedTuple):
    """A pump whose pressure is ``shutoff_head - resistance flow**2``, in Pa and Pa/(m3/s)2."""

    shutoff_head: Array
    resistance: Array


class Affinity(NamedTuple):
    """Flow, head and power of a pump or fan at another speed, in the units that went in."""

    flow: Array
    head: Array
    power: Array


def series(*resistances: ArrayLike) -> Array:
    """Give the resistance of parts that the same flow passes one after the other.

    Parameters
    ----------
    *resistances : array_like, broadcastable, in [Pa/(m3/s)2]
        One or more; infinite for a closed part.

    Returns
    -------
    ndarray, broadcast shape, in [Pa/(m3/s)2]
        Their sum; NaN where an input is NaN.

    Raises
    ------
    InputError
        No resistance given, or one below 0.
    """
    if not resistances:
        raise InputError("a series of resistances needs one at least")
    total = within("resistance", resistances[0], _RESISTANCE, 0.0)
    for resistance in resistances[1:]:
        total = total + within("resistance", resistance, _RESISTANCE, 0.0)
    return total


def parallel(*resistances: ArrayLike) -> Array:
    """Give the resistance of legs side by side.

    Parameters
    ----------
    *resistances : array_like, broadcastable, in [Pa/(m3/s)2]
        One or more; infinite for a closed leg.

    Returns
    -------
    ndarray, broadcast shape, in [Pa/(m3/s)2]
        Infinite where all legs are closed, 0 where one has none; NaN where an input is NaN.

    Raises
    ------
    InputError
        No resistance given, or one below 0.

    Notes
    -----
    Conductances ``1 / sqrt(resistance)`` add, because all legs see one pressure difference.
    """
    if not resistances:
        raise InputError("parallel legs need one resistance at least")
    with np.errstate(divide="ignore"):
        total = 1.0 / np.sqrt(within("resistance", resistances[0], _RESISTANCE, 0.0))
        for resistance in resistances[1:]:
            total = total + 1.0 / np.sqrt(within("resistance", resistance, _RESISTANCE, 0.0))
        return 1.0 / (total * total)


def split(flow: ArrayLike, *resistances: ArrayLike) -> tuple[Array, ...]:
    """Share a flow among legs side by side.

    Parameters
    ----------
    flow : array_like, any shape, in [m3/s]
        Flow that reaches the legs.
    *resistances : array_like, broadcastable, in [Pa/(m3/s)2]
        One or more, each above 0; infinite for a closed leg.

    Returns
    -------
    tuple of ndarray, one a leg, broadcast shape, in [m3/s]
        Their flows, 0 in all where all legs are closed; NaN where an input is NaN.

    Raises
    ------
    InputError
        No resistance given, one not above 0, or `flow` below 0.
    """
    if not resistances:
        raise InputError("parallel legs need one resistance at least")
    total_flow = within("flow", flow, "m3/s", 0.0)
    shares = [
        1.0 / np.sqrt(within("resistance of a leg", r, _RESISTANCE, 0.0, above_low=True)) for r in resistances
    ]
    total = shares[0]
    for share in shares[1:]:
        total = total + share
    # with every leg closed the shares are 0/0: no flow passes
    scale = total_flow / np.where(total == 0.0, np.inf, total)
    return tuple(share * scale for share in shares)


def loop_flows(
    shutoff_head: ArrayLike,
    pump_resistance: ArrayLike,
    main_resistance: ArrayLike,
    coil_leg_resistance: ArrayLike,
    bypass_leg_resistance: ArrayLike,
) -> LoopFlows:
    """Give the flows of a pumped loop whose coil leg lies beside a bypass leg.

    Parameters
    ----------
    shutoff_head : array_like, any shape, in [Pa]
        Pressure of the pump at no flow; 0 for a pump that stands still.
    pump_resistance : array_like, broadcastable, in [Pa/(m3/s)2]
        Fall of the pump curve, ``shutoff_head - pump_resistance flow**2``.
    main_resistance : array_like, broadcastable, in [Pa/(m3/s)2]
        Everything the whole flow passes: pipe, strainer, source; infinite where it is shut.
    coil_leg_resistance, bypass_leg_resistance : array_like, broadcastable, in [Pa/(m3/s)2]
        The two legs, each above 0; infinite for a closed leg.

    Returns
    -------
    LoopFlows of ndarray, broadcast shape, in [m3/s], and for ``pump_head`` in [Pa]
        ``main`` is ``coil + bypass`` to the last digit. With both legs closed all flows are 0 and the pump
        gives its shut-off head. NaN where an input is NaN.

    Raises
    ------
    InputError
        A pressure or resistance below 0, or a leg's resistance not above 0.

    Notes
    -----
    ``flow = sqrt(shutoff_head / (pump + main + parallel(coil, bypass)))``, shared in proportion to the legs'
    conductances. Fully turbulent resistances, no thermosiphon when the pump stands.
    """
    head = within("shut-off head of the pump", shutoff_head, "Pa", 0.0)
    pump = within("resistance of the pump curve", pump_resistance, _RESISTANCE, 0.0, _LARGEST)
    main = within("resistance of the main", main_resistance, _RESISTANCE, 0.0)
    coil = within("resistance of the coil leg", coil_leg_resistance, _RESISTANCE, 0.0, above_low=True)
    bypass = within("resistance of the bypass leg", bypass_leg_resistance, _RESISTANCE, 0.0, above_low=True)
    coil_conductance = 1.0 / np.sqrt(coil)
    bypass_conductance = 1.0 / np.sqrt(bypass)
    total = coil_conductance + bypass_conductance
    # multiplied through by total**2, so that closed legs (total 0) divide nothing by zero
    along = pump + main
    if np.isposinf(np.fmax.reduce(along, axis=None, initial=0.0)):
        # the one case left to guard is a shut main with closed legs, inf * 0
        with np.errstate(invalid="ignore"):
            resisted = along * (total * total)
        resisted = np.where((total == 0.0) & np.isinf(along), 0.0, resisted)
    else:
        resisted = total * total * along
    # pressure across the legs, its root: a leg's flow is that times its conductance
    root = np.sqrt(head / (resisted + 1.0))
    coil_flow = coil_conductance * root
    bypass_flow = bypass_conductance * root
    main_flow = coil_flow + bypass_flow
    pump_head = head - main_flow * main_flow * pump
    return LoopFlows(main_flow, coil_flow, bypass_flow, pump_head)


def pump_curve(flow: ArrayLike, pressure: ArrayLike, shutoff_ratio: ArrayLike = 1.2) -> PumpCurve:
    """Give the quadratic curve of a pump from one design point.

    Parameters
    ----------
    flow : array_like, any shape, in [m3/s]
        Design flow.
    pressure : array_like, broadcastable, in [Pa]
        Pressure the pump gives at that flow.
    shutoff_ratio : array_like, broadcastable, in [-]
        Pressure at no flow over design pressure. About 1.1 to 1.4 for small circulators and end-suction
        pumps: common practice; take the pump's own curve where there is one.

    Returns
    -------
    PumpCurve of ndarray, broadcast shape, in [Pa] and [Pa/(m3/s)2]
        Curve through the design point; NaN where an input is NaN.

    Raises
    ------
    InputError
        `flow` not above 0, `pressure` below 0 or `shutoff_ratio` below 1.
    """
    q = within("design flow of the pump", flow, "m3/s", 0.0, above_low=True)
    p = within("design pressure of the pump", pressure, "Pa", 0.0)
    ratio = within("shut-off ratio of the pump", shutoff_ratio, "", 1.0)
    return PumpCurve(p * ratio, p * (ratio - 1.0) / (q * q))


def pump_pressure(flow: ArrayLike, shutoff_head: ArrayLike, pump_resistance: ArrayLike) -> Array:
    """Give the pressure of a pump at a flow; negative beyond the end of its curve, where it resists.

    Parameters
    ----------
    flow : array_like, any shape, in [m3/s]
        Flow.
    shutoff_head : array_like, broadcastable, in [Pa]
        Pressure at no flow.
    pump_resistance : array_like, broadcastable, in [Pa/(m3/s)2]
        Fall of the curve.

    Returns
    -------
    ndarray, broadcast shape, in [Pa]
        Pressure; NaN where an input is NaN.

    Raises
    ------
    InputError
        An input below 0.
    """
    q = within("flow", flow, "m3/s", 0.0)
    head = within("shut-off head of the pump", shutoff_head, "Pa", 0.0)
    return head - within("resistance of the pump curve", pump_resistance, _RESISTANCE, 0.0) * q * q


def pump_at_speed(shutoff_head: ArrayLike, pump_resistance: ArrayLike, speed_ratio: ArrayLike) -> PumpCurve:
    """Give a pump's quadratic curve at another speed.

    Parameters
    ----------
    shutoff_head : array_like, any shape, in [Pa]
        Pressure at no flow, at full speed.
    pump_resistance : array_like, broadcastable, in [Pa/(m3/s)2]
        Fall of the curve.
    speed_ratio : array_like, broadcastable, in [-]
        New speed over full speed; 0 stands still.

    Returns
    -------
    PumpCurve of ndarray, broadcast shape, in [Pa] and [Pa/(m3/s)2]
        The head goes with the square of the speed, the fall does not change; NaN where an input is NaN.

    Raises
    ------
    InputError
        An input below 0.
    """
    head = within("shut-off head of the pump", shutoff_head, "Pa", 0.0)
    ratio = within("speed ratio", speed_ratio, "", 0.0)
    resistance = within("resistance of the pump curve", pump_resistance, _RESISTANCE, 0.0)
    head, resistance = np.broadcast_arrays(head * ratio * ratio, resistance)
    return PumpCurve(head, resistance)


def affinity(flow: ArrayLike, head: ArrayLike, power: ArrayLike, speed_ratio: ArrayLike) -> Affinity:
    """Carry one operating point of a pump or fan to another speed against the same system.

    Parameters
    ----------
    flow, head, power : array_like, broadcastable, in [any unit]
        The point at the old speed.
    speed_ratio : array_like, broadcastable, in [-]
        New speed over old.

    Returns
    -------
    Affinity of ndarray, broadcast shape, in [the units given]
        Flow with the speed, head with its square, power with its cube; NaN where an input is NaN.

    Raises
    ------
    InputError
        An input below 0.

    Notes
    -----
    Same impeller, efficiency unchanged, and a system whose drop goes with the square of the flow.
    """
    ratio = within("speed ratio", speed_ratio, "", 0.0)
    return Affinity(
        within("flow", flow, "", 0.0) * ratio,
        within("head", head, "", 0.0) * ratio**2,
        within("power", power, "", 0.0) * ratio**3,
    )


def pressure_from_head(head: ArrayLike, density: ArrayLike) -> Array:
    """Turn a head of liquid into a pressure.

    Parameters
    ----------
    head : array_like, any shape, in [m]
        Height of a column of the liquid.
    density : array_like, broadcastable, in [kg/m3]
        Density of the liquid.

    Returns
    -------
    ndarray, broadcast shape, in [Pa]
        ``density g head``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `density` not above 0.
    """
    return (
        within("head", head, "m")
        * within("density", density, "kg/m3", 0.0, above_low=True)
        * STANDARD_GRAVITY
    )


def head_from_pressure(pressure: ArrayLike, density: ArrayLike) -> Array:
    """Turn a pressure into a head of liquid.

    Parameters
    ----------
    pressure : array_like, any shape, in [Pa]
        Pressure difference.
    density : array_like, broadcastable, in [kg/m3]
        Density of the liquid.

    Returns
    -------
    ndarray, broadcast shape, in [m]
        ``pressure / (density g)``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `density` not above 0.
    """
    rho = within("density", density, "kg/m3", 0.0, above_low=True)
    return within("pressure", pressure, "Pa") / (rho * STANDARD_GRAVITY)


def pump_power(flow: ArrayLike, pressure: ArrayLike, efficiency: ArrayLike = 1.0) -> Array:
    """Give the power a pump takes.

    Parameters
    ----------
    flow : array_like, any shape, in [m3/s]
        Flow.
    pressure : array_like, broadcastable, in [Pa]
        Pressure it adds.
    efficiency : array_like, broadcastable, in [-]
        Of the pump for shaft power, of pump and motor together for electric power; 1 gives the hydraulic
        power.

    Returns
    -------
    ndarray, broadcast shape, in [W]
        ``flow pressure / efficiency``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `flow` or `pressure` below 0, or `efficiency` outside above 0 to 1.
    """
    q = within("flow", flow, "m3/s", 0.0)
    p = within("pressure", pressure, "Pa", 0.0)
    return q * p / within("efficiency", efficiency, "", 0.0, 1.0, above_low=True)
