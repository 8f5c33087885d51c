"""What a healthy machine would move under the conditions found, as samples: the model's side."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from wringout.ledger.conditions import draw_conditions, even_normals
from wringout.ledger.readings import Seen
from wringout.ledger.transfer_laws import air_heat, air_moisture, dry_air_flow, latent_heat
from wringout.machine.air_side import Airflows, Mixed, cool
from wringout.machine.design import Design
from wringout.machine.known import KnownMachine, healthy
from wringout.machine.parameters import Array, Spread, neutral, spreads
from wringout.machine.room_side import room_balance
from wringout.machine.steady import Settled, read_points, settle
from wringout.machine.water_side import hot_gas, water
from wringout.physics.moist_air import dry_bulb_from_enthalpy, enthalpy, relative_humidity

__all__ = ["IDLE_CURRENT", "Expected", "booked", "expect", "filled"]

# how far right parameters still miss a real machine (judgement): equations of coils and mixing boxes
HEAT_ERROR = 0.05  # of the amount
RATING_ERROR = 0.01  # of the part's rating, so that an idle part is not expected to the last watt
COIL_T_ERROR = 0.6  # K
MIXED_T_ERROR = 0.4  # K
MOISTURE_ERROR = 0.02  # of a humidity ratio
DRAWS = 64  # more columns of chance than readings, document and equations together ever take
PIPE_ERROR = 0.25  # of a pipe's conductance: insulation, fittings, where it runs; ESTIMATE
IDLE_CURRENT = 0.42  # of a modulating compressor's full current, unloaded
RATING_TO_NOW = 0.10  # of a cooling capacity taken from currents; ESTIMATE

# where the document itself is silent and a rule filled it, the parameter is known that much less
_FILLED = {
    "air.supply_airflow": "air_ratio",
    "air.outdoor_airflow": "outdoor_ratio",
    "air.supply_fan.heat_rise": "fan_heat_ratio",
    "air.supply_fan.current": "fan_current_ratio",
    "cooling.rated.total": "capacity_ratio",
    "cooling.rated.sensible": "cooling_coil_ratio",
    "reheat.rated.heat": "reheat_coil_ratio",
    "loop.pump_head": "pump_ratio",
    "loop.strainer_drop": "strainer_ratio",
    "space.moisture": "moisture_ratio",
    "space.infiltration": "infiltration_ratio",
}


@dataclass(frozen=True)
class Expected:
    """Samples of a healthy machine under the conditions found, by name, each (samples,) in SI.

    ``points``: readings that the conditions were drawn from. ``columns``: everything the machine moves or
    would show; under ``at hand`` what cooling coil and reheat would move with the air that was found to
    reach them.
    """

    points: dict[str, Array]
    columns: dict[str, Array]


def expect(
    design: Design,
    seen: Seen,
    state: str,
    rng: np.random.Generator,
    samples: int = 400,
    known: KnownMachine | None = None,
) -> Expected:
    """Let healthy machines settle under the conditions found.

    Parameters
    ----------
    design : Design
    seen : Seen
    state : str
        Name of the operating state.
    rng : numpy.random.Generator
    samples : int
        At least 200.
    known : KnownMachine, optional
        What earlier visits told of this machine; without it, the machines are any of its kind.

    Returns
    -------
    Expected
    """
    rows = spreads(design)
    z = even_normals(rng, samples, len(rows) + DRAWS)
    normals = iter(z[:, len(rows) :].T)
    values = _machines(design, rows, z[:, : len(rows)], normals, known)
    drawn = draw_conditions(design, seen, state, values, normals)
    found = values if drawn.return_rise is None else values | {"return_rise": drawn.return_rise}
    s = settle(design, found, drawn.conditions)
    columns = _states(s, normals) | _moved(s, normals) | _gains(s, normals)
    columns |= {f"parameter {row.name}": values[row.name] for row in rows}
    columns["parameter pipe"] = np.exp(PIPE_ERROR * next(normals))
    columns |= _capacity(s, normals)
    points = dict(drawn.points)
    for name, amount in _at_hand(s, seen, points, normals).items():
        columns[f"at hand {name}"] = amount * (1.0 + HEAT_ERROR * next(normals))
    return Expected(points, {name: column + np.zeros(samples) for name, column in columns.items()})


def _machines(
    design: Design, rows: tuple[Spread, ...], z: Array, normals: Iterator[Array], known: KnownMachine | None
) -> dict[str, Array]:
    doubt = filled(design)
    if known is not None:
        # the visits were read beside the usual spreads; what they told of a filled value takes its doubt
        # away, and goes together with what they told of others
        usual = {row.name: row.sigma for row in rows}
        known = known.beside({name: share / usual[name] for name, share in doubt.items()})
        return neutral(design) | healthy(rows, known).values(z)
    values = neutral(design) | healthy(rows).values(z)
    for name, share in doubt.items():
        values[name] = values[name] * np.exp(share * next(normals))
    return values


def filled(design: Design) -> dict[str, float]:
    """Give the doubt about parameters whose value in the document a rule filled in.

    Parameters
    ----------
    design : Design

    Returns
    -------
    dict of float, [-]
        By parameter, one standard deviation of its logarithm beside the usual spread.
    """
    has = {row.name for row in spreads(design)}
    found: dict[str, float] = {}
    for path, parameter in _FILLED.items():
        source = design.unit.provenance.get(path)
        if source is None or source.kind == "given" or source.sigma <= 0.0 or parameter not in has:
            continue
        value: object = design.unit
        for name in path.split("."):
            value = getattr(value, name)
        if isinstance(value, float) and value != 0.0:
            found[parameter] = min(source.sigma / abs(value), 1.0)
    return found


def _states(s: Settled, normals: Iterator[Array]) -> dict[str, Array]:
    """What a healthy machine would show where nothing was read, the error of our equations included."""
    coil_t = s.cooling.air.dry_bulb + COIL_T_ERROR * next(normals)
    mixed_t = s.mixed.dry_bulb + MIXED_T_ERROR * next(normals)
    supply_w = s.supply_w * (1.0 + MOISTURE_ERROR * next(normals))
    columns = {
        "supply flow": s.flow.supply,
        "outdoor flow": s.flow.outdoor,
        "outdoor t": s.conditions.outdoor_t,
        "outdoor w": s.mixed.outdoor_w,
        "space t": s.conditions.space_t,
        "space w": s.mixed.space_w,
        "return t": s.mixed.return_t,
        "mixed t": mixed_t,
        "mixed w": s.mixed.humidity_ratio + s.mixed.fog,
        "coil t": coil_t,
        "supply w": supply_w,
        "fan rise": s.fan_rise,
    }
    w = s.reheat.water
    if w is not None:
        columns |= {
            "loop flow": w.main,
            "coil flow": w.coil,
            "coil share": w.coil / np.maximum(w.main, 1e-9),
        }
    return columns


def booked(s: Settled) -> dict[str, Array]:
    """Book heat and moisture of every line of a settled machine.

    Parameters
    ----------
    s : Settled

    Returns
    -------
    dict of array, (samples,)
        Such as ``reheat heat`` [W] and ``latent moisture`` [kg/s]; NaN where an input of the machine is.

    Notes
    -----
    The air's whole change of enthalpy is booked: what the condensate carries down the drain is in ``total``.
    """
    m, c, w = s.flow.supply, s.cooling.air, s.reheat.water
    heat_in = enthalpy(s.conditions.outdoor_t, s.mixed.outdoor_w) - enthalpy(
        s.mixed.return_t, s.mixed.space_w
    )
    sensible = air_heat(m, c.dry_bulb, s.mixed.dry_bulb, c.humidity_ratio)
    # droplets that the mixture cannot hold drain with the rest
    water_out = air_moisture(m, c.humidity_ratio, s.mixed.humidity_ratio + s.mixed.fog)
    latent = latent_heat(water_out, s.mixed.dry_bulb)
    lines = {
        "outdoor heat": s.flow.outdoor * heat_in,
        "outdoor moisture": air_moisture(s.flow.outdoor, s.mixed.space_w, s.mixed.outdoor_w),
        "sensible heat": sensible,
        "latent heat": latent,
        "latent moisture": water_out,
        "total heat": sensible + latent,
        "reheat heat": s.reheat.heat,
        "fan heat": air_heat(m, np.zeros(1), s.fan_rise, s.supply_w),
        "room heat": air_heat(m, s.supply_t, s.conditions.space_t, s.supply_w),
        "room moisture": air_moisture(m, s.supply_w, s.mixed.space_w),
    }
    if w is not None:
        lines |= {"loop heat": w.pipe_loss, "source heat": w.source_heat}
    return lines


def _moved(s: Settled, normals: Iterator[Array]) -> dict[str, Array]:
    """The lines as expected, the error of our equations included."""
    d, unit = s.design, s.design.unit
    rating = {
        "outdoor heat": 0.2 * d.cooling_total,
        "sensible heat": unit.cooling.rated.sensible,
        "latent heat": 0.4 * d.cooling_total,
        "total heat": d.cooling_total,
        "reheat heat": unit.reheat.rated.heat,
        "fan heat": 0.0,
        "room heat": unit.cooling.rated.sensible,
        "loop heat": 0.02 * d.source_heat,
        "source heat": d.source_heat,
    }
    lines = booked(s)
    error = {
        name: HEAT_ERROR * np.abs(amount) * next(normals)
        + RATING_ERROR * rating.get(name, 0.0) * next(normals)
        for name, amount in lines.items()
        if name.endswith("heat")
    }
    columns = {name: lines[name] + error[name] for name in error}
    per_water = latent_heat(np.ones(1), s.mixed.dry_bulb)
    for name in ("outdoor moisture", "room moisture"):
        columns[name] = lines[name] * (1.0 + HEAT_ERROR * next(normals))
    columns["latent moisture"] = lines["latent moisture"] + error["latent heat"] / per_water
    return columns


def _gains(s: Settled, normals: Iterator[Array]) -> dict[str, Array]:
    """What the document says comes into the room, with what a room stores or sheds meanwhile."""
    balance = room_balance(s)
    moisture_kept = np.hypot(
        0.20 * np.maximum(np.abs(balance.moisture_gain), np.abs(balance.moisture_removed)),
        1.0e-4 * s.flow.supply,
    )
    heat_kept = np.hypot(0.15 * np.abs(balance.heat_removed), 1020.0 * s.flow.supply)
    return {
        "gained moisture": balance.moisture_gain + moisture_kept * next(normals),
        "gained heat": balance.heat_gain + heat_kept * next(normals),
    }


def _capacity(s: Settled, normals: Iterator[Array]) -> dict[str, Array]:
    """Cooling capacity now against the rating, for routes that know only how far a stage is loaded."""
    d = s.design
    if not d.dx:
        return {"valve to flow": np.exp(0.20 * next(normals))}
    given = sum(share * load for share, load in zip(d.stage_share, s.cooling.load, strict=True))
    total = booked(s)["total heat"] / d.cooling_total
    now = np.where(given > 0.05, total / np.maximum(given, 0.05), 1.0)
    columns = {"capacity now": now * np.exp(RATING_TO_NOW * next(normals))}
    points = read_points(s)
    for i, stage in enumerate(d.unit.cooling.stages):
        load = s.cooling.load[i]
        columns[f"stage load {i}"] = load
        full = stage.current * s.values[f"stage_current_ratio.{i}"] * turning(load, stage.modulating)
        amperes = points[f"stage.{stage.id}.current"]
        columns[f"current now {i}"] = np.where(amperes > 0.1 * stage.current, amperes / full, 1.0)
    return columns


def turning(load: Array, modulating: bool) -> Array:
    """Share of its current that a running compressor draws at a load: a modulating one idles at two fifths
    (common practice)."""
    return IDLE_CURRENT + (1.0 - IDLE_CURRENT) * load if modulating else np.ones_like(load)


def _at_hand(s: Settled, seen: Seen, points: dict[str, Array], normals: Iterator[Array]) -> dict[str, Array]:
    """Cooling coil and reheat once more, with the air that was found to reach them."""

    def found(point: str) -> Array | None:
        if point not in seen:
            return None
        if point not in points:
            points[point] = seen[point].value + seen[point].sigma * next(normals)
        return points[point]

    flow = s.flow
    airflow = found("supply.airflow")
    if airflow is not None:
        read = dry_air_flow(airflow, s.supply_t, s.supply_w, s.design.pressure)
        read = np.maximum(read, 0.02 * s.design.air_flow)
        flow = replace(
            flow,
            supply=read,
            outdoor=np.minimum(flow.outdoor, 0.98 * read),
            ratio=read / s.design.air_flow,
        )
    mixed_t, coil_t = found("mixed.t"), found("coil_leaving.t")
    result: dict[str, Array] = {}
    if airflow is not None or mixed_t is not None:
        mixed = _mixed(s, flow, mixed_t, found("mixed.rh"))
        cooling = cool(s.design, s.values, s.conditions, flow, mixed, s.gas_taken)
        again = replace(s, flow=flow, mixed=mixed, cooling=cooling)
        lines = booked(again)
        result |= {name: lines[name] for name in ("sensible heat", "latent moisture", "total heat")}
    if airflow is not None or coil_t is not None:
        onto = coil_t if coil_t is not None else s.cooling.air.dry_bulb
        result["reheat heat"] = _reheat_at_hand(s, flow, onto)
    return result


def _mixed(s: Settled, flow: Airflows, dry_bulb: Array | None, share: Array | None) -> Mixed:
    m = s.mixed
    part = flow.outdoor / flow.supply
    w = m.space_w + part * (m.outdoor_w - m.space_w)
    h_return = enthalpy(m.return_t, m.space_w)
    h = h_return + part * (enthalpy(s.conditions.outdoor_t, m.outdoor_w) - h_return)
    t = dry_bulb_from_enthalpy(h, w) if dry_bulb is None else dry_bulb
    if share is not None and dry_bulb is not None:
        w = w * np.clip(share / np.maximum(relative_humidity(t, w, s.design.pressure), 0.02), 0.3, 3.0)
    return replace(m, dry_bulb=t, humidity_ratio=w, fog=np.zeros_like(w))


def _reheat_at_hand(s: Settled, flow: Airflows, onto: Array) -> Array:
    if s.design.hot_water:
        return water(s.design, s.values, s.conditions, s.at, onto, flow.supply).heat
    over = (s.design.unit.cooling.condensing_over_outdoor or 14.0) * (1.0 - 0.3 * s.gas_taken)
    condensing = s.conditions.outdoor_t + over
    return hot_gas(
        s.design, s.values, s.conditions, s.at, onto, flow.supply, s.cooling.rejected, condensing
    ).heat
