"""Sensors that stand still, drift, speak in coarse steps, or say what cannot be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wringout.catalogue.trend_points import measure_of, what_of
from wringout.quantity import Dimension
from wringout.trends.finding import Finding, Show, measured, when
from wringout.trends.signals import Mask, days_of, moving_mean, regular_pieces, runs, settled, spans_of
from wringout.trends.states import cooling_on, fan_on
from wringout.trends.table import DAY, HOUR, Array, Span, TrendTable

__all__ = [
    "AgainstPhysics",
    "Coarse",
    "Drifting",
    "Stuck",
    "against_physics_findings",
    "coarse_findings",
    "drifting_findings",
    "stuck_findings",
]

SENSED = (
    "shown.space_t", "shown.dew_point", "shown.outdoor_dew_point", "shown.supply_t", "supply.t",
    "outdoor.t", "return.t", "mixed.t", "coil_leaving.t", "outdoor.rh", "space.rh", "return.rh",
    "supply.rh", "mixed.rh", "supply.dew_point", "return.dew_point", "space.t",
)  # fmt: skip
KEPT = (
    "shown.space_t",
    "shown.dew_point",
    "return.t",
    "space.rh",
    "return.rh",
    "return.dew_point",
    "space.t",
)
STUCK_HOURS = 6.0
UNLIKELY = 25.0  # changes that should have been seen in a flat stretch, going by the sensor's own pace
COARSE = {
    Dimension.TEMPERATURE: 0.45,
    Dimension.FRACTION: 0.045,
}  # K; share: steps that hide what control does
DRIFT_DAYS = 6.0
LEAST_DRIFT = {Dimension.TEMPERATURE: 1.0, Dimension.FRACTION: 0.05}
APART = 1.0  # K that two sensors and their rounding may be apart where physics sets an order: judgement
LEAST_AGAINST = 1.5 * HOUR


@dataclass(frozen=True, kw_only=True)
class Stuck(Finding):
    """A sensor that stands still while it should move."""

    kind: ClassVar[str] = "stuck"
    title: ClassVar[str] = "A sensor stands still"

    value: float = measured(Dimension.TEMPERATURE)
    hours: float = measured(Dimension.TIME)

    def says(self, show: Show) -> str:
        dimension = measure_of(self.points[0]).dimension
        length = show(self.hours, Dimension.TIME)
        return f"{self.points[0]} stands at {show(self.value, dimension)} for {length}: {when(self.spans)}."

    def means(self) -> str:
        return (
            "Sensor, wire or input has failed, or the controller holds the last value it had. Control acts "
            "on it blindly."
        )

    def figures(self) -> dict[str, tuple[float, Dimension]]:
        return {
            "value": (self.value, measure_of(self.points[0]).dimension),
            "hours": (self.hours, Dimension.TIME),
        }


@dataclass(frozen=True, kw_only=True)
class Coarse(Finding):
    """A sensor or display in coarse steps."""

    kind: ClassVar[str] = "coarse"
    title: ClassVar[str] = "Coarse steps"

    resolution: float = measured(Dimension.TEMPERATURE_DIFFERENCE)

    def says(self, show: Show) -> str:
        fraction = measure_of(self.points[0]).dimension is Dimension.FRACTION
        measures = Dimension.FRACTION if fraction else Dimension.TEMPERATURE_DIFFERENCE
        return f"{self.points[0]} moves in steps of {show(self.resolution, measures)}."

    def means(self) -> str:
        return (
            "What is smaller than a step cannot be seen in this trend, and control that acts on it moves "
            "in jerks."
        )


@dataclass(frozen=True, kw_only=True)
class Drifting(Finding):
    """A sensor that walks away from one that measures the same air."""

    kind: ClassVar[str] = "drifting"
    title: ClassVar[str] = "A sensor drifts"

    rate: float = measured(Dimension.TEMPERATURE_DIFFERENCE)
    total: float = measured(Dimension.TEMPERATURE_DIFFERENCE)
    days: float = 0.0

    def says(self, show: Show) -> str:
        fraction = measure_of(self.points[0]).dimension is Dimension.FRACTION
        measures = Dimension.FRACTION if fraction else Dimension.TEMPERATURE_DIFFERENCE
        way = "up" if self.total > 0.0 else "down"
        return (
            f"{self.points[0]} moves {way} against {self.points[1]} by {show(abs(self.total), measures)} in "
            f"{self.days:.0f} days, a little every day."
        )

    def means(self) -> str:
        return "One of the two drifts. Hold an instrument beside both; the one that control acts on first."


@dataclass(frozen=True, kw_only=True)
class AgainstPhysics(Finding):
    """Values that cannot both be right."""

    kind: ClassVar[str] = "against_physics"
    title: ClassVar[str] = "Values that cannot be"

    rule: str
    excess: float = measured(Dimension.TEMPERATURE_DIFFERENCE)
    hours: float = measured(Dimension.TIME)
    share: float = measured(Dimension.FRACTION)

    def says(self, show: Show) -> str:
        fraction = measure_of(self.points[0]).dimension is Dimension.FRACTION
        measures = Dimension.FRACTION if fraction else Dimension.TEMPERATURE_DIFFERENCE
        return (
            f"{self.rule}: {self.points[0]} against {' and '.join(self.points[1:]) or 'what can be'} by "
            f"{show(self.excess, measures)}, for {show(self.hours, Dimension.TIME)}: {when(self.spans)}."
        )

    def means(self) -> str:
        names = " or ".join(what_of(point) for point in self.points)
        return f"A sensor is wrong, in a wrong place, or wired to a wrong input ({names})."


def stuck_findings(table: TrendTable) -> list[Stuck]:
    """Sensors that stand still far longer than their own pace, and the movement of others, allow."""
    found = []
    pieces = [piece for piece in regular_pieces(table) if piece.step <= 1800.0]
    for point in SENSED:
        if point not in table:
            continue
        spans: list[Span] = []
        value = np.nan
        step = resolution_of(table[point])
        if point in KEPT and step is not None and step >= COARSE.get(measure_of(point).dimension, np.inf):
            continue  # a room that is kept steady may well stay within one coarse step
        pace = _pace([piece[point] for piece in pieces], pieces[0].step) if pieces else 0.0
        for piece in pieces:
            values = piece[point]
            there = np.isfinite(values)
            if there.sum() < 10:
                continue
            index = np.flatnonzero(there)
            same = np.concatenate([[False], np.diff(values[index]) == 0.0])
            for start, stop in runs(same, int(0.5 * STUCK_HOURS * HOUR / piece.step)):
                begin, end = index[start - 1], index[stop - 1]
                hours = (piece.time[end] - piece.time[begin]) / HOUR
                if (
                    hours < STUCK_HOURS
                    or pace * hours < UNLIKELY
                    or not _others_move(piece, point, begin, end)
                ):
                    continue
                spans.append(Span(float(piece.time[begin]), float(piece.time[end])))
                value = float(values[begin])
        if spans:
            hours = sum(span.hours for span in spans) * HOUR
            found.append(Stuck(points=(point,), spans=tuple(spans), weight=0.8, value=value, hours=hours))
    return found


def _pace(parts: list[Array], step: float) -> float:
    """Changes an hour while the sensor lives: flat stretches of two hours and more are left out. A sensor
    that never lives is taken to be one of ordinary resolution."""
    changes = hours = 0.0
    for values in parts:
        finite = values[np.isfinite(values)]
        if len(finite) < 3:
            continue
        same = np.concatenate([[False], np.diff(finite) == 0.0])
        dead = sum(b - a for a, b in runs(same, int(2.0 * HOUR / step)))
        changes += float(np.count_nonzero(~same)) - 1.0
        hours += (len(finite) - dead) * step / HOUR
    if hours < 0.02 * sum(len(p) for p in parts) * step / HOUR or changes <= 2.0:
        return 6.0
    return changes / max(hours, 1e-6)


def _others_move(table: TrendTable, point: str, begin: int, end: int) -> bool:
    """Whether other sensors of the same air stream move meanwhile; a building at rest proves nothing."""
    kin = [p for p in SENSED if p in table and p != point]
    moved = 0
    for other in kin:
        part = table[other][begin : end + 1]
        part = part[np.isfinite(part)]
        if len(part) and float(part.max() - part.min()) > (0.05 if other.endswith(".rh") else 0.8):
            moved += 1
    return moved >= min(2, len(kin)) and moved > 0


def coarse_findings(table: TrendTable) -> list[Coarse]:
    """Sensors and displays whose step is too coarse to see what control does."""
    found = []
    for point in SENSED:
        if point not in table:
            continue
        dimension = measure_of(point).dimension
        step = resolution_of(table[point])
        if step is not None and step >= COARSE.get(dimension, np.inf):
            found.append(Coarse(points=(point,), weight=0.2, wrong=False, resolution=step))
    return found


def resolution_of(values: Array) -> float | None:
    """The step in which values are written; None where they are too few or too fine to tell."""
    head = values[np.isfinite(values)][:20_000]
    levels = np.unique(np.round(head, 4))
    if len(levels) < 4 or len(levels) > 400:
        return None
    gaps = np.diff(levels)
    step = float(np.percentile(gaps, 10.0))
    if step <= 0.0:
        return None
    whole = np.abs(gaps / step - np.round(gaps / step)) < 0.08
    return step if whole.mean() > 0.9 else None


def drifting_findings(table: TrendTable) -> list[Drifting]:
    """Pairs of sensors in the same air whose difference grows day by day."""
    found = []
    for one, other in (
        ("shown.space_t", "return.t"),
        ("shown.supply_t", "supply.t"),
        ("shown.space_t", "space.t"),
        ("shown.dew_point", "return.dew_point"),
        ("space.rh", "return.rh"),
    ):
        if one not in table or other not in table:
            continue
        dimension = measure_of(one).dimension
        difference = np.where(fan_on(table), table[one] - table[other], np.nan)
        parts = days_of(table)
        days = np.array([table.time[part.start] // DAY for part in parts])
        medians = np.array([_median(difference[part]) for part in parts])
        there = np.isfinite(medians)
        if there.sum() < DRIFT_DAYS:
            continue
        x, y = days[there].astype(float), medians[there]
        slopes = (y[None, :] - y[:, None])[np.triu_indices(len(x), 1)] / (x[None, :] - x[:, None])[
            np.triu_indices(len(x), 1)
        ]
        rate = float(np.median(slopes))
        total = rate * (x[-1] - x[0])
        rest = y - np.median(y - rate * x) - rate * x
        steady = np.sign(slopes) == np.sign(rate)
        spread = float(np.median(np.abs(rest))) / 0.6745
        # a jump is no drift: most pairs of days must agree on the way, and the line must fit
        if abs(total) >= LEAST_DRIFT[dimension] and steady.mean() > 0.85 and spread < 0.15 * abs(total):
            spans = (Span(float(table.time[0]), float(table.time[-1])),)
            found.append(
                Drifting(
                    points=(one, other),
                    spans=spans,
                    weight=0.6,
                    rate=rate,
                    total=total,
                    days=float(x[-1] - x[0]),
                )
            )
    return found


def _median(values: Array) -> float:
    finite = values[np.isfinite(values)]
    return float(np.median(finite)) if len(finite) >= 20 else float("nan")


def against_physics_findings(table: TrendTable) -> list[AgainstPhysics]:
    """Values that stand in an order that air cannot have."""
    found: list[AgainstPhysics] = []
    for dew, bulb in (
        ("shown.dew_point", "shown.space_t"),
        ("shown.outdoor_dew_point", "outdoor.t"),
        ("supply.dew_point", "shown.supply_t"),
        ("return.dew_point", "return.t"),
    ):
        if dew in table and bulb in table:
            over = table[dew] - table[bulb]
            found += _against(
                table, over, np.ones(len(over), dtype=bool), (dew, bulb), "A dew point over its dry bulb"
            )
    on = fan_on(table)
    supply = table.first_of("shown.supply_t", "supply.t")
    if supply is not None and "coil_leaving.t" in table:
        under = table["coil_leaving.t"] - table[supply]
        found += _against(
            table, under, on, (supply, "coil_leaving.t"), "Supply air colder than the cooling coil leaves it"
        )
    inside = table.first_of("return.t", "shown.space_t")
    if {"mixed.t", "outdoor.t"} <= table.values.keys() and inside == "return.t":
        low = np.fmin(table["outdoor.t"], table["return.t"])
        high = np.fmax(table["outdoor.t"], table["return.t"])
        outside = np.fmax(table["mixed.t"] - high, low - table["mixed.t"])
        points = ("mixed.t", "return.t", "outdoor.t")
        found += _against(
            table, outside - 1.5, on, points, "Mixed air outside what return and outdoor air can give"
        )
    cooling = cooling_on(table)
    if {"coil_leaving.t", "mixed.t"} <= table.values.keys() and cooling is not None:
        over = table["coil_leaving.t"] - table["mixed.t"]
        found += _against(
            table, over, on & cooling, ("coil_leaving.t", "mixed.t"), "Air warmer behind the cooling coil"
        )
    return found


def _against(
    table: TrendTable, excess: Array, where: Mask, points: tuple[str, ...], rule: str
) -> list[AgainstPhysics]:
    """An order that does not hold for an hour and a half and more, by more than two sensors may be apart."""
    step = table.step
    if not np.isfinite(step) or step <= 0.0:
        return []
    with np.errstate(invalid="ignore"):
        if np.count_nonzero(excess > APART) * step < 0.5 * LEAST_AGAINST:
            return []  # by far the usual case, and cheap to see
    steady = settled(where, max(int(900.0 / step), 1))
    width = max(int(900.0 / step), 1)
    there = np.isfinite(excess)
    if not there.any():
        return []
    smooth = moving_mean(np.where(there, excess, 0.0), width) / np.maximum(
        moving_mean(there.astype(float), width), 1e-9
    )
    mask = (smooth > APART) & steady & there
    spans = spans_of(mask, table.time, least=1800.0, join=900.0)
    hours = (
        sum(min(span.hours, float(mask[_inside(table, span)].sum()) * step / HOUR) for span in spans) * HOUR
    )
    valid = float((steady & there).sum()) * step
    if hours < LEAST_AGAINST or hours < 0.05 * valid:
        return []
    return [
        AgainstPhysics(
            points=points,
            spans=spans,
            weight=0.75,
            rule=rule,
            excess=float(np.median(excess[mask])),
            hours=hours,
            share=hours / max(valid, 1.0),
        )
    ]


def _inside(table: TrendTable, span: Span) -> slice:
    low, high = np.searchsorted(table.time, [span.start, span.end])
    return slice(int(low), int(high))
