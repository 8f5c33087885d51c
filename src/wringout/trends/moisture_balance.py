"""Moisture by the half hour: what a healthy unit would take out, what weather and people bring in by the
unit's document, and what was measured where the trend can tell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.documents.unit import Unit
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design, design
from wringout.machine.parameters import healthy_values, neutral, spreads
from wringout.machine.steady import Settled, settle
from wringout.physics.moist_air import dew_point, humidity_ratio, saturated_humidity_ratio
from wringout.trends.signals import Mask, block_means, regular_pieces
from wringout.trends.states import cooling_on
from wringout.trends.table import Array, TrendTable

__all__ = [
    "BLOCK",
    "Blocks",
    "Estimate",
    "Moisture",
    "Verdict",
    "blocks_of",
    "judged",
    "moisture_of",
    "outdoor_dew_of",
    "settled_at",
    "stages_of",
]

BLOCK = 1800.0  # [s]
MOST_BLOCKS = 480  # half hours at which the machine is asked; more are thinned out
LEAST_BLOCKS = 4
CLEAR = 2.5  # standard deviations from which two figures count as different
AGREES = 1.5  # standard deviations up to which they count as the same
SHARP = 1.4  # K; a supply temperature known no better than this tells nothing by agreeing
# and by how much at least: a unit that is a tenth under its schedule is none to be called faulty
RATIO = 1.2
HUMIDITY_SIGMA = 0.03  # of a duct sensor, rh 0..1: 2 to 3 % (common practice)
LEAVING_RH, LEAVING_RH_SIGMA = 0.94, 0.04  # of air off a wet coil: 90 to 98 % (common practice)
CONDENSATE_SIGMA = 0.08  # share of a condensate meter's reading (as the bucket of the test points)
LOGGED_T_SIGMA = 0.3  # K, of half-hour means while stages come and go; judgement
ROOM, WEATHER = (2.0, 40.0), (-25.0, 50.0)  # degC within which the settled machine is asked
SHUT = 0.03  # reheat command up to which reheat adds nothing that a healthy valve would
LEAST_COOLING = 0.3  # of the stages, on average over a half hour, for its supply air to tell anything


@dataclass(frozen=True)
class Blocks:
    """Half-hour means by point, pieces one behind the other: ``time`` [s since 1970] is each one's middle.

    ``called`` is the share of the half hour in which cooling was called, None where nothing tells.
    """

    time: Array
    values: dict[str, Array]
    called: Array | None

    def get(self, point: str) -> Array:
        """The means of a point; NaN where the trend does not hold it."""
        return self.values.get(point, np.full(len(self.time), np.nan))


def blocks_of(table: TrendTable, width: float = BLOCK) -> Blocks:
    """Half-hour means of a trend.

    Parameters
    ----------
    table : TrendTable
    width : float, optional, [s]

    Returns
    -------
    Blocks
        NaN for a block of which more than half is missing.
    """
    time: list[Array] = []
    rows: dict[str, list[Array]] = {}
    called: list[Array] = []
    for piece in regular_pieces(table):
        count = max(round(width / piece.step), 1)
        blocks = len(piece.time) // count
        if not blocks:
            continue
        time.append(piece.time[: blocks * count : count] + 0.5 * count * piece.step)
        for point, values in piece.values.items():
            rows.setdefault(point, []).append(block_means(values, count))
        on = cooling_on(piece)
        if on is not None:
            called.append(block_means(on.astype(float), count))
    if not time:
        return Blocks(np.zeros(0), {}, None)
    means = {point: np.concatenate(parts) for point, parts in rows.items()}
    return Blocks(np.concatenate(time), means, np.concatenate(called) if called else None)


@dataclass(frozen=True)
class Estimate:
    """A figure with its standard deviation, in SI."""

    value: float
    sigma: float


@dataclass(frozen=True)
class Moisture:
    """Moisture flows [kg/s] and supply temperatures [degC] at half hours: rows (1 + unknowns, blocks).

    The first row is the unit at its estimates; each further one has one unknown moved by a standard
    deviation, from which `over` works out the spread. ``weather`` and ``indoors`` are what comes in by the
    document, ``healthy`` what a healthy unit takes out at the logged calls, ``measured`` what it took out by
    ``route`` (``condensate``, ``supply humidity``, ``coil``), None where nothing tells. ``supply`` is the
    supply temperature that a healthy unit's display would show, ``seen`` the logged one (blocks,).
    ``dew_point`` is the room's as shown [degC], ``stages`` how many were called [count],
    ``cooled`` by how much a healthy unit's coil cools the air [K].
    """

    time: Array
    weather: Array
    indoors: Array
    healthy: Array
    measured: Array | None
    route: str
    supply: Array
    seen: Array
    command: Array
    called: Array
    dew_point: Array
    stages: Array
    cooled: Array

    def over(self, rows: Array, where: Mask) -> Estimate:
        """Mean of a quantity over some half hours, with its spread.

        Parameters
        ----------
        rows : array, (1 + unknowns, blocks)
        where : array of bool, (blocks,)

        Returns
        -------
        Estimate
            NaN where nothing is left.

        Notes
        -----
        First-order propagation, JCGM 100:2008, 5.1.2.
        """
        chosen = where & np.isfinite(rows[0])
        if not chosen.any():
            return Estimate(np.nan, np.nan)
        means = rows[:, chosen].mean(axis=1)
        return Estimate(float(means[0]), float(np.sqrt(np.square(means[1:] - means[0]).sum())))


def moisture_of(table: TrendTable, unit: Unit) -> Moisture | None:
    """Work out the moisture flows of a trend, half hour by half hour.

    Parameters
    ----------
    table : TrendTable
        With the room's and the outdoor dew point, and both temperatures.
    unit : Unit

    Returns
    -------
    Moisture or None
        None where the trend lacks what it takes.

    Notes
    -----
    The unit's settled machine at the logged room, weather, stages and command; storage in the room is left
    out, so that figures hold for hours and days and not for minutes.
    """
    blocks = blocks_of(table)
    machine = design(unit)
    outdoor_t, space_t, dew = (blocks.get(p) for p in ("outdoor.t", "shown.space_t", "shown.dew_point"))
    outdoor_dew = outdoor_dew_of(blocks, machine.pressure)
    with np.errstate(invalid="ignore"):
        usual = (
            (space_t > ROOM[0]) & (space_t < ROOM[1]) & (outdoor_t > WEATHER[0]) & (outdoor_t < WEATHER[1])
        )
    index = np.flatnonzero(usual & np.isfinite(dew + outdoor_dew))
    if len(index) < LEAST_BLOCKS or blocks.called is None:
        return None
    index = index[:: max(-(-len(index) // MOST_BLOCKS), 1)]
    command = np.nan_to_num(blocks.get("shown.reheat_command"))
    settled = settled_at(blocks, index, machine, dew, outdoor_dew, command)
    values, true_t = settled.values, settled.conditions.space_t
    shape = (len(true_t) // len(index), len(index))
    flow, mixed = settled.flow, settled.mixed
    space = unit.space
    density = machine.pressure / (287.042 * (true_t + 273.15) * 1.012)
    leaks = space.infiltration * density * values["infiltration_ratio"]
    measured, route = _measured(blocks, index, settled, shape)
    return Moisture(
        time=blocks.time[index],
        weather=((leaks + flow.outdoor) * (mixed.outdoor_w - mixed.space_w)).reshape(shape),
        indoors=np.broadcast_to(space.moisture * values["moisture_ratio"], leaks.shape).reshape(shape),
        healthy=(settled.cooling.air.condensate + flow.supply * mixed.fog).reshape(shape),
        measured=measured,
        route=route,
        supply=(settled.supply_t + values["supply_t_offset"]).reshape(shape),
        seen=blocks.get("shown.supply_t")[index],
        command=command[index],
        called=blocks.called[index],
        dew_point=dew[index],
        stages=settled.conditions.stages[: len(index)],
        cooled=(settled.mixed.dry_bulb - settled.cooling.air.dry_bulb).reshape(shape)[0],
    )


def settled_at(
    blocks: Blocks, index: NDArray[np.intp], machine: Design, dew: Array, outdoor_dew: Array, command: Array
) -> Settled:
    """Let the healthy machine settle at some half hours, as it is and with each of its unknowns moved.

    Parameters
    ----------
    blocks : Blocks
    index : array of int, (chosen,)
        Which half hours.
    machine : Design
    dew, outdoor_dew : array, (blocks,), [degC]
        Dew points of the room and outdoors as shown.
    command : array, (blocks,), [0..1]
        Of the reheat.

    Returns
    -------
    Settled
        (1 + unknowns) times as many entries as half hours were chosen: first all of them with the machine as
        it is, then all with the first unknown moved by one standard deviation, and so on.
    """
    unknowns = spreads(machine)
    z = np.vstack([np.zeros(len(unknowns)), np.eye(len(unknowns))])
    values = {**neutral(machine), **healthy_values(unknowns, np.repeat(z, len(index), axis=0))}

    def tiled(series: Array) -> Array:
        return np.tile(series[index], len(unknowns) + 1)

    stages, modulation = stages_of(blocks, machine.unit)
    space_t = tiled(blocks.get("shown.space_t")) - values["space_t_offset"]
    outdoor_t = tiled(blocks.get("outdoor.t"))
    return settle(
        machine,
        values,
        Conditions(
            outdoor_t=outdoor_t,
            outdoor_dew_point=np.minimum(tiled(outdoor_dew) - values["outdoor_dew_offset"], outdoor_t - 0.05),
            space_t=space_t,
            space_dew_point=np.minimum(tiled(dew) - values["dew_offset"], space_t - 0.05),
            command=tiled(command),
            stages=tiled(stages),
            modulation=tiled(modulation),
            rewetting=np.zeros(1),
        ),
    )


def outdoor_dew_of(blocks: Blocks, pressure: float) -> Array:
    """Give the outdoor dew point as logged, or from temperature and relative humidity.

    Parameters
    ----------
    blocks : Blocks
    pressure : float, [Pa]

    Returns
    -------
    array, (blocks,), [degC]
        NaN where nothing tells.
    """
    shown = blocks.get("shown.outdoor_dew_point")
    if np.isfinite(shown).any():
        return shown
    t, rh = blocks.get("outdoor.t"), blocks.get("outdoor.rh")
    there = np.isfinite(t + rh)
    out = np.full(len(t), np.nan)
    w = humidity_ratio(t[there], np.minimum(np.maximum(rh[there], 0.02), 1.0), pressure)
    out[there] = dew_point(w, pressure)
    return out


def stages_of(blocks: Blocks, unit: Unit) -> tuple[Array, Array]:
    """Give the stages called, and what a modulating stage or a chilled-water valve is asked for.

    Parameters
    ----------
    blocks : Blocks
    unit : Unit

    Returns
    -------
    tuple of array, (blocks,), [count], [0..1]
        By the sequence of operation where they are not logged.
    """
    control = unit.control
    over = np.nan_to_num(blocks.get("shown.dew_point")) - control.dew_point
    place = np.clip(over / control.dew_point_band + 0.5, 0.0, 1.0)
    called = np.nan_to_num(blocks.called) if blocks.called is not None else np.zeros(len(blocks.time))
    asked = blocks.get("cooling.command")
    modulation = np.where(np.isfinite(asked), asked, place)
    most = float(len(unit.cooling.stages) or 1)
    stages = blocks.get("shown.stages_called")
    if not np.isfinite(stages).any():  # only whether it dries is logged
        stages = called * (np.maximum(np.ceil(place * most), 1.0) if unit.cooling.kind == "dx" else 1.0)
    return np.minimum(np.nan_to_num(stages), most), modulation


def _measured(
    blocks: Blocks, index: NDArray[np.intp], settled: Settled, shape: tuple[int, int]
) -> tuple[Array | None, str]:
    """Moisture taken out as measured, each row with its unknown moved; a last row for the instrument."""
    if np.isfinite(drained := blocks.get("condensate.rate")[index]).any():
        rows = np.tile(drained, (shape[0] + 1, 1))
        rows[-1] *= 1.0 + CONDENSATE_SIGMA
        return rows, "condensate"
    pressure = settled.design.pressure
    flow = settled.flow.supply * np.ones(shape[0] * shape[1])
    flow, mixed = flow.reshape(shape), settled.mixed.humidity_ratio + settled.mixed.fog
    mixed = (mixed * np.ones(shape[0] * shape[1])).reshape(shape)

    def taken(ratio: Array, other: Array) -> Array:
        rows = flow * (mixed - ratio)
        return np.vstack([rows, flow[:1] * (mixed[:1] - other)])

    supply_t, rh = blocks.get("shown.supply_t")[index], blocks.get("supply.rh")[index]
    shown = blocks.get("supply.dew_point")[index]
    if np.isfinite(shown).any():
        return taken(_saturated(shown, pressure), _saturated(shown + 0.4, pressure)), "supply humidity"
    if np.isfinite(supply_t + rh).any():
        t = np.where(np.isfinite(supply_t), supply_t, 20.0)
        lost = np.where(np.isfinite(supply_t + rh), 0.0, np.nan)
        share = np.clip(np.nan_to_num(rh), 0.02, 1.0)
        low = humidity_ratio(t, share, pressure) + lost
        high = humidity_ratio(t, np.minimum(share + HUMIDITY_SIGMA, 1.0), pressure) + lost
        return taken(low, high), "supply humidity"
    leaving = blocks.get("coil_leaving.t")[index]
    if np.isfinite(leaving).any():
        full = _saturated(leaving, pressure)
        wet, wetter = (np.minimum(full * r, mixed[0]) for r in (LEAVING_RH, LEAVING_RH + LEAVING_RH_SIGMA))
        on = blocks.called[index] if blocks.called is not None else np.ones(len(leaving))
        rows = taken(wet, wetter)
        return np.where(on > 0.5, np.maximum(rows, 0.0), 0.0 * rows), "coil"
    return None, ""


def _saturated(t: Array, pressure: float) -> Array:
    there = np.isfinite(t)
    out = np.full(len(t), np.nan)
    out[there] = saturated_humidity_ratio(t[there], pressure)
    return out


@dataclass(frozen=True)
class Verdict:
    """Whose matter moisture is over some half hours, and what says so.

    ``whose`` is ``unit``, ``building``, ``balance`` (both as they should), ``as_cold`` (nothing measures what
    is taken out, but the supply air is as cold as a healthy unit leaves it) or ``unknown``. ``supply_off`` is
    how much warmer the supply air was than a healthy unit's [K], with reheat shut if ``reheat_shut``.
    """

    whose: str
    weather: Estimate
    indoors: Estimate
    healthy: Estimate
    measured: Estimate | None
    supply_off: Estimate | None
    reheat_shut: bool


def judged(m: Moisture, where: Mask) -> Verdict:
    """Say whose matter it is: does the unit take out what a healthy one would, and does more come in than the
    document says?

    Parameters
    ----------
    m : Moisture
    where : array of bool, (blocks,)
        The half hours in question.

    Returns
    -------
    Verdict

    Notes
    -----
    Where the removal is measured, it is set against a healthy unit's at the same calls. Where it is not, the
    supply temperature stands for it: a coil that leaves the air as cold as it should leaves it about as dry.
    Warmer supply air is the unit's matter for certain only in hours with reheat shut, and air as cold as it
    should be is a hint, no proof: reheat can hide a weak coil.
    """
    weather, indoors = m.over(m.weather, where), m.over(m.indoors, where)
    healthy = m.over(m.healthy, where)
    brought = m.over(m.weather + m.indoors, where)
    measured = m.over(m.measured, where) if m.measured is not None else None
    off, shut = _supply_off(m, where)
    whose = "unknown"
    if measured is not None and np.isfinite(measured.value):
        # flows are the same in both: their spread cancels but for what the coil does of its own
        apart = np.hypot(healthy.sigma, measured.sigma)
        if healthy.value - measured.value > CLEAR * apart and healthy.value > RATIO * measured.value:
            whose = "unit"
        else:
            more = measured.value - brought.value > CLEAR * np.hypot(measured.sigma, brought.sigma)
            whose = "building" if more and measured.value > RATIO * brought.value else "balance"
    elif off is not None and off.value > CLEAR * off.sigma and shut:
        whose = "unit"
    elif off is not None and abs(off.value) <= AGREES * off.sigma and off.sigma <= SHARP:
        whose = "as_cold"
    return Verdict(whose, weather, indoors, healthy, measured, off, shut)


def _supply_off(m: Moisture, where: Mask) -> tuple[Estimate | None, bool]:
    """How much warmer the supply air was than a healthy unit's, with reheat shut if there are such hours."""
    ready = where & np.isfinite(m.seen) & (m.called >= LEAST_COOLING)
    shut = ready & (m.command <= SHUT)
    is_shut = int(shut.sum()) >= LEAST_BLOCKS
    chosen = shut if is_shut else ready
    if int(chosen.sum()) < LEAST_BLOCKS:
        return None, False
    off = m.over(m.seen[None, :] - m.supply, chosen)
    return Estimate(off.value, float(np.hypot(off.sigma, LOGGED_T_SIGMA))), is_shut
