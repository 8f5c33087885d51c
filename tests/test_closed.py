"""The settled whole: room, machine and controller at rest with each other."""

from __future__ import annotations

import numpy as np
import pytest

from motion_cases import UNITS, healthy, machine, nominal, one_cause, with_causes
from wringout.catalogue.causes import prior_weights
from wringout.machine.closed import Level, closed
from wringout.machine.motion import Loads, Weather

KINDS = sorted(UNITS)


def day(d, under_t=2.0, under_dew=2.0):
    design_day = d.unit.space.design_day
    return Weather.of(design_day.outdoor_t - under_t, design_day.outdoor_dew_point - under_dew)


@pytest.mark.parametrize("kind", KINDS)
def test_at_rest_room_gains_and_losses_balance_over_random_machines_with_causes(kind: str) -> None:
    d = machine(kind)
    rng = np.random.default_rng(3)
    causes = [cause for cause in prior_weights(d.unit) if cause != "control-hunting"]
    values, _ = with_causes(d, healthy(d, 60, rng), causes, rng)
    weather = Weather.of(
        d.unit.space.design_day.outdoor_t - rng.uniform(0.0, 10.0, (60, 1)),
        d.unit.space.design_day.outdoor_dew_point - rng.uniform(0.0, 10.0, (60, 1)),
    )
    rest = closed(
        d, values, weather, Loads.of(rng.uniform(0.3, 1.2, (60, 1)), rng.uniform(0.2, 1.0, (60, 1)))
    )
    # what is left, in kelvin of the room's air; a chilled coil's two models may jump by a little
    assert np.quantile(rest.residual, 0.95) < 1e-6
    assert rest.residual.max() < 0.1


@pytest.mark.parametrize("kind", KINDS)
def test_a_healthy_unit_holds_both_set_points_on_a_usual_day(kind: str) -> None:
    d = machine(kind)
    rest = closed(d, nominal(d), day(d), Loads.of(0.7))
    control = d.unit.control
    points = rest.points()
    assert points["shown.dew_point"][0] < control.dew_point + control.dew_point_band
    assert points["shown.dehumidifying"][0] > 0.5
    assert abs(points["shown.space_t"][0] - control.space_t) < 0.05
    assert 0.0 < points["shown.reheat_command"][0] < 1.0


def test_a_dead_pump_leaves_the_room_cold_and_the_command_at_its_end() -> None:
    d = machine("dx boiler")
    rest = closed(d, one_cause(d, nominal(d), "pump-off"), day(d), Loads.of(0.7))
    assert rest.command[0] > 0.999
    assert rest.space_t[0] < d.unit.control.space_t - 0.5


def test_a_reversed_signal_ends_at_one_stop_and_not_on_the_edge_between() -> None:
    d = machine("chilled boiler two-way")
    values = one_cause(d, healthy(d, 20, np.random.default_rng(0)), "signal-reversed")
    rest = closed(d, values, day(d), Loads.of(0.7))
    off = rest.points()["shown.space_t"] - d.unit.control.space_t
    assert np.all((rest.command < 1e-6) & (off > 0.0) | (rest.command > 1.0 - 1e-6) & (off < 0.0))


def test_a_locked_out_unit_calls_no_stage_for_moisture_and_gives_no_reheat() -> None:
    d = machine("dx reclaim")
    rest = closed(d, one_cause(d, nominal(d), "locked-out"), day(d), Loads.of(0.7, 0.0))
    points = rest.points()
    assert points["shown.dehumidifying"][0] == 0.0
    assert points["shown.reheat_command"][0] == 0.0
    assert points["shown.dew_point"][0] > d.unit.control.dew_point + d.unit.control.dew_point_band


def test_held_items_are_held() -> None:
    d = machine("dx boiler")
    full = closed(d, nominal(d), day(d), Loads.of(0.7), {"cooling.call": 1.0})
    none = closed(d, nominal(d), day(d), Loads.of(0.7), {"cooling.call": 0.0})
    assert full.space_dew_point[0] < none.space_dew_point[0] - 2.0
    hot = closed(d, nominal(d), day(d), Loads.of(0.7), {"reheat.command": 1.0})
    assert hot.points()["shown.reheat_command"][0] == 1.0
    assert hot.space_t[0] > d.unit.control.space_t + 0.5


def test_where_no_count_of_stages_rests_two_take_turns_and_their_mean_rests() -> None:
    d = machine("dx hot gas")
    found = closed(
        d,
        healthy(d, 40, np.random.default_rng(5)),
        day(d, 8.0, 8.0),
        Loads.of(0.3),
    )
    turning = found.cycling
    assert turning.any()
    assert np.all(found.upper_level.called[turning] - found.level.called[turning] <= 1)
    over = found.points()["shown.dew_point"] - d.unit.control.dew_point
    assert np.all(np.abs(over[turning]) < d.unit.control.dew_point_band)


def test_between_on_and_off_a_stage_that_does_nothing_stays_as_it_was() -> None:
    d = machine("dx hot gas")
    values = one_cause(d, healthy(d, 40, np.random.default_rng(9)), "compressor-out", way=2)
    values["stage_capacity.2"], values["stage_load.2"] = np.zeros(40), np.zeros(40)
    # on a milder day than the design's the last stage is not wanted everywhere: some rooms rest between
    weather, loads = day(d, 4.0, 4.0), Loads.of(np.linspace(0.0, 2.5, 40)[:, None])
    above = closed(d, values, weather, loads)
    zero = np.zeros(40, dtype=np.intp)
    below = closed(d, values, weather, loads, before=Level(zero, zero))
    steady = ~above.cycling & ~below.cycling
    assert np.all(above.level.called[steady] >= below.level.called[steady])
    assert np.any(above.level.called[steady] > below.level.called[steady])


def test_one_machine_alone_rests_where_it_rests_among_others() -> None:
    d = machine("modulating reclaim")
    values = healthy(d, 6, np.random.default_rng(2))
    together = closed(d, values, day(d), Loads.of(0.7))
    for i in range(6):
        alone = closed(d, {name: array[i : i + 1] for name, array in values.items()}, day(d), Loads.of(0.7))
        assert alone.space_dew_point[0] == pytest.approx(together.space_dew_point[i], abs=1e-5)
        assert alone.command[0] == pytest.approx(together.command[i], abs=1e-5)
