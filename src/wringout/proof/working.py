"""Whether every stage and the reheat were seen working after a repair."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wringout.documents.unit import Unit
from wringout.machine.closed import closed
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design
from wringout.machine.motion_room import Loads, Weather
from wringout.machine.parameters import Array, healthy_values, neutral, spreads
from wringout.machine.steady import settle
from wringout.proof.criteria import Criterion, fails, holds, untested
from wringout.trends.action import action_findings
from wringout.trends.coils import coil_findings
from wringout.trends.moisture_balance import Moisture
from wringout.trends.signals import regular_pieces
from wringout.trends.states import cooling_on
from wringout.trends.table import HOUR, TrendTable

__all__ = ["reheat_working", "stages_working", "weather_that_calls"]

BEFORE, AFTER, WINDOW = 600.0, 960.0, 300.0  # s round a stage's start: at rest before, and how long after
WORKS, FAILS = 0.6, 0.4  # of the step that a healthy unit's supply air makes
FULL = 0.8  # of it, where several stages start together
LEAST_STEP = 0.8  # K of the step, or nothing can be told
SUPPLY_NOISE = 0.3  # K
LEAST_BLOCKS = 4
TOO_WARM = 1.15  # of what cooling takes off: more than that is heat that nobody asked for
AGREES, SHARP, CLEAR = 1.5, 1.4, 2.5  # as trends.moisture_balance judges a supply temperature
STEPS = np.linspace(0.0, 1.0, 13)  # from set point to design day, at which weather is tried


@dataclass(frozen=True)
class _Start:
    """One start of stages: from and to how many, and the part of a healthy unit's step that was seen."""

    low: int
    high: int
    ratio: float
    sigma: float


def stages_working(table: TrendTable, unit: Unit, d: Design, moisture: Moisture | None) -> list[Criterion]:
    """Whether each stage was seen working.

    Parameters
    ----------
    table : TrendTable
        The days after the repair.
    unit : Unit
    d : Design
    moisture : Moisture or None
        The trend's half hours against a healthy unit's.

    Returns
    -------
    list of Criterion
        One a stage; one in all for chilled water.

    Notes
    -----
    A stage that starts makes the supply air colder: the step is set against that of the settled machine in
    the same weather, what reheat did meanwhile taken off by the machine as well. A stage that always ran is
    judged by the supply temperature as a whole.
    """
    names = unit.stage_ids or ("chilled water",)
    starts = _starts(table, unit, d)
    out = []
    for k, name in enumerate(names, 1):
        label = f"stage {name}" if unit.stage_ids else name
        own = [s for s in starts if s.high == k and s.low == k - 1]
        joint = [s for s in starts if s.low < k <= s.high and s.high - s.low > 1]
        hours = _hours_at(table, k)
        figures = {"hours": hours, "starts": float(len(own) + len(joint))}
        if own:
            ratio = float(np.median([s.ratio for s in own]))
            figures["step"] = ratio
            verdict = holds if ratio >= WORKS else fails if ratio <= FAILS else untested
            why = {holds: "step", fails: "no_step", untested: "half_step"}[verdict]
        elif joint and max(s.ratio for s in joint) >= FULL:
            figures["step"] = max(s.ratio for s in joint)
            verdict, why = holds, "step"
        else:
            verdict, why = _by_level(moisture, k, len(names), figures)
        weather = weather_that_calls(unit, d, k) if verdict == untested else np.nan
        out.append(Criterion(label, verdict, why, figures, weather))
    return out


def _hours_at(table: TrendTable, k: int) -> float:
    total = 0.0
    for piece in regular_pieces(table):
        stages = piece.get("shown.stages_called")
        if stages is None:
            on = cooling_on(piece)
            total += float(on.sum()) * piece.step if on is not None and k == 1 else 0.0
        else:
            total += float(np.nansum(stages >= k - 0.5)) * piece.step
    return total / HOUR


def _starts(table: TrendTable, unit: Unit, d: Design) -> list[_Start]:
    found: list[tuple[int, int, float, dict[str, tuple[float, float]]]] = []
    wanted = ("outdoor.t", "shown.outdoor_dew_point", "shown.space_t", "shown.dew_point",
              "shown.reheat_command")  # fmt: skip
    for piece in regular_pieces(table):
        stages = piece.get("shown.stages_called")
        if stages is None or "shown.supply_t" not in piece or not all(p in piece for p in wanted):
            continue
        count = np.nan_to_num(np.round(stages), nan=-1.0)
        before, after, width = (max(round(s / piece.step), 1) for s in (BEFORE, AFTER, WINDOW))
        for at in np.flatnonzero(np.diff(count) > 0) + 1:
            low, high = int(count[at - 1]), int(count[at])
            if at < before or at + after > len(count) or low < 0:
                continue
            if (count[at - before : at] != low).any() or (count[at : at + after] != high).any():
                continue
            ahead, behind = slice(at - width, at), slice(at + after - width, at + after)
            supply = piece["shown.supply_t"]
            moved = float(np.nanmean(supply[behind]) - np.nanmean(supply[ahead]))
            states = {
                p: (float(np.nanmean(piece[p][ahead])), float(np.nanmean(piece[p][behind]))) for p in wanted
            }
            if np.isfinite([moved, *(v for pair in states.values() for v in pair)]).all():
                found.append((low, high, moved, states))
    return _against_healthy(found, unit, d)


def _against_healthy(
    found: Sequence[tuple[int, int, float, dict[str, tuple[float, float]]]], unit: Unit, d: Design
) -> list[_Start]:
    if not found:
        return []
    rows = spreads(d)
    values = {**neutral(d), **healthy_values(rows, np.zeros((1, len(rows))))}

    def supply(stage: int, command: int) -> Array:
        """The supply temperature with stages and command of before (0) or after (1), in the weather after."""
        dew = np.array([s["shown.dew_point"][stage] for *_, s in found])
        place = np.clip((dew - unit.control.dew_point) / unit.control.dew_point_band + 0.5, 0.05, 1.0)
        space = np.array([s["shown.space_t"][1] for *_, s in found])
        t = np.array([s["outdoor.t"][1] for *_, s in found])
        return settle(
            d,
            values,
            Conditions(
                t,
                np.minimum(np.array([s["shown.outdoor_dew_point"][1] for *_, s in found]), t - 0.05),
                space,
                np.minimum(np.array([s["shown.dew_point"][1] for *_, s in found]), space - 0.05),
                np.array([s["shown.reheat_command"][command] for *_, s in found]),
                np.array([float((low, high)[stage]) for low, high, *_ in found]),
                place,
                np.zeros(1),
            ),
        ).supply_t

    cooled = supply(1, 1) - supply(0, 1)
    heated = supply(0, 1) - supply(0, 0)
    out = []
    for k, (low, high, moved, _) in enumerate(found):
        # reheat that moved far meanwhile hides the step
        if -cooled[k] < LEAST_STEP or abs(heated[k]) > -cooled[k]:
            continue
        ratio = (moved - heated[k]) / cooled[k]
        out.append(_Start(low, high, float(ratio), SUPPLY_NOISE / float(-cooled[k])))
    return out


def _by_level(m: Moisture | None, k: int, count: int, figures: dict[str, float]) -> tuple[str, str]:
    """A stage that always ran: the supply air as a whole against a healthy unit's."""
    if m is None:
        return untested, "not_called" if figures["hours"] < 1.0 else "no_start"
    level = m.stages if count > 1 else np.where(m.called > 0.9, 1.0, 0.0)
    chosen = (level >= k - 0.1) & np.isfinite(m.seen)
    if int(chosen.sum()) < LEAST_BLOCKS:
        return untested, "not_called" if figures["hours"] < 1.0 else "no_start"
    shut = chosen & (m.command <= 0.03)
    use = shut if int(shut.sum()) >= LEAST_BLOCKS else chosen
    off = m.over(m.seen[None, :] - m.supply, use)
    sigma = float(np.hypot(off.sigma, SUPPLY_NOISE))
    figures |= {"supply_off": off.value, "supply_off_sigma": sigma}
    if off.value > CLEAR * sigma and use is shut:
        # warmer than air that no stage cooled at all: that is heat, and not the stages' matter
        return (untested, "heat") if off.value > TOO_WARM * float(m.cooled[use].mean()) else (fails, "warm")
    if abs(off.value) <= AGREES * sigma and sigma <= SHARP:
        return holds, "as_cold"
    return untested, "no_start"


def reheat_working(table: TrendTable, unit: Unit, moisture: Moisture | None) -> Criterion:
    """Whether the reheat was seen working: its output acts the right way, and adds heat when it is asked.

    Parameters
    ----------
    table : TrendTable
    unit : Unit
    moisture : Moisture or None

    Returns
    -------
    Criterion
    """
    acts = [f for f in action_findings(table) if f.points[0] == "shown.reheat_command"]
    coil = [f for f in coil_findings(table, unit) if f.what in {"heat_missing", "heat_uncommanded"}]
    if coil:
        spans = tuple((s.start, s.end) for s in coil[0].spans)
        return Criterion("reheat", fails, coil[0].what, spans=spans)
    for found in acts:
        figures = {"gain": found.gain, "gain_sigma": found.sigma}
        if found.verdict in {"reversed", "nothing"}:
            return Criterion("reheat", fails, found.verdict, figures)
        if found.verdict == "as_meant":
            return Criterion("reheat", holds, "as_meant", figures)
    if moisture is not None:
        shut = (moisture.command <= 0.03) & np.isfinite(moisture.seen) & (moisture.called > 0.9)
        if int(shut.sum()) >= LEAST_BLOCKS:
            off = moisture.over(moisture.seen[None, :] - moisture.supply, shut)
            if off.value > max(TOO_WARM * float(moisture.cooled[shut].mean()), CLEAR * off.sigma):
                return Criterion("reheat", fails, "heat_uncommanded", {"supply_off": off.value})
        open_ = (moisture.command > 0.2) & np.isfinite(moisture.seen) & (moisture.called > 0.9)
        if int(open_.sum()) >= LEAST_BLOCKS:
            off = moisture.over(moisture.seen[None, :] - moisture.supply, open_)
            sigma = float(np.hypot(off.sigma, SUPPLY_NOISE))
            figures = {"supply_off": off.value, "supply_off_sigma": sigma}
            if abs(off.value) <= AGREES * sigma and sigma <= SHARP:
                return Criterion("reheat", holds, "as_warm", figures)
            if abs(off.value) > CLEAR * sigma:
                return Criterion("reheat", fails, "off", figures)
            return Criterion("reheat", untested, "cannot_tell", figures)
    return Criterion("reheat", untested, "not_asked")


def weather_that_calls(unit: Unit, d: Design, k: int) -> float:
    """Outdoor dew point [degC] from which a healthy unit calls its k-th stage; NaN where no weather up to the
    design day does.

    Parameters
    ----------
    unit : Unit
    d : Design
    k : int
        From 1.

    Returns
    -------
    float
    """
    rows = spreads(d)
    values = {**neutral(d), **healthy_values(rows, np.zeros((len(STEPS), len(rows))))}
    low, day = unit.control.dew_point, unit.space.design_day
    dew = low + STEPS * (day.outdoor_dew_point - low)
    t = np.maximum(day.outdoor_t - 0.8 * (day.outdoor_dew_point - dew), dew + 1.0)
    rest = closed(d, values, Weather.of(t[:, None], dew[:, None]), Loads.of(0.8))
    called = np.maximum(rest.level.called, rest.upper_level.called)
    reached = np.flatnonzero(called >= k)
    return float(dew[reached[0]]) if len(reached) else float("nan")
