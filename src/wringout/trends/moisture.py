"""Hours in which the room was over its dew-point set point, and whose matter they are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wringout.documents.unit import Unit
from wringout.quantity import Dimension
from wringout.trends.finding import Finding, Show, measured, when
from wringout.trends.moisture_balance import BLOCK, Blocks, Moisture, Verdict, blocks_of, judged
from wringout.trends.signals import Mask, regular_pieces, spans_of
from wringout.trends.table import HOUR, Array, Span, TrendTable

__all__ = ["TooWet", "too_wet_findings"]

LEAST_HOURS = 2.0


@dataclass(frozen=True, kw_only=True)
class TooWet(Finding):
    """Hours in which the room was over its dew-point set point by more than the control band."""

    kind: ClassVar[str] = "too_wet"
    title: ClassVar[str] = "The room was too wet"

    whose: str  # control, weather, unit, building, rather_building, unknown
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
    supply_off: float | None = measured(Dimension.TEMPERATURE_DIFFERENCE)  # against a healthy unit

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
                f" In those hours a healthy unit takes out {show(self.should_remove, flow)}, and weather, "
                f"people and wet work of the document bring in {show(self.comes_in, flow)}."
            )
        if self.removed is not None:
            text += f" It took out {show(self.removed, flow)}."
        if self.supply_off is not None and self.removed is None:
            apart = show(abs(self.supply_off), Dimension.TEMPERATURE_DIFFERENCE)
            side = "warmer" if self.supply_off > 0.0 else "colder"
            text += f" Supply air was {apart} {side} than a healthy unit's at the same calls."
        return text

    def means(self) -> str:
        return {
            "control": "Dehumidifying was not called for most of that time: set point, lock-out, calendar, "
            "or the dew-point sensor itself.",
            "weather": "The outdoor dew point was over the design day's: nothing need be broken.",
            "unit": "The unit does less than a healthy one would: look at cooling, airflow, the coil, and "
            "heat that nobody called for.",
            "building": "The unit takes out what it should, and more comes in than it was made for: doors, "
            "dampers, wet work, people. First read the room's dew point by hand: the display may be off.",
            "rather_building": "The supply air is as cold as it should be, so look first at what comes in "
            "(doors, dampers, wet work) and read the room's dew point by hand. It is a hint: reheat can hide "
            "a weak coil, and only the humidity of the supply air settles it.",
            "unknown": "Whether the unit takes out too little or the building brings too much, this trend "
            "cannot tell: it needs the humidity of the supply air beside its temperature.",
        }[self.whose]


def too_wet_findings(
    table: TrendTable,
    unit: Unit | None = None,
    dew_point_is_outdoor: bool = False,
    moisture: Moisture | None = None,
) -> list[TooWet]:
    """Hours over set point, and whose matter they are.

    Parameters
    ----------
    table : TrendTable
    unit : Unit, optional
        Without it only a logged set point counts, and nothing is said about whose matter it is.
    dew_point_is_outdoor : bool, optional
        That the shown dew point was found to be the outdoor one: then it says nothing about the room.
    moisture : Moisture, optional
        The flows of this trend; without them, nothing parts unit and building.

    Returns
    -------
    list of TooWet
    """
    if "shown.dew_point" not in table or dew_point_is_outdoor:
        return []
    set_point, band = _set_point(table, unit)
    if set_point is None:
        return []
    blocks = blocks_of(table)
    dew = blocks.get("shown.dew_point")
    over = dew > set_point + band
    there = np.isfinite(dew)
    hours = float(over.sum()) * BLOCK / HOUR
    if hours < LEAST_HOURS:
        return []
    called = _share(blocks.called, over)
    beyond = _beyond(blocks, over, unit) if unit is not None else None
    verdict = _verdict(moisture, set_point + band) if moisture is not None else None
    whose = _whose(called, beyond, verdict)
    measured_out = verdict.measured if verdict is not None else None
    off = verdict.supply_off if verdict is not None else None
    return [
        TooWet(
            points=("shown.dew_point",),
            spans=_spans(table, set_point + band),
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
            removed=measured_out.value if measured_out is not None else None,
            should_remove=verdict.healthy.value if verdict is not None else None,
            comes_in=verdict.weather.value + verdict.indoors.value if verdict is not None else None,
            supply_off=off.value if off is not None else None,
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


def _beyond(blocks: Blocks, over: Mask, unit: Unit) -> float | None:
    outdoor = blocks.get("shown.outdoor_dew_point")
    if not np.isfinite(outdoor).any():
        return None
    return _share((outdoor > unit.space.design_day.outdoor_dew_point + 0.5).astype(float), over)


def _verdict(m: Moisture, limit: float) -> Verdict | None:
    """Whose matter the wet hours are."""
    wet = m.dew_point > limit
    return judged(m, wet) if wet.any() else None


def _whose(called: float | None, beyond: float | None, verdict: Verdict | None) -> str:
    if called is not None and called < 0.5:
        return "control"
    if verdict is not None and verdict.whose == "unit":
        return "unit"
    if beyond is not None and beyond > 0.5:
        return "weather"
    if verdict is None:
        return "unknown"
    # called for, taken out as it should be, and still too wet: more comes in than the unit was made for
    told = {"building": "building", "balance": "building", "as_cold": "rather_building"}
    return told.get(verdict.whose, "unknown")
