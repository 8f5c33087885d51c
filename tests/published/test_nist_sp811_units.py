"""SOURCE: NIST Special Publication 811 (2008), Guide for the Use of the International System of Units,
appendix B.8 (factors); recalled from memory, printed there to seven digits: relative tolerance 5e-7.

The British thermal unit is that of the International Table; inch and foot of water are the conventional ones.
"""

from __future__ import annotations

import pytest

from wringout.quantity import to_si

FACTORS = (
    ("cfm", "airflow", 4.719474e-04),
    ("gpm", "water_flow", 6.309020e-05),
    ("inWC", "pressure_difference", 2.490889e02),
    ("psi", "pressure_difference", 6.894757e03),
    ("ton", "power", 3.516853e03),
    ("Btu/h", "power", 2.930711e-01),
    ("lb/h", "mass_flow", 1.259979e-04),
    ("ft", "length", 3.048e-01),
    ("in", "length", 2.54e-02),
    ("ft2", "area", 9.290304e-02),
    ("ft3", "volume", 2.831685e-02),
    ("Btu/lb", "specific_energy", 2.326e03),
)


@pytest.mark.parametrize(("unit", "dimension", "factor"), FACTORS)
def test_factor_of_the_guide(unit: str, dimension: str, factor: float) -> None:
    assert to_si(1.0, unit, dimension) == pytest.approx(factor, rel=5e-7)


def test_a_psi_is_2_31_feet_of_water() -> None:
    """ftH2O (conventional) is 2989.067 Pa there."""
    assert to_si(1.0, "psi", "head") / to_si(1.0, "ft", "head") == pytest.approx(
        6.894757e03 / 2.989067e03, rel=1e-6
    )


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [(-40.0, -40.0), (32.0, 0.0), (212.0, 100.0), (98.6, 37.0)]
)
def test_fixed_points_of_the_thermometer(fahrenheit: float, celsius: float) -> None:
    assert to_si(fahrenheit, "degF", "temperature") == pytest.approx(celsius, abs=1e-12)
