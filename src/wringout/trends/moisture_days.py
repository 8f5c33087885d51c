"""Moisture taken out a day against what weather, people and wet work brought in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from wringout.quantity import Dimension, UnitSystem
from wringout.trends.finding import Finding, Show, iso, measured
from wringout.trends.moisture_balance import BLOCK, Estimate, Moisture, judged
from wringout.trends.table import DAY, HOUR, Array, Span

__all__ = ["DayOfMoisture", "MoistureDays", "moisture_days_findings"]

LEAST_HOURS_A_DAY = 12.0
ROUTES = {
    "condensate": "by the condensate that was logged",
    "supply humidity": "by the humidity of the supply air",
    "coil": "by the air that left the coil, taken as nearly saturated",
}


@dataclass(frozen=True)
class DayOfMoisture:
    """Mean flows of one day [kg/s]; ``start`` [s since 1970]; ``taken`` NaN where nothing measures it."""

    start: float
    hours: float
    weather: float
    indoors: float
    healthy: float
    taken: float


@dataclass(frozen=True, kw_only=True)
class MoistureDays(Finding):
    """What came in and what was taken out, as means over all hours that the trend can tell of."""

    kind: ClassVar[str] = "moisture_days"
    title: ClassVar[str] = "Moisture in and out"

    whose: str  # unit, building, balance, as_cold, unknown
    route: str
    days: tuple[DayOfMoisture, ...]
    time: Array
    flows: dict[str, Array]
    weather: float = measured(Dimension.MASS_FLOW)
    weather_sigma: float = measured(Dimension.MASS_FLOW)
    indoors: float = measured(Dimension.MASS_FLOW)
    indoors_sigma: float = measured(Dimension.MASS_FLOW)
    healthy: float = measured(Dimension.MASS_FLOW)
    healthy_sigma: float = measured(Dimension.MASS_FLOW)
    taken_out: float | None = measured(Dimension.MASS_FLOW)
    taken_out_sigma: float | None = measured(Dimension.MASS_FLOW)
    supply_off: float | None = measured(Dimension.TEMPERATURE_DIFFERENCE)
    supply_off_sigma: float | None = measured(Dimension.TEMPERATURE_DIFFERENCE)

    def heading(self) -> str:
        """The finding in a few words."""
        return {
            "unit": "The unit takes out less than it should",
            "building": "More moisture comes in than the unit's document says",
        }.get(self.whose, self.title)

    def says(self, show: Show) -> str:
        text = (
            f"By the unit's document, weather brings in {_a_day(show, self.weather, self.weather_sigma)} and "
            f"people and wet work {_a_day(show, self.indoors, self.indoors_sigma)}. "
        )
        if self.taken_out is not None and self.taken_out_sigma is not None:
            text += (
                f"Taken out were {_a_day(show, self.taken_out, self.taken_out_sigma)} "
                f"{ROUTES[self.route]}; a healthy unit takes out "
                f"{_a_day(show, self.healthy, self.healthy_sigma)} at the same calls."
            )
        else:
            text += (
                f"A healthy unit takes out {_a_day(show, self.healthy, self.healthy_sigma)} at the same "
                "calls; what this one took out, nothing in the trend measures."
            )
            if self.supply_off is not None and self.supply_off_sigma is not None:
                d = Dimension.TEMPERATURE_DIFFERENCE
                side = "warmer" if self.supply_off > 0.0 else "colder"
                off, sigma = show(abs(self.supply_off), d), show(self.supply_off_sigma, d)
                text += f" Its supply air was {off} +/- {sigma} {side} than a healthy unit's."
        return text

    def each_day(self, show: Show) -> tuple[str, ...]:
        """A line for each day: what came in, what a healthy unit takes out, what was taken out."""
        lines = []
        for day in self.days:
            taken = f", taken out {_mass(show, day.taken)}" if np.isfinite(day.taken) else ""
            brought = _mass(show, day.weather + day.indoors)
            lines.append(
                f"{iso(day.start)[:10]}, {day.hours:.0f} h: by the document {brought} a day brought in, a "
                f"healthy unit takes out {_mass(show, day.healthy)}{taken}"
            )
        return tuple(lines)

    def means(self) -> str:
        return {
            "unit": "The unit is at fault: cooling, airflow, the coil, or heat that nobody called for.",
            "building": "The unit does its part; the building brings in more than it was sized for: doors, "
            "dampers, wet work, people.",
            "balance": "Within their spreads, the unit takes out what a healthy one would, and what comes in "
            "is what the document says.",
            "as_cold": "Supply air as cold as it should be: nothing points at the unit. The humidity of the "
            "supply air would measure it.",
            "unknown": "Unit and building cannot be told apart: log the humidity of the supply air beside "
            "its temperature.",
        }[self.whose]

    def as_document(self, system: UnitSystem) -> dict[str, Any]:
        """The finding as it goes into JSON, its days included."""
        document = super().as_document(system)
        document["whose"] = self.whose
        document["route"] = self.route or None
        document["days"] = [
            {
                "day": iso(day.start)[:10],
                "hours": round(day.hours, 1),
                **{
                    name: None if not np.isfinite(value) else {"value": round(value * DAY, 2), "unit": "kg"}
                    for name, value in (
                        ("weather", day.weather),
                        ("indoors", day.indoors),
                        ("healthy", day.healthy),
                        ("taken_out", day.taken),
                    )
                },
            }
            for day in self.days
        ]
        return document


def _a_day(show: Show, flow: float, sigma: float) -> str:
    """A mean flow as a mass a day."""
    return f"{_mass(show, flow).partition(' ')[0]} +/- {_mass(show, sigma)} a day"


def _mass(show: Show, flow: float) -> str:
    """What a flow makes in a day: as many lb/h as a day has hours are lb a day."""
    number, _, unit = show(flow * DAY / HOUR, Dimension.MASS_FLOW).partition(" ")
    whole = float(number.replace(",", ""))
    return f"{f'{whole:,.0f}' if abs(whole) >= 10.0 else f'{whole:.1f}'} {unit.removesuffix('/h')}"


def moisture_days_findings(moisture: Moisture | None) -> list[MoistureDays]:
    """Set what was taken out against what came in.

    Parameters
    ----------
    moisture : Moisture or None
        Flows of the trend; None where it cannot tell.

    Returns
    -------
    list of MoistureDays
        One, or none for less than half a day that the trend can tell of.
    """
    if moisture is None:
        return []
    days = _days(moisture)
    if not days:
        return []
    everywhere = np.ones(len(moisture.time), dtype=bool)
    if moisture.measured is not None:
        everywhere = np.isfinite(moisture.measured[0])
    verdict = judged(moisture, everywhere)
    if not np.isfinite(verdict.weather.value):
        return []
    taken, off = verdict.measured, verdict.supply_off
    wrong = moisture.measured is not None and verdict.whose in {"unit", "building"}
    flows = {
        "brought in": (moisture.weather + moisture.indoors)[0],
        "healthy unit": moisture.healthy[0],
    }
    if moisture.measured is not None:
        flows["taken out"] = moisture.measured[0]
    return [
        MoistureDays(
            points=("shown.dew_point", "shown.outdoor_dew_point"),
            spans=(Span(float(moisture.time[0]) - 0.5 * BLOCK, float(moisture.time[-1]) + 0.5 * BLOCK),),
            weight=0.65 if wrong else 0.4,
            wrong=wrong,
            whose=verdict.whose,
            route=moisture.route,
            days=tuple(days),
            time=moisture.time,
            flows=flows,
            weather=verdict.weather.value,
            weather_sigma=verdict.weather.sigma,
            indoors=verdict.indoors.value,
            indoors_sigma=verdict.indoors.sigma,
            healthy=verdict.healthy.value,
            healthy_sigma=verdict.healthy.sigma,
            taken_out=taken.value if taken is not None else None,
            taken_out_sigma=taken.sigma if taken is not None else None,
            supply_off=_value(off),
            supply_off_sigma=off.sigma if off is not None else None,
        )
    ]


def _value(estimate: Estimate | None) -> float | None:
    return estimate.value if estimate is not None else None


def _days(m: Moisture) -> list[DayOfMoisture]:
    number = np.floor(m.time / DAY).astype(np.int64)
    # thinned blocks stand for those between them
    width = float(np.median(np.diff(m.time))) if len(m.time) > 1 else BLOCK
    days = []
    for day in np.unique(number).tolist():
        rows = number == day
        hours = float(rows.sum()) * width / HOUR
        if hours < LEAST_HOURS_A_DAY:
            continue
        taken = m.measured[0, rows] if m.measured is not None else np.full(int(rows.sum()), np.nan)
        days.append(
            DayOfMoisture(
                start=day * DAY,
                hours=min(hours, 24.0),
                weather=float(m.weather[0, rows].mean()),
                indoors=float(m.indoors[0, rows].mean()),
                healthy=float(m.healthy[0, rows].mean()),
                taken=float(np.nanmean(taken)) if np.isfinite(taken).any() else np.nan,
            )
        )
    return days
