"""Refrigerants: round trips, balances between pressures and temperatures, limits, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wringout.errors import InputError
from wringout.physics import refrigerant

BAR = 1e5
NAME = st.sampled_from(refrigerant.REFRIGERANTS)
PURE = {"R744", "R134a", "R32"}
SHARE = st.floats(0.0, 1.0)


def between(name: str, share: float) -> float:
    """A saturation pressure within the table, by its place in the logarithm."""
    low, high = refrigerant.pressure_limits(name)
    high = min(high, 0.95 * refrigerant.critical_point(name).pressure)
    return float(low * (high / low) ** share)


@settings(deadline=None)
@given(NAME, SHARE)
def test_pressure_and_saturation_temperature_go_into_each_other(name: str, share: float) -> None:
    p = between(name, share)
    assert refrigerant.bubble_pressure(name, refrigerant.bubble_temperature(name, p)) == pytest.approx(
        p, rel=1e-9
    )
    assert refrigerant.dew_pressure(name, refrigerant.dew_temperature(name, p)) == pytest.approx(p, rel=1e-9)


@settings(deadline=None)
@given(NAME, SHARE)
def test_blends_glide_and_pure_fluids_do_not(name: str, share: float) -> None:
    p = between(name, share)
    glide = refrigerant.dew_temperature(name, p) - refrigerant.bubble_temperature(name, p)
    if name in PURE:
        assert glide == pytest.approx(0.0, abs=1e-6)
    else:
        assert -1e-3 < glide < 8.0


def test_the_wide_blends_glide_by_several_kelvin() -> None:
    for name in ("R407A", "R407C", "R407F", "R448A", "R449A"):
        p = refrigerant.dew_pressure(name, 0.0)
        assert 4.0 < 0.0 - refrigerant.bubble_temperature(name, p) < 7.5


@settings(deadline=None)
@given(NAME, SHARE, st.floats(-30.0, 120.0), st.floats(0.1, 50.0))
def test_warmer_holds_more_heat(name: str, share: float, off: float, step: float) -> None:
    p = between(name, share)
    t = max(float(refrigerant.dew_temperature(name, p)) + off, -64.0)
    assert refrigerant.enthalpy(name, p, t + step) > refrigerant.enthalpy(name, p, t)


@settings(deadline=None)
@given(NAME, SHARE)
def test_condensing_at_one_pressure_gives_what_lies_between_dew_and_bubble(name: str, share: float) -> None:
    p = between(name, share)
    dew, bubble = refrigerant.dew_temperature(name, p), refrigerant.bubble_temperature(name, p)
    given_off = refrigerant.available_heat(name, p, dew + 1e-6, bubble - 1e-6)
    assert given_off == pytest.approx(refrigerant.condensing_heat(name, p), abs=2.0)
    assert given_off > 20e3


@settings(deadline=None)
@given(SHARE, st.floats(40.0, 139.0), SHARE, SHARE)
def test_heat_given_in_two_steps_is_the_heat_given_in_one(a: float, bar: float, b: float, c: float) -> None:
    p = bar * BAR
    middle, low, high = (float(x) for x in (20.0 + 60.0 * a, -10.0 + 25.0 * b, 85.0 + 40.0 * c))
    whole = refrigerant.available_heat("R744", p, high, low)
    parts = refrigerant.available_heat("R744", p, high, middle) + refrigerant.available_heat(
        "R744", p, middle, low
    )
    assert whole == pytest.approx(parts, rel=1e-12)
    share = refrigerant.heat_share_above("R744", p, high, low, middle)
    assert refrigerant.available_heat("R744", p, high, middle) == pytest.approx(share * whole, rel=1e-9)


def test_a_water_return_out_of_reach_takes_all_or_nothing() -> None:
    found = refrigerant.heat_share_above("R744", 90.0 * BAR, 110.0, 30.0, [-20.0, 30.0, 110.0, 140.0])
    np.testing.assert_array_equal(found, [1.0, 1.0, 0.0, 0.0])


def test_pressure_and_return_temperature_decide_what_a_reclaim_gets() -> None:
    # at 70 bar two thirds of the heat of R744 come below 35 degC, at 100 bar hardly any
    share = refrigerant.heat_share_above("R744", np.array([70.0, 100.0]) * BAR, [85.0, 121.0], 25.0, 35.0)
    assert share[0] < 0.4
    assert share[1] > 0.85


def test_nothing_jumps_across_the_critical_pressure_away_from_the_critical_point() -> None:
    p = refrigerant.critical_point("R744").pressure * np.array([1.0 - 1e-7, 1.0 + 1e-7])
    for t in (0.0, 20.0, 28.0, 34.0, 60.0, 120.0):
        under, over = refrigerant.enthalpy("R744", p, t)
        assert over == pytest.approx(under, abs=150.0)


def test_the_ridge_of_specific_heat_starts_at_the_critical_point_and_climbs() -> None:
    critical = refrigerant.critical_point("R744")
    p = np.linspace(critical.pressure, 140.0 * BAR, 50)
    ridge = refrigerant.pseudo_critical_temperature(p)
    assert ridge[0] == pytest.approx(critical.temperature, abs=0.01)
    assert np.all(np.diff(ridge) > 0.0)


def test_one_and_many_give_the_same_and_nan_stays_nan() -> None:
    p = np.array([40.0, 70.0, 90.0, np.nan])[:, None] * BAR
    t = np.array([10.0, 35.0, np.nan, 100.0])
    many = refrigerant.enthalpy("R744", p, t)
    assert many.shape == (4, 4)
    for i in range(4):
        for j in range(4):
            np.testing.assert_array_equal(refrigerant.enthalpy("R744", p[i, 0], t[j]), many[i, j])
    assert np.isnan(many[3]).all()
    assert np.isnan(many[:, 2]).all()
    assert np.isfinite(many[:3][:, [0, 1, 3]]).all()
    for curve in (refrigerant.bubble_temperature, refrigerant.dew_temperature, refrigerant.condensing_heat):
        found = curve("R449A", np.array([5.0, np.nan]) * BAR)
        assert np.isnan(found).tolist() == [False, True]
        assert found[0] == curve("R449A", 5.0 * BAR)
        assert curve("R449A", np.empty(0)).shape == (0,)
    assert np.isnan(refrigerant.dew_pressure("R449A", np.nan))
    assert np.isnan(refrigerant.vapour_enthalpy("R449A", 5.0 * BAR, np.nan))
    assert refrigerant.enthalpy("R744", np.empty(0), 20.0).shape == (0,)


def test_what_is_not_known_is_refused() -> None:
    with pytest.raises(InputError, match="refrigerant 'R22' is not known: choose one of R744, R134a"):
        refrigerant.dew_temperature("R22", 5e5)
    with pytest.raises(InputError, match=r"absolute pressure of R410A is 3e\+07 Pa.*gauge pressure"):
        refrigerant.dew_temperature("R410A", 3e7)
    with pytest.raises(InputError, match="above its critical pressure it neither condenses"):
        refrigerant.bubble_temperature("R744", 90e5)
    with pytest.raises(InputError, match=r"dew temperature of R744 is 40 degC.*critical at 31\.0"):
        refrigerant.dew_pressure("R744", 40.0)
    with pytest.raises(InputError, match="temperature of R744 is 300 degC"):
        refrigerant.enthalpy("R744", 90e5, [50.0, 300.0])
    with pytest.raises(InputError, match="temperature of R134a is 250 degC"):
        refrigerant.enthalpy("R134a", 10e5, 250.0)
    with pytest.raises(InputError, match=r"gas of R404A is said to be 10 degC.*condenses from"):
        refrigerant.vapour_enthalpy("R404A", 18e5, [60.0, 10.0])
    with pytest.raises(InputError, match="only R744 has"):
        refrigerant.pseudo_critical_temperature(90e5, "R32")
    with pytest.raises(InputError, match="give the inlet's temperature first"):
        refrigerant.heat_share_above("R744", 90e5, 30.0, 110.0, 40.0)
