"""Loop liquids: limits, shape of the curves, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wringout.errors import InputError
from wringout.physics import fluid
from wringout.physics.fluid import Fluid

GLYCOLS: tuple[Fluid, ...] = ("propylene_glycol", "ethylene_glycol")


@settings(deadline=None)
@given(st.floats(0.0, 129.0))
def test_warmer_water_is_lighter_above_four_degrees_and_always_thinner(t: float) -> None:
    assert fluid.viscosity(t + 1.0) < fluid.viscosity(t)
    if t > 4.0:
        assert fluid.density(t + 1.0) < fluid.density(t)


def test_water_is_heaviest_at_four_degrees() -> None:
    t = np.linspace(0.0, 12.0, 1201)
    assert t[np.argmax(fluid.density(t))] == pytest.approx(4.0, abs=0.2)


@pytest.mark.parametrize("glycol", GLYCOLS)
@settings(deadline=None)
@given(share=st.floats(0.05, 0.59), place=st.floats(0.0, 1.0))
def test_more_glycol_is_heavier_thicker_and_carries_less_heat(
    glycol: Fluid, share: float, place: float
) -> None:
    coldest, hottest = fluid.temperature_limits(glycol, share)
    t = coldest + place * (min(hottest, 70.0) - coldest)
    assert fluid.density(t, glycol, share + 0.01) > fluid.density(t, glycol, share)
    assert fluid.viscosity(t, glycol, share + 0.01) > fluid.viscosity(t, glycol, share)
    assert fluid.specific_heat(t, glycol, share + 0.01) < fluid.specific_heat(t, glycol, share)
    assert fluid.freeze_point(glycol, share + 0.01) < fluid.freeze_point(glycol, share)


@pytest.mark.parametrize("glycol", GLYCOLS)
def test_a_glycol_loop_without_glycol_is_nearly_water(glycol: Fluid) -> None:
    t = np.array([10.0, 40.0, 80.0])
    np.testing.assert_allclose(fluid.density(t, glycol, 0.0), fluid.density(t), rtol=3e-3)
    np.testing.assert_allclose(fluid.specific_heat(t, glycol, 0.0), fluid.specific_heat(t), rtol=1e-2)
    assert fluid.freeze_point(glycol, 0.0) == pytest.approx(0.0, abs=0.3)


@settings(deadline=None)
@given(st.floats(0.0, 0.1), st.floats(0.0, 130.0))
def test_capacity_rate_is_flow_times_what_a_cubic_metre_holds(flow: float, t: float) -> None:
    expected = flow * fluid.density(t) * fluid.specific_heat(t)
    assert fluid.capacity_rate(flow, t) == pytest.approx(expected)


@pytest.mark.parametrize("prop", [fluid.density, fluid.specific_heat, fluid.viscosity])
def test_one_and_many_give_the_same_and_nan_stays_nan(prop: object) -> None:
    assert callable(prop)
    t = np.array([[5.0], [np.nan], [60.0]])
    share = np.array([0.1, 0.3, np.nan])
    many = prop(t, "ethylene_glycol", share)
    assert many.shape == (3, 3)
    for i in range(3):
        for j in range(3):
            np.testing.assert_allclose(prop(t[i, 0], "ethylene_glycol", share[j]), many[i, j], rtol=1e-13)
    assert np.isfinite(many[[0, 2], :2]).all()
    assert np.isnan(many[1]).all()
    assert np.isnan(many[:, 2]).all()
    assert np.isnan(prop(np.nan))
    assert np.isnan(prop(20.0, "water", np.nan))


def test_what_is_not_known_is_refused() -> None:
    with pytest.raises(InputError, match=r"temperature of water is -1 degC: it must lie from .* to 130 degC"):
        fluid.density([20.0, np.nan, -1.0])
    with pytest.raises(InputError, match="temperature of propylene glycol is 101 degC"):
        fluid.density(101.0, "propylene_glycol", 0.3)
    with pytest.raises(InputError, match=r"is -20 degC: it freezes at -12\.79 degC"):
        fluid.viscosity([10.0, -20.0], "propylene_glycol", 0.3)
    with pytest.raises(InputError, match="fluid 'brine' is not known: choose one of water"):
        fluid.density(20.0, "brine")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="name the glycol as the fluid"):
        fluid.density(20.0, "water", 0.3)
    with pytest.raises(InputError, match=r"glycol concentration is 30: .* mass fraction"):
        fluid.freeze_point("ethylene_glycol", 30.0)
    with pytest.raises(InputError, match="flow is -1 m3/s"):
        fluid.capacity_rate(-1.0, 20.0)
