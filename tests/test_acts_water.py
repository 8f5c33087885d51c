"""What a cause of valve, water and heat source states is what the machine shows: each range as the
list of causes gives it, both ends.

Every test settles some healthy machines, each with spreads of its own, with the cause at its least and at its
most, and the same machines without it.
"""

from __future__ import annotations

import numpy as np
import pytest

from cause_tools import (
    DEGF,
    KINDS,
    LOOPS,
    RECLAIM,
    THREE_WAY,
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
    RECLAIM_UPSTREAM,
    UNITS,
    conditions,
)
from wringout.machine.design import GAS_RESERVE

# ---------------------------------------------------------------------------------- valve and signal


@KINDS
def test_a_reversed_signal_sends_at_full_command_what_shuts_the_coil(kind: str) -> None:
    text = UNITS[kind]
    asked, not_asked = (Seen(text, "signal-reversed", 0.0, c, None) for c in (full(text), shut(text)))
    assert about(asked.now["reheat.signal"] - not_asked.then["reheat.signal"], 0.0, 1e-9)
    assert about(asked.now["reheat.stem"], 0.0, 1e-9)
    assert about(not_asked.now["reheat.stem"], 1.0, 1e-9)
    assert np.all(not_asked.now["supply.t"] > asked.now["supply.t"] + 5.0)


def test_a_two_to_ten_volt_actuator_on_a_zero_to_ten_volt_output_is_late() -> None:
    """5 V of a half command on 0..10 V is three eighths of 2..10 V, and under 2 V nothing moves."""
    for command, volts, stem in ((0.1, 1.0, 0.0), (0.5, 5.0, 0.375), (1.0, 10.0, 1.0)):
        c = conditions(design_of(RECLAIM_MIXING), command=command)
        seen = Seen(RECLAIM_MIXING, "signal-span-wrong", 0.0, c, None)
        assert about(seen.now["reheat.signal"], volts, 1e-9)
        assert about(seen.now["reheat.stem"], stem, 1e-9)


def test_a_zero_to_ten_volt_actuator_on_a_two_to_ten_volt_output_never_shuts() -> None:
    for command, volts, stem in ((0.0, 2.0, 0.2), (0.5, 6.0, 0.6), (1.0, 10.0, 1.0)):
        c = conditions(design_of(CHILLED_TWO_WAY), command=command)
        seen = Seen(CHILLED_TWO_WAY, "signal-span-wrong", 0.0, c, None)
        assert about(seen.now["reheat.signal"], volts, 1e-9)
        assert about(seen.now["reheat.stem"], stem, 1e-9)


@KINDS
def test_a_stuck_valve_stands_with_stem_and_plug_whatever_the_signal(kind: str) -> None:
    text = UNITS[kind]
    for c in (full(text), shut(text)):
        for end, seen in ends(text, "valve-stuck", c):
            assert about(seen.now["reheat.stem"], end, 1e-9)
            assert about(seen.sick.at.position, end, 1e-9)
            assert about(seen.rise("reheat.signal"), 0.0, 1e-9)


@KINDS
def test_a_loose_actuator_shows_a_stem_that_follows_and_a_plug_that_does_not(kind: str) -> None:
    text = UNITS[kind]
    for command, c in ((1.0, full(text)), (0.0, shut(text))):
        for end, seen in ends(text, "actuator-loose", c):
            assert about(seen.now["reheat.stem"], command, 1e-9)
            assert about(seen.sick.at.position, end, 1e-9)


@LOOPS
def test_a_leaking_valve_passes_when_shut_an_eighth_to_a_third_of_full_coil_flow(text: str) -> None:
    open_flow = Seen(text, "valve-leaks", 0.0, full(text), None).then["reheat.water_flow"]
    for end, seen in ends(text, "valve-leaks", shut(text)):
        assert about(seen.now["reheat.water_flow"] / open_flow, 0.35 if end else 0.12, 0.005)
        assert about(seen.now["reheat.stem"], 0.0, 1e-9)
    # open, nobody can tell
    for _, seen in ends(text, "valve-leaks", full(text)):
        assert about(seen.ratio("reheat.water_flow"), 1.0, 1e-9)


def test_a_leaking_hot_gas_valve_gives_when_shut_an_eighth_to_a_third_of_full_heat() -> None:
    open_heat = Seen(HOT_GAS, "valve-leaks", 0.0, full(HOT_GAS), None).well.reheat.heat
    for end, seen in ends(HOT_GAS, "valve-leaks", shut(HOT_GAS)):
        # full reheat eases the condensers, so that full heat here is a little more than at full command
        assert about(seen.sick.reheat.heat / open_heat, 0.35 if end else 0.12, 0.03)


# ---------------------------------------------------------------------------------- water


@LOOPS
def test_a_restricted_coil_leg_passes_a_twelfth_to_two_fifths_when_full_open(text: str) -> None:
    for end, seen in ends(text, "coil-leg-restricted", full(text)):
        assert about(seen.ratio("reheat.water_flow"), 0.40 if end else 0.08, 5e-4)
        assert np.all(seen.ratio("supply.t") < 1.0)


@THREE_WAY
def test_behind_a_restricted_coil_leg_the_main_keeps_flowing_through_the_bypass(text: str) -> None:
    """As soon as the valve leaves a little to the bypass; full open the valve itself shuts that way."""
    for _, seen in ends(text, "coil-leg-restricted", conditions(design_of(text), command=0.5)):
        assert np.all(seen.ratio("loop.flow") > 0.4)
        assert np.all(seen.now["reheat.water_flow"] < 0.45 * seen.now["loop.flow"])
    for _, seen in ends(text, "coil-leg-restricted", shut(text)):
        assert np.all(seen.ratio("loop.flow") > 0.97)


def test_behind_a_restricted_coil_leg_the_main_keeps_the_small_bypass_of_a_two_way_valve() -> None:
    for _, seen in ends(CHILLED_TWO_WAY, "coil-leg-restricted", full(CHILLED_TWO_WAY)):
        assert np.all(seen.ratio("loop.flow") > 2.0 * seen.ratio("reheat.water_flow") * (1 - 0.4))
        assert np.all(seen.now["loop.flow"] > 1.2 * seen.now["reheat.water_flow"])


@LOOPS
def test_a_plugged_strainer_brings_the_main_to_a_quarter_to_three_fifths_and_its_drop_high(text: str) -> None:
    for end, seen in ends(text, "strainer-plugged", full(text)):
        assert about(seen.ratio("loop.flow"), 0.60 if end else 0.25, 5e-4)
        assert np.all(seen.ratio("strainer.drop") > 4.0)
        assert np.all(seen.ratio("pump.head") > 1.0)


@THREE_WAY
def test_with_the_bypass_shut_by_hand_the_main_stops_as_the_valve_leaves_the_coil(text: str) -> None:
    open_flow = Seen(text, "bypass-shut", 0.0, full(text), None)
    assert about(open_flow.ratio("loop.flow"), 1.0, 0.002)
    for end, seen in ends(text, "bypass-shut", shut(text)):
        share = seen.now["loop.flow"] / open_flow.then["loop.flow"]
        # a seat that leaks more than the stated share sets the floor
        assert np.all(share >= (0.10 if end else 0.03) - 2e-4)
        assert np.percentile(share, 80) < (0.10 if end else 0.03) + 0.015
        assert np.all(share < 0.12)
        assert np.all(seen.now["pump.head"] > seen.then["pump.head"])
        # under an eighth of design flow the flow switch holds the source off, and the loop goes cold
        assert np.all(seen.now["source.water_out"] < seen.then["source.water_out"] - 10.0)


@LOOPS
def test_a_hand_valve_open_around_the_coil_leaves_it_three_to_six_tenths(text: str) -> None:
    for end, seen in ends(text, "bypass-open", full(text)):
        assert about(seen.ratio("reheat.water_flow"), 0.60 if end else 0.30, 0.015)
        more = seen.ratio("loop.flow")
        assert np.all((more > 1.0) & (more < 1.15))


@LOOPS
@pytest.mark.parametrize("command", [0.0, 0.4, 1.0])
def test_a_weak_pump_gives_at_any_flow_a_quarter_to_half_of_the_head(text: str, command: float) -> None:
    """At any flow: the pump's head at its flow over what the sound pump gives at that same flow."""
    d = design_of(text)
    assert d.loop is not None
    for end, seen in ends(text, "pump-weak", conditions(d, command=command)):
        sound = healthy_machines(text)["pump_ratio"] * (
            d.loop.shutoff_pressure - d.loop.pump_resistance * seen.now["loop.flow"] ** 2
        )
        here = seen.now["pump.head"] * d.loop.density * 9.80665
        assert about(here / sound, 0.55 if end else 0.25, 1e-6)
        assert np.all(seen.ratio("loop.flow") < 0.85)


@LOOPS
def test_with_the_pump_off_nothing_flows_and_nothing_warms(text: str) -> None:
    seen = Seen(text, "pump-off", 0.0, full(text), None)
    for point in ("loop.flow", "reheat.water_flow", "pump.head", "strainer.drop"):
        assert about(seen.now[point], 0.0, 1e-9)
    assert about(seen.sick.reheat.heat, 0.0, 1.0)
    assert about(seen.now["source.water_out"], design_of(text).unit.control.space_t, 0.5)


# ---------------------------------------------------------------------------------- heat source


@RECLAIM
def test_a_starved_source_has_a_tenth_to_less_than_half_of_its_design_heat(text: str) -> None:
    """Heat to give is counted between the design temperatures of the gas; a cold loop draws out some more."""
    for end, seen in ends(text, "source-starved", full(text)):
        w = seen.sick.reheat.water
        assert w is not None
        to_give = w.demand * design_of(text).gas_capacity_rate
        design_span = design_of(text).gas_in - design_of(text).gas_out
        share = to_give * design_span / design_of(text).source_heat
        assert about(share, 0.45 if end else 0.10, 1e-3)
        assert np.all(seen.now["source.water_out"] < seen.then["source.water_out"] - 5.0)


@RECLAIM
def test_a_valve_that_does_not_divert_sends_next_to_no_gas(text: str) -> None:
    for end, seen in ends(text, "reclaim-not-diverting", full(text)):
        w = seen.sick.reheat.water
        assert w is not None
        there = GAS_RESERVE * healthy_machines(text)["plant_ratio"]
        assert about(w.demand / there, 0.12 if end else 0.03, 1e-4)
        sound = seen.well.reheat.water
        assert sound is not None
        assert np.all(w.source_heat < 0.65 * sound.source_heat)


GLIDING_UPSTREAM = RECLAIM_MIXING.replace("upstream: none", "upstream: service_water")


def test_what_an_exchanger_upstream_takes_is_missing_from_gas_that_glides() -> None:
    d = design_of(GLIDING_UPSTREAM)
    for end, seen in ends(GLIDING_UPSTREAM, "upstream-takes-heat", full(GLIDING_UPSTREAM)):
        left = seen.now["reclaim.gas_in"] - d.gas_out
        whole = d.gas_in + healthy_machines(GLIDING_UPSTREAM)["gas_in_shift"] - d.gas_out
        assert about(left / whole, 0.10 if end else 0.40, 0.05)
        # a plant with gas to spare can still meet what is asked
        assert np.all(seen.sick.reheat.heat <= seen.well.reheat.heat)
        assert np.median(seen.sick.reheat.heat / seen.well.reheat.heat) < 0.9


def test_what_an_exchanger_upstream_takes_leaves_wet_gas_and_less_heat() -> None:
    d = design_of(RECLAIM_UPSTREAM)
    for end, seen in ends(RECLAIM_UPSTREAM, "upstream-takes-heat", full(RECLAIM_UPSTREAM)):
        p = healthy_machines(RECLAIM_UPSTREAM)
        w = seen.sick.reheat.water
        assert w is not None
        left = d.source_heat * GAS_RESERVE * p["plant_ratio"] * (0.10 if end else 0.40)
        assert np.all(w.source_heat <= left * (1.0 + 1e-9))
        # more than the superheat is gone: what arrives is at condensing temperature
        condensing = d.gas_condensing + p["condensing_gas_shift"]
        assert np.all(seen.now["reclaim.gas_in"] <= condensing + 0.01)
        assert np.median(seen.sick.reheat.heat / seen.well.reheat.heat) < 0.9


def test_a_fouled_exchanger_passes_a_quarter_to_half_as_much_a_kelvin() -> None:
    """Conductance worked out anew from heat and the log mean of both ends' differences."""
    text = RECLAIM_MIXING
    d = design_of(text)
    for end, seen in ends(text, "exchanger-fouled", full(text)):
        w = seen.sick.reheat.water
        assert w is not None
        warm = d.gas_in + healthy_machines(text)["gas_in_shift"] - w.source_out
        cold = w.gas_out - w.source_in
        conductance = w.source_heat * np.log(warm / cold) / (warm - cold)
        assert d.loop is not None
        films = 0.85 * w.demand**-0.8 + 0.15 * (w.main / d.loop.main_flow) ** -0.8
        own = d.exchanger_conductance * healthy_machines(text)["exchanger_ratio"] / films
        assert about(conductance / own, 0.55 if end else 0.25, 1e-3)
        assert np.all(seen.now["reclaim.gas_out"] > seen.then["reclaim.gas_out"])


def test_a_fouled_exchanger_of_a_gas_that_condenses_blows_through_at_condensing_temperature() -> None:
    text = RECLAIM_UPSTREAM
    d = design_of(text)
    for end, seen in ends(text, "exchanger-fouled", full(text)):
        p = healthy_machines(text)
        w = seen.sick.reheat.water
        assert w is not None
        condensing = d.gas_condensing + p["condensing_gas_shift"]
        # by its plates: where the plant has less gas than they condense, liquid stands behind them
        gas = d.source_heat * GAS_RESERVE * p["plant_ratio"]
        limited = (w.source_heat > w.reserve * (1.0 - 1e-9)) & (w.source_heat < gas * (1.0 - 1e-9))
        assert limited.mean() > (0.4 if end else 0.9)
        assert np.all(np.abs(w.gas_out - condensing)[limited] < 0.01)
        conductance = w.source_heat / (w.source_out - w.source_in)
        conductance = conductance * np.log((condensing - w.source_in) / (condensing - w.source_out))
        assert d.loop is not None
        films = 0.5 + 0.5 * (w.main / d.loop.main_flow) ** -0.8
        own = d.exchanger_conductance * p["exchanger_ratio"] / films
        assert about((conductance / own)[limited], 0.55 if end else 0.25, 1e-3)


@pytest.mark.parametrize("text", [CHILLED_TWO_WAY, BOILER_DIVERTING])
def test_a_low_boiler_sends_water_twenty_five_to_fifty_degrees_colder(text: str) -> None:
    for end, seen in ends(text, "boiler-low", full(text)):
        assert about(seen.rise("source.water_out"), -(50.0 if end else 25.0) * DEGF, 1e-6)
