"""SOURCE: psychrolib 2.5.0, an independent implementation of ASHRAE Fundamentals 2017, ch. 1.

It has no enhancement factor, and the saturation equations of Hyland and Wexler (1983).

What does not involve saturation must agree to the digits; what does, to the 0.3 to 0.6 % of the enhancement
factor.
"""

from __future__ import annotations

import psychrolib
import pytest

from wringout.physics import moist_air as air
from wringout.physics.air_state import state
from wringout.physics.saturation import (
    enhancement_factor,
    saturation_pressure,
    saturation_pressure_over_ice,
    saturation_pressure_over_water,
)


@pytest.fixture(autouse=True)
def _metric() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)  # a global of the library


STATES = [(24.0, 0.5, 101_325.0), (35.0, 0.2, 84_000.0), (10.0, 0.9, 95_000.0), (-12.0, 0.7, 70_000.0)]


@pytest.mark.parametrize(("t", "_rh", "p"), STATES)
def test_enthalpy_and_volume_are_the_same_to_the_digits(t: float, _rh: float, p: float) -> None:
    for w in (0.001, 0.012):
        assert air.enthalpy(t, w) == pytest.approx(psychrolib.GetMoistAirEnthalpy(t, w), rel=1e-9)
        assert air.specific_volume(t, w, p) == pytest.approx(psychrolib.GetMoistAirVolume(t, w, p), rel=1e-6)
        theirs = psychrolib.GetTDryBulbFromEnthalpyAndHumRatio(-5000.0, w)
        assert air.dry_bulb_from_enthalpy(-5000.0, w) == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize("t", [-60.0, -30.0, -5.0, 1.0, 20.0, 60.0, 100.0, 190.0])
def test_saturation_pressures_agree_as_far_as_hyland_and_wexler_agree_with_iapws(t: float) -> None:
    assert saturation_pressure(t) == pytest.approx(psychrolib.GetSatVapPres(t), rel=1e-3)


@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_humidity_ratio_differs_by_the_enhancement_factor(t: float, rh: float, p: float) -> None:
    theirs = psychrolib.GetHumRatioFromRelHum(t, rh, p)
    ours = air.humidity_ratio(t, rh, p)
    assert ours / theirs == pytest.approx(enhancement_factor(t, p), abs=4e-4)


@pytest.mark.parametrize(("t", "rh", "p"), STATES)
def test_dew_and_wet_bulb_hardly_feel_the_enhancement_factor(t: float, rh: float, p: float) -> None:
    air_state = state(p, dry_bulb=t, relative_humidity=rh)
    ice = air_state.frost_point if t < 0.0 else air_state.dew_point
    assert ice == pytest.approx(psychrolib.GetTDewPointFromRelHum(t, rh), abs=0.02)
    assert air_state.wet_bulb == pytest.approx(psychrolib.GetTWetBulbFromRelHum(t, rh, p), abs=0.02)


# relative humidity at 75 degF for a dew point in degF
@pytest.mark.parametrize(
    ("dew", "percent"),
    [(45, 34.31), (48, 38.43), (50, 41.41), (52, 44.60), (55, 49.78), (58, 55.49), (60, 59.60)],
)
def test_relative_humidity_at_75_fahrenheit_for_a_dew_point(dew: float, percent: float) -> None:
    room = state(101_325.0, dry_bulb=43.0 / 1.8, dew_point=(dew - 32.0) / 1.8)
    assert room.relative_humidity * 100.0 == pytest.approx(percent, abs=0.03)


def test_humidity_below_freezing_depends_on_what_it_is_counted_over() -> None:
    # the same air: 80 % over ice at -20 degC
    w = air.humidity_ratio(-20.0, 0.8, 101_325.0)
    by_water = air.relative_humidity(-20.0, w, 101_325.0, saturation_pressure_over_water)
    by_ice = air.relative_humidity(-20.0, w, 101_325.0, saturation_pressure_over_ice)
    assert by_ice == pytest.approx(0.8, abs=1e-9)
    assert by_water == pytest.approx(0.8 * 103.239 / 125.6, abs=1e-3)
