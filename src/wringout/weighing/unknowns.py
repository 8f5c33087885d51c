"""Everything unknown about a call as one row of standard normal numbers, and what each number stands for.

Columns, in order: the machine's healthy spreads; weather, room and controls of each visit; what each
situation shifts of them; the severities of the causes. All have the prior N(0, 1), so that distances and
curvatures compare.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from wringout.machine.conditions import Conditions
from wringout.machine.known import Healthy, healthy
from wringout.machine.parameters import Array, Spread, spreads
from wringout.weighing.situation import Problem, Situation

__all__ = ["WARM", "Layout", "Mask", "conditions", "layout", "stage_steps", "uniform"]

Mask = NDArray[np.bool_]

CONDITIONS = tuple(field.name for field in fields(Conditions))
VISIT = ("outdoor_t", "outdoor_dew_point", "space_t", "space_dew_point", "command", "stages", "modulation")
SHIFT = ("space_t", "space_dew_point", "command", "stages", "modulation", "rewetting", "left_open")

# how wide weather and room lie before any reading: judgement, wide enough that readings decide
OUTDOOR_T_MEAN, OUTDOOR_T_SPREAD = -4.0, 6.5  # K against the design day
OUTDOOR_DEW_SPREAD = 4.0
SPACE_T_SPREAD = 3.5
SPACE_DEW_SPREAD = 3.5
# what a forced state does to the room within its quarter of an hour
ROOM_T_SHIFT, ROOM_DEW_SHIFT = 1.5, 1.5
# between two visits or after a change everything may differ more
LATER_T_SHIFT, LATER_DEW_SHIFT = 2.5, 2.5
COMMAND_SHIFT = 0.8
STAGES_SHIFT = 0.7
STAGES_SPREAD = 0.45  # of all stages, where nothing says how many run
MODULATION_SHIFT = 0.2
WARM = 0.8  # K over set point from which cooling may be called for the room's temperature

_SOLE_POINT = {
    # parameters that move one point only: without a reading there they need no column
    "space_t_offset": "shown.space_t",
    "supply_t_offset": "shown.supply_t",
    "outdoor_dew_offset": "shown.outdoor_dew_point",
    "fan_current_ratio": "fan.current",
    "filter_ratio": "filter.drop",
    "fan_reserve_ratio": "filter.drop",
    "return_rise": "",
}


@dataclass(frozen=True)
class Layout:
    """Which column of a row means what; ``healthy`` makes machines of the machine's columns."""

    problem: Problem
    healthy: Healthy
    names: tuple[str, ...]
    visits: int
    severities: int
    relevant: tuple[Mask, ...]
    idle: Mapping[str, float]

    @property
    def rows(self) -> tuple[Spread, ...]:
        """The machine's spreads that have a column."""
        return self.healthy.rows

    @property
    def width(self) -> int:
        """Number of columns."""
        return len(self.names)

    def machines(self, z: Array) -> dict[str, Array]:
        """The machines, with nothing wrong, of rows of unknowns."""
        return self.healthy.values(z[:, : len(self.rows)])

    def visit_column(self, visit: int, name: str) -> int:
        """Column of one visit's condition."""
        return len(self.rows) + visit * len(VISIT) + VISIT.index(name)

    def shift_column(self, situation: int, name: str) -> int:
        """Column of one situation's shift."""
        return len(self.rows) + self.visits * len(VISIT) + situation * len(SHIFT) + SHIFT.index(name)

    @property
    def first_severity(self) -> int:
        """Column of the first severity."""
        return self.width - self.severities


def layout(problem: Problem, severities: int, rows: tuple[Spread, ...] | None = None) -> Layout:
    """Lay out the unknowns of a call.

    Parameters
    ----------
    problem : Problem
    severities : int
        Columns to keep for severities of causes.
    rows : tuple of Spread, optional
        Spreads to keep; those that the call's readings can tell of, if not given.

    Returns
    -------
    Layout
    """
    read = {o.point for s in problem.situations for o in s.observations}

    def needed(row: Spread) -> bool:
        name, _, index = row.name.partition(".")
        if name in _SOLE_POINT:
            return not _SOLE_POINT[name] or _SOLE_POINT[name] in read
        stages = problem.design.unit.stage_ids
        if name == "stage_current_ratio":
            return f"stage.{stages[int(index)]}.current" in read
        if name == "superheat_shift":
            return f"stage.{stages[int(index)]}.superheat" in read
        if name == "strainer_ratio":
            return "strainer.drop" in read
        return True

    if rows is None:
        rows = tuple(row for row in spreads(problem.design) if needed(row))
    visits = 1 + max((s.visit for s in problem.situations), default=0)
    names = [row.name for row in rows]
    names += [f"{name} of visit {v + 1}" for v in range(visits) for name in VISIT]
    names += [f"{name} in {s.state}" for s in problem.situations for name in SHIFT]
    names += [f"severity {k + 1}" for k in range(severities)]
    first_visit, first_shift = len(rows), len(rows) + visits * len(VISIT)
    relevant: list[Mask] = []
    for i, s in enumerate(problem.situations):
        mask = np.ones(len(names), dtype=bool)
        mask[first_visit:first_shift] = False
        mask[first_visit + s.visit * len(VISIT) : first_visit + (s.visit + 1) * len(VISIT)] = True
        mask[first_shift : first_shift + len(problem.situations) * len(SHIFT)] = False
        mask[first_shift + i * len(SHIFT) : first_shift + (i + 1) * len(SHIFT)] = True
        relevant.append(mask)
    kept = {row.name for row in rows}
    left = tuple(row for row in spreads(problem.design) if row.name not in kept)
    resting = healthy(left, problem.known).values(np.zeros((1, len(left))))
    idle = {name: float(value[0]) for name, value in resting.items()}
    machines = healthy(rows, problem.known)
    whole = Layout(problem, machines, tuple(names), visits, severities, tuple(relevant), idle)
    return replace(whole, relevant=tuple(mask & _felt(whole, i) for i, mask in enumerate(relevant)))


def _felt(at: Layout, index: int) -> Mask:
    """Which columns change anything in a situation: what is held or read there needs no unknown."""
    felt = np.ones(at.width, dtype=bool)
    first = len(at.rows)
    columns = np.arange(first, at.first_severity)
    places = np.array([-1.1, 0.1, 0.9])
    for place in places:
        rows = np.full((columns.size + 1, at.width), place)
        rows[np.arange(1, columns.size + 1), columns] += 0.6
        c = conditions(at, index, rows, np.zeros(columns.size + 1, dtype=bool))
        moved = np.zeros(columns.size, dtype=bool)
        for name in CONDITIONS:
            value = np.broadcast_to(getattr(c, name), columns.size + 1)
            moved |= value[1:] != value[0]
        felt[columns] = moved if place == places[0] else felt[columns] | moved
    return felt


def uniform(z: Array) -> Array:
    """Standard normal numbers as uniform ones, so that a severity's flat prior needs no bounds.

    Parameters
    ----------
    z : array, any shape, [-]

    Returns
    -------
    array, 0..1 [-]

    Notes
    -----
    The logistic form of Page, Applied Statistics 26 (1977) 75 (from memory), for the normal distribution
    function: within 1.5e-4, and as smooth as the exact one.
    """
    return np.asarray(1.0 / (1.0 + np.exp(-1.5957691216 * z * (1.0 + 0.044715 * z * z))))


def first_of(s: Situation) -> bool:
    """Whether a situation is the visit's unforced one on the machine as found."""
    return s.item is None and s.epoch == 0


def seen_share(s: Situation | None, point: str) -> float | None:
    """A share that was read at a point of a situation."""
    return s.read(point) if s is not None else None


def unforced(problem: Problem, s: Situation) -> Situation | None:
    """The unforced situation of the same visit and machine, if it was read."""
    for other in problem.situations:
        if other.item is None and other.visit == s.visit and other.epoch == s.epoch:
            return other
    return None


def conditions(at: Layout, index: int, z: Array, beyond: Mask) -> Conditions:
    """Weather, room and controls of one situation from rows of unknowns.

    Parameters
    ----------
    at : Layout
    index : int
        Which situation.
    z : array, (samples, width), [-]
    beyond : array of bool, (samples,)
        Where the hypothesis is that the weather is beyond the design day.

    Returns
    -------
    Conditions
    """
    p = at.problem
    unit = p.design.unit
    s = p.situations[index]
    day, control = unit.space.design_day, unit.control

    def visit(name: str) -> Array:
        return z[:, at.visit_column(s.visit, name)]

    def shift(name: str) -> Array:
        return z[:, at.shift_column(index, name)]

    outdoor_t = day.outdoor_t + OUTDOOR_T_MEAN + OUTDOOR_T_SPREAD * visit("outdoor_t")
    # healthy or not, weather stays within the design day; beyond it is a conclusion of its own
    zd = visit("outdoor_dew_point")
    under = np.logaddexp(0.0, -2.0 * (zd - 0.3)) / 2.0  # positive, about 0.3 - z where that is large
    outdoor_dew = day.outdoor_dew_point + np.where(
        beyond, 0.15 + 1.1 * np.logaddexp(0.0, 1.5 * zd), 0.25 - OUTDOOR_DEW_SPREAD * under
    )
    if s.logged is not None:
        # in days of weather beyond design there are milder hours too
        outdoor_dew = np.where(beyond, day.outdoor_dew_point + 0.5 + OUTDOOR_DEW_SPREAD * zd, outdoor_dew)
    later = not first_of(s)
    moved_t = (ROOM_T_SHIFT if s.epoch == 0 else LATER_T_SHIFT) if later else 0.0
    moved_dew = (ROOM_DEW_SHIFT if s.epoch == 0 else LATER_DEW_SHIFT) if later else 0.0
    space_t = control.space_t + SPACE_T_SPREAD * visit("space_t") + moved_t * shift("space_t")
    space_dew = (
        control.dew_point
        + 0.5
        + SPACE_DEW_SPREAD * visit("space_dew_point")
        + moved_dew * shift("space_dew_point")
    )
    calm = unforced(p, s)
    lately = lately_logged(p, s)
    command = command_of(s, calm, visit("command"), shift("command"), lately)
    stages = stages_of(p, s, calm, visit("stages"), shift("stages"))
    modulation = uniform(visit("modulation") * 1.0)
    if later:
        modulation = np.clip(modulation + MODULATION_SHIFT * shift("modulation"), 0.0, 1.0)
    if s.item == "cooling.call" and s.to >= 0.5:
        modulation = np.ones_like(modulation)
    idle = s.item == "cooling.call" and s.to < 0.5
    rewetting = uniform(shift("rewetting")) if idle else np.zeros(1)
    left_open = np.zeros(1)
    before = seen_share(calm, "shown.reheat_command")
    if s.item == "cooling.call" and s.to >= 0.5 and calm is not None:
        # forced cooling may have ended dehumidifying minutes ago: the valve, and the heat behind it, may
        # not have followed
        was = command_of(
            calm, calm, visit("command"), z[:, at.shift_column(p.situations.index(calm), "command")], lately
        )
        left_open = np.square(uniform(shift("left_open"))) * (was if before is None else min(before, 1.0))
    return Conditions(
        outdoor_t, outdoor_dew, space_t, space_dew, command, stages, modulation, rewetting, left_open
    )


def command_of(
    s: Situation, calm: Situation | None, base: Array, shift: Array, lately: float | None = None
) -> Array:
    """Reheat command [0..1]: held, read, or unknown about that of the unforced state, or of ``lately``."""
    if s.item == "reheat.command":
        return np.full(1, s.to)
    read = s.read("shown.reheat_command")
    if read is not None:
        return np.clip(read + 0.004 * shift, 0.0, 1.0)
    before = seen_share(calm, "shown.reheat_command")
    if calm is s or before is None:
        wander = 1.2 * base if lately is None else _place(lately) + 0.7 * base
        return uniform(wander + (COMMAND_SHIFT * shift if calm is not s else 0.0))
    centre = _place(before)
    # forced cooling may end dehumidifying, and then the reheat goes off altogether
    wide = COMMAND_SHIFT * (2.0 if s.item == "cooling.call" else 1.0)
    return uniform(centre + wide * shift)


def _place(share: float) -> float:
    """The standard normal number that ``uniform`` makes about this share of."""
    inside = min(max(share, 0.02), 0.98)
    return math.log(inside / (1.0 - inside)) / 1.6


def lately_logged(p: Problem, s: Situation) -> float | None:
    """The reheat command of the last moment of a trend, for a visit after it on which it was not read."""
    logged = [other for other in p.situations if other.logged is not None]
    return logged[-1].read("shown.reheat_command") if logged and s.logged is None else None


def stages_of(p: Problem, s: Situation, calm: Situation | None, base: Array, shift: Array) -> Array:
    """Stages called [count]: held, read, or unknown about what the unforced state had."""
    most = float(len(p.design.stage_share)) if p.design.dx else 1.0
    if s.item == "cooling.call":
        return np.full(1, most if s.to >= 0.5 else 0.0)
    read = s.read("shown.stages_called")
    if read is not None:
        return np.full(1, min(read, most))
    before = seen_share(calm, "shown.stages_called")
    if calm is s or before is None:
        called = (
            p.situations[0].read("shown.dehumidifying") if calm is None else calm.read("shown.dehumidifying")
        )
        if called is not None and called < 0.5:
            if not _warm(p, s, calm):
                return np.zeros(1)
            # a unit that rests may cool for the room's temperature with its first stage
            own = most * STAGES_SPREAD * base if calm is s else STAGES_SHIFT * shift
            return np.clip(0.5 + own, 0.0, 1.0)
        middle = most * (0.6 + STAGES_SPREAD * base)
        return np.clip(middle if calm is s else middle + STAGES_SHIFT * shift, 0.0, most)
    if not p.design.dx:
        return np.full(1, before)
    return np.clip(before + STAGES_SHIFT * shift, 0.0, most)


def _warm(p: Problem, s: Situation, calm: Situation | None) -> bool:
    """Whether the room may be warm enough for cooling to be called for its temperature alone."""
    if s.item == "reheat.command" and s.to >= 0.5:
        return True  # a quarter of an hour of full reheat warms it
    shown = [one.read("shown.space_t") for one in (s, calm) if one is not None]
    return any(t is not None and t > p.design.unit.control.space_t + WARM for t in shown)


def stage_steps(at: Layout) -> list[tuple[int, float]]:
    """Columns that move the number of running stages, with the step that makes it one more.

    Parameters
    ----------
    at : Layout

    Returns
    -------
    list of (int, float)
        One a situation in which the number was neither held nor read; stages are on or off, so that no
        slope leads from one number to the next and it must be tried.
    """
    p = at.problem
    if not p.design.dx:
        return []
    most = float(len(p.design.stage_share))
    found: list[tuple[int, float]] = []
    for i, s in enumerate(p.situations):
        if s.item == "cooling.call" or s.read("shown.stages_called") is not None:
            continue
        if unforced(p, s) is s:
            found.append((at.visit_column(s.visit, "stages"), 1.0 / (STAGES_SPREAD * most)))
        else:
            found.append((at.shift_column(i, "stages"), 1.0 / STAGES_SHIFT))
    return found
