"""SOURCE: contents of schedule 40 pipe in gal/ft (trade tables, computed from the bores of ASME B36.10M);
freeze points of glycol by mass, ASHRAE Handbook Fundamentals 2009, ch. 31, tables 4 and 5 (from memory;
the tables and the fits here differ by up to 1 K, the handbook's fluids being inhibited); Kv and Cv, IEC
60534-2-1."""

from __future__ import annotations

import pytest

from wringout.quantity import to_si
from wringout.setting_up.loop_fill import concentration_for
from wringout.setting_up.subjects import set_up


@pytest.mark.parametrize(
    ("size", "gallons"), [("1 in", 0.0449), ("1-1/4 in", 0.0777), ("2 in", 0.1743), ("4 in", 0.6613)]
)
def test_a_hundred_feet_of_pipe_there_and_back_hold_what_the_tables_say(size: str, gallons: float) -> None:
    size = size.replace("1-1/4", "1.25")
    found = set_up("loop-fill", {"length": "100 ft", "size": size, "flow": "10 gpm"})
    assert found.result("contents").value == pytest.approx(
        200.0 * gallons * to_si(1.0, "gal", "volume"), rel=2e-3
    )


def test_a_hundred_feet_of_two_inch_take_105_seconds_at_ten_gpm() -> None:
    found = set_up("loop-fill", {"length": "100 ft", "size": "2 in", "flow": "10 gpm"})
    assert found.result("transit").value == pytest.approx(104.6, rel=2e-3)
    assert found.result("round").value == pytest.approx(2.0 * 104.6, rel=2e-3)


@pytest.mark.parametrize(
    ("glycol", "share", "freezes"),
    [
        ("ethylene_glycol", 0.20, -7.8),
        ("ethylene_glycol", 0.30, -14.1),
        ("ethylene_glycol", 0.40, -22.3),
        ("propylene_glycol", 0.20, -7.1),
        ("propylene_glycol", 0.30, -12.7),
        ("propylene_glycol", 0.40, -21.1),
    ],
)
def test_the_glycol_for_a_freeze_point_is_that_of_the_handbook(
    glycol: str, share: float, freezes: float
) -> None:
    assert concentration_for(freezes, glycol) == pytest.approx(share, abs=0.02)  # type: ignore[arg-type]


def test_draining_and_filling_what_is_told_gives_the_concentration_wanted() -> None:
    """Balance of mass: what is left of the old mixture and the glycol filled in make up the share asked
    for."""
    from wringout.physics.fluid import density

    asked = {"length": "220 ft", "size": "2 in", "flow": "25 gpm", "fluid": "propylene_glycol"}
    found = set_up("loop-fill", {**asked, "concentration": "20 %", "wanted": "35 %"})
    whole, out = found.result("contents").value, found.result("drain").value
    mixture = float(density(20.0, "propylene_glycol", 0.2))
    glycol = 0.2 * mixture * (whole - out) + 1036.0 * out
    assert glycol / (mixture * (whole - out) + 1036.0 * out) == pytest.approx(0.35, abs=1e-9)


def test_a_balancing_valve_of_cv_10_drops_4_psi_at_20_gpm() -> None:
    asked = {"flow": "20 gpm", "pump-head": "40 ft", "coil-drop": "4 psi", "valve-drop": "4 psi"}
    found = set_up("balancing", asked)
    assert found.result("cv").value == pytest.approx(10.0, rel=0.01)  # specific gravity 0.99 at 50 degC
    assert found.result("kv").value == pytest.approx(8.65, rel=0.01)
    assert found.result("authority").value == pytest.approx(0.5)


def test_with_the_bypass_balanced_the_main_keeps_its_flow_at_both_ends() -> None:
    asked = {"flow": "20 gpm", "pump-head": "40 ft", "coil-drop": "5 psi", "valve-drop": "3 psi"}
    found = set_up("balancing", asked)
    design = to_si(20.0, "gpm", "water_flow")
    assert found.result("main-coil").value == pytest.approx(design, rel=1e-3)
    assert found.result("main-bypass").value == pytest.approx(design, rel=1e-3)
    assert found.result("main-open").value > 1.02 * design
