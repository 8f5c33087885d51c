"""The laws of transfer, and whole ledgers, against worked cases of the trade.

SOURCE: air-side cases A to D and the reheat after B: worked out elsewhere with psychrolib 2.5.0 (ideal gas)
at 14.696 psia, dry air by the specific volume of the entering air, sensible heat at the entering humidity
ratio. Our moist air has the enhancement factor: humidity ratios are 0.4 to 0.6 % more, a difference of two up
to 1.2 %, a heat up to 0.5 %. Water factors: CoolProp 8.0.0, within 0.05 %; glycol within 1.5 % (INCOMP::MPG
and MEG, by mass).
"""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest

from wringout.documents.load import unit_from_text
from wringout.documents.states import Snapshot
from wringout.ledger.book import ledger
from wringout.ledger.entries import Ledger, Route
from wringout.ledger.readings import Read
from wringout.ledger.transfer_laws import (
    air_heat,
    air_moisture,
    dry_air_flow,
    latent_heat,
    moisture_at_share,
    water_heat,
)
from wringout.machine.design import design
from wringout.physics.moist_air import humidity_ratio_from_wet_bulb, specific_volume

BTU_H = 0.29307107017
POUND_H = 0.45359237 / 3600.0
CFM = 0.3048**3 / 60.0
GPM = 3.785411784e-3 / 60.0
PRESSURE = 101_325.0


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def at_wet_bulb(t: float, bulb: float) -> tuple[float, float]:
    return celsius(t), float(humidity_ratio_from_wet_bulb(celsius(t), celsius(bulb), PRESSURE))


def at_share(t: float, percent: float) -> tuple[float, float]:
    ratio = moisture_at_share(np.array(celsius(t)), np.array(percent / 100.0), PRESSURE)
    return celsius(t), float(ratio)


# cfm, entering, leaving; total and sensible Btu/h, water lb/h
COILS = {
    "A": (1200.0, at_wet_bulb(80, 67), at_wet_bulb(58, 57), 36_503.0, 28_017.0, 7.81),
    "B": (10_000.0, at_share(75, 55), at_share(48, 95), 453_055.0, 289_147.0, 151.4),
    "C": (10_000.0, at_share(75, 45), at_share(45, 97), 424_792.0, 321_133.0, 95.9),
    "D": (1_000.0, at_wet_bulb(95, 78), at_share(55, 95), 77_826.0, 41_355.0, 33.60),
}


@pytest.mark.parametrize("case", COILS)
def test_cooling_coil(case: str) -> None:
    cfm, (t_in, w_in), (t_out, w_out), total, sensible, water = COILS[case]
    flow = dry_air_flow(*(np.array(x) for x in (cfm * CFM, t_in, w_in)), PRESSURE)
    at_entering = -air_heat(flow, np.array(t_in), np.array(t_out), np.array(w_in))
    assert at_entering / BTU_H == pytest.approx(sensible, rel=2e-3)
    drained = -air_moisture(flow, np.array(w_in), np.array(w_out))
    assert drained / POUND_H == pytest.approx(water, rel=1.2e-2)
    dry = -air_heat(flow, np.array(t_in), np.array(t_out), np.array(w_out))
    assert (dry + latent_heat(drained, np.array(t_in))) / BTU_H == pytest.approx(total, rel=5e-3)


def test_reheat_after_case_b() -> None:
    """48 to 70 degF: 234,122 Btu/h; the trade's 1.08 makes 237,600 of it: this air is lighter."""
    cfm, entering, leaving, *_ = COILS["B"]
    flow = dry_air_flow(*(np.array(x) for x in (cfm * CFM, *entering)), PRESSURE)
    heat = air_heat(flow, np.array(celsius(48.0)), np.array(celsius(70.0)), np.array(leaving[1]))
    assert heat / BTU_H == pytest.approx(234_122.0, rel=3e-3)


def test_dry_air_is_airflow_over_specific_volume() -> None:
    found = dry_air_flow(np.array(2.0), np.array(21.0), np.array(0.009), 95_000.0)
    assert found == pytest.approx(2.0 / specific_volume(21.0, 0.009, 95_000.0), rel=1e-6)


def test_moisture_goes_straight_on_through_saturation() -> None:
    """A reading of 99 % with 2.5 % of uncertainty reaches over 100 %: the law bends no corner there."""
    share = np.array([0.97, 0.99, 1.01, 1.03])
    steps = np.diff(moisture_at_share(np.full(4, 12.0), share, PRESSURE))
    assert steps == pytest.approx(steps[0], rel=2e-3)


# ------------------------------------------------------------------------- whole ledgers of case B

UNIT = """\
format: wringout-unit/1
name: Worked case unit
site: {{name: Worked Case Hall (invented), altitude: 0 ft}}
air:
  supply_airflow: 9900 cfm
  outdoor_airflow: 1000 cfm
  supply_fan: {{drive: belt, heat_rise: 0 delta_degF, current: 12 A}}
cooling: {{kind: chilled_water}}
reheat: {{kind: hot_water, valve: {{ways: three}}}}
source: {{kind: boiler}}
loop: {{fluid: {fluid}, {concentration}flow: 24 gpm}}
"""


def unit(fluid: str = "water", concentration: str = "") -> str:
    return UNIT.format(fluid=fluid, concentration=concentration)


# Btu/h for each gpm and degF, at the mean temperature
WATER = {40: 503.0, 60: 500.3, 80: 498.3, 120: 494.3, 140: 492.1, 160: 489.7, 180: 487.3, 200: 484.7}


@pytest.mark.parametrize("mean", WATER)
def test_the_500_of_the_trade(mean: float) -> None:
    made = unit_from_text(unit())
    heat = water_heat(
        made, np.array(10.0 * GPM), np.array(celsius(mean + 5.0)), np.array(celsius(mean - 5.0))
    )
    assert heat / BTU_H / 100.0 == pytest.approx(WATER[mean], rel=1e-3)


@pytest.mark.parametrize(
    ("fluid", "concentration", "mean", "factor"),
    [
        ("propylene_glycol", "30 %", 120.0, 474.3),
        ("propylene_glycol", "50 %", 120.0, 443.7),
        ("ethylene_glycol", "30 %", 120.0, 465.3),
        ("ethylene_glycol", "50 %", 40.0, 414.1),
    ],
)
def test_what_glycol_makes_of_the_500(fluid: str, concentration: str, mean: float, factor: float) -> None:
    made = unit_from_text(unit(fluid, f"concentration: {concentration}, "))
    heat = water_heat(
        made, np.array(10.0 * GPM), np.array(celsius(mean + 5.0)), np.array(celsius(mean - 5.0))
    )
    assert heat / BTU_H / 100.0 == pytest.approx(factor, rel=0.015)


def exact(**points: float) -> dict[str, Read]:
    """Readings without any error to speak of; ``supply_t=21`` is the point ``supply.t``."""
    return {
        name.replace("__", ".", 1): Read(value, 1e-6 * max(abs(value), 1e-3), "handheld")
        for name, value in points.items()
    }


def booked(readings: dict[str, Read]) -> Ledger:
    now = datetime(2027, 5, 4, 9)
    made = design(unit_from_text(unit()))
    snapshot = Snapshot("auto", 0, 0, now, now, ())
    return ledger(made, snapshot, readings, np.random.default_rng(3))


def route(made: Ledger, line: str, name: str) -> Route:
    lines = {item.transfer: item for item in made.lines}
    return {item.name: item for item in lines[line].routes}[name]


def case_b(**more: float) -> Ledger:
    """Case B as a technician would read it: 75 degF 55 %, off the coil at 48 degF, supplied at 70 degF."""
    entering, leaving = at_share(75, 55), at_share(48, 95)
    share = leaving[1] / at_share(70, 100)[1]  # nearly: the vapour's own share of the pressure is small
    vapour = share * (0.621945 + at_share(70, 100)[1]) / (0.621945 + leaving[1])
    dry = dry_air_flow(*(np.array(x) for x in (10_000 * CFM, *entering)), PRESSURE)
    airflow = float(dry * specific_volume(celsius(70), leaving[1], PRESSURE))
    readings = {
        "mixed__t": celsius(75),
        "mixed__rh": 0.55,
        "coil_leaving__t": celsius(48),
        "supply__t": celsius(70),
        "supply__rh": float(vapour),
        "supply__airflow": airflow,
        "reheat__water_flow": 23.96 * GPM,
        "reheat__water_in": celsius(180),
        "reheat__water_out": celsius(160),
        "condensate__rate": 151.4 * POUND_H,
    }
    return booked(exact(**(readings | more)))


def test_case_b_through_a_whole_ledger() -> None:
    made = case_b()
    sensible = route(made, "sensible", "air side").heat
    latent, total = route(made, "latent", "air side"), route(made, "total", "air side").heat
    assert sensible is not None
    assert total is not None
    assert latent.moisture is not None
    # booked at the leaving humidity ratio: 0.6 % less, and so much more in the latent part
    assert sensible.value / BTU_H == pytest.approx(0.994 * 289_147.0, rel=2e-3)
    assert latent.moisture.value / POUND_H == pytest.approx(151.4, rel=1.2e-2)
    assert total.value / BTU_H == pytest.approx(453_055.0, rel=5e-3)


def test_reheat_of_case_b_by_air_and_by_water() -> None:
    """23.96 gpm from 180 to 160 degF carry the 234,122 Btu/h that take the air from 48 to 70 degF."""
    made = case_b()
    air, water = route(made, "reheat", "air side"), route(made, "reheat", "water side")
    assert air.heat is not None
    assert water.heat is not None
    assert water.heat.value / BTU_H == pytest.approx(234_122.0, rel=1.5e-3)
    assert air.heat.value / BTU_H == pytest.approx(234_122.0, rel=3e-3)
    assert water.mark == "computed"


def test_a_route_says_what_it_lacks() -> None:
    made = booked(exact(supply__t=20.0))
    assert route(made, "reheat", "water side").impossible == (
        "needs reheat.water_flow, reheat.water_in and reheat.water_out"
    )
    assert route(made, "latent", "condensate").impossible == "needs condensate.rate"
    assert "fuel is no reading" in route(made, "source", "fuel").impossible


def test_air_too_alike_to_tell_a_mixture() -> None:
    alike = booked(
        {
            "outdoor.t": Read(22.2, 0.4, "handheld"),
            "return.t": Read(22.0, 0.4, "handheld"),
            "mixed.t": Read(22.1, 0.8, "handheld"),
        }
    )
    told = route(alike, "outdoor", "mixing, by temperature")
    assert told.impossible == "outdoor and return air are too alike in temperature"
