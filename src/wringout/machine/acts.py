"""What each cause does to the machine: one function a cause, acting on parameters, never on readings.

An act gets its severities as numbers from 0 to 1 (uniform by their prior) and the present values of the
fields it reads, and gives new values of the fields it moves. Some causes come in variants: which stage,
which way.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wringout.documents.unit import Unit
from wringout.machine.parameters import Array

__all__ = ["ACTS", "Act", "Variant", "variants"]

Read = Callable[[str], Array]


@dataclass(frozen=True)
class Variant:
    """One way in which a cause can be there: ``label`` in words, ``index`` of a stage (-1: every one) or
    ``sign`` of an error; ``stages`` that it touches."""

    label: str = ""
    index: int = 0
    sign: float = 1.0
    stages: tuple[int, ...] = ()


@dataclass(frozen=True)
class Act:
    """A cause's act: how many severities it draws, what it does, and in which variants it comes."""

    severities: int
    move: Callable[[Read, Variant, list[Array]], dict[str, Array]]
    variants: Callable[[Unit], tuple[Variant, ...]]


def between(low: float, high: float, u: Array) -> Array:
    """Go from low to high as u goes from 0 to 1."""
    return low + (high - low) * u


_ONE = (Variant(),)
_SIGNS = (Variant("reads high", sign=1.0), Variant("reads low", sign=-1.0))
_K = 5.0 / 9.0  # kelvin in a Fahrenheit degree of difference; the ranges are stated in those


def _once(unit: Unit) -> tuple[Variant, ...]:
    return _ONE


def _signs(unit: Unit) -> tuple[Variant, ...]:
    return _SIGNS


def _setpoint_ways(unit: Unit) -> tuple[Variant, ...]:
    return (Variant("set too high", sign=1.0), Variant("set too low", sign=-1.0))


def _one_stage(unit: Unit, i: int) -> Variant:
    return Variant(f"stage {unit.cooling.stages[i].id}", index=i, stages=(i,))


def _each_stage(unit: Unit) -> tuple[Variant, ...]:
    return tuple(_one_stage(unit, i) for i in range(len(unit.cooling.stages)))


def _each_or_every_stage(unit: Unit) -> tuple[Variant, ...]:
    every = Variant("every stage", index=-1, stages=tuple(range(len(unit.cooling.stages))))
    return (*_each_stage(unit), every) if len(unit.cooling.stages) > 1 else (every,)


def _all_stages(unit: Unit) -> tuple[Variant, ...]:
    return (Variant(stages=tuple(range(len(unit.cooling.stages)))),)


def _modulating_stage(unit: Unit) -> tuple[Variant, ...]:
    return tuple(_one_stage(unit, i) for i, stage in enumerate(unit.cooling.stages) if stage.modulating)


def _swap_ways(unit: Unit) -> tuple[Variant, ...]:
    return (Variant("always", sign=1.0), Variant("while the space is satisfied", sign=-1.0))


def _phases(unit: Unit) -> tuple[Variant, ...]:
    # the same fault: its readings are taken all over the swing, or by chance or patience at one point of it
    return (Variant(sign=1.0), Variant(sign=-1.0))


def _scaled(field: str, low: float, high: float) -> Act:
    """An act that multiplies one field by a number between low and high."""
    return Act(1, lambda read, variant, u: {field: read(field) * between(low, high, u[0])}, _once)


def _placed(field: str, low: float, high: float) -> Act:
    """An act that puts one field to a number between low and high."""
    return Act(1, lambda read, variant, u: {field: between(low, high, u[0])}, _once)


def _switched(field: str) -> Act:
    """An act without severity that switches one field to 1."""
    return Act(0, lambda read, variant, u: {field: np.ones(1)}, _once)


def _signed(field: str, low: float, high: float, ways: Callable[[Unit], tuple[Variant, ...]]) -> Act:
    """An act that adds an error of either sign to one field."""
    return Act(
        1, lambda read, variant, u: {field: read(field) + variant.sign * between(low, high, u[0])}, ways
    )


def _compressor_out(read: Read, variant: Variant, u: list[Array]) -> dict[str, Array]:
    i = variant.index
    return {f"stage_capacity.{i}": np.zeros(1), f"stage_load.{i}": np.zeros(1)}


def _charge_low(read: Read, variant: Variant, u: list[Array]) -> dict[str, Array]:
    # three things move together with the charge that is missing; each keeps some play of its own
    moved: dict[str, Array] = {}
    for i in variant.stages:
        moved[f"stage_capacity.{i}"] = read(f"stage_capacity.{i}") * between(0.50, 0.80, u[0])
        moved[f"superheat_add.{i}"] = read(f"superheat_add.{i}") + between(10 * _K, 30 * _K, u[1])
        moved[f"stage_load.{i}"] = read(f"stage_load.{i}") * between(0.75, 0.92, u[2])
    return moved


def _condenser_dirty(read: Read, variant: Variant, u: list[Array]) -> dict[str, Array]:
    # the capacity goes by a field of the condenser, not of the stages: their load stays what it was, so
    # that the rise is the whole rise
    moved = {"condenser_capacity_ratio": read("condenser_capacity_ratio") * between(0.78, 0.92, u[1])}
    for i in variant.stages:
        moved[f"condensing_add.{i}"] = read(f"condensing_add.{i}") + between(15 * _K, 30 * _K, u[0])
        moved[f"stage_load.{i}"] = read(f"stage_load.{i}") * between(1.08, 1.25, u[2])
    return moved


def _coil_dirty(read: Read, variant: Variant, u: list[Array]) -> dict[str, Array]:
    return {
        "coil_dirt_ratio": read("coil_dirt_ratio") * between(0.45, 0.75, u[0]),
        "dirt_flow_ratio": read("dirt_flow_ratio") * between(0.85, 0.95, u[1]),
    }


def _dew_source(read: Read, variant: Variant, u: list[Array]) -> dict[str, Array]:
    return {"dew_from_outdoor": np.full(1, 1.0 if variant.sign > 0 else -1.0)}


def _hunting(read: Read, variant: Variant, u: list[Array]) -> dict[str, Array]:
    return {"hunting": np.ones(1), "read_across_swing": np.full(1, 1.0 if variant.sign > 0 else 0.0)}


ACTS: dict[str, Act] = {
    "filter-loaded": _scaled("filter_flow_ratio", 0.55, 0.85),
    "fan-slow": _scaled("fan_speed_ratio", 0.50, 0.85),
    "fan-fast": _scaled("fan_speed_ratio", 1.15, 1.40),
    "outdoor-damper-open": _scaled("damper_ratio", 2.0, 4.0),
    "compressor-out": Act(0, _compressor_out, _each_stage),
    "compressor-unloaded": Act(
        1, lambda read, variant, u: {"unloaded_at": between(0.10, 0.30, u[0])}, _modulating_stage
    ),
    "charge-low": Act(3, _charge_low, _each_or_every_stage),
    "condenser-dirty": Act(3, _condenser_dirty, _all_stages),
    "coil-dirty": Act(2, _coil_dirty, _once),
    "chilled-water-warm": _signed("chilled_warm", 4 * _K, 10 * _K, _once),
    "chilled-valve-stuck": _placed("chilled_stuck", 0.10, 0.50),
    "signal-reversed": _switched("signal_reversed"),
    "signal-span-wrong": _switched("span_wrong"),
    "valve-stuck": _placed("stuck_at", 0.0, 1.0),
    "actuator-loose": _placed("loose_at", 0.0, 1.0),
    "valve-leaks": _placed("valve_leak", 0.12, 0.35),
    "output-in-hand": _switched("in_hand"),
    "coil-leg-restricted": _scaled("coil_leg_flow_ratio", 0.08, 0.40),
    "strainer-plugged": _scaled("strainer_flow_ratio", 0.25, 0.60),
    "bypass-shut": _placed("bypass_flow_share", 0.03, 0.10),
    "bypass-open": _scaled("coil_share", 0.30, 0.60),
    "pump-weak": _scaled("pump_head_ratio", 0.25, 0.55),
    "pump-off": Act(0, lambda read, variant, u: {"pump_head_ratio": np.zeros(1)}, _once),
    "source-starved": _scaled("gas_share", 0.10, 0.45),
    "reclaim-not-diverting": _scaled("diverted_share", 0.03, 0.12),
    "upstream-takes-heat": _placed("upstream_share", 0.60, 0.90),
    "exchanger-fouled": _scaled("fouling_ratio", 0.25, 0.55),
    "boiler-low": _signed("boiler_shift", -25 * _K, -50 * _K, _once),
    "dew-sensor-high": _signed("dew_error", 3 * _K, 8 * _K, _once),
    "dew-sensor-low": _signed("dew_error", -3 * _K, -8 * _K, _once),
    "dew-source-swapped": Act(0, _dew_source, _swap_ways),
    "space-sensor-off": _signed("space_t_error", 3 * _K, 6 * _K, _signs),
    "supply-sensor-off": _signed("supply_t_error", 4 * _K, 10 * _K, _signs),
    "locked-out": _switched("locked_out"),
    "setpoint-wrong": _signed("setpoint_shift", 4 * _K, 10 * _K, _setpoint_ways),
    "control-hunting": Act(0, _hunting, _phases),
    "doors-open": _scaled("doors_ratio", 2.5, 6.0),
    "moisture-added": _scaled("moisture_added_ratio", 2.0, 4.0),
    "beyond-design": Act(0, lambda read, variant, u: {}, _once),
}
"""Every cause of the catalogue, by id."""


def variants(cause: str, unit: Unit) -> tuple[Variant, ...]:
    """Give the ways in which a cause can be there on this unit.

    Parameters
    ----------
    cause : str
        Id of the catalogue.
    unit : Unit

    Returns
    -------
    tuple of Variant
    """
    return ACTS[cause].variants(unit)
