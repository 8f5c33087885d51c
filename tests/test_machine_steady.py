"""The settled machine: every test point, rows alone and together, what is asked and what follows."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from units import (
    BOILER_DIVERTING,
    CHILLED_TWO_WAY,
    HOT_GAS,
    RECLAIM_MIXING,
    UNITS,
    conditions,
    healthy,
    machine,
    most_stages,
    random_conditions,
    random_machine,
)
from wringout.catalogue.points import point, points_of
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design
from wringout.machine.parameters import Array
from wringout.machine.steady import read_points, settle

KINDS = pytest.mark.parametrize("kind", UNITS)
# what control decides, not the machine: a condition of the visit
LEFT_TO_CONTROL = {"shown.dehumidifying"}


def read(d: Design, c: Conditions, values: dict[str, Array] | None = None) -> dict[str, Array]:
    return read_points(settle(d, healthy(d) if values is None else values, c))


def only(d: Design, c: Conditions, name: str, values: dict[str, Array] | None = None) -> float:
    found = read(d, c, values)[name]
    assert found.shape == (1,)
    return float(found[0])


# ---------------------------------------------------------------------------------- points and shapes


@KINDS
def test_the_machine_has_every_point_of_the_unit_and_no_other(kind: str) -> None:
    d = machine(UNITS[kind])
    points = read(d, conditions(d))
    assert set(points) == set(points_of(d.unit)) - LEFT_TO_CONTROL


@KINDS
def test_a_healthy_unit_reads_within_what_each_point_can_read(kind: str) -> None:
    d = machine(UNITS[kind])
    g = np.random.default_rng(8)
    points = read(d, random_conditions(d, 500, g), random_machine(d, 500, g))
    for name, values in points.items():
        entry = point(name)
        # over-saturated air behind a coil is the one thing that leaves the catalogue's limits
        high = entry.high if not name.endswith(".rh") else 1.04
        assert np.all((values >= entry.low) & (values <= high)), (name, values.min(), values.max())


def of_row(value: Array, i: int) -> Array:
    """One row's entry, or the one entry of all rows."""
    return value[i : i + 1] if value.size > 1 else value


@KINDS
def test_rows_together_are_rows_alone(kind: str) -> None:
    d = machine(UNITS[kind])
    g = np.random.default_rng(2)
    values, c = random_machine(d, 9, g), random_conditions(d, 9, g)
    together = read(d, c, values)
    for i in range(9):
        row = {name: of_row(value, i) for name, value in values.items()}
        alone = Conditions(*(of_row(getattr(c, f.name), i) for f in fields(c)))
        for name, value in read(d, alone, row).items():
            assert value[0] == pytest.approx(together[name][i], rel=1e-9, abs=1e-9), name


@KINDS
def test_one_weather_for_all_rows_is_that_weather_in_every_row(kind: str) -> None:
    d = machine(UNITS[kind])
    values = random_machine(d, 5, np.random.default_rng(3))
    c = conditions(d, command=0.6, rewetting=0.4, stages=1.0)
    spelt_out = Conditions(*(np.full(5, getattr(c, f.name)[0]) for f in fields(c)))
    one, many = read(d, c, values), read(d, spelt_out, values)
    assert one.keys() == many.keys()
    for name in one:
        np.testing.assert_allclose(one[name], many[name], rtol=1e-12, err_msg=name)
        assert one[name].shape == (5,), name


@KINDS
def test_one_machine_in_many_weathers(kind: str) -> None:
    d = machine(UNITS[kind])
    points = read(d, random_conditions(d, 6, np.random.default_rng(4)))
    for name, value in points.items():
        assert value.shape == (6,), name


@KINDS
def test_a_hundred_thousand_rows_in_one_call(kind: str) -> None:
    d = machine(UNITS[kind])
    g = np.random.default_rng(5)
    points = read(d, random_conditions(d, 100_000, g), random_machine(d, 100_000, g))
    for name, value in points.items():
        assert value.shape == (100_000,), name
        assert np.isfinite(value).all(), name


@KINDS
@pytest.mark.parametrize("name", ["outdoor_t", "outdoor_dew_point", "space_t", "space_dew_point"])
def test_weather_that_is_not_known_is_not_made_up(kind: str, name: str) -> None:
    d = machine(UNITS[kind])
    values = random_machine(d, 3, np.random.default_rng(6))
    c = random_conditions(d, 3, np.random.default_rng(7))
    spoilt = getattr(c, name).copy()
    spoilt[1] = np.nan
    supply = read(d, replace(c, **{name: spoilt}), values)["supply.t"]
    if name == "outdoor_t" or "dew" in name or d.hot_water:
        np.testing.assert_array_equal(np.isnan(supply), [False, True, False])


# ---------------------------------------------------------------------------------- what follows what


@KINDS
def test_the_more_reheat_is_asked_for_the_warmer_the_supply_air(kind: str) -> None:
    d = machine(UNITS[kind])
    # hot gas comes from the compressors, so that cooling falls a little as gas is taken: supply still warms
    supply = [only(d, conditions(d, command=x), "supply.t") for x in np.linspace(0.0, 1.0, 9)]
    assert np.all(np.diff(supply) > 0.0)
    assert supply[-1] - supply[0] > 8.0


@KINDS
def test_the_more_cooling_is_called_the_colder_and_drier_the_air_behind_the_coil(kind: str) -> None:
    d = machine(UNITS[kind])
    called = np.arange(most_stages(d) + 1.0)
    off_coil = [only(d, conditions(d, stages=x, modulation=1.0), "coil_leaving.t") for x in called]
    drained = [only(d, conditions(d, stages=x, modulation=1.0), "condensate.rate") for x in called]
    assert np.all(np.diff(off_coil) < 0.0)
    assert drained[0] < 1e-6
    assert np.all(np.diff(drained) > 0.0)


@KINDS
def test_with_cooling_forced_off_the_air_leaves_the_coil_as_it_came(kind: str) -> None:
    d = machine(UNITS[kind])
    points = read(d, conditions(d, stages=0.0, modulation=0.0, command=0.0))
    near = 1.0 if d.dx else 1.5  # a shut chilled-water valve still passes a little
    assert points["coil_leaving.t"][0] == pytest.approx(points["mixed.t"][0], abs=1e-6 if d.dx else near)
    for name, value in points.items():
        if name.startswith("stage.") and name.endswith(".current"):
            assert value[0] == 0.0
    rise = d.unit.air.supply_fan.heat_rise
    assert points["supply.t"][0] == pytest.approx(points["coil_leaving.t"][0] + rise, abs=0.8)


@KINDS
def test_a_coil_standing_still_while_wet_cools_and_wets_the_air(kind: str) -> None:
    d = machine(UNITS[kind])
    dry = read(d, conditions(d, stages=0.0, modulation=0.0, command=0.0))
    wet = read(d, conditions(d, stages=0.0, modulation=0.0, command=0.0, rewetting=0.7))
    assert wet["coil_leaving.t"] < dry["coil_leaving.t"] - 0.5
    assert wet["supply.rh"] > dry["supply.rh"]
    assert wet["condensate.rate"] == 0.0


def test_stages_come_on_in_their_order() -> None:
    d = machine(RECLAIM_MIXING)
    for called, running in ((0, "---"), (1, "k--"), (2, "kk-"), (3, "kkk")):
        points = read(d, conditions(d, stages=float(called)))
        seen = "".join("k" if points[f"stage.{id}.current"][0] > 1.0 else "-" for id in ("k1", "k2", "k3"))
        assert seen == running


def test_the_modulating_stage_draws_less_as_it_is_asked_for_less() -> None:
    d = machine(RECLAIM_MIXING)
    current = [only(d, conditions(d, modulation=x), "stage.k1.current") for x in (0.1, 0.4, 0.7, 1.0)]
    assert np.all(np.diff(current) > 0.0) or current[0] == current[1]
    steady = [only(d, conditions(d, modulation=x), "stage.k2.current") for x in (0.4, 1.0)]
    assert steady[0] == pytest.approx(steady[1])


def test_warm_outdoor_air_raises_current_and_takes_capacity() -> None:
    d = machine(BOILER_DIVERTING)
    cool, warm = (
        read(d, conditions(d, outdoor_t=t, outdoor_dew_point=15.0, stages=2.0)) for t in (24.0, 34.0)
    )
    assert warm["stage.lead.current"] > 1.06 * cool["stage.lead.current"]
    assert warm["coil_leaving.t"] > cool["coil_leaving.t"]


# ---------------------------------------------------------------------------------- signal and valve


@pytest.mark.parametrize(
    ("text", "shut", "half", "full"),
    [(RECLAIM_MIXING, 2.0, 6.0, 10.0), (CHILLED_TWO_WAY, 0.0, 5.0, 10.0), (BOILER_DIVERTING, 10.0, 6.0, 2.0)],
)
def test_the_signal_follows_the_command_across_the_span_of_the_document(
    text: str, shut: float, half: float, full: float
) -> None:
    """The last is 4..20 mA across 500 ohm on an actuator that opens the coil at the low end, by design."""
    d = machine(text)
    for command, volts in ((0.0, shut), (0.5, half), (1.0, full)):
        points = read(d, conditions(d, command=command))
        assert points["reheat.signal"][0] == pytest.approx(volts)
        assert points["reheat.stem"][0] == pytest.approx(command)
        assert points["shown.reheat_command"][0] == command


@pytest.mark.parametrize("text", [RECLAIM_MIXING, BOILER_DIVERTING])
def test_a_three_way_valve_keeps_the_main_flowing(text: str) -> None:
    """A balanced bypass passes what the coil leg passes; in between the ports together never stop it."""
    d = machine(text)
    main = np.array([only(d, conditions(d, command=x), "loop.flow") for x in np.linspace(0.0, 1.0, 11)])
    coil = np.array(
        [only(d, conditions(d, command=x), "reheat.water_flow") for x in np.linspace(0.0, 1.0, 11)]
    )
    assert np.all(main > 0.75 * main[-1])
    assert np.all(main < 1.15 * main[-1])
    assert main[0] == pytest.approx(main[-1], rel=0.03)
    assert np.all(np.diff(coil) > 0.0)
    assert coil[0] < 0.05 * coil[-1]
    assert coil[-1] == pytest.approx(main[-1], rel=0.01)


def test_a_two_way_valve_chokes_the_main_down_to_its_small_bypass() -> None:
    d = machine(CHILLED_TWO_WAY)
    shut, full = (read(d, conditions(d, command=x)) for x in (0.0, 1.0))
    assert full["loop.flow"][0] == pytest.approx(d.unit.loop.flow, rel=0.01)
    assert shut["loop.flow"] < 0.35 * full["loop.flow"]
    assert shut["pump.head"] > full["pump.head"]


def test_hot_gas_reheat_eases_the_condensers() -> None:
    d = machine(HOT_GAS)
    name = "stage.c2.condensing_over_outdoor"
    assert only(d, conditions(d, command=1.0), name) < only(d, conditions(d, command=0.0), name) - 2.0


def test_hot_gas_reheat_needs_a_running_stage() -> None:
    d = machine(HOT_GAS)
    assert settle(d, healthy(d), conditions(d, stages=0.0, command=1.0)).reheat.heat[0] < 1.0


def test_the_source_holds_its_leaving_water_while_it_can() -> None:
    d = machine(BOILER_DIVERTING)
    for command in (0.1, 0.5, 1.0):
        leaving = only(d, conditions(d, command=command), "source.water_out")
        assert leaving == pytest.approx(d.unit.source.rated.water_out, abs=1e-6)


def test_water_cools_on_its_way_and_gas_above_the_water_it_warms() -> None:
    d = machine(RECLAIM_MIXING)
    p = {name: float(value[0]) for name, value in read(d, conditions(d, command=0.7)).items()}
    assert p["source.water_out"] > p["reheat.water_in"] > p["source.water_in"] > p["reheat.water_out"]
    assert p["reheat.water_out"] > p["coil_leaving.t"]
    assert p["reclaim.gas_in"] > p["source.water_out"]
    assert p["reclaim.gas_out"] > p["source.water_in"]


def test_what_the_controller_shows_of_a_sound_unit_is_so() -> None:
    for text in UNITS.values():
        d = machine(text)
        c = conditions(d, space_t=21.0, space_dew_point=8.0)
        p = read(d, c)
        assert p["shown.space_t"] == p["space.t"] == 21.0
        assert p["shown.dew_point"] == 8.0
        assert p["shown.outdoor_dew_point"] == c.outdoor_dew_point
        assert p["shown.supply_t"] == p["supply.t"]
        assert p["shown.setpoint_dew_point"] == d.unit.control.dew_point
        assert p["shown.reheat_in_hand"] == 0.0
