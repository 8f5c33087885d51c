"""Heat and water of the machine close to 1e-6, over every kind of unit, random states and causes.

Each balance is struck here from flows, temperatures and humidity ratios that the machine reports, with the
specific heats of its air and water, and not by the lines that computed them.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from units import UNITS, conditions, healthy, machine, random_conditions, random_machine, with_cause
from wringout.catalogue.causes import applies, causes
from wringout.machine.acts import ACTS, variants
from wringout.machine.design import Design
from wringout.machine.parameters import Array
from wringout.machine.steady import Settled, read_points, settle
from wringout.physics.valve import equal_percentage

ROWS = 12
CLOSE = 1e-6
WATER = 4186.0


@cache
def design_of(kind: str) -> Design:
    return machine(UNITS[kind])


Draw = tuple[str, int, tuple[str, ...]]


@st.composite
def machines(draw: st.DrawFn) -> Draw:
    """A kind of unit, a seed for machines and weather, and up to three causes."""
    kind = draw(st.sampled_from(sorted(UNITS)))
    unit = design_of(kind).unit
    possible = sorted(id for id in causes() if applies(id, unit) and variants(id, unit))
    at_work = draw(st.lists(st.sampled_from(possible), max_size=3, unique=True))
    return kind, draw(st.integers(0, 2**31)), tuple(at_work)


def settled(draw: Draw) -> Settled:
    """Some healthy machines of a kind under any weather and call, with the causes at work."""
    kind, seed, at_work = draw
    d = design_of(kind)
    g = np.random.default_rng(seed)
    values = random_machine(d, ROWS, g)
    for cause in at_work:
        ways = variants(cause, d.unit)
        severities = [g.random(ROWS) for _ in range(ACTS[cause].severities)]
        values = with_cause(d, values, cause, severities, ways[int(g.integers(len(ways)))])
    return settle(d, values, random_conditions(d, ROWS, g))


def air_heat(t: Array, w: Array) -> Array:
    """Enthalpy of moist air over dry air and liquid water of 0 degC [J/kg]."""
    return 1006.0 * t + w * (2_501_000.0 + 1860.0 * t)


def assert_closed(left: Array, right: Array, scale: Array | float) -> None:
    assert np.all(np.abs(left - right) <= CLOSE * np.maximum(scale, 1e-12)), np.abs(left - right) / scale


MANY = settings(max_examples=150, deadline=None)


@MANY
@given(machines())
def test_mixing_books_heat_and_water(draw: Draw) -> None:
    s = settled(draw)
    c, m = s.conditions, s.mixed
    fresh, back = s.flow.outdoor, s.flow.supply - s.flow.outdoor
    water_in = fresh * m.outdoor_w + back * m.space_w
    assert_closed(water_in, s.flow.supply * (m.humidity_ratio + m.fog), water_in)
    heat_in = fresh * air_heat(c.outdoor_t, m.outdoor_w) + back * air_heat(m.return_t, m.space_w)
    heat_out = s.flow.supply * (air_heat(m.dry_bulb, m.humidity_ratio) + m.fog * WATER * m.dry_bulb)
    assert_closed(heat_in, heat_out, np.abs(heat_in))


@MANY
@given(machines())
def test_the_cooling_coil_books_heat_and_water(draw: Draw) -> None:
    s = settled(draw)
    m, cooling = s.mixed, s.cooling
    air = cooling.air
    lost = s.flow.supply * (
        air_heat(m.dry_bulb, m.humidity_ratio) - air_heat(air.dry_bulb, air.humidity_ratio)
    )
    # what a coil standing still gives back to the air never went down the drain
    drained = air.condensate + cooling.evaporated
    liquid = WATER * (drained * air.surface - cooling.evaporated * cooling.evaporated_t)
    assert_closed(lost, air.total + liquid, s.flow.supply * 10_000.0)
    water_lost = s.flow.supply * (m.humidity_ratio - air.humidity_ratio)
    assert_closed(water_lost, air.condensate, s.flow.supply * 0.005)


@MANY
@given(machines())
def test_chilled_water_takes_up_what_the_coil_gives_and_condensers_what_compressors_take(draw: Draw) -> None:
    s = settled(draw)
    d, p, cooling = s.design, s.values, s.cooling
    if d.dx:
        # a compressor's work comes on top of the cooling
        assert_closed(cooling.rejected, 1.25 * cooling.air.total, d.cooling_total)
        return
    phi = np.maximum(equal_percentage(cooling.stem), 0.006)
    opened = 1.0 / np.sqrt(0.5 + 0.5 / phi**2)  # at an authority of one half
    rate = d.chilled_capacity_rate * p["chilled_flow_ratio"] * opened
    assert_closed(rate * (cooling.water_out - cooling.water_in), cooling.air.total, d.cooling_total)


@MANY
@given(machines())
def test_supply_air_is_what_left_the_coil_and_what_reheat_and_fan_brought(draw: Draw) -> None:
    s = settled(draw)
    air = s.cooling.air
    assert_closed(s.supply_w, air.humidity_ratio, air.humidity_ratio)
    before = s.flow.supply * air_heat(air.dry_bulb, air.humidity_ratio)
    after = s.flow.supply * air_heat(s.supply_t, s.supply_w)
    fan = s.flow.supply * (1006.0 + 1860.0 * s.supply_w) * s.fan_rise
    assert_closed(after, before + s.reheat.heat + fan, np.abs(before))


@MANY
@given(machines())
def test_the_loop_gives_to_the_air_what_the_source_gave_it_less_the_pipes(draw: Draw) -> None:
    s = settled(draw)
    w, loop = s.reheat.water, s.design.loop
    if w is None or loop is None:
        assert np.all(s.reheat.heat <= np.maximum(s.cooling.rejected, 0.0) * (1 + CLOSE)), (
            "gas gives what it has"
        )
        return
    per_flow = loop.density * loop.specific_heat
    scale = np.maximum(np.abs(w.source_heat), 1000.0)
    assert_closed(w.coil * per_flow * (w.coil_in - w.coil_out), s.reheat.heat, scale)
    assert_closed(w.main * per_flow * (w.source_out - w.source_in), w.source_heat, scale)
    assert_closed(w.source_heat, s.reheat.heat + w.pipe_loss, scale)
    # the pipes' loss by their conductance and their own mean differences, where water runs at all
    running = w.main > 1e-6
    main = np.where(running, w.main, 1.0) * per_flow
    mixed = w.coil_in - s.reheat.heat / main
    around = s.conditions.space_t
    lost = np.zeros(ROWS)
    for start, end in ((w.source_out, w.coil_in), (mixed, w.source_in)):
        # exponential cooling: the mean difference is the log mean
        ratio = (start - around) / np.where(np.abs(end - around) > 1e-6, end - around, np.nan)
        mean = np.where(np.abs(ratio - 1.0) > 1e-9, (start - end) / np.log(ratio), start - around)
        lost = lost + loop.pipe_conductance * mean
    known = running & np.isfinite(lost)
    assert_closed(lost[known], w.pipe_loss[known], scale[known])


@MANY
@given(machines())
def test_recovered_heat_is_what_the_gas_lost_and_what_the_plates_pass(draw: Draw) -> None:
    s = settled(draw)
    d, p, w, loop = s.design, s.values, s.reheat.water, s.design.loop
    if not d.reclaim or d.gas_condenses or w is None or loop is None:
        return
    arriving = d.gas_in + p["gas_in_shift"]
    arriving = arriving - p["upstream_share"] * (arriving - d.gas_out)
    gas = w.demand * d.gas_capacity_rate
    scale = np.maximum(w.source_heat, 1000.0)
    assert_closed(gas * (arriving - w.gas_out), w.source_heat, scale)
    # and by the conductance of the plates at these flows, over the log mean of both ends
    films = (
        0.85 * np.maximum(w.demand, 1e-4) ** -0.8 + 0.15 * np.maximum(w.main / loop.main_flow, 1e-3) ** -0.8
    )
    plates = d.exchanger_conductance * p["exchanger_ratio"] * p["fouling_ratio"] / films
    warm, cold = arriving - w.source_out, w.gas_out - w.source_in
    busy = (w.source_heat > 100.0) & (cold > 1e-4) & (warm > 1e-4) & (np.abs(warm - cold) > 1e-3 * cold)
    warm, cold = np.where(busy, warm, 2.0), np.where(busy, cold, 1.0)
    passed = plates * (warm - cold) / np.log(warm / cold)
    # the gas's flow is found by a few secants, so this holds to less than the heat, which is booked exactly
    assert np.all(np.abs(passed - w.source_heat)[busy] <= 1e-3 * scale[busy])
    offered = 1.3 * p["plant_ratio"] * np.minimum(p["gas_share"], 2.0)
    offered = np.where(p["gas_share"] < 1.0, p["gas_share"], offered) * p["diverted_share"]
    assert np.all(w.demand <= offered * (1.0 + 1e-5)), "no more gas than the plant has"


@MANY
@given(machines())
def test_a_gas_that_condenses_gives_what_its_plates_or_its_plant_allow_and_fills_the_rest_with_liquid(
    draw: Draw,
) -> None:
    s = settled(draw)
    d, p, w, loop = s.design, s.values, s.reheat.water, s.design.loop
    if not d.gas_condenses or w is None or loop is None:
        return
    np.maximum(w.main, 1e-12) * loop.density * loop.specific_heat
    condensing = d.gas_condensing + p["condensing_gas_shift"]
    scale = np.maximum(w.source_heat, 1000.0)
    plant = np.where(p["gas_share"] < 1.0, p["gas_share"], 1.3 * p["plant_ratio"])
    plant = d.source_heat * plant * p["diverted_share"] * (1.0 - p["upstream_share"])
    assert np.all(w.source_heat <= plant + 1e-5 * scale), "no more heat than the plant has"
    films = 0.5 + 0.5 * np.maximum(w.main / loop.main_flow, 1e-3) ** -0.8
    plates = d.exchanger_conductance * p["exchanger_ratio"] * p["fouling_ratio"] / films
    cold = condensing - w.source_in
    busy = (w.source_heat > 100.0) & (cold > 0.01)
    warm = np.where(busy, condensing - w.source_out, 1.0)
    assert np.all(warm[busy] > -1e-6), "water comes no nearer than condensing temperature"
    cold = np.where(busy, cold, 2.0)
    # plates that condense (log mean to one temperature), and those that hold liquid: together all of them
    condense = w.source_heat * np.log(cold / np.maximum(warm, 1e-9)) / np.maximum(cold - warm, 1e-9)
    assert np.all((condense <= plates * (1.0 + 1e-6))[busy])
    liquid = np.log(cold / np.maximum(w.gas_out - w.source_in, 1e-12 * cold)) * w.source_heat * 0.009
    full = busy & (w.gas_out - w.source_in > 1e-6)
    assert np.all(np.abs(condense + liquid - plates)[full] <= 1e-5 * plates[full])
    low, high = np.minimum(w.source_in, condensing), np.maximum(w.source_in, condensing)
    assert np.all((w.gas_out >= low - 1e-6) & (w.gas_out <= high + 1e-6))


@MANY
@given(machines())
def test_the_main_carries_what_coil_and_bypass_carry_and_drops_go_round(draw: Draw) -> None:
    s = settled(draw)
    p, w, loop = s.values, s.reheat.water, s.design.loop
    if w is None or loop is None:
        return
    through_bypass = w.main - w.coil
    assert np.all(through_bypass >= -1e-12)
    # round the loop: the pump's pressure is spent in main, strainer and the legs
    pressure = w.head * loop.density * 9.80665
    legs = pressure - loop.main_resistance * p["main_resistance_ratio"] * w.main**2 - w.strainer_drop
    scale = np.maximum(pressure, 1.0)
    assert np.all(legs >= -CLOSE * scale)
    hydraulic = ("coil_share", "bypass_flow_share")
    if all(np.all(np.isnan(p[name]) | (p[name] == 1.0)) for name in hydraulic):
        bypass = loop.bypass_resistance * p["bypass_resistance_ratio"]
        if s.design.three_way:
            port = np.maximum(1.0 - s.at.position, 2e-3)
            bypass = bypass + loop.valve_resistance * p["valve_resistance_ratio"] / port**2
        assert_closed(bypass * through_bypass**2, legs, scale)
    curve = p["pump_ratio"] * p["pump_head_ratio"]
    given = curve * (loop.shutoff_pressure - loop.pump_resistance * w.main**2)
    assert_closed(given, pressure, np.maximum(curve * loop.shutoff_pressure, 1.0))


@MANY
@given(machines())
def test_nothing_is_that_cannot_be(draw: Draw) -> None:
    s = settled(draw)
    points = read_points(s)
    for name, value in points.items():
        assert value.shape == (ROWS,), name
        assert np.all(np.isfinite(value)), name
        if name.endswith(
            (".rh", ".airflow", ".drop", ".current", ".rate", "flow", ".head", ".stem", ".signal")
        ):
            assert np.all(value >= 0.0), name
        if name.endswith(".rh"):
            assert np.all(value <= 1.04), (name, value)
    assert np.all(s.flow.outdoor <= s.flow.supply)
    assert np.all((s.at.stem >= 0.0) & (s.at.stem <= 1.0))
    assert np.all((s.at.position >= 0.0) & (s.at.position <= 1.0))
    assert np.all(s.cooling.air.surface <= s.mixed.dry_bulb + 1e-9)
    assert np.all(s.mixed.fog >= 0.0)
    assert np.all(s.cooling.evaporated >= 0.0)
    for load, running in zip(s.cooling.load, s.cooling.running, strict=True):
        assert np.all((load >= 0.0) & (running >= 0.0) & (running <= 1.0))
        assert np.all((running > 0.0) | (load == 0.0)), "a stage that stands still moves nothing"
    w = s.reheat.water
    if w is not None:
        cold = np.minimum(s.cooling.air.dry_bulb, w.coil_in)
        warm = np.maximum(s.cooling.air.dry_bulb, w.coil_in)
        assert np.all((w.coil_out >= cold - 1e-6) & (w.coil_out <= warm + 1e-6)), "between water and air"
        assert np.all(w.source_heat >= -1e-6)
        assert np.all(w.source_out >= w.source_in - 1e-9)
    else:
        assert np.all(s.reheat.heat >= 0.0)


def test_the_draws_reach_every_kind_of_unit_and_every_corner() -> None:
    """The property tests mean little if no row had fog, an idle wet coil, a dry coil or a wet one."""
    seen = {"fog": False, "rewetting": False, "dry coil": False, "wet coil": False}
    for kind in UNITS:
        d = design_of(kind)
        g = np.random.default_rng(17)
        s = settle(d, random_machine(d, 20_000, g), random_conditions(d, 20_000, g))
        seen["fog"] |= bool(np.any(s.mixed.fog > 1e-6))
        seen["rewetting"] |= bool(np.any(s.cooling.evaporated > 1e-6))
        seen["dry coil"] |= bool(np.any((s.cooling.air.total > 500.0) & (s.cooling.air.condensate < 1e-9)))
        seen["wet coil"] |= bool(np.any(s.cooling.air.condensate > 1e-4))
    assert all(seen.values()), seen


@pytest.mark.parametrize("kind", UNITS)
def test_cold_room_air_and_warm_wet_outdoor_air_mix_to_saturated_air_and_droplets(kind: str) -> None:
    d = design_of(kind)
    c = conditions(d, outdoor_t=31.0, outdoor_dew_point=27.0, space_t=6.0, space_dew_point=4.5)
    s = settle(d, with_cause(d, healthy(d), "outdoor-damper-open", [np.full(1, 0.4)]), c)
    foggy = s.mixed.fog > 1e-5
    assert foggy.all()
    np.testing.assert_allclose(read_points(s)["mixed.rh"], 1.0, atol=1e-6)
    drained = s.cooling.air.condensate + s.flow.supply * s.mixed.fog
    np.testing.assert_allclose(read_points(s)["condensate.rate"], drained)
