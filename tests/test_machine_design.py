"""From schedule to machine: a machine built from its ratings meets them at their rating points."""

from __future__ import annotations

import numpy as np
import pytest

from units import (
    BOILER_DIVERTING,
    CHILLED_TWO_WAY,
    HOT_GAS,
    RECLAIM_MIXING,
    RECLAIM_UPSTREAM,
    UNITS,
    conditions,
    healthy,
    machine,
)
from wringout.documents.load import unit_from_text
from wringout.errors import InputError
from wringout.machine.design import counterflow_conductance, design
from wringout.machine.parameters import healthy_values, neutral, spreads
from wringout.machine.steady import read_points, settle
from wringout.physics.cooling_coil import chilled_water_coil
from wringout.physics.exchanger import counterflow
from wringout.physics.moist_air import dew_point, humidity_ratio_from_wet_bulb, standard_pressure

KINDS = pytest.mark.parametrize("kind", UNITS)
SEA_LEVEL = 101_325.0


def at_sea_level_without_outdoor_air(text: str) -> str:
    """The same unit as a rating room has it: nothing mixed in, at sea level."""
    lines = []
    for line in text.splitlines():
        if line.startswith("site:"):
            continue
        lines.append("  outdoor_airflow: 0 cfm" if line.strip().startswith("outdoor_airflow") else line)
    return "\n".join(lines)


@pytest.mark.parametrize("text", [RECLAIM_MIXING, BOILER_DIVERTING, HOT_GAS, CHILLED_TWO_WAY])
def test_cooling_meets_its_rated_total_and_sensible(text: str) -> None:
    d = machine(at_sea_level_without_outdoor_air(text))
    rated = d.unit.cooling.rated
    w = float(humidity_ratio_from_wet_bulb(rated.entering_t, rated.entering_wb, SEA_LEVEL))
    c = conditions(
        d,
        outdoor_t=rated.outdoor_t or 35.0,
        outdoor_dew_point=20.0,
        space_t=rated.entering_t,
        space_dew_point=float(dew_point(w, SEA_LEVEL)),
        command=0.0,
        modulation=1.0,
    )
    # ratings are for standard air: the fan of the rating room moves the mass that the rating names
    values = healthy(d) | {"air_ratio": np.full(1, d.cooling_rated_flow / d.air_flow)}
    s = settle(d, values, c)
    assert s.mixed.dry_bulb[0] == pytest.approx(rated.entering_t, abs=1e-6)
    assert s.mixed.humidity_ratio[0] == pytest.approx(w, rel=1e-5)
    # the rated total is what the air loses; condensate takes a little of it down the drain
    drained = s.cooling.air.condensate[0] * 4186.0 * s.cooling.air.surface[0]
    assert s.cooling.air.total[0] + drained == pytest.approx(rated.total, rel=0.015)
    assert s.cooling.air.sensible[0] == pytest.approx(rated.sensible, rel=0.025)


def test_chilled_water_leaves_its_coil_as_warm_as_the_rating_says() -> None:
    d = machine(CHILLED_TWO_WAY)
    rated = d.unit.cooling.rated
    w = float(humidity_ratio_from_wet_bulb(rated.entering_t, rated.entering_wb, SEA_LEVEL))
    one = np.ones(1)
    air, leaving = chilled_water_coil(
        rated.entering_t * one,
        w * one,
        d.cooling_rated_flow * one,
        d.chilled_in * one,
        d.chilled_capacity_rate * one,
        d.cooling_air_conductance * one,
        d.cooling_water_conductance * one,
        SEA_LEVEL,
    )
    assert air.total[0] == pytest.approx(rated.total, rel=1e-4)
    assert leaving[0] == pytest.approx(rated.water_out, abs=0.05)


@pytest.mark.parametrize("text", [RECLAIM_MIXING, RECLAIM_UPSTREAM, CHILLED_TWO_WAY, BOILER_DIVERTING])
def test_the_reheat_coil_meets_its_rating(text: str) -> None:
    d = machine(text)
    rated = d.unit.reheat.rated
    air_rate = d.reheat_rated_flow * 1012.0
    least, most = sorted((air_rate, d.reheat_water_rate))
    effectiveness = counterflow(d.reheat_conductance / least, least / most)
    heat = effectiveness * least * (rated.water_in - rated.entering_t)
    assert heat == pytest.approx(rated.heat, rel=1e-6)


def test_an_exchanger_whose_gas_glides_gives_its_design_heat_at_its_design_temperatures() -> None:
    d = machine(RECLAIM_MIXING)
    assert not d.gas_condenses
    assert d.loop is not None
    water = d.loop.main_flow * d.loop.density * d.loop.specific_heat
    returning = d.source_out - d.source_heat / water
    gas = d.source_heat / (d.gas_in - d.gas_out)
    least, most = sorted((gas, water))
    heat = counterflow(d.exchanger_conductance / least, least / most) * least * (d.gas_in - returning)
    assert heat == pytest.approx(d.source_heat, rel=1e-6)
    assert gas == pytest.approx(d.gas_capacity_rate)


def test_an_exchanger_whose_gas_condenses_gives_its_design_heat_at_one_temperature_above_the_water() -> None:
    d = machine(RECLAIM_UPSTREAM)
    assert d.gas_condenses
    assert d.loop is not None
    water = d.loop.main_flow * d.loop.density * d.loop.specific_heat
    returning = d.source_out - d.source_heat / water
    # a condensing stream: log mean of the differences to one temperature
    cold, warm = d.gas_condensing - returning, d.gas_condensing - d.source_out
    heat = d.exchanger_conductance * (cold - warm) / np.log(cold / warm)
    assert heat == pytest.approx(d.source_heat, rel=1e-6)
    assert d.gas_condensing > max(d.gas_out, d.source_out)


@pytest.mark.parametrize("text", [RECLAIM_MIXING, RECLAIM_UPSTREAM, CHILLED_TWO_WAY, BOILER_DIVERTING])
def test_the_loop_runs_at_its_design_flow_and_head(text: str) -> None:
    d = machine(text)
    p = read_points(settle(d, healthy(d), conditions(d, command=1.0)))
    loop = d.unit.loop
    assert loop is not None
    assert p["loop.flow"][0] == pytest.approx(loop.flow, rel=0.002)
    # head is written in metres of water, and shown in those of the loop's own liquid
    assert p["pump.head"][0] == pytest.approx(loop.pump_head, rel=0.002)
    assert p["strainer.drop"][0] == pytest.approx(loop.strainer_drop, rel=0.005)
    assert p["reheat.water_flow"][0] == pytest.approx(d.unit.reheat.rated.water_flow, rel=0.005)


@KINDS
def test_air_is_moved_at_its_design_volume(kind: str) -> None:
    """Where it is as warm as the fan of this schedule finds it; in the supply duct it is a little warmer."""
    d = machine(UNITS[kind])
    s = settle(d, healthy(d), conditions(d))
    p = read_points(s)
    assert p["supply.airflow"][0] == pytest.approx(d.unit.air.supply_airflow, rel=0.05)
    assert p["outdoor.airflow"][0] == pytest.approx(d.unit.air.outdoor_airflow, rel=0.03)
    assert p["filter.drop"][0] == pytest.approx(d.unit.air.filter_drop, rel=1e-6)
    assert p["fan.current"][0] == pytest.approx(d.unit.air.supply_fan.current, rel=1e-6)
    assert s.fan_rise[0] == pytest.approx(d.unit.air.supply_fan.heat_rise)


@KINDS
def test_air_is_thinner_where_the_site_is_high(kind: str) -> None:
    d = machine(UNITS[kind])
    assert d.pressure == pytest.approx(float(standard_pressure(d.unit.site.altitude)))
    assert d.air_flow / d.unit.air.supply_airflow == pytest.approx(1.2 * d.pressure / SEA_LEVEL, rel=0.04)


@pytest.mark.parametrize("text", [RECLAIM_MIXING, BOILER_DIVERTING, HOT_GAS])
def test_stages_draw_their_nameplate_current_at_the_rating(text: str) -> None:
    d = machine(text)
    rated = d.unit.cooling.rated
    c = conditions(d, outdoor_t=rated.outdoor_t, outdoor_dew_point=20.0, modulation=1.0, command=0.0)
    p = read_points(settle(d, healthy(d) | {"leakage_ratio": np.zeros(1)}, c))
    for stage in d.unit.cooling.stages:
        assert p[f"stage.{stage.id}.current"][0] == pytest.approx(stage.current, rel=0.005)
        over = d.unit.cooling.condensing_over_outdoor
        assert p[f"stage.{stage.id}.condensing_over_outdoor"][0] == pytest.approx(over, rel=0.005)
        assert p[f"stage.{stage.id}.superheat"][0] == pytest.approx(d.unit.cooling.superheat)


def test_hot_gas_gives_its_rated_heat_from_compressors_that_reject_enough() -> None:
    d = machine(HOT_GAS)
    rated = d.unit.reheat.rated
    assert rated.condensing_t is not None
    given = d.reheat_rated_flow * 1012.0 * (1.0 - np.exp(-d.hot_gas_effectiveness_units))
    assert given * (rated.condensing_t - rated.entering_t) == pytest.approx(rated.heat, rel=1e-6)


@pytest.mark.parametrize("ratio", [0.2, 0.7, 1.0])
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_a_conductance_gives_back_the_rating_that_it_was_made_from(ratio: float, share: float) -> None:
    hot, cold = 5000.0, 5000.0 * ratio
    heat = share * cold * 40.0
    conductance = counterflow_conductance(heat, 60.0, 20.0, hot, cold)
    assert float(counterflow(conductance / cold, ratio)) == pytest.approx(share, rel=1e-6)


def test_a_schedule_that_asks_a_little_more_than_any_exchanger_can_give_still_makes_a_machine() -> None:
    conductance = counterflow_conductance(1.02 * 1000.0 * 40.0, 60.0, 20.0, 3000.0, 1000.0)
    assert float(counterflow(conductance / 1000.0, 1.0 / 3.0)) == pytest.approx(0.97)


def test_a_rating_that_contradicts_itself_is_refused() -> None:
    text = RECLAIM_MIXING.replace("sensible: 17 ton", "sensible: 24.5 ton")
    with pytest.raises(InputError, match="more water than it can"):
        design(unit_from_text(text))
    text = RECLAIM_MIXING.replace("sensible: 17 ton", "sensible: 6 ton")
    with pytest.raises(InputError, match="never meets saturation"):
        design(unit_from_text(text))


@KINDS
def test_a_unit_has_spreads_of_just_what_it_has(kind: str) -> None:
    d = machine(UNITS[kind])
    names = {row.name for row in spreads(d)}
    assert len(names) == len(spreads(d))
    assert ("pump_ratio" in names) == d.hot_water
    assert ("plant_ratio" in names) == d.reclaim
    assert ("chilled_in_shift" in names) == (not d.dx)
    assert ("hot_gas_ratio" in names) == (not d.hot_water)
    assert sum(name.startswith("superheat_shift.") for name in names) == len(d.stage_share)
    for row in spreads(d):
        assert row.sigma > 0.0
        assert row.why
    assert not names & neutral(d).keys()


def test_healthy_ratios_are_positive_and_centred_on_the_schedule() -> None:
    d = machine(RECLAIM_MIXING)
    rows = spreads(d)
    z = np.random.default_rng(1).standard_normal((20_000, len(rows)))
    for row in rows:
        values = healthy_values(rows, z)[row.name]
        if row.kind == "ratio":
            assert np.all(values > 0.0)
            assert np.median(values) == pytest.approx(1.0, abs=0.02)
            assert np.std(np.log(values)) == pytest.approx(row.sigma, rel=0.03)
        else:
            assert np.median(values) == pytest.approx(0.0, abs=0.03 * row.sigma)
            assert np.std(values) == pytest.approx(row.sigma, rel=0.03)
    assert np.isnan(healthy_values(rows, np.full((1, len(rows)), np.nan))[rows[0].name]).all()
