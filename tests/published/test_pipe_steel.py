"""SOURCE: contents and transit times of schedule 40 pipe, worked out elsewhere; the library `fluids` 1.3.1.

`fluids` holds the sizes of ASME B36.10M rounded to 0.1 mm, hence the tolerance of 0.1 mm; friction is
compared with its own coding of Haaland's and Colebrook's equations.
"""

from __future__ import annotations

from fractions import Fraction

import fluids
import pytest

from wringout.physics.pipe import (
    STEEL_PIPES,
    SteelPipe,
    friction_factor,
    pressure_drop,
    steel_pipe,
    transit_time,
    velocity,
    volume,
)

FOOT, GALLON = 0.3048, 3.785411784e-3

# trade name, US gallons a foot
CONTENTS = [("1", 0.0449), ("1-1/4", 0.0777), ("1-1/2", 0.1058), ("2", 0.1743), ("2-1/2", 0.2487)]
CONTENTS += [("3", 0.3840), ("4", 0.6613)]


@pytest.mark.parametrize(("name", "gallons"), CONTENTS)
def test_gallons_a_foot(name: str, gallons: float) -> None:
    assert volume(FOOT, steel_pipe(name).inside_diameter) / GALLON == pytest.approx(gallons, abs=6e-5)


@pytest.mark.parametrize(("name", "seconds", "feet_a_second"), [("2", 104.6, 0.956), ("1", 26.9, 3.71)])
def test_ten_gpm_through_a_hundred_feet(name: str, seconds: float, feet_a_second: float) -> None:
    inside, flow = steel_pipe(name).inside_diameter, 10.0 * GALLON / 60.0
    assert transit_time(100.0 * FOOT, inside, flow) == pytest.approx(seconds, abs=0.06)
    assert velocity(flow, inside) / FOOT == pytest.approx(feet_a_second, abs=0.006)


def inches(name: str) -> float:
    return float(sum(Fraction(part) for part in name.split("-")))


@pytest.mark.parametrize("pipe", STEEL_PIPES, ids=lambda pipe: pipe.name)
def test_diameters_against_the_librarys_table(pipe: SteelPipe) -> None:
    _, inside, outside, _ = fluids.nearest_pipe(NPS=inches(pipe.name), schedule="40")
    assert pipe.inside_diameter == pytest.approx(inside, abs=1e-4)
    assert pipe.outside_diameter == pytest.approx(outside, abs=1e-4)
    assert steel_pipe(inches(pipe.name) * 0.0254) == pipe


@pytest.mark.parametrize("reynolds", [4e3, 1e4, 1e5, 1e6])
@pytest.mark.parametrize("roughness", [0.0, 1e-4, 1e-3, 1e-2])
def test_friction_in_turbulent_flow(reynolds: float, roughness: float) -> None:
    assert friction_factor(reynolds, roughness) == pytest.approx(
        fluids.friction.Haaland(reynolds, roughness), rel=1e-9
    )
    # Haaland (1983) states 2 % of Colebrook
    assert friction_factor(reynolds, roughness) == pytest.approx(
        fluids.friction.Colebrook(reynolds, roughness), rel=0.02
    )


def test_friction_in_laminar_flow() -> None:
    assert friction_factor(1000.0) == pytest.approx(fluids.friction.friction_laminar(1000.0))


def test_pressure_drop_against_the_library() -> None:
    # 25 gpm of 120 degF water in 220 ft of 2 in. pipe, Colebrook there and Haaland here
    flow, inside, rho, mu = 25.0 * GALLON / 60.0, steel_pipe("2").inside_diameter, 988.6, 5.58e-4
    expected = fluids.one_phase_dP(m=flow * rho, rho=rho, mu=mu, D=inside, roughness=4.5e-5, L=220.0 * FOOT)
    assert pressure_drop(flow, 220.0 * FOOT, inside, rho, mu) == pytest.approx(expected, rel=0.02)
