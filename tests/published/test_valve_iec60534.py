"""SOURCE: IEC 60534-2-1 worked example of a control valve in water, and the forms of IEC 60534 / ISA-75.11.

The worked example's inputs and answer were computed with the general-purpose library `fluids` 1.3.1, which
quotes the standard; the installed characteristics are the closed form (recalled from memory) worked out to
four digits outside this project. Tolerances are half of the last digit given.
"""

from __future__ import annotations

import fluids
import numpy as np
import pytest

from wringout.physics.valve import (
    cv_from_kv,
    equal_percentage,
    installed,
    kv_from_cv,
    kv_from_resistance,
    linear,
    resistance_from_flow,
    resistance_from_kv,
)

GPM = 3.785411784e-3 / 60.0
PSI = 6894.757293168361


def test_the_standards_water_valve_gets_its_kv() -> None:
    # 0.1 m3/s of water of 965.4 kg/m3 from 680 to 220 kPa, not choked: Kv 164.9955
    resistance = resistance_from_flow(680e3 - 220e3, 0.1)
    assert kv_from_resistance(resistance, 965.4) == pytest.approx(164.9955, abs=5e-3)


def test_the_standards_water_valve_against_the_library_itself() -> None:
    expected = fluids.size_control_valve_l(
        rho=965.4, Psat=70.1e3, Pc=22.12e6, mu=3.1472e-4, P1=680e3, P2=220e3, Q=0.1,
        D1=0.15, D2=0.15, d=0.15, FL=0.9, Fd=0.46,
    )  # fmt: skip
    assert kv_from_resistance(resistance_from_flow(460e3, 0.1), 965.4) == pytest.approx(expected, rel=1e-4)


def test_a_cv_of_ten_passes_twenty_gpm_at_four_psi() -> None:
    # Cv is US gallons a minute of 60 degF water at 1 psi (definition)
    assert np.sqrt(4.0 * PSI / resistance_from_kv(kv_from_cv(10.0))) / GPM == pytest.approx(20.0, rel=1e-4)


def test_kv_and_cv_go_into_each_other() -> None:
    assert kv_from_cv(1.0) == pytest.approx(0.86498, abs=5e-6)
    assert cv_from_kv(1.0) == pytest.approx(1.15610, abs=5e-6)
    assert kv_from_cv(7.3) == pytest.approx(fluids.Cv_to_Kv(7.3), rel=1e-6)


# position, then installed flow fraction at authority 1, 0.5, 0.25, 0.1 of an equal-percentage valve of
# rangeability 50
EQUAL_PERCENTAGE = [
    (0.10, (0.0296, 0.0418, 0.0591, 0.0932)),
    (0.25, (0.0532, 0.0751, 0.1059, 0.1661)),
    (0.50, (0.1414, 0.1980, 0.2747, 0.4117)),
    (0.75, (0.3761, 0.4978, 0.6302, 0.7888)),
    (0.90, (0.6762, 0.7922, 0.8782, 0.9455)),
]
# the same of a linear valve at authority 0.5, 0.25, 0.1
LINEAR = [
    (0.10, (0.1407, 0.1971, 0.3029)),
    (0.25, (0.3430, 0.4588, 0.6325)),
    (0.50, (0.6325, 0.7559, 0.8771)),
    (0.75, (0.8485, 0.9150, 0.9632)),
    (0.90, (0.9461, 0.9719, 0.9885)),
]


@pytest.mark.parametrize(("position", "expected"), EQUAL_PERCENTAGE)
def test_equal_percentage_valve_in_its_circuit(position: float, expected: tuple[float, ...]) -> None:
    found = installed(equal_percentage(position), [1.0, 0.5, 0.25, 0.1])
    np.testing.assert_allclose(found, expected, atol=6e-5)


@pytest.mark.parametrize(("position", "expected"), LINEAR)
def test_linear_valve_in_its_circuit(position: float, expected: tuple[float, ...]) -> None:
    np.testing.assert_allclose(installed(linear(position), [0.5, 0.25, 0.1]), expected, atol=6e-5)


def test_rangeability_of_thirty() -> None:
    found = installed(equal_percentage(0.5, 30.0), [1.0, 0.5, 0.25])
    np.testing.assert_allclose(found, [0.1826, 0.2540, 0.3482], atol=6e-5)
