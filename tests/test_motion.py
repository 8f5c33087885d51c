"""The machine in time: where it ends, what it keeps, what it stores, and what the controller does."""

from __future__ import annotations

import numpy as np
import pytest

from motion_cases import UNITS, healthy, machine, nominal, one_cause, with_causes
from wringout.catalogue.causes import prior_weights
from wringout.catalogue.points import points_of
from wringout.errors import InputError
from wringout.machine.closed import closed
from wringout.machine.motion import Alter, Hold, Loads, Release, Weather, run
from wringout.machine.motion_control import LEAST_STAGE_TIME
from wringout.machine.motion_storage import storage

KINDS = sorted(UNITS)
# a controller that swings, or a display that changes its source, has no settled end, and a loop that stands
# still needs days to go cold
RESTLESS = {"control-hunting", "dew-source-swapped", "pump-off"}


def day(d, under_t=2.0, under_dew=2.0):
    design_day = d.unit.space.design_day
    return Weather.of(design_day.outdoor_t - under_t, design_day.outdoor_dew_point - under_dew)


# ------------------------------------------------------------------------------------------- where it ends


@pytest.mark.parametrize("kind", KINDS)
def test_its_settled_end_is_the_settled_whole_within_half_a_per_cent(kind: str) -> None:
    d = machine(kind)
    rng = np.random.default_rng(11)
    causes = [cause for cause in prior_weights(d.unit) if cause not in RESTLESS]
    values, names = with_causes(d, healthy(d, 36, rng), causes, rng)
    # what the contents hold changes how long it takes and not where it ends
    values |= {name: np.full(36, 0.05) for name in ("contents_heat_ratio", "contents_moisture_ratio")}
    weather = Weather.of(
        d.unit.space.design_day.outdoor_t - rng.uniform(0.0, 8.0, (36, 1)),
        d.unit.space.design_day.outdoor_dew_point - rng.uniform(0.0, 8.0, (36, 1)),
    )
    loads = Loads.of(rng.uniform(0.4, 1.2, (36, 1)), rng.uniform(0.3, 0.9, (36, 1)))
    rest = closed(d, values, weather, loads)
    # start away from rest: the room two kelvin warmer and wetter than it will be
    other = Loads.of(loads.moisture + 0.4, loads.sensible + 0.2)
    start = closed(d, values, weather, other)
    trace = run(d, values, weather, loads, start=start, duration=16 * 3600.0, step=20.0, record=600.0)
    wanted, found = rest.points(), trace.points(at=slice(-24, None))  # the last four hours
    count, active = found["shown.stages_called"], found["shown.dehumidifying"]
    calm = ~rest.cycling & (np.ptp(count, axis=1) == 0.0)
    # another count of stages can hold the room as well: history decides
    calm &= (count[:, -1] == wanted["shown.stages_called"]) & (active[:, -1] == wanted["shown.dehumidifying"])
    # a valve that is hardly open can swing, and a hot room is still on its way: those are at no end yet
    quiet = (
        calm & (np.ptp(found["space.t"], axis=1) < 0.02) & (np.ptp(found["shown.dew_point"], axis=1) < 0.02)
    )
    # water left on a coil that hardly dries air goes back into it for days
    water = trace.states["water"][-24:]
    quiet &= np.ptp(water, axis=0) < 0.01 * storage(d).retained
    assert quiet.sum() >= 0.75 * calm.sum()
    # the smooth edge of the settled machine's flow switch is no state of rest
    if d.loop is not None:
        share = wanted["loop.flow"] / d.loop.main_flow
        quiet &= np.abs(share - 0.125) > 0.02
    assert quiet.sum() >= 6
    for name, value in wanted.items():
        size = np.abs(value)
        if name.endswith((".t", "_in", "_out", "_t")) or "dew" in name:
            size = np.maximum(size, 10.0)  # half a per cent of ten kelvin
        if name in ("shown.reheat_command", "reheat.stem", "chilled.stem"):
            size = np.maximum(size, 0.2)
        if name == "condensate.rate":
            size = np.maximum(size, 2e-3)
        off = np.abs(found[name][:, -1] - value) > 0.005 * size + 1e-9
        assert not (off & quiet).any(), (name, [names[i] for i in np.flatnonzero(off & quiet)])


@pytest.mark.parametrize("kind", KINDS)
def test_a_machine_that_starts_at_rest_stays_there(kind: str) -> None:
    d = machine(kind)
    # with every stage held on, no unit takes turns between two counts
    held = [Hold(0.0, "cooling.call", 1.0)]
    rest = closed(d, nominal(d), day(d), Loads.of(0.7), {"cooling.call": 1.0})
    assert not rest.cycling[0]
    trace = run(d, nominal(d), day(d), Loads.of(0.7), held, rest, duration=7200.0)
    for name, series in trace.points().items():
        scale = max(abs(series[0, 0]), 1.0)
        assert np.abs(series[0] - series[0, 0]).max() < 2e-3 * scale, name


def test_every_point_of_the_catalogue_comes_out_for_every_kind_of_unit() -> None:
    for kind in KINDS:
        d = machine(kind)
        trace = run(d, healthy(d, 3, np.random.default_rng(0)), day(d), Loads.of(0.7), duration=600.0)
        points = trace.points()
        assert set(points_of(d.unit)) <= set(points), kind
        for name in points_of(d.unit):
            assert points[name].shape == (3, 61)
            assert np.isfinite(points[name]).all(), name


# ------------------------------------------------------------------------------------- numbers and refusals


@pytest.mark.parametrize("kind", KINDS)
def test_one_machine_in_floats_runs_as_it_does_among_many_in_arrays(kind: str) -> None:
    d = machine(kind)
    rng = np.random.default_rng(4)
    values, _ = with_causes(d, healthy(d, 3, rng), list(prior_weights(d.unit)), rng)
    schedule = [Hold(900.0, "reheat.command", 1.0), Release(2700.0, "reheat.command")]
    together = run(d, values, day(d), Loads.of(0.8), schedule, duration=5400.0)
    for i in range(3):
        one = {name: array[i : i + 1] for name, array in values.items()}
        alone = run(d, one, day(d), Loads.of(0.8), schedule, duration=5400.0)
        for name, series in alone.states.items():
            scale = np.maximum(np.abs(series).max(), 1e-3)
            assert np.abs(series[:, 0] - together.states[name][:, i]).max() < 3e-3 * scale, name


def test_what_is_missing_of_one_machine_spoils_no_other() -> None:
    d = machine("dx boiler")
    values = healthy(d, 3, np.random.default_rng(0))
    whole = run(d, values, day(d), Loads.of(0.7), duration=900.0)["supply.t"]
    values["fan_heat_ratio"][1] = np.nan
    holed = run(d, values, day(d), Loads.of(0.7), duration=900.0)["supply.t"]
    assert np.isnan(holed[1]).all()
    assert np.allclose(holed[[0, 2]], whole[[0, 2]], rtol=0, atol=1e-9)
    gap = Weather.of(np.array([[30.0], [np.nan], [30.0]]), 20.0)
    assert np.isnan(run(d, values, gap, Loads.of(0.7), duration=300.0)["space.t"][1]).all()


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"step": 120.0}, r"step is 120 s: it must lie from 0.1 to 60 s"),
        ({"duration": 0.0}, r"1 to 2,000,000 steps"),
        (
            {"schedule": [Hold(0.0, "reheat", 1.0)]},
            r'"reheat" cannot be held; reheat.command and cooling.call',
        ),
    ],
)
def test_what_cannot_be_run_is_refused(changes: dict[str, object], match: str) -> None:
    d = machine("dx boiler")
    with pytest.raises(InputError, match=match):
        run(d, nominal(d), day(d), Loads.of(), **{"duration": 600.0, **changes})  # type: ignore[arg-type]


def test_weather_that_does_not_fit_is_refused() -> None:
    with pytest.raises(InputError, match="rising order"):
        Weather.of([20.0, 21.0], 12.0, [10.0, 10.0])
    with pytest.raises(InputError, match=r"moisture has the shape"):
        Loads.of([1.0, 2.0, 3.0], 1.0, [0.0, 60.0])
    d = machine("dx boiler")
    with pytest.raises(InputError, match=r"come for \[2, 3\] samples"):
        run(d, healthy(d, 3, np.random.default_rng(0)), Weather.of(np.full((2, 1), 20.0), 10.0), Loads.of())


def test_shorter_steps_change_little() -> None:
    d = machine("modulating reclaim")
    schedule = [Hold(600.0, "reheat.command", 1.0)]
    rest = closed(d, nominal(d), day(d), Loads.of(0.7))
    series = {
        step: run(
            d, nominal(d), day(d), Loads.of(0.7), schedule, rest, duration=3600.0, step=step, record=60.0
        ).points(["supply.t", "space.t", "shown.dew_point"])
        for step in (1.0, 10.0)
    }
    worst = {name: np.abs(series[10.0][name] - series[1.0][name]).max() for name in series[1.0]}
    assert worst["supply.t"] < 0.8  # while the hot front passes, ten seconds wide
    assert worst["space.t"] < 0.05
    assert worst["shown.dew_point"] < 0.05


# ------------------------------------------------------------------------------------ heat and water are kept


@pytest.mark.parametrize("kind", ["dx boiler", "chilled boiler two-way", "dx hot gas"])
def test_water_that_comes_in_is_in_the_air_the_contents_on_the_coil_or_down_the_drain(kind: str) -> None:
    d = machine(kind)
    step = 5.0
    schedule = [Hold(1800.0, "cooling.call", 0.0), Release(5400.0, "cooling.call")]
    trace = run(d, nominal(d), day(d), Loads.of(0.7), schedule, duration=9000.0, step=step)
    s, store = trace.states, storage(d)
    held = (
        store.air_mass * s["space_w"][:, 0]
        + store.contents_moisture * s["contents_w"][:, 0]
        + s["water"][:, 0]
    )
    space = d.unit.space
    leak = space.infiltration * d.pressure / (287.042 * (s["space_t"][:, 0] + 273.15) * 1.012)
    machine_now = trace.machine(trace.segments[0], np.arange(len(trace.time)))
    mixed = machine_now.mixed
    fresh = machine_now.flow.outdoor[:, 0] * (mixed.outdoor_w - mixed.space_w)[:, 0]
    come = 0.7 * space.moisture + leak * (mixed.outdoor_w - mixed.space_w)[:, 0] + fresh
    flows = come - s["dripping"][:, 0]
    booked = np.concatenate([[0.0], np.cumsum(step * flows[1:])])
    moved = np.abs(np.diff(held)).sum()
    assert moved > 1.0
    assert np.abs(held - held[0] - booked).max() < 0.02 * moved


def test_heat_that_the_loop_takes_up_is_in_its_water_or_in_the_air() -> None:
    d = machine("dx boiler")
    step = 2.0
    rest = closed(d, nominal(d), day(d), Loads.of(0.7), {"reheat.command": 0.0})
    schedule = [Hold(0.0, "reheat.command", 0.0), Hold(300.0, "reheat.command", 1.0)]
    trace = run(d, nominal(d), day(d), Loads.of(0.7), schedule, rest, duration=7200.0, step=step)
    w = trace.machine(trace.segments[0], np.arange(len(trace.time))).reheat.water
    assert w is not None
    given, taken = w.source_heat[:, 0], trace.states["heat"][:, 0]
    late = slice(-200, None)
    lost = (given - taken)[late].mean()
    # at rest only the pipes' loss is between the two, as in the settled machine
    assert 0.0 < lost < 0.05 * given[late].mean()
    assert np.ptp((given - taken)[late]) < 0.02 * given[late].mean()


# ----------------------------------------------------------------------------------------- what it stores


def test_retained_water_goes_back_into_the_air_when_cooling_stops_and_then_is_gone() -> None:
    d = machine("dx boiler")
    trace = run(d, nominal(d), day(d), Loads.of(0.7), [Hold(600.0, "cooling.call", 0.0)], duration=4 * 3600.0)
    supply_w, mixed_w = trace.states["leaving_w"][:, 0], trace.states["mixed_w"][:, 0]
    water = trace.states["water"][:, 0]
    before, soon, late = 55, 60 + 30, -1
    assert supply_w[before] < mixed_w[before] - 1e-4  # it wrings
    assert supply_w[soon] > mixed_w[soon] + 1e-4  # it wets
    assert water[before] > storage(d).retained
    assert water[late] < 0.02 * water[before]
    assert supply_w[late] == pytest.approx(mixed_w[late], abs=2e-5)  # it is dry


def test_the_first_water_of_a_dry_coil_stays_on_it() -> None:
    d = machine("dx boiler")
    schedule = [Hold(0.0, "cooling.call", 0.0), Hold(3600.0, "cooling.call", 1.0)]
    trace = run(d, nominal(d), day(d), Loads.of(0.7), schedule, duration=3 * 3600.0)
    drip = trace["condensate.rate"][0]
    start = 361
    first = int(np.argmax(drip[start:] > 0.05 * drip[-1])) * 10.0
    # about the time for which it was made to hold rated condensate (motion_storage)
    assert 300.0 < first < 2400.0
    assert drip[start : start + int(first / 20)].max() < 0.05 * drip[-1]


def test_the_stem_runs_at_its_speed() -> None:
    d = machine("dx boiler")
    schedule = [Hold(0.0, "reheat.command", 0.0), Hold(100.0, "reheat.command", 1.0)]
    stem = run(d, nominal(d), day(d), Loads.of(0.7), schedule, duration=600.0, step=1.0)["reheat.stem"][0]
    travel = d.unit.reheat.valve.travel_time
    assert stem[100] == 0.0
    assert stem[100 + round(travel / 2)] == pytest.approx(0.5, abs=0.02)
    assert stem[102 + round(travel)] == 1.0


@pytest.mark.parametrize("cause", ["valve-stuck", "actuator-loose"])
def test_a_stuck_or_loose_valve_stays_where_it_is_in_time_too(cause: str) -> None:
    d = machine("modulating reclaim")
    schedule = [Hold(100.0, "reheat.command", 1.0), Hold(700.0, "reheat.command", 0.0)]
    trace = run(d, one_cause(d, nominal(d), cause, 0.3), day(d), Loads.of(0.7), schedule, duration=1500.0)
    assert np.allclose(trace.states["position"], 0.3)
    moved = np.ptp(trace.states["stem"])
    assert moved == 0.0 if cause == "valve-stuck" else moved > 0.9


def test_hot_water_comes_to_the_coil_one_pipe_later() -> None:
    d = machine("dx boiler")
    assert d.loop is not None
    rest = closed(d, nominal(d), day(d), Loads.of(0.7), {"reheat.command": 1.0})
    colder = {**nominal(d), "source_out_shift": np.full(1, -15.0)}
    schedule = [Hold(0.0, "reheat.command", 1.0), Alter(600.0, colder)]
    trace = run(d, nominal(d), day(d), Loads.of(0.7), schedule, rest, duration=2400.0, step=1.0)
    out, into = trace["source.water_out"][0], trace["reheat.water_in"][0]
    transit = d.loop.pipe_volume / trace["loop.flow"][0, 700]
    middle = 0.5 * (out[0] + out[600:].min())
    left, came = (int(np.argmax(series < middle)) for series in (out, into))
    assert came - left == pytest.approx(transit, abs=3.0)


def test_a_loop_without_flow_goes_cold_slowly() -> None:
    d = machine("dx boiler")
    schedule = [Alter(600.0, one_cause(d, nominal(d), "pump-off"))]
    trace = run(d, nominal(d), day(d), Loads.of(0.7), schedule, duration=24 * 3600.0, record=600.0, step=30.0)
    water, room = trace["reheat.water_in"][0], trace["space.t"][0]
    assert trace["loop.flow"][0, -1] == 0.0
    assert water[7] - room[7] > 0.5 * (water[0] - room[0])
    assert water[-1] - room[-1] < 0.2 * (water[0] - room[0])
    assert np.all(np.diff(water[3:]) < 0.05)


def test_the_contents_keep_a_room_wet_for_hours() -> None:
    d = machine("dx reclaim")
    few = {**nominal(d), "contents_moisture_ratio": np.full(1, 0.2)}
    many = {**nominal(d), "contents_moisture_ratio": np.full(1, 3.0)}
    rest = closed(d, nominal(d), day(d), Loads.of(0.7), {"cooling.call": 0.0})
    schedule = [Hold(0.0, "cooling.call", 1.0)]
    left = []
    for values in (few, many):
        dew = run(d, values, day(d), Loads.of(0.7), schedule, rest, duration=4 * 3600.0)["shown.dew_point"][0]
        left.append(dew[-1])
    assert left[1] > left[0] + 0.3


# ------------------------------------------------------------------------------------------ the controller


def test_stages_keep_their_least_times() -> None:
    d = machine("dx hot gas")
    values = {**nominal(d), "moisture_ratio": np.full(1, 0.6)}
    trace = run(d, values, day(d, 8.0, 9.0), Loads.of(0.2), duration=24 * 3600.0)
    lengths = []
    for i in range(3):
        on = trace.states[f"on.{i}"][:, 0]
        turns = np.flatnonzero(np.diff(on) != 0.0)
        lengths += list(np.diff(turns) * 10.0)
    assert len(lengths) > 4
    assert min(lengths) >= LEAST_STAGE_TIME - 1e-6


def test_a_wetter_room_brings_on_one_stage_after_the_other_and_a_drier_one_ends_it_all() -> None:
    d = machine("dx hot gas")
    time = np.arange(0.0, 24.01, 0.5) * 3600.0
    share = np.interp(time, [0.0, 8 * 3600.0, 16 * 3600.0, 24 * 3600.0], [0.0, 6.0, 6.0, -3.0])
    trace = run(d, nominal(d), day(d, 8.0, 12.0), Loads.of(share, 0.3, time), duration=24 * 3600.0)
    stages = trace["shown.stages_called"][0]
    over = trace["shown.dew_point"][0] - d.unit.control.dew_point
    active = trace["shown.dehumidifying"][0] > 0.5
    assert stages.max() == 3.0
    assert stages[-1] == 0.0
    assert not active[-1]
    band = d.unit.control.dew_point_band
    assert np.all(active[over > 0.02])
    assert not np.any(active[over < -0.5 * band - 0.02])
    assert np.all(trace["shown.reheat_command"][0][~active] == 0.0)


def test_two_degrees_too_warm_call_one_more_stage() -> None:
    d = machine("dx hot gas")
    values = one_cause(d, nominal(d), "locked-out")
    time = np.array([0.0, 4.0, 10.0]) * 3600.0
    trace = run(d, values, day(d), Loads.of(0.3, [-1.0, 3.0, 3.0], time), duration=10 * 3600.0)
    over = trace["shown.space_t"][0] - d.unit.control.space_t
    stages = trace["shown.stages_called"][0]
    assert stages[0] == 0.0
    first = int(np.argmax(stages > 0.0))
    assert over[first - 2] == pytest.approx(2.0 / 1.8, abs=0.1)
    assert stages.max() == 1.0


def test_holding_and_releasing_reheat_and_cooling() -> None:
    d = machine("modulating reclaim")
    schedule = [
        Hold(600.0, "reheat.command", 1.0),
        Release(1800.0, "reheat.command"),
        Hold(3600.0, "cooling.call", 0.0),
        Release(4800.0, "cooling.call"),
        Hold(6000.0, "cooling.call", 1.0),
    ]
    trace = run(d, nominal(d), day(d), Loads.of(0.7), schedule, duration=7200.0)
    command, stages = trace["shown.reheat_command"][0], trace["shown.stages_called"][0]
    assert np.all(command[62:180] == 1.0)
    assert command[-1] < 1.0 or command[400] < 1.0
    assert np.all(stages[362:480] == 0.0)
    assert np.all(stages[602:] == 2.0)
    assert np.all(trace["shown.dehumidifying"][0][362:380] == 1.0)  # the control still wants to


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "dx hot gas"])
def test_a_hunting_control_swings_at_a_rhythm_of_minutes_and_a_tuned_one_does_not(kind: str) -> None:
    d = machine(kind)
    calm = healthy(d, 16, np.random.default_rng(1))
    hunting = one_cause(d, calm, "control-hunting")
    # a push to start from: for a minute more people come in
    loads = Loads.of(0.7, [0.5, 0.5, 0.7, 0.7], [0.0, 600.0, 660.0, 1e5])
    held = [Hold(0.0, "cooling.call", 1.0)]
    rest = closed(d, calm, day(d), Loads.of(0.7, 0.7), {"cooling.call": 1.0})
    within = (rest.command > 0.1) & (rest.command < 0.9)
    assert within.sum() >= 6
    # both kinds side by side: one run of twice as many machines takes half the time of two
    both = {name: np.concatenate([calm[name], np.broadcast_to(hunting[name], (16,))]) for name in calm}
    trace = run(d, both, day(d), loads, held, duration=4 * 3600.0)
    command = trace["shown.reheat_command"][:, -540:]
    still = np.ptp(command[:16][within], axis=1)
    assert np.median(still) < 0.001
    assert still.max() < 0.15
    swung = command[16:][within]
    swinging = np.ptp(swung, axis=1) > 0.15
    assert swinging.mean() >= 0.5
    waves = swung[swinging]
    crossings = (np.diff(np.sign(waves - waves.mean(axis=1, keepdims=True)), axis=1) != 0).sum(axis=1)
    assert np.all((crossings >= 4) & (crossings <= 40))  # 1.5 h: periods from 4 to 45 minutes


@pytest.mark.parametrize("kind", KINDS)
def test_a_tuned_loop_half_as_sharp_again_comes_to_rest_wherever_in_its_travel_it_stands(kind: str) -> None:
    """A gain margin has to hold where the output acts most: a valve acts several times as much in one part of
    its travel as in another, and machines are slower or quicker than they were taken to be."""
    d = machine(kind)
    values = healthy(d, 16, np.random.default_rng(1))
    values["controller_gain_ratio"] = np.full(16, 1.5)
    # rooms that bring from too little to too much heat of their own: commands all over the travel
    sign = np.sign(d.unit.space.sensible) or 1.0
    own = sign * np.linspace(-0.6, 1.6, 16)[:, None]
    push = np.concatenate([own, own, own + 0.3, own + 0.3, own, own], axis=1)
    loads = Loads.of(0.7, push, [0.0, 600.0, 601.0, 900.0, 901.0, 1e5])
    held = [Hold(0.0, "cooling.call", 1.0)]
    rest = closed(d, values, day(d), Loads.of(0.7, own), {"cooling.call": 1.0})
    # at the seat itself a valve jumps open, and no tuning is made for that
    within = (rest.command > 0.06) & (rest.command < 0.95)
    assert within.sum() >= 4
    trace = run(d, values, day(d), loads, held, duration=4 * 3600.0)
    last_hour = np.ptp(trace["shown.reheat_command"][within, -360:], axis=1)
    assert last_hour.max() < 0.02, (rest.command[within], last_hour)


def test_a_swapped_source_shows_the_outdoor_dew_point_always_or_only_at_rest() -> None:
    d = machine("dx boiler")
    always = one_cause(d, nominal(d), "dew-source-swapped", way=0)
    trace = run(d, always, day(d), Loads.of(0.7), duration=3600.0)
    outdoor = d.unit.space.design_day.outdoor_dew_point - 2.0
    assert np.allclose(trace["shown.dew_point"], outdoor)
    at_rest = one_cause(d, nominal(d), "dew-source-swapped", way=1)
    trace = run(d, at_rest, day(d, 12.0, 9.0), Loads.of(-3.0), duration=12 * 3600.0)
    active = trace["shown.dehumidifying"][0] > 0.5
    shown = trace["shown.dew_point"][0]
    assert active.any()
    assert (~active).any()
    outdoor = d.unit.space.design_day.outdoor_dew_point - 9.0
    after = np.flatnonzero(~active[:-1] & ~active[1:]) + 1
    assert np.allclose(shown[after], outdoor)
    assert not np.isclose(shown[active], outdoor).all()


def test_sensor_errors_steer_the_control_away() -> None:
    d = machine("modulating reclaim")
    for cause, point in (("space-sensor-off", "space.t"), ("dew-sensor-high", "space.rh")):
        good = closed(d, nominal(d), day(d), Loads.of(0.7)).points()[point][0]
        values = one_cause(d, nominal(d), cause)
        bad = run(d, values, day(d), Loads.of(0.7), duration=12 * 3600.0, step=20.0)[point][0, -1]
        assert bad < good  # reads high, so the control overdoes it
    trace = run(d, one_cause(d, nominal(d), "supply-sensor-off"), day(d), Loads.of(0.7), duration=900.0)
    gap = trace["shown.supply_t"] - trace["supply.t"]
    assert np.all(gap > 2.0)


def test_an_output_in_hand_stays_where_the_hand_put_it() -> None:
    d = machine("dx boiler")
    values = one_cause(d, nominal(d), "output-in-hand") | {"hand_command": np.full(1, 0.8)}
    trace = run(d, values, day(d), Loads.of(0.7), duration=3600.0)
    assert np.all(trace["shown.reheat_command"] == 0.8)
    assert np.all(trace["shown.reheat_in_hand"] == 1.0)


def test_mending_a_cause_halfway_leaves_what_is_stored_and_changes_the_machine() -> None:
    d = machine("dx boiler")
    schedule = [Alter(3600.0, nominal(d))]
    weak = one_cause(d, nominal(d), "fan-slow", 0.0)
    trace = run(d, weak, day(d), Loads.of(0.7), schedule, duration=7200.0)
    airflow, room = trace["supply.airflow"][0], trace["space.t"][0]
    assert airflow[300] < 0.6 * airflow[400]
    assert abs(room[361] - room[360]) < 0.05


def test_wandering_loads_come_from_the_generator_alone() -> None:
    d = machine("dx boiler")

    def dew(seed: int | None) -> np.ndarray:
        rng = None if seed is None else np.random.default_rng(seed)
        return run(d, nominal(d), day(d), Loads.of(0.7), duration=7200.0, rng=rng)["space.rh"]

    assert np.array_equal(dew(1), dew(1))
    assert not np.array_equal(dew(1), dew(2))
    assert np.ptp(dew(None)) < np.ptp(dew(1))
