"""Guess which column is which test point: names propose, units and ranges sort out, physics decides.

Every column gets the point that makes the whole table most likely: scores are natural logarithms of odds,
summed over columns (name, unit, range, behaviour) and over pairs of columns (what must lie below what, what
follows what). A guess carries its confidence and is only ever a proposal: the mapping file has the last word.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from wringout.quantity import Dimension, units_of
from wringout.trends.behaviour import Traits, pair_scores, traits_of
from wringout.trends.roles import PLACES, ROLES, Role, tags_of, unit_in_name
from wringout.trends.table import RawColumn, RawTable

__all__ = ["Guess", "guess_columns"]

LEAVE = 1.0  # what a column gains by being left out: a point must be better than this
SURE = 0.98
SHORT = 1.0  # h; a shorter log does not tell how often a value changes


@dataclass(frozen=True, slots=True)
class Guess:
    """A column's proposed point.

    ``unit`` is a unit of the point's dimension as a mapping file writes it; ``share`` says that the column
    counts shares of one where the unit says per cent. ``confidence`` [0..1]; ``because`` in a few words;
    ``rival`` the next best point, if any.
    """

    column: str
    point: str
    unit: str
    confidence: float
    because: str
    share: bool = False
    rival: str | None = None


@dataclass
class _Candidate:
    """A column with what is known about it, under one reading of its unit."""

    column: RawColumn
    traits: Traits
    tags: frozenset[str]
    unit: str | None
    unary: dict[str, float] = field(default_factory=dict)


def guess_columns(
    raw: RawTable, lacks: Sequence[str] = (), usual: Mapping[str, float] | None = None
) -> tuple[Guess, ...]:
    """Propose a test point for each column that seems to have one.

    Parameters
    ----------
    raw : RawTable
        As read.
    lacks : sequence of str, optional
        Points that the unit does not have.
    usual : mapping, optional
        Where the values of a point lie in this unit [SI], from its set points.

    Returns
    -------
    tuple of Guess
        In the order of the columns; columns for which no point is likely are left out.
    """
    known = usual or {}
    roles = [
        replace(role, mean=known[role.point], spread=min(role.spread, 3.0)) if role.point in known else role
        for role in ROLES.values()
        if role.point not in set(lacks)
    ]
    percent = _counts_per_cent(raw)
    best: tuple[float, list[_Candidate], dict[int, str], dict[tuple[int, int], float]] | None = None
    for fahrenheit in _temperature_readings(raw):
        candidates = [_candidate(raw, column, fahrenheit, percent) for column in raw.columns]
        for candidate in candidates:
            candidate.unary = {
                role.point: score for role in roles if (score := _unary(candidate, role)) > -8.0
            }
        matrix = pair_scores([c.traits for c in candidates])
        total, chosen = _assign(candidates, matrix)
        if best is None or total > best[0]:
            best = (total, candidates, chosen, {})
            kept = matrix
    if best is None:
        return ()
    _, candidates, chosen, _ = best
    return tuple(
        _guess(candidates, chosen, kept, index, percent)
        for index in sorted(chosen)
        if chosen[index] is not None
    )


def _counts_per_cent(raw: RawTable) -> bool:
    """Whether shares are counted in per cent: some output or humidity goes beyond one."""
    shares = {"output", "output?", "humidity", "heating", "cooling", "damper"}
    others = {"setpoint", "temperature", "temperature?", "dew_point", "flow", "pressure", "count", "state"}
    for column in raw.columns:
        tags = tags_of(column.name)
        told = (column.unit or unit_in_name(column.name)) == "%"
        if told or (shares & tags and not others & tags):
            high = float(np.nanmax(column.values))
            if 1.5 < high <= 130.0:
                return True
    return False


def _temperature_readings(raw: RawTable) -> tuple[bool, ...]:
    """Whether plain temperatures are degF, degC or to be tried as both."""
    told = {column.unit or unit_in_name(column.name) for column in raw.columns}
    if "degF" in told and "degC" not in told:
        return (True,)
    if "degC" in told and "degF" not in told:
        return (False,)
    return (True, False)


def _candidate(raw: RawTable, column: RawColumn, fahrenheit: bool, percent: bool) -> _Candidate:
    unit = column.unit or unit_in_name(column.name)
    traits = traits_of(raw.time, column.values, fahrenheit if unit is None else unit == "degF", percent)
    return _Candidate(column, traits, tags_of(column.name), unit)


def _unary(candidate: _Candidate, role: Role) -> float:
    """How well name, unit, range and behaviour of a column fit a point."""
    score = _name(candidate.tags, role) + _unit(candidate.unit, role) + _kind(candidate.traits, role)
    if score < -7.0:
        return score
    return score + _range(candidate.traits, role) + role.prior


def _name(tags: frozenset[str], role: Role) -> float:
    score = 0.0
    if "other" in tags or {"gas", "light", "power", "exhaust"} & tags:
        score -= 6.0
    places = tags & PLACES
    if role.place is not None:
        score += 3.0 if role.place in places else -4.0 if places else 0.0
    elif places - {"coil", "supply", "loop", "outdoor"}:
        score -= 1.5
    elif "outdoor" in places or "return" in places:
        score -= 3.0
    said = {tag for tag in tags if not tag.endswith("?")}
    hints = {tag[:-1] for tag in tags if tag.endswith("?")}
    quantities = said & _QUANTITIES
    if role.quantity in quantities:
        score += 3.0
    elif role.quantity in hints and not quantities:
        score += 1.5
    elif quantities and not (quantities == {"dew_point"} and role.quantity == "temperature"):
        score -= 4.0
    elif quantities == {"dew_point"}:
        score -= 5.0
    subjects = said & _SUBJECTS
    subject = role.subject
    if subject == "setpoint":
        score += 3.0 if "setpoint" in said else 0.5 if "setpoint" in hints else -2.5
    elif "setpoint" in said:
        score -= 6.0
    elif "setpoint" in hints and role.place != "space":
        score -= 0.7
    if subject in _SUBJECTS:
        if subject in subjects:
            score += 3.5
        elif subject in hints:
            score += 1.5
        elif subjects:
            score -= 5.0
        elif role.dimension is Dimension.YES_NO:
            score -= 2.5  # a state without a name could be anybody's
    elif subjects - {"cooling", "heating"}:
        score -= 5.0
    elif subjects:
        score -= 1.0
    if role.dimension is Dimension.FRACTION and role.quantity == "humidity" and "output" in hints | said:
        score -= 3.0  # rh_out is more often a reheat output than humidity outdoors
    if role.point == "shown.reheat_command" and "humidity" in said and "output" in hints | said:
        score += 9.0
    return score


_QUANTITIES = {
    "temperature",
    "dew_point",
    "humidity",
    "output",
    "state",
    "count",
    "flow",
    "pressure",
    "current",
}
_SUBJECTS = {"heating", "cooling", "fan", "damper", "dehumidify", "occupied", "hand"}


def _unit(unit: str | None, role: Role) -> float:
    if unit is None:
        return 0.0
    if unit in units_of(role.dimension):
        return 1.0
    if role.dimension is Dimension.COUNT and unit == "yes/no":
        return -1.0
    return -9.0


def _kind(traits: Traits, role: Role) -> float:
    """Does the column move as such a quantity moves?"""
    dimension = role.dimension
    if dimension is Dimension.COUNT:
        if not traits.whole or traits.high > 12.0 or traits.low < 0.0:
            return -9.0
        return 1.0 if traits.high > 1.0 and traits.distinct <= 8 else 0.0
    if dimension is Dimension.YES_NO:
        if not traits.whole or traits.high > 1.0 or traits.low < 0.0:
            return -9.0
        return 1.0
    if dimension is Dimension.FRACTION:
        if traits.share_low < -0.02 or traits.share_high > 1.05:
            return -9.0
        if role.quantity == "output":
            if role.subject == "fan" and traits.share_high < 0.05:
                return -1.0
            return 1.0 if traits.at_ends > 0.02 else 0.0
        if traits.share_high < 0.08:
            return -5.0  # air is never as dry as that
        return -2.0 if traits.at_ends > 0.3 and traits.share_low < 0.02 else 0.0
    if dimension is Dimension.TEMPERATURE:
        if traits.hours < SHORT:  # a sensor may well stand still for minutes; a set point does not wander
            return -3.0 if role.setting and traits.distinct > 2 else 0.0
        if role.setting:
            return 2.0 if traits.changes_per_day < 8.0 else -5.0
        return -3.0 if traits.changes_per_day < 2.0 else 0.0
    if dimension is Dimension.FREQUENCY and not 5.0 < traits.high < 200.0:
        return -9.0
    return -3.0  # other quantities only with a name that speaks of them


def _range(traits: Traits, role: Role) -> float:
    if role.dimension is Dimension.TEMPERATURE:
        if traits.celsius_high > 75.0 or traits.celsius_low < -60.0:
            return -9.0
        value = traits.celsius_middle
    elif role.dimension is Dimension.FRACTION:
        value = traits.share_middle
    else:
        return 0.0
    distance = (value - role.mean) / role.spread
    return max(-0.5 * distance * distance, -8.0) - 0.3 * math.log(max(role.spread, 0.1))


def _assign(
    candidates: Sequence[_Candidate], matrix: Mapping[tuple[str, str], np.ndarray]
) -> tuple[float, dict[int, str]]:
    """Points for columns: greedy first, then any single move or exchange that makes the whole more likely."""
    chosen: dict[int, str] = {}
    taken: set[str] = set()
    order = sorted(
        ((score, i, point) for i, c in enumerate(candidates) for point, score in c.unary.items()),
        reverse=True,
    )
    for score, i, point in order:
        if i not in chosen and point not in taken and score > LEAVE:
            chosen[i] = point
            taken.add(point)
    total = _total(candidates, chosen, matrix)
    for _ in range(12):
        improved = False
        for i in range(len(candidates)):
            for alternative in _moves(candidates, chosen, i):
                value = _total(candidates, alternative, matrix)
                if value > total + 1e-9:
                    chosen, total, improved = alternative, value, True
        if not improved:
            break
    return total, chosen


def _moves(candidates: Sequence[_Candidate], chosen: dict[int, str], i: int) -> list[dict[int, str]]:
    """Column `i` left out, or given another point (whose holder takes its old one, or none)."""
    out: list[dict[int, str]] = []
    mine = chosen.get(i)
    if mine is not None:
        out.append({k: p for k, p in chosen.items() if k != i})
    holder = {point: k for k, point in chosen.items()}
    for point in candidates[i].unary:
        if point == mine:
            continue
        base = {k: p for k, p in chosen.items() if k != i}
        other = holder.get(point)
        if other is None:
            out.append({**base, i: point})
            continue
        without = {k: p for k, p in base.items() if k != other}
        out.append({**without, i: point})
        if mine is not None and mine in candidates[other].unary:
            out.append({**without, i: point, other: mine})
    return out


def _total(
    candidates: Sequence[_Candidate], chosen: Mapping[int, str], matrix: Mapping[tuple[str, str], np.ndarray]
) -> float:
    total = sum(candidates[i].unary[point] for i, point in chosen.items())
    total += LEAVE * (len(candidates) - len(chosen))
    where = {point: i for i, point in chosen.items()}
    for (first, second), scores in matrix.items():
        a, b = where.get(first), where.get(second)
        if a is not None and b is not None:
            total += float(scores[a, b])
    return total


def _guess(
    candidates: Sequence[_Candidate],
    chosen: dict[int, str],
    matrix: Mapping[tuple[str, str], np.ndarray],
    index: int,
    percent: bool,
) -> Guess:
    candidate, point = candidates[index], chosen[index]
    role = ROLES[point]
    total = _total(candidates, chosen, matrix)
    rivals: dict[str | None, float] = {}
    for alternative in _moves(candidates, chosen, index):
        other = alternative.get(index)
        rivals[other] = max(rivals.get(other, -1e9), _total(candidates, alternative, matrix) - total)
    odds = sum(math.exp(min(delta, 0.0)) for delta in rivals.values())
    confidence = min(1.0 / (1.0 + odds), SURE)
    rival = max(rivals, key=lambda p: rivals[p]) if rivals else None
    unit, share = _unit_of(candidate, role, percent)
    return Guess(
        candidate.column.name, point, unit, round(confidence, 3), _because(candidate, role), share, rival
    )


def _unit_of(candidate: _Candidate, role: Role, percent: bool) -> tuple[str, bool]:
    if role.dimension is Dimension.FRACTION:
        return "%", not percent
    if candidate.unit is not None and candidate.unit in units_of(role.dimension):
        return candidate.unit, False
    if role.dimension is Dimension.TEMPERATURE:
        return "degF" if candidate.traits.fahrenheit else "degC", False
    return units_of(role.dimension)[0], False


def _because(candidate: _Candidate, role: Role) -> str:
    reasons = []
    named = candidate.tags & {role.place or "", role.quantity, role.subject or ""}
    if named:
        reasons.append("name speaks of " + ", ".join(sorted(tag.replace("_", " ") for tag in named)))
    if candidate.unit is not None:
        reasons.append(f"unit {candidate.unit}")
    if not named:
        reasons.append("range and behaviour")
    return "; ".join(reasons)
