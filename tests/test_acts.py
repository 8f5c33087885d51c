"""What a cause of air, cooling, controls and building states is what the machine shows: each range as the
list of causes gives it, both ends.

Every test settles some healthy machines, each with spreads of its own, with the cause at its least and at its
most, and the same machines without it.
"""

from __future__ import annotations

import numpy as np
import pytest

from cause_tools import (
    DEGF,
    DX,
    KINDS,
    MACHINES,
    Seen,
    about,
    design_of,
    ends,
    full,
    healthy_machines,
    shut,
)
from units import (
    BOILER_DIVERTING,
    CHILLED_TWO_WAY,
    HOT_GAS,
    RECLAIM_MIXING,
    UNITS,
    conditions,
)
from wringout.catalogue.causes import applies, causes
from wringout.machine.acts import ACTS, variants
from wringout.machine.room_side import room_balance

# ---------------------------------------------------------------------------------- air


@KINDS
@pytest.mark.parametrize(
    ("cause", "least", "most"),
    [("filter-loaded", 0.55, 0.85), ("fan-slow", 0.50, 0.85), ("fan-fast", 1.15, 1.40)],
)
def test_airflow_comes_to_the_stated_share(kind: str, cause: str, least: float, most: float) -> None:
    """As mass; the volume at the outlet differs by what the slower air is warmer."""
    for end, seen in ends(UNITS[kind], cause, full(UNITS[kind])):
        figure = most if end else least
        assert about(seen.sick.flow.supply / seen.well.flow.supply, figure, 1e-9)
        assert about(seen.ratio("supply.airflow"), figure, 0.02 * figure)


@KINDS
def test_a_loaded_filter_drops_more_though_less_air_passes(kind: str) -> None:
    for _, seen in ends(UNITS[kind], "filter-loaded", full(UNITS[kind])):
        assert np.all(seen.ratio("filter.drop") > 1.3)
        assert np.all(seen.ratio("fan.current") < 1.0)


@KINDS
@pytest.mark.parametrize("cause", ["fan-slow", "fan-fast"])
def test_at_another_speed_the_filter_drop_goes_with_the_square(kind: str, cause: str) -> None:
    for _, seen in ends(UNITS[kind], cause, full(UNITS[kind])):
        share = seen.sick.flow.supply / seen.well.flow.supply
        assert seen.ratio("filter.drop") == pytest.approx(share**2, rel=1e-6)


@pytest.mark.parametrize("text", [RECLAIM_MIXING, BOILER_DIVERTING])
def test_a_slow_fan_shows_at_its_drive_and_a_loaded_filter_does_not(text: str) -> None:
    slow = Seen(text, "fan-slow", 0.0, full(text), None)
    loaded = Seen(text, "filter-loaded", 0.0, full(text), None)
    assert about(slow.ratio("fan.speed"), 0.5, 1e-9)
    assert about(loaded.ratio("fan.speed"), 1.0, 1e-9)


@KINDS
def test_an_open_outdoor_damper_doubles_to_quadruples_outdoor_air_and_leaves_the_total(kind: str) -> None:
    for end, seen in ends(UNITS[kind], "outdoor-damper-open", full(UNITS[kind])):
        assert about(seen.ratio("outdoor.airflow"), 4.0 if end else 2.0, 0.01)
        assert about(seen.sick.flow.supply / seen.well.flow.supply, 1.0, 1e-12)
        assert np.all(seen.rise("mixed.t") > 0.0)  # on the design day


@KINDS
def test_a_dirty_coil_takes_a_little_air_and_much_conductance(kind: str) -> None:
    for end, seen in ends(UNITS[kind], "coil-dirty", full(UNITS[kind])):
        assert about(seen.sick.flow.supply / seen.well.flow.supply, 0.95 if end else 0.85, 1e-9)
        assert about(seen.values["coil_dirt_ratio"], 0.75 if end else 0.45, 1e-9)
        assert np.all(seen.sick.cooling.air.total < seen.well.cooling.air.total)
        assert np.all(seen.ratio("filter.drop") < 1.0)


# ---------------------------------------------------------------------------------- compressors


@DX
def test_a_compressor_that_is_out_draws_no_current_and_moves_no_heat(text: str) -> None:
    for way in variants("compressor-out", design_of(text).unit):
        seen = Seen(text, "compressor-out", 0.0, full(text), way)
        id = design_of(text).unit.stage_ids[way.index]
        assert about(seen.now[f"stage.{id}.current"], 0.0, 1e-12)
        assert about(seen.sick.cooling.load[way.index], 0.0, 1e-12)
        others = [s for s in design_of(text).unit.stage_ids if s != id]
        assert np.all([seen.now[f"stage.{s}.current"] > 1.0 for s in others])
        assert np.all(seen.sick.cooling.air.total < 0.85 * seen.well.cooling.air.total)


@pytest.mark.parametrize("text", [RECLAIM_MIXING, HOT_GAS])
def test_an_unloaded_stage_stays_at_a_tenth_to_three_tenths(text: str) -> None:
    way = variants("compressor-unloaded", design_of(text).unit)[0]
    for end, seen in ends(text, "compressor-unloaded", full(text), way):
        assert about(seen.sick.cooling.load[way.index], 0.30 if end else 0.10, 1e-9)
        id = design_of(text).unit.stage_ids[way.index]
        assert np.all(seen.ratio(f"stage.{id}.current") < 0.7)


def test_a_unit_without_a_modulating_stage_cannot_have_one_unloaded() -> None:
    assert variants("compressor-unloaded", design_of(BOILER_DIVERTING).unit) == ()


@DX
def test_short_of_charge_every_stage_moves_half_to_four_fifths_of_the_heat(text: str) -> None:
    """With reheat shut, so that hot gas changes nothing at the condensers."""
    every = variants("charge-low", design_of(text).unit)[-1]
    assert every.label == "every stage"
    for end, seen in ends(text, "charge-low", shut(text), every):
        moved = seen.sick.cooling.air.total / seen.well.cooling.air.total
        assert about(moved, 0.80 if end else 0.50, 0.04)
        for id in design_of(text).unit.stage_ids:
            assert about(seen.rise(f"stage.{id}.superheat"), (30.0 if end else 10.0) * DEGF, 1e-9)
            assert about(seen.ratio(f"stage.{id}.current"), 0.92 if end else 0.75, 1e-9)
            assert np.all(seen.rise(f"stage.{id}.condensing_over_outdoor") < 0.0)


@DX
def test_one_stage_short_of_charge_leaves_the_others_alone(text: str) -> None:
    d = design_of(text)
    way = variants("charge-low", d.unit)[0]
    seen = Seen(text, "charge-low", 0.0, shut(text), way)
    own, other = d.unit.stage_ids[0], d.unit.stage_ids[1]
    assert about(seen.ratio(f"stage.{own}.current"), 0.75, 1e-9)
    assert about(seen.ratio(f"stage.{other}.current"), 1.0, 1e-9)
    assert about(seen.rise(f"stage.{other}.superheat"), 0.0, 1e-9)
    lost = 1.0 - seen.sick.cooling.air.total / seen.well.cooling.air.total
    assert about(lost, 0.5 * d.stage_share[0], 0.05)


@DX
def test_a_dirty_condenser_condenses_higher_moves_less_and_draws_more(text: str) -> None:
    for end, seen in ends(text, "condenser-dirty", shut(text)):
        moved = seen.sick.cooling.air.total / seen.well.cooling.air.total
        assert about(moved, 0.92 if end else 0.78, 0.035)
        for id in design_of(text).unit.stage_ids:
            further = (30.0 if end else 15.0) * DEGF
            # a shut hot-gas valve still passes a little, and less where there is less heat
            assert about(seen.rise(f"stage.{id}.condensing_over_outdoor"), further, 0.15)
            assert about(seen.ratio(f"stage.{id}.current"), 1.25 if end else 1.08, 0.005)
            assert about(seen.rise(f"stage.{id}.superheat"), 0.0, 1e-9)


# ---------------------------------------------------------------------------------- chilled water


def test_warm_chilled_water_enters_four_to_ten_degrees_over_design() -> None:
    for end, seen in ends(CHILLED_TWO_WAY, "chilled-water-warm", full(CHILLED_TWO_WAY)):
        assert about(seen.rise("chilled.water_in"), (10.0 if end else 4.0) * DEGF, 1e-9)
        assert np.all(seen.rise("coil_leaving.t") > 0.0)
        assert np.all(seen.ratio("condensate.rate") < 1.0)


@pytest.mark.parametrize("asked", [0.0, 0.6, 1.0])
def test_a_stuck_chilled_water_valve_stands_where_it_stands_and_its_stem_shows_it(asked: float) -> None:
    c = conditions(design_of(CHILLED_TWO_WAY), modulation=asked)
    for end, seen in ends(CHILLED_TWO_WAY, "chilled-valve-stuck", c):
        assert about(seen.now["chilled.stem"], 0.50 if end else 0.10, 1e-9)


# ---------------------------------------------------------------------------------- sensors and program


@KINDS
@pytest.mark.parametrize(
    ("cause", "point", "least", "most"),
    [
        ("dew-sensor-high", "shown.dew_point", 3.0, 8.0),
        ("dew-sensor-low", "shown.dew_point", -3.0, -8.0),
        ("space-sensor-off", "shown.space_t", 3.0, 6.0),
        ("supply-sensor-off", "shown.supply_t", 4.0, 10.0),
        ("setpoint-wrong", "shown.setpoint_dew_point", 4.0, 10.0),
    ],
)
def test_a_wrong_sensor_or_set_point_shows_and_changes_nothing_else(
    kind: str, cause: str, point: str, least: float, most: float
) -> None:
    for way in variants(cause, design_of(UNITS[kind]).unit):
        for end, seen in ends(UNITS[kind], cause, full(UNITS[kind]), way):
            assert about(seen.rise(point), way.sign * (most if end else least) * DEGF, 1e-9)
            for other in seen.now:
                if other != point:
                    np.testing.assert_array_equal(seen.now[other], seen.then[other], err_msg=other)


def test_space_and_supply_sensors_and_set_points_err_either_way() -> None:
    unit = design_of(RECLAIM_MIXING).unit
    for cause in ("space-sensor-off", "supply-sensor-off", "setpoint-wrong"):
        assert [way.sign for way in variants(cause, unit)] == [1.0, -1.0]


@KINDS
def test_a_swapped_source_shows_the_outdoor_sensor_s_dew_point_for_the_space(kind: str) -> None:
    always, satisfied = variants("dew-source-swapped", design_of(UNITS[kind]).unit)
    seen = Seen(UNITS[kind], "dew-source-swapped", 0.0, full(UNITS[kind]), always)
    outdoor = design_of(UNITS[kind]).unit.space.design_day.outdoor_dew_point
    offset = healthy_machines(UNITS[kind])["outdoor_dew_offset"]
    assert about(seen.now["shown.dew_point"] - offset, outdoor, 1e-9)
    np.testing.assert_array_equal(seen.now["shown.dew_point"], seen.now["shown.outdoor_dew_point"])
    # the other kind shows the space while the unit dehumidifies, which is the state settled here
    seen = Seen(UNITS[kind], "dew-source-swapped", 0.0, full(UNITS[kind]), satisfied)
    assert about(seen.rise("shown.dew_point"), 0.0, 1e-9)


@KINDS
def test_an_output_in_hand_is_shown_so(kind: str) -> None:
    seen = Seen(UNITS[kind], "output-in-hand", 0.0, full(UNITS[kind]), None)
    assert about(seen.now["shown.reheat_in_hand"], 1.0, 0.0)
    assert about(seen.then["shown.reheat_in_hand"], 0.0, 0.0)


@KINDS
@pytest.mark.parametrize(("cause", "field"), [("locked-out", "locked_out"), ("control-hunting", "hunting")])
def test_what_only_control_shows_leaves_the_machine_alone(kind: str, cause: str, field: str) -> None:
    seen = Seen(UNITS[kind], cause, 0.0, full(UNITS[kind]), None)
    assert about(seen.values[field], 1.0, 0.0)
    for point in seen.now:
        np.testing.assert_array_equal(seen.now[point], seen.then[point], err_msg=point)


# ---------------------------------------------------------------------------------- building


@KINDS
def test_open_doors_let_in_two_and_a_half_to_six_times_the_infiltration(kind: str) -> None:
    d = design_of(UNITS[kind])
    for end, seen in ends(UNITS[kind], "doors-open", full(UNITS[kind])):
        now, then = room_balance(seen.sick), room_balance(seen.well)
        released = d.unit.space.moisture * healthy_machines(UNITS[kind])["moisture_ratio"]
        brought = (now.moisture_gain - released) / (then.moisture_gain - released)
        assert about(brought, 6.0 if end else 2.5, 1e-6)
        assert np.all(now.heat_gain > then.heat_gain)  # on the design day


@KINDS
def test_moisture_added_is_two_to_four_times_what_is_released(kind: str) -> None:
    d = design_of(UNITS[kind])
    for end, seen in ends(UNITS[kind], "moisture-added", full(UNITS[kind])):
        released = d.unit.space.moisture * healthy_machines(UNITS[kind])["moisture_ratio"]
        more = room_balance(seen.sick).moisture_gain - room_balance(seen.well).moisture_gain
        assert more / released == pytest.approx(3.0 if end else 1.0, rel=1e-6)


# ---------------------------------------------------------------------------------- all of them


@KINDS
def test_beyond_design_breaks_nothing(kind: str) -> None:
    seen = Seen(UNITS[kind], "beyond-design", 0.0, full(UNITS[kind]), None)
    for point in seen.now:
        np.testing.assert_array_equal(seen.now[point], seen.then[point], err_msg=point)


SHOWN_ELSEWHERE = {
    # what shows them is control or the room, not a point of the settled machine
    "locked-out",
    "control-hunting",
    "doors-open",
    "moisture-added",
    "beyond-design",
}


@KINDS
def test_every_fault_moves_some_point_of_every_unit_that_can_have_it(kind: str) -> None:
    """In one of the states that a person can bring about, by more than what one reads off an instrument."""
    d = design_of(UNITS[kind])
    text = UNITS[kind]
    for cause in causes():
        if cause in SHOWN_ELSEWHERE or not applies(cause, d.unit):
            continue
        for way in variants(cause, d.unit):
            if cause == "dew-source-swapped" and way.sign < 0.0:
                continue
            most = 0.0
            for c in (full(text), shut(text), conditions(d, command=0.5, stages=1.0)):
                seen = Seen(text, cause, 0.5, c, way)
                for point in seen.now:
                    moved = np.abs(seen.rise(point)) / np.maximum(np.abs(seen.then[point]), 1.0)
                    most = max(most, float(np.median(moved)))
            assert most > 0.02, (cause, way)


@pytest.mark.parametrize("cause", sorted(ACTS))
def test_an_act_leaves_what_it_reads_alone(cause: str) -> None:
    for text in UNITS.values():
        d = design_of(text)
        if not applies(cause, d.unit):
            continue
        for way in variants(cause, d.unit):
            before = {name: value.copy() for name, value in healthy_machines(text).items()}
            severities = [np.full(MACHINES, 0.5) for _ in range(ACTS[cause].severities)]
            moved = ACTS[cause].move(healthy_machines(text).__getitem__, way, severities)
            assert moved.keys() <= before.keys()
            for name, value in healthy_machines(text).items():
                np.testing.assert_array_equal(value, before[name], err_msg=name)
