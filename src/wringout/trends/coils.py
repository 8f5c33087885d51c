"""Coils against their commands: heat that does not come, heat and cold that come uncommanded, and the two
fighting.

The air says what a coil does, whatever the valve is told. With the air before the coils logged (mixed, or
between the coils) the rise over them is read at each settled command; without it only what no healthy unit
could show counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from wringout.documents.unit import Unit
from wringout.quantity import Dimension
from wringout.trends.finding import Finding, Show, measured, when
from wringout.trends.signals import Mask, days_of, regular_pieces, settled, spans_of
from wringout.trends.states import cooling_level, cooling_on, dehumidifier, fan_on
from wringout.trends.table import HOUR, Array, Span, TrendTable

__all__ = ["CoilAgainstCommand", "Fighting", "coil_findings", "fighting_findings"]

SETTLE = 900.0  # [s] after a change of command before the air counts
LEAST = 1200.0  # [s] of settled running in a day
SHUT, FULL = 0.02, 0.95
FAN_RISE = 1.2  # K, where no document says otherwise: 0.5 to 2 is common
MARGIN = 2.2  # K beyond the fan's heat and two ordinary sensors' errors
LEAST_HEAT = 1.5  # K that a full reheat coil gives at the very least
LEAST_COLD = 2.0  # K that full cooling takes from warm air at the very least
WARM_ENOUGH = 15.0  # degC before the coil: colder air has nothing to give


@dataclass(frozen=True, kw_only=True)
class CoilAgainstCommand(Finding):
    """A coil that does something else than it is told."""

    kind: ClassVar[str] = "coil_against_command"
    title: ClassVar[str] = "Command and air disagree"

    what: str  # heat_missing, heat_uncommanded, cold_missing, cold_uncommanded
    command: float = measured(Dimension.FRACTION)
    rise: float = measured(Dimension.TEMPERATURE_DIFFERENCE)
    expected: float = measured(Dimension.TEMPERATURE_DIFFERENCE)
    hours: float = measured(Dimension.TIME)
    fights: bool = False

    def heading(self) -> str:
        if self.fights:
            return "The coils fight each other"
        return {
            "heat_missing": "Reheat adds nothing",
            "heat_uncommanded": "Heat that nobody calls for",
            "cold_missing": "Cooling takes nothing",
            "cold_uncommanded": "Cooling that nobody calls for",
        }[self.what]

    def says(self, show: Show) -> str:
        rise = show(abs(self.rise), Dimension.TEMPERATURE_DIFFERENCE)
        against = _AGAINST[self.points[1]]
        read = "air behind the cooling coil" if len(self.points) > 2 else "supply air"
        way = "warmer" if self.rise >= 0.0 else "colder"
        state = {
            "heat_missing": f"At {show(self.command, Dimension.FRACTION)} reheat",
            "heat_uncommanded": "With reheat commanded shut",
            "cold_missing": "With cooling called in full",
            "cold_uncommanded": "With cooling not called",
        }[self.what]
        if self.fights:
            state = {
                "cold_uncommanded": "While heating is called in full and cooling is not",
                "heat_uncommanded": "While cooling is called in full and heating is not",
            }.get(self.what, state)
        total = show(self.hours, Dimension.TIME)
        return (
            f"{state}, the {read} is {rise} {way} than {against}, over {total} of settled running: "
            f"{when(self.spans)}."
        )

    def means(self) -> str:
        return {
            "heat_missing": "No heat arrives in the reheat coil: no flow, no hot medium, or a valve "
            "that does not open. "
            "Feel both pipes of the coil (hot: gloves), then follow the heat back to its source.",
            "heat_uncommanded": "The reheat coil gets heat that nobody calls for: a valve that leaks, "
            "is stuck, is held by "
            "hand, or acts the wrong way round.",
            "cold_missing": "The cooling coil takes nothing: no chilled water or compressor, or a "
            "valve that stays shut.",
            "cold_uncommanded": "The cooling coil goes on cooling: a valve that is stuck open or "
            "leaks, or a stage that is "
            "held on.",
        }[self.what] + (" The coils fight each other." if self.fights else "")


_AGAINST = {
    "mixed.t": "the mixed air before the coils",
    "coil_leaving.t": "the air between the coils",
    "shown.dew_point": "the dew point of the room, which is where a wet cooling coil leaves it",
    "outdoor.t": "the room and the outdoor air",
    "shown.space_t": "the room",
    "return.t": "the return air",
}


@dataclass(frozen=True, kw_only=True)
class Fighting(Finding):
    """Heating and cooling commanded against each other."""

    kind: ClassVar[str] = "fighting"
    title: ClassVar[str] = "Heating and cooling fight"

    hours: float = measured(Dimension.TIME)
    share: float = measured(Dimension.FRACTION)
    heating: float = measured(Dimension.FRACTION)

    def says(self, show: Show) -> str:
        state = (
            "while the unit is not dehumidifying"
            if "shown.dehumidifying" in self.points
            else "at the same time"
        )
        return (
            f"Heating ({show(self.heating, Dimension.FRACTION)} on average) and cooling are commanded "
            f"{state}, for "
            f"{show(self.hours, Dimension.TIME)}: {when(self.spans)}."
        )

    def means(self) -> str:
        return (
            "Heat is paid for twice. Look at set points that overlap, and at the sequence that should keep "
            "them apart."
        )


def coil_findings(table: TrendTable, unit: Unit | None = None) -> list[CoilAgainstCommand]:
    """What the coils do against their commands."""
    supply = table.first_of("shown.supply_t", "supply.t")
    if supply is None or "shown.reheat_command" not in table:
        return []
    fan_rise = unit.air.supply_fan.heat_rise if unit is not None else FAN_RISE
    gathered: dict[tuple[str, bool, str], list[tuple[Span, float, float, float]]] = {}
    for piece in regular_pieces(table):
        if piece.step > 900.0:
            continue
        before = piece.first_of("coil_leaving.t", "mixed.t")
        days, running = days_of(piece), fan_on(piece)
        for state, mask in _states(piece).items():
            still = settled(mask & running, max(int(SETTLE / piece.step), 1))
            for day in days:
                chosen = np.flatnonzero(still[day]) + day.start
                if len(chosen) * piece.step < LEAST:
                    continue
                for hit in _judge(piece, supply, before, state, chosen, fan_rise):
                    what, against, fights, rise, expected = hit
                    span = Span(float(piece.time[chosen[0]]), float(piece.time[chosen[-1]]) + piece.step)
                    weight = float(len(chosen) * piece.step)
                    gathered.setdefault((what, fights, against), []).append((span, weight, rise, expected))
    return [_finding(key, hits) for key, hits in gathered.items()]


def _states(table: TrendTable) -> dict[str, Mask]:
    """Operating states in which a coil can be judged."""
    heat = table["shown.reheat_command"]
    cold = cooling_level(table)
    on = cooling_on(table)
    shut, full = heat <= SHUT, heat >= FULL
    if cold is None or on is None:
        return {"heat full": full, "heat shut": shut}
    # a chilled-water valve or a count of stages: in full means all that this trend ever called
    top = np.nanmax(cold) if np.isfinite(cold).any() else np.nan
    cold_full = cold >= (FULL if "cooling.command" in table else max(top, 1.0))
    off = ~on & np.isfinite(cold)
    return {
        "both shut": shut & off,
        "heat full, cold off": full & off,
        "heat full, cold on": full & on,
        "heat shut, cold full": shut & cold_full,
        "heat shut, cold on": shut & on & ~cold_full,
    }


Indices = NDArray[np.int64]
_Hit = tuple[str, str, bool, float, float]


def _judge(
    table: TrendTable, supply: str, before: str | None, state: str, chosen: Indices, fan_rise: float
) -> list[_Hit]:
    hits: list[_Hit] = []
    if "coil_leaving.t" in table and "mixed.t" in table:
        hits += _by_cold(table, state, chosen)
    if before is not None:
        ahead = table[before][chosen]
        rises = table[supply][chosen] - ahead
        if not np.isfinite(rises).any():
            return hits
        rise = float(np.nanmedian(rises))
        between = before == "coil_leaving.t"
        return hits + _by_rise(state, before, rise, fan_rise, float(np.nanmedian(ahead)), between)
    return _without_rise(table, supply, state, chosen, fan_rise)


def _by_cold(table: TrendTable, state: str, chosen: Indices) -> list[_Hit]:
    """Cooling read on both sides of its coil."""
    drops = table["coil_leaving.t"][chosen] - table["mixed.t"][chosen]
    if not np.isfinite(drops).any():
        return []
    drop, ahead = float(np.nanmedian(drops)), float(np.nanmedian(table["mixed.t"][chosen]))
    if state in {"both shut", "heat full, cold off"} and drop < -MARGIN - 1.5:
        return [("cold_uncommanded", "coil:mixed.t", state != "both shut", drop, 0.0)]
    if state == "heat shut, cold full" and drop > -LEAST_COLD and ahead > WARM_ENOUGH:
        return [("cold_missing", "coil:mixed.t", False, drop, -5.0)]
    return []


def _by_rise(state: str, before: str, rise: float, fan: float, ahead: float, between: bool) -> list[_Hit]:
    """With the air before the coil known. ``between``: it is the air between the coils, so cooling is not in
    it."""
    hits: list[_Hit] = []
    heat_shut = state in {"both shut", "heat shut", "heat shut, cold full", "heat shut, cold on"}
    if between:
        if heat_shut and rise > fan + MARGIN:
            hits.append(("heat_uncommanded", before, False, rise, fan))
        if state.startswith("heat full") and rise < fan + LEAST_HEAT:
            hits.append(("heat_missing", before, False, rise, fan + 5.0))
        return hits
    if heat_shut and rise > fan + MARGIN:
        fights = state == "heat shut, cold full"
        hits.append(("heat_uncommanded", before, fights, rise, fan))
    elif state == "heat shut, cold full" and rise > -LEAST_COLD + 0.4 * fan and ahead > WARM_ENOUGH:
        hits.append(("cold_missing", before, False, rise, -5.0))
    if state == "both shut" and rise < fan - MARGIN - 1.5:
        hits.append(("cold_uncommanded", before, False, rise, fan))
    if state == "heat full, cold off":
        if rise < -MARGIN:
            hits.append(("cold_uncommanded", before, True, rise, fan + 5.0))
        elif rise < fan + LEAST_HEAT:
            hits.append(("heat_missing", before, False, rise, fan + 5.0))
    return hits


def _without_rise(table: TrendTable, supply: str, state: str, chosen: Indices, fan: float) -> list[_Hit]:
    """Without the air before the coils: only what no healthy unit shows."""
    out = table[supply][chosen]
    hits: list[_Hit] = []
    room = _room(table)
    if state in {"heat full, cold on"} and "shown.dew_point" in table and room is not None:
        # a wet coil leaves the air near the dew point it came with; the shown one may itself be wrong, so it
        # is never taken to be nearer the room's temperature than a room at 70 % would have it
        wet = np.minimum(table["shown.dew_point"][chosen], room[chosen] - 6.0)
        rise = float(np.nanmedian(out - wet))
        if rise < fan + LEAST_HEAT:
            hits.append(("heat_missing", "shown.dew_point", False, rise, fan + 8.0))
    if state in {"heat shut, cold full", "heat shut, cold on"} and room is not None and "outdoor.t" in table:
        warmest = np.fmax(room[chosen], table["outdoor.t"][chosen])
        rise = float(np.nanmedian(out - warmest))
        if rise > fan + 0.5:
            hits.append(("heat_uncommanded", "outdoor.t", False, rise, -5.0))
    if state == "both shut" and room is not None and "outdoor.t" in table:
        warmest = np.fmax(room[chosen], table["outdoor.t"][chosen])
        coldest = np.fmin(room[chosen], table["outdoor.t"][chosen])
        over, under = float(np.nanmedian(out - warmest)), float(np.nanmedian(out - coldest))
        if over > fan + MARGIN:
            hits.append(("heat_uncommanded", "outdoor.t", False, over, fan))
        elif under < -MARGIN:
            hits.append(("cold_uncommanded", "outdoor.t", False, under, fan))
    return hits


def _room(table: TrendTable) -> Array | None:
    points = [p for p in ("shown.space_t", "return.t", "space.t") if p in table]
    if not points:
        return None
    room = table[points[0]]
    for point in points[1:]:
        room = np.fmax(room, table[point])
    return room


def _finding(key: tuple[str, bool, str], hits: list[tuple[Span, float, float, float]]) -> CoilAgainstCommand:
    what, fights, against = key
    total = sum(hit[1] for hit in hits)
    mean = sum(hit[1] * hit[2] for hit in hits) / total
    expected = sum(hit[1] * hit[3] for hit in hits) / total
    command = 1.0 if what == "heat_missing" else 0.0
    subject = "shown.reheat_command" if what.startswith("heat") else "cooling.command"
    return CoilAgainstCommand(
        points=(subject, *(("mixed.t", "coil_leaving.t") if against == "coil:mixed.t" else (against,))),
        spans=tuple(hit[0] for hit in hits),
        weight=min(0.9, 0.75 + 0.02 * total / HOUR),
        what=what,
        command=command,
        rise=mean,
        expected=expected,
        hours=total,
        fights=fights,
    )


def fighting_findings(table: TrendTable, unit: Unit | None = None) -> list[Fighting]:
    """Heating and cooling commanded together where drying is not what is wanted."""
    if "shown.reheat_command" not in table:
        return []
    drying = table.get("shown.dehumidifying")
    if drying is None and (unit is not None or dehumidifier(table)):
        return []  # cooling and reheating together is how it dries
    spans: list[Span] = []
    hours = 0.0
    heats: list[float] = []
    samples = 0
    for piece in regular_pieces(table):
        on = cooling_on(piece)
        if on is None:
            return []
        both = (piece["shown.reheat_command"] > 0.05) & on & fan_on(piece)
        if "cooling.command" in piece:
            both &= piece["cooling.command"] > 0.05
        if drying is not None:
            both &= piece["shown.dehumidifying"] < 0.5
        found = spans_of(both, piece.time, least=1800.0, join=300.0)
        spans += found
        samples += len(piece.time)
        for span in found:
            inside = (piece.time >= span.start) & (piece.time < span.end)
            heats.append(float(np.nanmean(piece["shown.reheat_command"][inside])))
            hours += span.hours
    if not spans or not np.isfinite(table.step):
        return []
    points = ("shown.reheat_command", "cooling.command") + (
        ("shown.dehumidifying",) if drying is not None else ()
    )
    return [
        Fighting(
            points=points,
            spans=tuple(spans),
            weight=0.6,
            hours=hours * HOUR,
            share=hours / max(table.hours, 1e-9),
            heating=float(np.mean(heats)),
        )
    ]
