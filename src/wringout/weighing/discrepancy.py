"""How far even the right parameters miss a real machine: the model's own error at each point, one standard
deviation.

The figures are judgement about our equations, not fits: an effectiveness that assumes counterflow, a
mixing box that does not mix, stratified coils, pipes that have not settled. They widen every reading's error.
"""

from __future__ import annotations

import numpy as np

from wringout.machine import condensing_heat
from wringout.machine.parameters import Array
from wringout.machine.steady import Settled
from wringout.machine.water_side import Water

__all__ = ["model_spread"]

# point -> (absolute [SI], share of the value)
_SPREAD: dict[str, tuple[float, float]] = {
    "outdoor.t": (0.4, 0.0),
    "outdoor.rh": (0.02, 0.0),
    "return.t": (0.2, 0.0),
    "return.rh": (0.01, 0.0),
    "mixed.t": (0.5, 0.0),
    "mixed.rh": (0.02, 0.0),
    "coil_leaving.t": (0.5, 0.0),
    "supply.t": (0.5, 0.0),
    "supply.rh": (0.02, 0.0),
    "space.t": (0.2, 0.0),
    "space.rh": (0.01, 0.0),
    "supply.airflow": (0.0, 0.02),
    "outdoor.airflow": (0.0, 0.05),
    "filter.drop": (2.0, 0.06),
    "fan.speed": (0.1, 0.0),
    "fan.current": (0.0, 0.04),
    "condensate.rate": (2.5e-4, 0.10),
    "chilled.water_in": (0.3, 0.0),
    "chilled.water_out": (0.8, 0.0),
    "chilled.stem": (0.05, 0.0),
    "reheat.signal": (0.03, 0.0),
    "reheat.stem": (0.02, 0.0),
    "loop.flow": (1.0e-5, 0.03),
    "reheat.water_flow": (1.0e-5, 0.10),
    "reheat.water_in": (0.6, 0.0),
    "reheat.water_out": (1.2, 0.0),
    "source.water_in": (0.8, 0.0),
    "source.water_out": (0.7, 0.0),
    "pump.head": (0.15, 0.03),
    "strainer.drop": (300.0, 0.06),
    "reclaim.gas_in": (3.0, 0.0),
    "reclaim.gas_out": (3.0, 0.0),
    "shown.dew_point": (0.1, 0.0),
    "shown.outdoor_dew_point": (0.3, 0.0),
    "shown.space_t": (0.1, 0.0),
    "shown.supply_t": (0.5, 0.0),
    "shown.setpoint_dew_point": (0.06, 0.0),
    "shown.reheat_command": (0.004, 0.0),
    "shown.stages_called": (0.12, 0.0),
    "shown.reheat_in_hand": (0.12, 0.0),
    "shown.dehumidifying": (0.12, 0.0),
}
_STAGE_SPREAD: dict[str, tuple[float, float]] = {
    "current": (0.4, 0.05),
    "superheat": (0.5, 0.0),
    "condensing_over_outdoor": (1.2, 0.0),
}
# readings across a loop's swing are not of one moment: what a third of the reheat span moves (judgement)
_SWINGING = {
    "supply.t": 2.5,
    "shown.supply_t": 2.5,
    "supply.rh": 0.06,
    "space.t": 0.6,
    "shown.space_t": 0.6,
    "reheat.signal": 1.5,
    "reheat.stem": 0.2,
    "reheat.water_in": 1.5,
    "reheat.water_out": 4.0,
    "source.water_in": 2.5,
}
UNDECIDED_SHARE, TO_SPARE = 0.5, 0.05  # of the span between water and gas; reserve that decides (judgement)
_LOOP_TEMPERATURES = frozenset({"reheat.water_in", "reheat.water_out", "source.water_in", "source.water_out"})
_GAS_TEMPERATURES = frozenset({"reclaim.gas_in", "reclaim.gas_out"})


def model_spread(point: str, predicted: Array, s: Settled, held: str | None, steady: bool = False) -> Array:
    """Give the model's own standard deviation at a point.

    Parameters
    ----------
    point : str
    predicted : array, (samples,), [SI of the point]
    s : Settled
    held : str or None
        What is held by hand, if anything: a forced machine has had a quarter of an hour only.
    steady : bool
        Whether the reheat command is known to have stood still, so that no swing was on.

    Returns
    -------
    array, (samples,) or one entry, [SI of the point]

    Notes
    -----
    A loop whose water takes longer round than a state is held has not settled, and a gas line with next to
    no flow reads anything between the gas and the room: there the spread grows.
    """
    if point.startswith("stage."):
        absolute, share = _STAGE_SPREAD[point.rsplit(".", 1)[1]]
    else:
        absolute, share = _SPREAD[point]
    base: Array = np.hypot(absolute, share * np.abs(predicted)) if share else np.full(1, absolute)
    if point in _LOOP_TEMPERATURES or point in _GAS_TEMPERATURES:
        base = water_spread(point, base, s, held)
    if point in _SWINGING and held != "reheat.command" and not steady:
        swing = s.values["read_across_swing"] * np.clip(s.conditions.stages, 0.0, 1.0)
        if np.any(swing > 0.0):
            base = np.hypot(base, _SWINGING[point] * swing)
    if held == "cooling.call":
        base = np.hypot(base, forced_cooling_spread(point, predicted, s))
    return base


def water_spread(point: str, base: Array, s: Settled, held: str | None) -> Array:
    """Widen the spread of a temperature of the loop, or of the gas that heats it, where it has not
    settled."""
    w, loop = s.reheat.water, s.design.loop
    if w is None or loop is None:
        return base
    if point in _LOOP_TEMPERATURES:
        round_trip = 2.0 * loop.pipe_volume / np.maximum(w.main, 1e-7)
        base = base + 12.0 * np.exp(-900.0 / np.maximum(round_trip, 1.0))
        return base if held is None else base + 15.0 * np.exp(-900.0 / warming_time(s, w))
    if point == "reclaim.gas_out" and s.design.gas_condenses:
        return np.hypot(base, undecided_condensate(s, w))
    return np.asarray(base + 25.0 * np.exp(-w.demand / 0.10))


def undecided_condensate(s: Settled, w: Water) -> Array:
    """What is not known of the liquid behind a condensing exchanger that has gas or plates to spare [K].

    With all its plates condensing it leaves at condensing temperature, starved at the water's; in between,
    plates may drain or flood, and it leaves anywhere between the two.
    """
    apart = np.maximum(condensing_heat.temperature(s.design, s.values) - w.source_in, 0.0)
    to_spare = np.clip(1.0 - w.source_heat / np.maximum(w.reserve, 1.0), 0.0, 1.0)
    return np.asarray(UNDECIDED_SHARE * apart * -np.expm1(-to_spare / TO_SPARE))


def warming_time(s: Settled, w: Water) -> Array:
    """Seconds in which the source at its most warms the loop's water by 20 K."""
    loop = s.design.loop
    assert loop is not None
    # pipes there and back, and half as much again in coil, exchanger and metal (judgement)
    capacity = 1.5 * 2.0 * loop.pipe_volume * loop.density * loop.specific_heat
    return np.asarray(20.0 * capacity / np.maximum(w.reserve, 1.0))


def forced_cooling_spread(point: str, predicted: Array, s: Settled) -> Array:
    """What a quarter of an hour of forced cooling, or of none, leaves undecided.

    A coil standing still drips and dries for a while, a shut water valve still passes a little, and once
    the room is dry enough control ends dehumidifying and the reheat has only just gone off.
    """
    idle = 1.0 - np.clip(s.conditions.stages, 0.0, 1.0)
    if point == "condensate.rate":
        return 4.0e-4 * idle
    if point == "chilled.water_out":
        return 4.0 * idle
    if point in ("coil_leaving.t", "supply.rh"):
        return (1.2 if point == "coil_leaving.t" else 0.05) * np.ones(1)
    ending = (1.0 - idle) * np.exp(-s.conditions.command / 0.03)
    if point in ("supply.t", "shown.supply_t"):
        return (4.0 if point == "shown.supply_t" else 2.5) * ending + 0.3
    if point in _LOOP_TEMPERATURES:
        return 4.0 * ending + 0.3
    return np.zeros(1)
