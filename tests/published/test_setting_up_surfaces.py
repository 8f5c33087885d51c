"""SOURCE: Incropera, DeWitt, Bergman and Lavine, Fundamentals of Heat and Mass Transfer, chapter 13, the
problem of the ice rink's ceiling (inputs, view factor 0.672 and dew point 9.4 degC read second-hand, the
two ceiling temperatures from memory); ISO 13788, definition of the temperature factor, and ASHRAE Handbook
HVAC Systems and Equipment, Humidifiers, table of relative humidities without condensation on windows (from
memory)."""

from __future__ import annotations

import numpy as np
import pytest

from wringout.physics.moist_air import dew_point, humidity_ratio
from wringout.setting_up.cold_surface import disk_view, surface_t
from wringout.setting_up.subjects import set_up

RINK = {
    "kind": "ceiling",
    "room-t": "15 degC",
    "behind-t": "-5 degC",
    "u-value": f"{0.035 / 0.3:.6f} W/m2K",
    "film": "5 W/m2K",
    "ice-t": "-5 degC",
    "ice-view": "67.2 %",
    "room-dew-point": "9.4 degC",
}


def test_the_rink_of_the_text_book_is_seen_by_two_thirds_of_its_ceiling() -> None:
    assert disk_view(25.0, 10.0) == pytest.approx(0.672, abs=5e-4)


@pytest.mark.parametrize(("emissivity", "ceiling", "wet"), [("5 %", 14.0, False), ("94 %", 8.6, True)])
def test_a_painted_ceiling_over_ice_drips_and_a_bright_one_does_not(
    emissivity: str, ceiling: float, wet: bool
) -> None:
    found = set_up("cold-surface", {**RINK, "emissivity": emissivity})
    assert found.result("surface").value == pytest.approx(ceiling, abs=0.06)
    assert any("it is wet now" in words for words in found.warnings) is wet


@pytest.mark.parametrize("u", [0.5, 1.2, 2.0])
def test_the_temperature_factor_is_one_less_u_times_the_inside_resistance(u: float) -> None:
    room, outdoors = 20.0, -5.0
    surface = float(surface_t(np.array(room), np.array(outdoors), np.array(u), 0.25))
    assert (surface - outdoors) / (room - outdoors) == pytest.approx(1.0 - 0.25 * u, rel=1e-12)


# outdoors [degF] -> rh [%] at 74 degF at which single and double glass turn wet
WINDOWS = {40.0: (39.0, 59.0), 30.0: (29.0, 50.0), 20.0: (21.0, 43.0), 10.0: (15.0, 36.0), 0.0: (10.0, 30.0)}


@pytest.mark.parametrize("pane", [0, 1])
def test_one_temperature_factor_gives_the_whole_row_of_the_window_table(pane: int) -> None:
    """The table's own U is not printed with it, so the first row gives it and the others are the test; the
    table is rounded to 1 %rh, its dry end to a tenth of the value (frost points there)."""
    room = (74.0 - 32.0) / 1.8
    behind = {f: (f - 32.0) / 1.8 for f in WINDOWS}
    first = float(dew_point(humidity_ratio(room, WINDOWS[40.0][pane] / 100.0, 101325.0), 101325.0))
    u = (room - first) / (room - behind[40.0]) / 0.13
    for outdoors, row in WINDOWS.items():
        asked = {
            "kind": "glass",
            "room-t": "74 degF",
            "behind-t": f"{outdoors} degF",
            "u-value": f"{min(u, 10.0):.4f} W/m2K",
        }
        found = set_up("cold-surface", asked).result("rh").value * 100.0
        assert found == pytest.approx(row[pane], abs=2.0), outdoors


def test_a_chilled_pipe_without_insulation_is_as_cold_as_its_water() -> None:
    asked = {"kind": "pipe", "room-t": "74 degF", "pipe-t": "44 degF", "pipe-size": "2 in"}
    assert set_up("cold-surface", asked).result("surface").value == pytest.approx(
        (44.0 - 32.0) / 1.8, abs=1e-9
    )


def test_insulation_lifts_the_surface_towards_the_room() -> None:
    surfaces = [
        set_up(
            "cold-surface",
            {
                "kind": "pipe",
                "room-t": "74 degF",
                "pipe-t": "44 degF",
                "pipe-size": "2 in",
                "insulation": thick,
            },
        )
        .result("surface")
        .value
        for thick in ("0 in", "0.25 in", "0.5 in", "1 in", "2 in")
    ]
    assert np.all(np.diff(surfaces) > 0.0)
    assert surfaces[-1] < (74.0 - 32.0) / 1.8
