"""Balancing valve and bypass: the setting at which a three-way valve keeps the main's flow where it
stands."""

from __future__ import annotations

import numpy as np

from wringout.errors import InputError
from wringout.machine.design import LEG_SHARE, PUMP_SHUTOFF_RATIO, VALVE_AUTHORITY
from wringout.physics.fluid import density
from wringout.physics.hydronics import loop_flows, pressure_from_head, pump_curve
from wringout.physics.valve import (
    authority,
    cv_from_kv,
    equal_percentage,
    kv_from_resistance,
    linear,
    resistance_from_flow,
    valve_resistance,
)
from wringout.quantity import Dimension
from wringout.setting_up.answer import Answer, Array, Value, worked
from wringout.setting_up.inputs import Ask, Inputs
from wringout.setting_up.subject import Subject

__all__ = ["BALANCING", "main_flow"]

_D = Dimension
_WATER = ("psi", "kPa")
ASKS = (
    Ask(
        "flow",
        "design flow of coil and main",
        _D.WATER_FLOW,
        1e-6,
        1.0,
        0.05,
        path="loop.flow",
        example="25 gpm",
    ),
    Ask(
        "pump-head",
        "pump head at that flow",
        _D.HEAD,
        0.3,
        200.0,
        0.05,
        point="pump.head",
        path="loop.pump_head",
        example="42 ft",
    ),
    Ask(
        "coil-drop",
        "drop of the coil with its pipes at that flow",
        _D.PRESSURE_DIFFERENCE,
        10.0,
        1e6,
        0.1,
        optional=True,
        unit_shown=_WATER,
        example="3.2 psi",
    ),
    Ask(
        "valve-drop",
        "drop of the open control valve at that flow",
        _D.PRESSURE_DIFFERENCE,
        10.0,
        1e6,
        0.1,
        optional=True,
        unit_shown=_WATER,
        example="3.2 psi",
    ),
    Ask(
        "bypass-drop",
        "drop of the bypass pipe itself at that flow",
        _D.PRESSURE_DIFFERENCE,
        0.0,
        1e6,
        0.2,
        assume="0 psi",
        why="a short pipe",
        unit_shown=_WATER,
    ),
    Ask(
        "ways",
        "ways of the control valve",
        path="reheat.valve.ways",
        choices=("three", "two"),
        assume="three",
        why="usual",
    ),
    Ask(
        "characteristic",
        "characteristic of the coil port",
        path="reheat.valve.characteristic",
        choices=("linear", "equal_percentage"),
        assume="equal_percentage",
        why="usual for hot water",
    ),
    Ask(
        "bypass-flow",
        "flow to keep through the bypass of a two-way valve",
        _D.WATER_FLOW,
        0.0,
        1.0,
        0.1,
        optional=True,
        example="4 gpm",
    ),
)


def main_flow(
    position: Array, flow: float, head: float, coil: float, valve: float, bypass: float, characteristic: str
) -> Array:
    """Flow in the main [m3/s] with a three-way valve at a position [0 to 1 coil open].

    ``flow`` [m3/s] and ``head`` [Pa] are the pump's design point; ``coil``, ``valve`` and ``bypass`` [Pa]
    what coil, open control valve and whole bypass drop at that flow; the rest of the head is the main's.
    """
    pump = pump_curve(flow, head, PUMP_SHUTOFF_RATIO)
    rest, of_coil, of_valve = (
        resistance_from_flow(drop, flow) for drop in (max(head - coil - valve, 0.0), coil, valve)
    )
    opened = equal_percentage(position, 40.0) if characteristic == "equal_percentage" else linear(position)
    least = 1e-3  # a seat is never perfectly tight
    leg = of_coil + valve_resistance(of_valve, np.maximum(opened, least))
    beside = resistance_from_flow(bypass, flow) + valve_resistance(
        of_valve, np.maximum(1.0 - position, least)
    )
    return loop_flows(pump.shutoff_head, pump.resistance, rest, leg, beside).main


def _answer(x: Inputs) -> Answer:
    rho = float(density(50.0))
    head = float(pressure_from_head(x["pump-head"].value, rho))
    coil = _drop(
        x, "coil-drop", "drop of the coil with its pipes", (1.0 - VALVE_AUTHORITY) * LEG_SHARE * head
    )
    valve = _drop(x, "valve-drop", "drop of the open control valve", VALVE_AUTHORITY * LEG_SHARE * head)
    if coil.value + valve.value >= head:
        raise InputError("coil and valve cannot drop the whole of the pump's head", "--coil-drop")
    if x.word("ways") == "two":
        return _two_way(x, coil, valve)
    if x["bypass-drop"].value >= coil.value:
        raise InputError(
            "the bypass pipe drops as much as the coil already: no balancing valve can help", "--bypass-drop"
        )
    inputs = [x["flow"], coil, valve, x["bypass-drop"]]

    def law(flow: Array, c: Array, v: Array, b: Array) -> list[Array]:
        drop = np.maximum(c - b, 1.0)
        kv = kv_from_resistance(resistance_from_flow(drop, flow), rho)
        return [drop, cv_from_kv(kv), kv, authority(np.maximum(v, 1.0), np.maximum(c, 0.0))]

    drop, cv, kv, share = worked(inputs, law)
    results = [
        Value(
            "drop",
            "drop across the balancing valve at full bypass",
            drop[0],
            drop[1],
            _D.PRESSURE_DIFFERENCE,
            "computed",
            unit_shown=_WATER,
            mostly=drop[2],
        ),
        Value("cv", "its flow coefficient", cv[0], cv[1], None, "computed", unit="Cv", mostly=cv[2]),
        Value("kv", "its flow coefficient", kv[0], kv[1], None, "computed", unit="Kv", mostly=kv[2]),
        Value(
            "authority",
            "authority of the control valve",
            share[0],
            share[1],
            None,
            "computed",
            mostly=share[2],
        ),
    ]
    at = np.linspace(0.0, 1.0, 41)
    kind = x.word("characteristic")
    shape = (x["flow"].value, head, coil.value, valve.value)
    set_right = main_flow(at, *shape, coil.value, kind)
    left_open = main_flow(at, *shape, max(x["bypass-drop"].value, 1.0), kind)
    # with its balancing valve set, the whole bypass drops what the coil drops
    furthest = set_right[np.argmax(np.abs(set_right - set_right[-1]))]
    for key, name, value in (
        ("main-coil", "main, all through the coil", set_right[-1]),
        ("main-bypass", "main, all through the bypass", set_right[0]),
        ("main-between", "main between, where it strays furthest", furthest),
        ("main-open", "main at full bypass, balancing valve wide open", left_open[0]),
    ):
        results.append(Value(key, name, float(value), 0.05 * float(value), _D.WATER_FLOW, "computed"))
    warnings = []
    if share[0] < 0.25:
        warnings.append(
            "Authority under 0.25: the valve does most of its work in the first part of its travel."
        )
    if furthest < 0.8 * set_right[-1]:
        warnings.append(
            "Between its ends the valve lets the main sag: an equal-percentage coil port beside a "
            "straight bypass "
            "port does so; see that the source bears the least flow."
        )
    return _told(x, coil, valve, results, warnings)


def _told(x: Inputs, coil: Value, valve: Value, results: list[Value], warnings: list[str]) -> Answer:
    return Answer(
        "balancing",
        "Balancing valve and bypass",
        (
            "constant flow: R bypass pipe + R balancing valve = R coil",
            "Kv = Q[m3/h] / sqrt(drop[bar] rho / 999.1); Cv = Kv / 0.865; authority = valve / (valve + coil)",
        ),
        "IEC 60534-2-1 (Kv); series and parallel quadratic resistances; authority 0.25 to 0.5 "
        "common practice",
        (*(part for part in x.all() if part.key not in {coil.key, valve.key}), coil, valve),
        tuple(results),
        (
            "Hold the valve at full coil and read the main's flow (or pump head).",
            "Hold it at full bypass and close the balancing valve until the same is read; lock "
            "and write it down.",
            "Look once at half travel, then release the valve.",
        ),
        tuple(warnings),
        ("All drops go with the square of the flow; the pump's curve is a parabola (ESTIMATE).",),
    )


def _two_way(x: Inputs, coil: Value, valve: Value) -> Answer:
    """A small fixed bypass beside a two-way valve: it drops what the whole leg drops, at its own flow."""
    if "bypass-flow" not in x:
        raise InputError(
            'a two-way valve needs the flow to keep; write for example --bypass-flow "4 gpm"', "--bypass-flow"
        )
    rho = float(density(50.0))

    def law(kept: Array, c: Array, v: Array, b: Array) -> list[Array]:
        kv = kv_from_resistance(resistance_from_flow(np.maximum(c + v - b, 1.0), np.maximum(kept, 1e-9)), rho)
        return [c + v - b, cv_from_kv(kv), kv]

    drop, cv, kv = worked([x["bypass-flow"], coil, valve, x["bypass-drop"]], law)
    results = [
        Value(
            "drop",
            "drop across the bypass valve, coil fully open",
            drop[0],
            drop[1],
            _D.PRESSURE_DIFFERENCE,
            "computed",
            unit_shown=_WATER,
            mostly=drop[2],
        ),
        Value("cv", "its flow coefficient", cv[0], cv[1], None, "computed", unit="Cv", mostly=cv[2]),
        Value("kv", "its flow coefficient", kv[0], kv[1], None, "computed", unit="Kv", mostly=kv[2]),
    ]
    return _told(
        x, coil, valve, results, ["A two-way valve varies the main: see `keep-three-way` for the whole loop."]
    )


def _drop(x: Inputs, key: str, name: str, usual: float) -> Value:
    """As written, else by the shares of the pump's head that the machine of the unit is built with."""
    if key in x:
        return x[key]
    words = f"{100 * usual / (usual / (VALVE_AUTHORITY * LEG_SHARE)):.0f} % of the pump's head (judgement)"
    return Value(key, name, usual, 0.3 * usual, _D.PRESSURE_DIFFERENCE, "assumed", words, unit_shown=_WATER)


BALANCING = Subject(
    "balancing", "Balancing valve and bypass", ASKS, ("hot_surface", "output_forced", "water_gauges"), _answer
)
