"""Moisture over days: how long the room was too wet, what was taken out and brought in, and whose matter that
is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wringout.documents.unit import Unit
from wringout.machine.conditions import Conditions
from wringout.machine.design import design
from wringout.machine.parameters import healthy_values, neutral, spreads
from wringout.machine.room_side import room_balance
from wringout.machine.steady import settle
from wringout.physics.moist_air import humidity_ratio, standard_pressure
from wringout.quantity import Dimension
from wringout.trends.finding import Finding, Show, measured, when
from wringout.trends.signals import Mask, block_means, regular_pieces, spans_of
from wringout.trends.states import cooling_on
from wringout.trends.table import HOUR, Array, Span, TrendTable

__all__ = ["TooWet", "too_wet_findings"]

BLOCK = 1800.0  # [s]
LEAST_HOURS = 2.0
MOST_STATES = 400  # half hours in which the machine is asked
FULL_CALL = 0.9
# ratio from which expected gain and removal count as different: their spreads are 15 % each at least
CLEAR = 1.25


@dataclass(frozen=True, kw_only=True)
class TooWet(Finding):
    """Hours in which the room was over its dew-point set point by more than the control band."""

    kind: ClassVar[str] = "too_wet"
    title: ClassVar[str] = "The room was too wet"

    whose: str  # control, weather, unit, building, unknown
    hours: float = measured(Dimension.TIME)
    share: float = measured(Dimension.FRACTION)
    set_point: float = measured(Dimension.TEMPERATURE)
    limit: float = measured(Dimension.TEMPERATURE)
    worst: float = measured(Dimension.TEMPERATURE)
    called: float | None = measured(Dimension.FRACTION)
    beyond_design: float | None = measured(Dimension.FRACTION)
    removed: float | None = measured(Dimension.MASS_FLOW)  # measured on the supply air
    should_remove: float | None = measured(Dimension.MASS_FLOW)  # a healthy unit, same conditions
    comes_in: float | None = measured(Dimension.MASS_FLOW)  # by the unit's document, same weather

    def says(self, show: Show) -> str:
        t, f, d = Dimension.TIME, Dimension.FRACTION, Dimension.TEMPERATURE
        text = (
            f"The room's dew point was over {show(self.limit, d)} for {show(self.hours, t)} "
            f"({show(self.share, f)} of the time), {show(self.worst, d)} at worst; the set point is "
            f"{show(self.set_point, d)}: {when(self.spans)}."
        )
        flow = Dimension.MASS_FLOW
        if self.called is not None:
            text += f" Cooling was called for {show(self.called, f)} of those hours."
        if self.should_remove is not None and self.comes_in is not None:
            text += (
                f" In those hours a healthy unit takes out {show(self.should_remove, flow)}, and "
                "weather, people and "
                f"wet work of the document bring in {show(self.comes_in, flow)}."
            )
        if self.removed is not None:
            text += f" It took out {show(self.removed, flow)}."
        return text

    def means(self) -> str:
        return {
            "control": "Dehumidifying was not called for most of that time: set point, lock-out, "
            "calendar, or the dew-point "
            "sensor itself.",
            "weather": "The outdoor dew point was over the design day's: nothing need be broken.",
            "unit": "The unit takes out less than a healthy one would: look at cooling, airflow and "
            "the coil first.",
            "building": "The unit takes out what it should, and more comes in than it was made for: "
            "doors, dampers, wet "
            "work, people.",
            "unknown": "Whether the unit takes out too little or the building brings too much, this "
            "trend cannot tell: it "
            "needs the humidity of the supply air beside its temperature.",
        }[self.whose]


def too_wet_findings(
    table: TrendTable, unit: Unit | None = None, dew_point_is_outdoor: bool = False
) -> list[TooWet]:
    """Hours over set point, and whose matter they are.

    Parameters
    ----------
    table : TrendTable
    unit : Unit, optional
        Without it only a logged set point counts, and nothing is said about whose matter it is.
    dew_point_is_outdoor : bool, optional
        That the shown dew point was found to be the outdoor one: then it says nothing about the room.

    Returns
    -------
    list of TooWet
    """
    if "shown.dew_point" not in table or dew_point_is_outdoor:
        return []
    set_point, band = _set_point(table, unit)
    if set_point is None:
        return []
    blocks = _blocks(table)
    if not blocks:
        return []
    dew = blocks["shown.dew_point"]
    over = dew > set_point + band
    there = np.isfinite(dew)
    hours = float(over.sum()) * BLOCK / HOUR
    if hours < LEAST_HOURS:
        return []
    spans = _spans(table, set_point + band)
    called = _share(blocks.get("called"), over)
    beyond = removed = should = gain = None
    if unit is not None:
        beyond = _beyond(blocks, over, unit)
        removed, should, gain = _balance(blocks, over, unit)
    whose = _whose(called, beyond, removed, should, gain)
    return [
        TooWet(
            points=("shown.dew_point",),
            spans=spans,
            weight=0.5 if whose == "weather" else 0.7,
            wrong=whose != "weather",
            whose=whose,
            hours=hours * HOUR,
            share=float(over.sum() / max(there.sum(), 1)),
            set_point=set_point,
            limit=set_point + band,
            worst=float(np.nanmax(dew)),
            called=called,
            beyond_design=beyond,
            removed=removed,
            should_remove=should,
            comes_in=gain,
        )
    ]


def _set_point(table: TrendTable, unit: Unit | None) -> tuple[float | None, float]:
    band = unit.control.dew_point_band if unit is not None else 1.7
    logged = table.get("shown.setpoint_dew_point")
    if unit is not None:  # what the room is meant to be, whatever the controller was told
        return unit.control.dew_point, band
    if logged is not None and np.isfinite(logged).any():
        return float(np.nanmedian(logged)), band
    return None, band


def _blocks(table: TrendTable) -> dict[str, Array]:
    """Half-hour means of what is needed, pieces one behind the other."""
    rows: dict[str, list[Array]] = {}
    points = (
        "shown.dew_point", "shown.outdoor_dew_point", "outdoor.t", "outdoor.rh", "shown.space_t",
        "shown.supply_t", "supply.rh", "supply.dew_point", "shown.reheat_command", "shown.stages_called",
        "cooling.command",
    )  # fmt: skip
    for piece in regular_pieces(table):
        width = max(round(BLOCK / piece.step), 1)
        for point in points:
            if point in piece:
                rows.setdefault(point, []).append(block_means(piece[point], width))
        on = cooling_on(piece)
        if on is not None:
            rows.setdefault("called", []).append(block_means(on.astype(float), width))
    out = {point: np.concatenate(parts) for point, parts in rows.items()}
    return out if "shown.dew_point" in out and len(out["shown.dew_point"]) else {}


def _spans(table: TrendTable, limit: float) -> tuple[Span, ...]:
    spans: list[Span] = []
    for piece in regular_pieces(table):
        spans += spans_of(piece["shown.dew_point"] > limit, piece.time, least=HOUR, join=HOUR)
    return tuple(spans)


def _share(values: Array | None, where: Mask) -> float | None:
    if values is None:
        return None
    chosen = values[where]
    chosen = chosen[np.isfinite(chosen)]
    return float(chosen.mean()) if len(chosen) else None


def _beyond(blocks: dict[str, Array], over: Mask, unit: Unit) -> float | None:
    outdoor = blocks.get("shown.outdoor_dew_point")
    if outdoor is None:
        return None
    return _share((outdoor > unit.space.design_day.outdoor_dew_point + 0.5).astype(float), over)


def _balance(
    blocks: dict[str, Array], over: Mask, unit: Unit
) -> tuple[float | None, float | None, float | None]:
    """Mean moisture flows [kg/s] in the wet hours: measured out, expected out of a healthy unit, expected
    in."""
    outdoor_dew = blocks.get("shown.outdoor_dew_point")
    outdoor_t, space_t = blocks.get("outdoor.t"), blocks.get("shown.space_t")
    stages = blocks.get("shown.stages_called")
    if outdoor_dew is None or outdoor_t is None or space_t is None:
        return None, None, None
    dew = blocks["shown.dew_point"]
    chosen = (
        over & np.isfinite(dew) & np.isfinite(outdoor_dew) & np.isfinite(outdoor_t) & np.isfinite(space_t)
    )
    index = np.flatnonzero(chosen)
    if not len(index):
        return None, None, None
    index = index[:: max(len(index) // MOST_STATES, 1)]
    machine = design(unit)
    rows = spreads(machine)
    values = {**neutral(machine), **healthy_values(rows, np.zeros((1, len(rows))))}
    most = float(len(unit.cooling.stages) or 1)
    called = np.minimum(stages[index], most) if stages is not None else np.full(len(index), most)
    command = blocks.get("shown.reheat_command")
    reheat = command[index] if command is not None else np.full(len(index), 0.5)
    ones = np.ones(len(index))
    conditions = Conditions(
        outdoor_t=outdoor_t[index],
        outdoor_dew_point=np.minimum(outdoor_dew[index], outdoor_t[index] - 0.05),
        space_t=space_t[index],
        space_dew_point=np.minimum(dew[index], space_t[index] - 0.05),
        command=np.where(np.isfinite(reheat), reheat, 0.5),
        stages=np.where(np.isfinite(called), called, most),
        modulation=ones,
        rewetting=0.0 * ones,
    )
    settled = settle(machine, values, conditions)
    balance = room_balance(settled)
    removed = None
    supply_t = blocks.get("shown.supply_t")
    if supply_t is not None and (supply_rh := blocks.get("supply.rh")) is not None:
        pressure = float(standard_pressure(unit.site.altitude))
        ready = np.isfinite(supply_t[index]) & np.isfinite(supply_rh[index])
        if ready.any():
            w_supply = humidity_ratio(
                supply_t[index][ready], np.minimum(supply_rh[index][ready], 1.0), pressure
            )
            flow = settled.flow.supply * ones
            removed = float(np.mean(flow[ready] * (settled.mixed.space_w[ready] - w_supply)))
    return removed, float(np.nanmean(balance.moisture_removed)), float(np.nanmean(balance.moisture_gain))


def _whose(
    called: float | None,
    beyond: float | None,
    removed: float | None,
    should: float | None,
    gain: float | None,
) -> str:
    if called is not None and called < 0.5:
        return "control"
    if removed is not None and should is not None and gain is not None:
        if removed < should / CLEAR:
            return "unit"
        return "weather" if beyond is not None and beyond > 0.5 else "building"
    if beyond is not None and beyond > 0.5:
        return "weather"
    return "unknown"
