"""When things changed, and which quantities changed together.

Daily ups and downs are no change: the level has to step within an hour or two, by much more than it usually
does in this trend, and to stay there round the clock, so that every hour of the day after differs from the
same hour of the day before. A trend of less than a day and a half cannot tell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wringout.catalogue.trend_points import measure_of
from wringout.quantity import Dimension
from wringout.trends.change_points import change_points, jump_statistic
from wringout.trends.clock import told_in_words
from wringout.trends.finding import Finding, Show
from wringout.trends.signals import block_means, filled, regular_pieces
from wringout.trends.states import fan_on
from wringout.trends.table import DAY, HOUR, Array, Span, TrendTable

__all__ = ["Changed", "Shift", "changed_findings"]

BLOCK = 900.0  # [s]
MOST = 1500  # blocks in one search; longer trends get longer blocks
AROUND = 2.0 * HOUR
STAYS = 6.0 * HOUR  # shortest level that is looked for
LEAST_PAIRS = 12.0 * HOUR  # hours of the day that must be seen both before and after
AGREE = 0.9  # share of them that must agree on the way
SETTING_STAYS = 20.0 * HOUR  # a set point that comes back sooner is on a calendar
UNUSUAL = 4.0  # jump over the usual jump of this signal (robust standard deviation)
TOGETHER = 1.5 * HOUR
# least shift that is worth telling: judgement
LEAST = {Dimension.TEMPERATURE: 1.5, Dimension.FRACTION: 0.12, Dimension.COUNT: 0.8, Dimension.YES_NO: 0.6}
WATCHED = (
    "shown.dew_point", "shown.space_t", "shown.supply_t", "supply.t", "shown.reheat_command",
    "cooling.command", "shown.stages_called", "shown.dehumidifying", "coil_leaving.t", "return.rh",
    "space.rh", "supply.rh", "supply.dew_point", "loop.flow", "reheat.water_in", "chilled.water_in",
    "supply.airflow", "fan.speed",
)  # fmt: skip
SET = (
    "shown.setpoint_dew_point",
    "shown.setpoint_space_t",
    "shown.setpoint_supply_t",
    "shown.reheat_in_hand",
)


@dataclass(frozen=True, slots=True)
class Shift:
    """One quantity's change of level, SI."""

    point: str
    before: float
    after: float
    at: float


@dataclass(frozen=True, kw_only=True)
class Changed(Finding):
    """A moment at which one or several levels changed for good."""

    kind: ClassVar[str] = "changed"
    title: ClassVar[str] = "Something changed"

    at: float
    shifts: tuple[Shift, ...]

    def says(self, show: Show) -> str:
        parts = []
        for shift in self.shifts:
            dimension = measure_of(shift.point).dimension
            parts.append(
                f"{shift.point} from {show(shift.before, dimension)} to {show(shift.after, dimension)}"
            )
        return f"At {told_in_words(self.at)} the level changed: {'; '.join(parts)}."

    def means(self) -> str:
        if all(shift.point in SET for shift in self.shifts):
            return "A setting was altered. Ask who did, and why."
        if len(self.shifts) > 1:
            return (
                "They changed together, so look for one reason: what was done, or what failed, at that time?"
            )
        return "What was done, or what failed, at that time?"

    def figures(self) -> dict[str, tuple[float, Dimension]]:
        out = {}
        for shift in self.shifts:
            dimension = measure_of(shift.point).dimension
            out[f"{shift.point} before"] = (shift.before, dimension)
            out[f"{shift.point} after"] = (shift.after, dimension)
        return out


def changed_findings(table: TrendTable) -> list[Changed]:
    """Moments at which levels changed, quantities that changed together in one finding."""
    shifts = [*_set_points(table)]
    for piece in regular_pieces(table):
        if piece.time[-1] - piece.time[0] < 2.0 * STAYS:
            continue
        running = fan_on(piece)
        if running.mean() < 0.98:
            continue  # a unit that stops at night steps every day
        for point in WATCHED:
            if point in piece:
                shifts += _shifts(piece, point)
    return _grouped(shifts, table)


def _shifts(piece: TrendTable, point: str) -> list[Shift]:
    values = piece[point]
    if np.isfinite(values).mean() < 0.7:
        return []
    length = piece.time[-1] - piece.time[0]
    block = max(BLOCK, np.ceil(length / MOST / BLOCK) * BLOCK, piece.step)
    width = max(round(block / piece.step), 1)
    means = filled(block_means(values, width))
    if len(means) < 16 or not np.isfinite(means).all():
        return []
    rest = means - _of_the_day(piece.time[0], means, block)
    around = max(round(AROUND / block), 2)
    jumps = jump_statistic(rest, around)
    usual = float(np.nanmedian(np.abs(jumps))) / 0.6745
    least = LEAST.get(measure_of(point).dimension, 0.15 * float(np.median(np.abs(means))) + 1e-12)
    if not np.nanmax(np.abs(jumps), initial=0.0) >= max(UNUSUAL * usual, least):
        return []
    spread = _spread(rest, around)
    # a level that steps by too little to be told of need not be looked for
    worth = np.abs(np.nan_to_num(jumps, nan=np.inf)) >= 0.5 * max(UNUSUAL * usual, least)
    near = np.convolve(worth, np.ones(2 * around + 1), "same") > 0.5
    penalty = 9.0 * spread * spread * np.log(len(rest))
    hits = change_points(rest, penalty, max(int(STAYS / block), 2), near)
    found = []
    for hit in hits:
        beside = slice(max(hit - around, 0), hit + around + 1)
        if not np.isfinite(jumps[beside]).any():
            continue
        k = beside.start + int(np.nanargmax(np.abs(jumps[beside])))
        pairs = _a_day_apart(means, k, int(DAY / block))
        if len(pairs) * block < LEAST_PAIRS:
            continue
        shift = float(np.median(pairs))
        if abs(jumps[k]) < max(UNUSUAL * usual, least) or abs(shift) < max(least, 0.6 * abs(jumps[k])):
            continue
        if np.sign(shift) != np.sign(jumps[k]) or np.mean(np.sign(pairs) == np.sign(shift)) < AGREE:
            continue
        day = int(DAY / block)
        before, after = means[max(k - day, 0) : k], means[k : k + day]
        at = float(piece.time[0] + k * block)
        found.append(Shift(point, float(np.median(before)), float(np.median(after)), at))
    return found


def _a_day_apart(means: Array, k: int, day: int) -> Array:
    """Differences between times after the change and the same time a day before, all of them across the
    change."""
    first = np.arange(max(k - day, 0), min(k, len(means) - day))
    return np.asarray(means[first + day] - means[first], dtype=float) if len(first) else np.zeros(0)


def _of_the_day(start: float, means: Array, block: float) -> Array:
    """The usual course of a day, where there are enough days to know it."""
    per_day = int(DAY / block)
    if per_day < 4 or len(means) < 10 * per_day:
        return np.zeros_like(means)
    slot = (((start % DAY) / block + np.arange(len(means))).astype(int)) % per_day
    profile = np.array([np.median(means[slot == k]) for k in range(per_day)])
    return np.asarray((profile - profile.mean())[slot], dtype=float)


def _spread(values: Array, width: int) -> float:
    """How far the level wanders by itself: robust spread of differences over `width` blocks."""
    if len(values) <= width:
        return float(values.std()) + 1e-9
    moved = float(np.median(np.abs(values[width:] - values[:-width])))
    return moved / 0.6745 / math.sqrt(2.0) + 1e-9


def _set_points(table: TrendTable) -> list[Shift]:
    found = []
    for point in SET:
        if point not in table:
            continue
        values = table[point]
        index = np.flatnonzero(np.isfinite(values))
        if len(index) < 3:
            continue
        steps = np.flatnonzero(np.abs(np.diff(values[index])) > 0.05)
        if len(steps) > 4:
            continue  # a set point that is reset by program
        for k in steps:
            at = float(table.time[index[k + 1]])
            others = [float(table.time[index[j + 1]]) for j in steps if j != k]
            edges = [float(table.time[0]), float(table.time[-1]), *others]
            if min(abs(at - edge) for edge in edges) < SETTING_STAYS:
                continue
            found.append(Shift(point, float(values[index[k]]), float(values[index[k + 1]]), at))
    return found


def _grouped(shifts: list[Shift], table: TrendTable) -> list[Changed]:
    groups: list[list[Shift]] = []
    for shift in sorted(shifts, key=lambda s: s.at):
        if groups and shift.at - groups[-1][0].at <= TOGETHER:
            groups[-1].append(shift)
        else:
            groups.append([shift])
    found = []
    for group in groups:
        settings = [s for s in group if s.point in SET]
        at = settings[0].at if settings else float(np.median([s.at for s in group]))
        found.append(
            Changed(
                points=tuple(s.point for s in group),
                spans=(Span(at, min(at + STAYS, float(table.time[-1]))),),
                weight=min(0.65, 0.4 + 0.08 * len(group)),
                wrong=False,
                at=at,
                shifts=tuple(group),
            )
        )
    return found
