"""The machine in time against cases that can be worked out on paper, and against a stiff integrator.

SOURCE of each value stands beside it:
- first order: 63.2, 86.5, 95.0, 98.2, 99.3 % after one to five time constants (identity, 1 - exp(-n));
- first order with dead time (gain 2, 60 s, 12 s): 28.3 % after 31.96 s and 63.2 % after 72.0 s, from which
  the two-point method gives back 60.06 s and 11.94 s (method of C. L. Smith as in Seborg, Edgar and
  Mellichamp, Process Dynamics and Control: recalled from memory, figures worked out from it);
- transit: 100 ft of 2 in schedule-40 steel pipe at 10 gpm, 0.1743 gal/ft, take 104.6 s (worked out from the
  inside diameter, 2.067 in, ASME B36.10M);
- a well-mixed room: W(t) = Ws + (W0 - Ws) exp(-t m/M), the decay by which air change is measured (ASTM E741,
  identity); at rest 60 lb/h in 10,000 cfm of standard air (4500 lb/h to the 1000 cfm) lift it by 9.33 gr/lb
  (the trade's 4.5 rule);
- ultimate gain of exp(-s)/(s + 1): 2.26183, and of (s + 1)^-3: 8 (textbook cases, worked out from the phase
  condition);
- Radau of scipy, an implicit Runge-Kutta method of fifth order, on a right-hand side of its own.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from motion_cases import machine, nominal
from wringout.machine.air_side import airflows, cool, mix
from wringout.machine.closed import closed
from wringout.machine.conditions import Conditions
from wringout.machine.motion import Hold, Loads, Weather, run
from wringout.machine.motion_control import Control, tuning, ultimate_gain
from wringout.machine.motion_loop import Pipes
from wringout.machine.motion_numbers import Many, One
from wringout.machine.motion_storage import SENSOR_LAG, storage
from wringout.machine.water_side import Plug, flows, water
from wringout.physics.moist_air import dew_point, humidity_ratio

GALLON = 231.0 * 0.0254**3
POUND_AN_HOUR = 0.45359237 / 3600.0
FIRST_ORDER = ((1, 0.632), (2, 0.865), (3, 0.950), (4, 0.982), (5, 0.993))


def day(d, under=2.0):
    design_day = d.unit.space.design_day
    return Weather.of(design_day.outdoor_t - under, design_day.outdoor_dew_point - under)


@pytest.mark.parametrize(("constants", "share"), FIRST_ORDER)
@pytest.mark.parametrize("step", [1.0, 10.0, 60.0])
def test_a_sensor_follows_a_step_as_first_order_whatever_the_step(
    constants: int, share: float, step: float
) -> None:
    d = machine("dx boiler")
    p = {name: float(array[0]) for name, array in nominal(d).items()}
    p |= {"sensor_lag_ratio": 1.0, "controller_gain_ratio": 1.0, "hand_command": 0.5}
    control = Control(One(), d, p, storage(d), step, 0.0)
    control.felt_t, control.felt_dew = 20.0, 10.0
    control.mixes = 1.0  # air that mixes at once: the sensor alone
    for _ in range(round(constants * SENSOR_LAG / step)):
        control.see(25.0, 14.0, 20.0)
    assert (control.felt_t - 20.0) / 5.0 == pytest.approx(share, abs=5e-4)
    assert (control.felt_dew - 10.0) / 4.0 == pytest.approx(share, abs=5e-4)


def test_first_order_with_dead_time_crosses_where_the_two_point_method_wants_it() -> None:
    # a pipe for the dead time and a sensor for the lag, in one-second steps
    pipes = Pipes(One(), 400, 1, 12.0, 0.0)
    pipes.fill(0.0, 0.0, 0.0, 1.0)
    felt, series = 0.0, []
    follows = 1.0 - np.exp(-0.1 / 60.0)
    for k in range(2000):
        now = 0.1 * (k + 1)
        out, _ = pipes.leave(1.0, 0.1, now, 0.0)
        felt += follows * (out - felt)
        series.append(felt)
        pipes.push(2.0, 0.0, now)
    time = 0.1 * np.arange(1, 2001)
    reached = np.array(series) / 2.0
    t28, t63 = (float(np.interp(level, reached, time)) for level in (0.283, 0.632))
    assert t28 == pytest.approx(31.96, abs=0.25)
    assert t63 == pytest.approx(72.0, abs=0.25)
    assert 1.5 * (t63 - t28) == pytest.approx(60.06, abs=0.3)


@pytest.mark.parametrize("step", [0.5, 5.0, 10.0])
@pytest.mark.parametrize("many", [False, True])
def test_water_passes_a_pipe_in_its_transit_time(step: float, many: bool) -> None:
    volume = 100.0 * 0.1743 * GALLON
    flow = 10.0 * GALLON / 60.0
    numbers = Many() if many else One()
    size = np.full(3, volume) if many else volume
    pipes = Pipes(numbers, 1000, 3, size, 0.0 * size)
    main = np.full(3, flow) if many else flow
    pipes.fill(20.0 + 0.0 * size, 20.0 + 0.0 * size, 0.0, main)
    times, left = [], []
    for k in range(round(300.0 / step)):
        now = step * (k + 1)
        out, _ = pipes.leave(main, step, now, 20.0 + 0.0 * size)
        times.append(now)
        left.append(float(np.atleast_1d(out)[0]))
        pipes.push(60.0 + 0.0 * size, 20.0 + 0.0 * size, now)
    # the front is one step wide: it went in as a ramp over the first step
    assert np.interp(40.0, left, times) == pytest.approx(104.6 + 0.5 * step, abs=0.06 + 0.05 * step)


def test_a_pipe_keeps_its_heat_when_the_flow_changes_on_the_way() -> None:
    # all the heat that was pushed in comes out again, whatever the flow did meanwhile
    rng = np.random.default_rng(8)
    step, volume = 10.0, 0.06
    pipes = Pipes(One(), 2000, 1, volume, 0.0)
    pipes.fill(0.0, 0.0, 0.0, 1e-3)
    put = taken = 0.0
    inlet = before = 0.0
    for k in range(1500):
        flow = 1e-3 * (0.2 + rng.random()) if k % 97 > 10 else 0.0
        out, _ = pipes.leave(flow, step, step * (k + 1), 0.0)
        inlet = 30.0 if 300 <= k < 500 else 0.0
        put += flow * step * 0.5 * (inlet + before)
        taken += flow * step * out
        pipes.push(inlet, 0.0, step * (k + 1))
        before = inlet
    assert taken == pytest.approx(put, rel=0.01)


def test_standing_water_cools_as_first_order() -> None:
    pipes = Pipes(One(), 600, 1, 0.06, 1.0 / 7200.0)
    pipes.fill(60.0, 50.0, 0.0, 1e-3)
    pipes.leave(1e-3, 10.0, 10.0, 20.0)
    pipes.push(60.0, 50.0, 10.0)
    start, _ = pipes.leave(0.0, 10.0, 20.0, 20.0)
    for k in range(3, 363):
        pipes.push(60.0, 50.0, 10.0 * (k - 1))
        end, _ = pipes.leave(0.0, 10.0, 10.0 * k, 20.0)
    assert (end - 20.0) / (start - 20.0) == pytest.approx(np.exp(-3600.0 / 7200.0), rel=2e-3)


def test_a_rooms_moisture_decays_as_that_of_a_well_mixed_room() -> None:
    d = machine("dx boiler")
    # contents that hold next to nothing, and a tight room without sources
    values = {
        **nominal(d),
        "contents_moisture_ratio": np.full(1, 1e-9),
        "infiltration_ratio": np.full(1, 1e-12),
        "moisture_ratio": np.full(1, 1e-12),
    }
    held = [Hold(0.0, "cooling.call", 1.0), Hold(0.0, "reheat.command", 0.5)]
    wet = closed(d, nominal(d), day(d), Loads.of(1.5), {"cooling.call": 0.0})
    trace = run(d, values, day(d), Loads.of(0.0), held, wet, duration=3600.0, step=2.0)
    store, s = storage(d), trace.states
    flow = trace.machine(trace.segments[0], np.arange(len(trace.time))).flow.supply[0, 0]
    w = s["space_w"][:, 0]
    # the supply air moves a little meanwhile: the decay is taken piece by piece over ten minutes each
    for first in range(60, 1500, 300):
        last = first + 30
        supply = s["leaving_w"][first : last + 1, 0].mean()
        kept = np.exp(-(trace.time[last] - trace.time[first]) * flow / store.air_mass)
        assert w[last] == pytest.approx(supply + (w[first] - supply) * kept, rel=1e-3)
    assert w[-1] < 0.8 * w[0]


def test_at_rest_a_room_lies_over_its_supply_by_the_trades_rule() -> None:
    d = machine("chilled boiler two-way")
    rest = closed(d, nominal(d), day(d), Loads.of(1.0))
    s = rest.lower
    space = d.unit.space
    leak = space.infiltration * d.pressure / (287.042 * (rest.space_t[0] + 273.15) * 1.012)
    gained = space.moisture + leak * (s.mixed.outdoor_w - s.mixed.space_w)[0]
    lift = float(s.mixed.space_w[0] - s.supply_w[0]) * 7000.0  # gr/lb
    pounds = gained / POUND_AN_HOUR
    # standard air: 1 cfm moves 4.5 lb/h
    standard_cfm = float(s.flow.supply[0]) / POUND_AN_HOUR / 4.5
    assert lift == pytest.approx(pounds / (4.5 * standard_cfm) * 7000.0, rel=1e-3)
    assert pytest.approx(9.33, abs=0.005) == 60.0 / (4.5 * 10_000.0) * 7000.0


def test_the_ultimate_gain_is_the_published_one() -> None:
    # exp(-s)/(s + 1): Ku 2.26183 (worked out from the phase condition; a standard textbook case)
    assert ultimate_gain(1.0, (1.0,), 1.0, np.inf) == pytest.approx(2.26183, rel=1e-5)
    # three equal lags: Ku 8, the textbook's limit of (1 + s)^-3 by Routh's criterion
    assert ultimate_gain(1.0, (1.0, 1.0, 1.0), 0.0, np.inf) == pytest.approx(8.0, rel=1e-6)
    # twice the lags, twice the dead time: the same gain at half the frequency
    assert ultimate_gain(3.0, (2.0,), 2.0, np.inf) == pytest.approx(2.26183 / 3.0, rel=1e-5)


def test_the_controller_is_tuned_with_a_gain_margin() -> None:
    d = machine("modulating reclaim")
    found = tuning(d, storage(d))
    assert 0.02 < found.gain < 2.0  # of the command to the kelvin
    assert 240.0 < found.integral_time < 3600.0


# --------------------------------------------------------------------------------------- a stiff reference

CELLS = 150


def reference(d, values, outdoor, released, sensible, start, duration):
    """The same unit as ordinary differential equations of its own: the settled machine's own functions give
    the cooling coil at every moment, each pipe is a row of well-mixed cells, and Radau steps through it."""
    store, loop = storage(d), d.loop
    assert loop is not None
    supply = d.air_flow
    space = d.unit.space
    travel = d.unit.reheat.valve.travel_time
    per_flow = loop.density * loop.specific_heat
    lag = loop.main_flow * 12.0 * per_flow / (loop.main_flow * per_flow + d.reheat_conductance)
    vessel = loop.main_flow * store.source_time

    def rate(t, y):
        room, contents, w, contents_w, heat, out = y[:6]
        going, coming = y[6 : 6 + CELLS], y[6 + CELLS :]
        stem = np.full(1, min(0.5 + t / travel, 1.0))
        at = Plug(stem, stem, stem)
        c = Conditions(
            np.full(1, outdoor[0]), np.full(1, outdoor[1]), np.full(1, room),
            np.atleast_1d(dew_point(w, d.pressure)), np.ones(1), np.full(1, float(len(d.stage_share))),
            np.ones(1), np.zeros(1),
        )  # fmt: skip
        flow = airflows(d, values, c)
        mixed = mix(d, values, c, flow)
        air = cool(d, values, c, flow, mixed, np.zeros(1)).air
        main = float(flows(d, values, at)[0][0])
        # the settled loop gives the exchanger's pull: heat over inlet difference
        rest = water(d, values, c, at, air.dry_bulb, flow.supply)
        assert rest.water is not None
        pull = float(rest.heat[0] / (rest.water.coil_in[0] - air.dry_bulb[0]))
        into = going[-1]
        drawn = pull * (into - float(air.dry_bulb[0]))
        mixed_t = into - drawn / (main * per_flow)
        cell = loop.pipe_volume / CELLS
        loss = loop.pipe_conductance / (per_flow * loop.pipe_volume)
        rise = d.source_heat * 1.15 / (main * per_flow)
        target = max(min(d.source_out, coming[-1] + rise), coming[-1])
        specific = 1006.0 + 1860.0 * air.humidity_ratio[0]
        supply_t = air.dry_bulb[0] + heat / (supply * specific) + d.unit.air.supply_fan.heat_rise
        leak = space.infiltration * d.pressure / (287.042 * (room + 273.15) * 1.012)
        gain = sensible + leak * 1020.0 * (outdoor[0] - room) + supply * 1020.0 * (supply_t - room)
        grow = released + leak * (mixed.outdoor_w[0] - w) + supply * (air.humidity_ratio[0] - w)
        return np.concatenate(
            [
                [
                    (gain + store.contents_film * (contents - room)) / store.air_heat,
                    store.contents_film * (room - contents) / store.contents_heat,
                    (grow + store.contents_moisture_film * (contents_w - w)) / store.air_mass,
                    store.contents_moisture_film * (w - contents_w) / store.contents_moisture,
                    (drawn - heat) / lag,
                    (target - out) * main / vessel,
                ],
                np.diff(going, prepend=out) * -main / cell - loss * (going - room),
                np.diff(coming, prepend=mixed_t) * -main / cell - loss * (coming - room),
            ]
        )

    return solve_ivp(
        rate,
        (0.0, duration),
        start,
        method="Radau",
        rtol=1e-5,
        atol=1e-6,
        t_eval=np.arange(0.0, duration, 60.0),
    )


def test_a_stiff_integrator_on_equations_of_its_own_agrees() -> None:
    d = machine("dx boiler")
    values = nominal(d)
    weather, loads = day(d), Loads.of(0.7)
    held = {"cooling.call": 1.0, "reheat.command": 0.5}
    rest = closed(d, values, weather, loads, held)
    schedule = [
        Hold(0.0, "cooling.call", 1.0),
        Hold(0.0, "reheat.command", 0.5),
        Hold(1e-3, "reheat.command", 1.0),
    ]
    duration = 3600.0
    trace = run(d, values, weather, loads, schedule, rest, duration=duration, step=2.0)
    water_then = rest.lower.reheat.water
    assert water_then is not None
    w0 = float(humidity_ratio(rest.space_t[0], 1.0, d.pressure))
    w0 = min(w0, float(rest.lower.mixed.space_w[0]))
    t0, out, into = float(rest.space_t[0]), float(water_then.source_out[0]), float(water_then.coil_in[0])
    back = float(
        water_then.coil_in[0]
        - rest.lower.reheat.heat[0] / (water_then.main[0] * d.loop.density * d.loop.specific_heat)
    )
    start = np.concatenate(
        [
            [t0, t0, w0, w0, float(rest.lower.reheat.heat[0]), out],
            np.linspace(out, into, CELLS),
            np.linspace(back, float(water_then.source_in[0]), CELLS),
        ]
    )
    design_day = d.unit.space.design_day
    outdoor = (design_day.outdoor_t - 2.0, design_day.outdoor_dew_point - 2.0)
    space = d.unit.space
    solved = reference(d, values, outdoor, 0.7 * space.moisture, 0.6 * space.sensible, start, duration)
    assert solved.success
    mine = {
        name: np.interp(solved.t, trace.time, trace.states[name][:, 0])
        for name in ("space_t", "contents_t", "space_w", "heat", "source_in", "coil_in")
    }
    assert np.abs(mine["space_t"] - solved.y[0]).max() < 0.03
    assert np.abs(mine["contents_t"] - solved.y[1]).max() < 0.01
    assert np.abs(mine["space_w"] - solved.y[2]).max() < 2e-5
    full = solved.y[4].max()
    apart = np.abs(mine["heat"] - solved.y[4]) / full
    assert np.median(apart) < 0.003
    # while fronts pass, cells smear what plug flow keeps sharp
    assert apart.max() < 0.06
    assert np.abs(mine["source_in"] - solved.y[-1])[20:].max() < 0.4
    moved = solved.y[0].max() - solved.y[0].min()
    assert moved > 0.5
