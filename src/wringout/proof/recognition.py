"""Which forced state live points show, since when, and what speaks against it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.documents.states import forced
from wringout.documents.unit import Unit
from wringout.machine.design import design
from wringout.machine.motion_control import LEAST_STAGE_TIME, stage_thresholds
from wringout.machine.parameters import Array
from wringout.physics.signal import volts_for_position

__all__ = ["CANDIDATES", "HOLD", "Shown", "recognise"]

HOLD = 60.0  # s that a state must have stood
SAME = 0.02  # of the travel: a command within it is where it was sent
JUMP = 0.10  # of the travel from one row to the next, at least
USUAL = 3.0  # times the largest move that control made by itself in the half hour before
PAST = 1800.0  # s of the past that tells how control moves
LEAST_PAST = 180.0
FLAT = 0.002  # of the travel: control with a sensor on it never stands so still
STEM_OFF = 0.20  # three standard deviations of a position that is read off an actuator
VOLTS_OFF = 0.5
RUNS = 0.30  # of a stage's nameplate current, over which it runs
SLOW = 1.5  # travel times that a valve may take
OFF_BY = 0.1  # K that a dew point must be off the limit of a stage
REST = LEAST_STAGE_TIME + 60.0  # s for which a stage may be late
APART = 0.5  # K that a room must be off its set point before control would have moved

CANDIDATES = ("reheat.command=0 %", "reheat.command=100 %", "cooling.call=0 %", "cooling.call=100 %")

Mask = NDArray[np.bool_]
Values = Mapping[str, Array]


@dataclass(frozen=True, slots=True)
class Shown:
    """What the points show now.

    ``state`` is the forced state or ``auto``; ``kind``: ``held`` (somebody holds it: ``why`` says what shows
    it), ``stands`` (the item is there, which control may have done by itself), ``changing`` (on its way, or
    not there for long enough), ``control`` (nothing held) or ``unseen`` (no point of it is live). ``since``
    [s] is when the item got there; ``against`` what does not fit: the hold did not get through everywhere.
    ``disturbed`` [s] is the last time since then at which stages came or went, else ``since``.
    """

    state: str
    kind: str
    since: float
    why: tuple[str, ...] = ()
    against: tuple[str, ...] = ()
    disturbed: float = math.nan

    @property
    def reached(self) -> bool:
        """Whether the state stands, and nothing speaks against it."""
        return self.kind in ("held", "stands") and not self.against


def recognise(
    time: Array,
    values: Values,
    unit: Unit,
    wanted: str = "",
    said: float | None = None,
    asked: float | None = None,
    hold: float = HOLD,
) -> Shown:
    """Say which forced state the points show at the last row.

    Parameters
    ----------
    time : array, (rows,), [s]
        Increasing.
    values : mapping of array, (rows,)
        Point to its values in SI; NaN where there was none.
    unit : Unit
    wanted : str
        The state that is waited for; looked for first, and also between 0 and 100 %.
    said : float, optional, [s]
        When the technician said that the wanted state is held: then it needs no other sign.
    asked : float, optional, [s]
        When the technician was asked to hold it: what goes there after that is taken to be held.
    hold : float, [s]
        How long it must have stood.

    Returns
    -------
    Shown

    Notes
    -----
    A command at its end is no proof: control gets there by itself. What shows a hand is a jump that control
    did not make before, a flag of the controller, a command that stands where the sequence of operation would
    have moved it, that it went there when it was asked for, or the word of the technician. The cooling of a
    unit that is locked out stands at nothing as well: there only a jump counts.
    """
    if len(time) == 0:
        return Shown("auto", "unseen", math.nan)
    states = tuple(dict.fromkeys([*([wanted] if wanted not in ("", "auto") else []), *CANDIDATES]))

    def word(state: str) -> tuple[float | None, float | None]:
        return (said, asked) if state == wanted else (None, None)

    seen = [found for state in states if (found := _state(time, values, unit, state, word(state), hold))]
    for kinds in (("held",), ("stands",), ("changing",)):
        for found in sorted(seen, key=lambda f: (f.state != wanted, -f.since)):
            if found.kind in kinds and (found.kind == "held" or found.state == wanted):
                return found
    if not any(_item(time, values, unit, item) is not None for item in ("reheat.command", "cooling.call")):
        return Shown("auto", "unseen", math.nan)
    moving = _moving(time, values, unit, forced(wanted) if wanted else None)
    return Shown("auto", "changing" if moving else "control", float(time[-1] if moving else time[0]))


def _item(time: Array, values: Values, unit: Unit, item: str) -> Array | None:
    """Where an item stands [0..1], from the best point that is live."""
    if item == "reheat.command":
        for name in ("shown.reheat_command", "reheat.stem"):
            if name in values and np.isfinite(values[name]).any():
                return _filled(values[name])
        return None
    if unit.cooling.kind == "dx" and "shown.stages_called" in values:
        return _filled(values["shown.stages_called"]) / max(len(unit.stage_ids), 1)
    for name in ("cooling.command", "chilled.stem"):
        if name in values and np.isfinite(values[name]).any():
            return _filled(values[name])
    if "shown.stages_called" in values:
        return _filled(values["shown.stages_called"])
    return None


def _filled(values: Array) -> Array:
    """A row that is missing is like the one before it; those at the start like the first that is there."""
    there = np.isfinite(values)
    if there.all() or not there.any():
        return values
    place = np.maximum.accumulate(np.where(there, np.arange(len(values)), -1))
    return np.asarray(values[np.where(place < 0, int(np.argmax(there)), place)])


def _tolerance(values: Values, item: str) -> float:
    read_off = item == "reheat.command" and "shown.reheat_command" not in values
    return 0.5 * STEM_OFF if read_off else SAME


def _state(
    time: Array,
    values: Values,
    unit: Unit,
    state: str,
    word: tuple[float | None, float | None],
    hold: float,
) -> Shown | None:
    held = forced(state)
    if held is None:
        return None
    item, to = held
    where = _item(time, values, unit, item)
    if where is None:
        return None
    there = np.abs(where - to) <= _tolerance(values, item)
    if not there[-1]:
        return None
    away = np.flatnonzero(~there)
    first = int(away[-1]) + 1 if len(away) else 0
    since = float(time[first])
    said, asked = word
    if said is not None and len(away) == 0:
        since = max(since, min(said, float(time[-1])))
    why = ["the technician says so"] if said is not None else []
    if asked is not None and first and since >= asked:
        why.append("it went there after it was asked for")
    why += _signs(time, values, unit, item, to, where, first)
    stood = float(time[-1]) - since
    kind = "changing" if stood < hold else "held" if why else "stands"
    against = _against(time, values, unit, item, to, since) if kind != "changing" else ()
    return Shown(state, kind, since, tuple(why), against, _disturbed(time, values, item, since))


# ------------------------------------------------------------------------------------- what shows a hand


def _signs(
    time: Array, values: Values, unit: Unit, item: str, to: float, where: Array, first: int
) -> list[str]:
    signs = []
    flag = values.get("shown.reheat_in_hand")
    if item == "reheat.command" and flag is not None and _filled(flag)[-1] > 0.5:
        signs.append("the controller says that the output is held by hand")
    if first and _jumped(time, values, item, to, where, first):
        signs.append(f"it went there in one step, from {100.0 * where[first - 1]:.0f} %")
    if item == "reheat.command":
        signs += _against_sequence(time, values, unit, to, where, first)
    elif to > 0.5 and _over_called(time, values, unit, first):
        signs.append("all cooling is called, though the dew point shown does not ask for it")
    return signs


def _jumped(time: Array, values: Values, item: str, to: float, where: Array, first: int) -> bool:
    """Whether the last step into the state is more than control does in a row."""
    before = (time < time[first]) & (time >= time[first] - PAST)
    if time[first] - time[np.argmax(before)] < LEAST_PAST:
        return False
    active = values.get("shown.dehumidifying")
    around = slice(max(first - 2, 0), first + 3)
    if active is not None:
        state = _filled(active)
        # control itself lets go at once when dehumidifying ends, and begins when it begins
        if np.ptp(state[around]) > 0.5:
            return False
    elif item == "reheat.command" and to < SAME and _stages_end(values, first):
        return False
    # the way into the state may fall into two rows where a point is polled between
    step = abs(float(where[first] - where[max(first - 2, 0)]))
    if item == "cooling.call" and "cooling.command" not in values:
        if active is not None and to < 0.5:
            return step > SAME and bool(_filled(active)[first] > 0.5)
        return False  # stages also come several at once where the air is wet enough
    moves = np.abs(np.diff(where[before]))
    usual = float(moves.max()) if len(moves) else 0.0
    return step > max(JUMP, USUAL * usual)


def _stages_end(values: Values, first: int) -> bool:
    stages = values.get("shown.stages_called")
    if stages is None:
        return False
    around = _filled(stages)[max(first - 2, 0) : first + 3]
    return bool(around[-1] < 0.5 <= around[0])


def _against_sequence(
    time: Array, values: Values, unit: Unit, to: float, where: Array, first: int
) -> list[str]:
    """Where the sequence of operation would have moved the command."""
    late = time >= max(float(time[first]), float(time[-1]) - 300.0)
    if time[-1] - time[late][0] < 120.0:
        return []
    active, room = values.get("shown.dehumidifying"), values.get("shown.space_t")
    on = _filled(active)[late] > 0.5 if active is not None else None
    if to > SAME and on is not None and not on.any():
        return ["reheat is asked for, though the unit does not dehumidify"]
    if room is None:
        return []
    off = _filled(room)[late] - _set_point(values, unit, late)
    dehumidifies = on is not None and bool(on.all())
    if to >= 1.0 - SAME and bool((off > APART).all()):
        return ["it asks for all the heat, though the space is over its set point"]
    if to <= SAME and dehumidifies and bool((off < -APART).all()):
        return ["it asks for no heat, though the space is under its set point"]
    still = bool(np.ptp(where[late]) <= FLAT)
    if SAME < to < 1.0 - SAME and still and bool((np.abs(off) > 0.1).any()):
        return ["it stands still, though the space is off its set point"]
    return []


def _set_point(values: Values, unit: Unit, rows: Mask) -> Array | float:
    logged = values.get("shown.setpoint_space_t")
    return _filled(logged)[rows] if logged is not None else float(unit.control.space_t)


def _over_called(time: Array, values: Values, unit: Unit, first: int) -> bool:
    """Whether all cooling is called at a dew point at which control calls less."""
    dew, active, room = (
        values.get(name) for name in ("shown.dew_point", "shown.dehumidifying", "shown.space_t")
    )
    late = time >= max(float(time[first]), float(time[-1]) - 300.0)
    if room is None or time[-1] - time[late][0] < HOLD:
        return False
    warm = _filled(room) - _set_point(values, unit, np.ones(len(time), dtype=bool)) > APART
    stood = time[-1] - time[late][0] >= 120.0
    if active is not None and stood and bool((_filled(active)[late] < 0.5).all()) and not warm[late].any():
        return True
    if dew is None:
        return False
    point = values.get("shown.setpoint_dew_point")
    if point is None:
        return False  # a controller may be set to another dew point than its document says
    over = _filled(dew) - _filled(point)
    if unit.cooling.kind == "chilled_water":
        # the valve follows in proportion: wide open at the upper end of the band alone
        upper = 0.5 * unit.control.dew_point_band
        return stood and bool((over[late] < upper - APART).all()) and not warm[late].any()
    comes, goes = stage_thresholds(design(unit))[-1]
    # a stage may have been called a while before its least time off let it come, and go on after
    around = (time >= time[first] - REST) & (time <= time[first])
    seen = first and time[first] - time[0] >= REST
    if seen and bool((over[around] < comes - OFF_BY).all()) and not warm[around].any():
        return True
    stood = time[-1] - time[first] >= 300.0 + REST
    return stood and bool((over[late] < goes - OFF_BY).all()) and not warm[late].any()


# ---------------------------------------------------------------------------------- what speaks against it


def _against(time: Array, values: Values, unit: Unit, item: str, to: float, since: float) -> tuple[str, ...]:
    """Places that the hold has not got through to, once it had the time."""
    found = []
    stood = float(time[-1]) - since
    last = time >= time[-1] - 60.0

    def now(name: str) -> float:
        rows = values.get(name)
        some = rows[last][np.isfinite(rows[last])] if rows is not None else np.empty(0)
        return float(np.median(some)) if len(some) else math.nan

    fan = now("fan.running")
    if fan < 0.5:
        found.append("the supply fan stands")
    if item == "reheat.command":
        signal = unit.reheat.valve.signal
        asked = float(volts_for_position(to, signal.low, signal.high, signal.coil_open_at == "high"))
        volts, stem = now("reheat.signal"), now("reheat.stem")
        name = f"commanded {100.0 * to:.0f} %"
        if abs(volts - asked) > VOLTS_OFF:
            found.append(f"{name}, but the signal is {volts:.1f} V, not {asked:.1f} V")
        if stood > SLOW * unit.reheat.valve.travel_time and abs(stem - to) > STEM_OFF:
            found.append(f"{name}, but the position stays at {100.0 * stem:.0f} %")
        return tuple(found)
    for stage in unit.cooling.stages if unit.cooling.kind == "dx" else ():
        amperes = now(f"stage.{stage.id}.current")
        if stood > 120.0 and to > 0.5 and amperes < RUNS * stage.current:
            found.append(f"stage {stage.id} is called, but draws {amperes:.1f} A: it does not run")
        if stood > 120.0 and to < 0.5 and amperes > RUNS * stage.current:
            found.append(f"no stage is called, but {stage.id} draws {amperes:.1f} A: it runs")
    if unit.cooling.kind == "chilled_water":
        stem = now("chilled.stem")
        if stood > SLOW * 90.0 and abs(stem - to) > STEM_OFF and "cooling.command" in values:
            found.append(f"commanded {100.0 * to:.0f} %, but the position stays at {100.0 * stem:.0f} %")
    return tuple(found)


def _disturbed(time: Array, values: Values, item: str, since: float) -> float:
    """When stages last came or went by themselves after the state began."""
    stages = values.get("shown.stages_called")
    if stages is None:
        return since
    changed = np.flatnonzero(np.abs(np.diff(_filled(stages))) > 0.4) + 1
    late = changed[time[changed] > since] if len(changed) else changed
    return float(time[late[-1]]) if len(late) else since


def _moving(time: Array, values: Values, unit: Unit, held: tuple[str, float] | None) -> bool:
    """Whether the wanted item is on its way there."""
    if held is None:
        return False
    where = _item(time, values, unit, held[0])
    if where is None:
        return False
    late = where[time >= time[-1] - HOLD]
    return bool(len(late) > 1 and abs(late[-1] - held[1]) < abs(late[0] - held[1]) - JUMP)
