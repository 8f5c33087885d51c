"""SOURCE: the bypass-factor method of the trade, apparatus dew point where the process line of a
coil meets saturation; common practice, from memory.

Values: four air-side cases and one example in SI, computed with psychrolib 2.5.0 (ideal-gas equations of
ASHRAE Fundamentals 2017, chapter 1, pressure 14.696 psia, mass flow from the volume of the entering air);
the SI example's inputs as on a public calculator's page.

Accuracy: four digits. Our saturation carries the enhancement factor, up to 0.6 % of the humidity ratio, so
capacities within 0.5 % and water, a difference of two humidity ratios, within 1.2 %.
"""

from __future__ import annotations

import numpy as np
import pytest

from wringout.errors import InputError
from wringout.physics.cooling_coil import air_after_surface, apparatus_dew_point
from wringout.physics.moist_air import (
    enthalpy,
    humidity_ratio,
    humidity_ratio_from_wet_bulb,
    relative_humidity,
    specific_volume,
)

PRESSURE = 14.696 * 6894.757
CFM, BTU_PER_HOUR, LB_PER_HOUR = 4.719474e-4, 0.2930711, 0.45359237 / 3600.0


def celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def by_wet_bulb(t: float, wet_bulb: float) -> tuple[float, float]:
    return celsius(t), float(humidity_ratio_from_wet_bulb(celsius(t), celsius(wet_bulb), PRESSURE))


def by_humidity(t: float, rh: float) -> tuple[float, float]:
    return celsius(t), float(humidity_ratio(celsius(t), rh, PRESSURE))


# cfm, entering, leaving, total and sensible Btu/h, water lb/h, apparatus dew point degF, bypass factor
CASES = {
    "80/67 to 58/57": (1200, by_wet_bulb(80, 67), by_wet_bulb(58, 57), 36_503, 28_017, 7.81, 55.97, 0.0846),
    "75 at 55 % to 48 at 95 %": (
        10_000,
        by_humidity(75, 0.55),
        by_humidity(48, 0.95),
        453_055,
        289_147,
        151.4,
        45.21,
        0.0936,
    ),
    "75 at 45 % to 45 at 97 %": (
        10_000,
        by_humidity(75, 0.45),
        by_humidity(45, 0.97),
        424_792,
        321_133,
        95.9,
        43.84,
        0.0372,
    ),
    "95/78 to 55 at 95 %": (
        1000,
        by_wet_bulb(95, 78),
        by_humidity(55, 0.95),
        77_826,
        41_355,
        33.60,
        51.02,
        0.0905,
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_capacity_water_and_apparatus_dew_point(case: str) -> None:
    cfm, (t, w), (t_off, w_off), total, sensible, water, apparatus, bypass = CASES[case]
    flow = cfm * CFM / float(specific_volume(t, w, PRESSURE))
    drop = flow * float(enthalpy(t, w) - enthalpy(t_off, w_off))
    assert drop == pytest.approx(total * BTU_PER_HOUR, rel=0.005)
    # the table's sensible heat goes by the specific heat of the entering air
    assert flow * (1006.0 + 1860.0 * w) * (t - t_off) == pytest.approx(sensible * BTU_PER_HOUR, rel=0.005)
    assert flow * (w - w_off) == pytest.approx(water * LB_PER_HOUR, rel=0.012)

    at_entering = flow * float(enthalpy(t, w_off) - enthalpy(t_off, w_off))
    found = apparatus_dew_point(t, w, drop, at_entering, flow, PRESSURE)
    assert found.temperature == pytest.approx(celsius(apparatus), abs=0.02)
    assert found.bypass == pytest.approx(bypass, rel=0.005)

    # and back: the air that this surface and this bypass leave is the air that went into the rating
    air = air_after_surface(
        np.array([t]),
        np.array([w]),
        np.array([flow]),
        np.array([found.bypass]),
        np.array([found.temperature]),
        PRESSURE,
    )
    assert air.dry_bulb[0] == pytest.approx(t_off, abs=1e-6)
    assert air.humidity_ratio[0] == pytest.approx(w_off, rel=1e-6)
    assert air.condensate[0] == pytest.approx(water * LB_PER_HOUR, rel=0.012)
    drained = air.condensate[0] * 4186.0 * found.temperature
    assert air.total[0] + drained == pytest.approx(drop, rel=1e-9)


def test_an_example_in_si() -> None:
    """30 degC at 60 %, apparatus dew point 10 degC, a fifth of the air bypassed: 14 degC at 93.5 %."""
    w = float(humidity_ratio(30.0, 0.60, 101_325.0))
    assert float(enthalpy(30.0, w)) == pytest.approx(71_193.0, rel=0.005)
    air = air_after_surface(
        np.array([30.0]), np.array([w]), np.ones(1), np.array([0.2]), np.array([10.0]), 101_325.0
    )
    assert air.dry_bulb[0] == pytest.approx(14.0, abs=1e-9)
    assert air.humidity_ratio[0] == pytest.approx(0.009312, rel=0.006)
    assert relative_humidity(air.dry_bulb, air.humidity_ratio, 101_325.0)[0] == pytest.approx(
        0.935, abs=0.002
    )
    assert enthalpy(air.dry_bulb, air.humidity_ratio)[0] == pytest.approx(37_616.0, rel=0.005)


def test_a_process_line_that_misses_saturation_is_refused() -> None:
    """Wet air that is to lose much more water than heat: the line from 75 degF at 45 % falls too steeply."""
    t, w = by_humidity(75, 0.45)
    with pytest.raises(InputError, match="never meets saturation: the sensible share is too low"):
        apparatus_dew_point(t, w, 11_000.0, 1_000.0, 1.0, PRESSURE)


def test_a_rating_that_leaves_over_saturated_air_is_refused() -> None:
    """All of a large capacity taken as sensible heat brings the air under its dew point, water and all."""
    t, w = by_humidity(75, 0.55)
    with pytest.raises(InputError, match="more water than it can"):
        apparatus_dew_point(t, w, 20_000.0, 19_500.0, 1.0, PRESSURE)
