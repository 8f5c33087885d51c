"""SOURCE: identities of the standard analogue signals; failure limits of NAMUR NE 43 from memory."""

from __future__ import annotations

import pytest

from wringout.physics.signal import (
    actuator_position,
    current_failed,
    output_volts,
    position_from_command,
    volts_from_current,
)


@pytest.mark.parametrize(("volts", "percent"), [(2.0, 0.0), (4.0, 25.0), (6.0, 50.0), (10.0, 100.0)])
def test_two_to_ten_volts(volts: float, percent: float) -> None:
    assert actuator_position(volts) * 100.0 == pytest.approx(percent)


@pytest.mark.parametrize(("milliampere", "volts"), [(4.0, 2.0), (12.0, 6.0), (20.0, 10.0)])
def test_500_ohm_turn_a_current_loop_into_two_to_ten_volts(milliampere: float, volts: float) -> None:
    found = volts_from_current(milliampere * 1e-3)
    assert found == pytest.approx(volts)
    assert actuator_position(found) == pytest.approx((milliampere - 4.0) / 16.0)


def test_a_ten_volt_output_read_by_a_two_to_ten_volt_actuator() -> None:
    # 5 V is 37.5 %, 2 V is 0 %
    assert output_volts(0.5, 0.0, 10.0) == pytest.approx(5.0)
    assert position_from_command(0.5, (0.0, 10.0), (2.0, 10.0)) == pytest.approx(0.375)
    assert position_from_command(0.2, (0.0, 10.0), (2.0, 10.0)) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("milliampere", "failed"),
    [(0.0, True), (3.5, True), (3.7, False), (4.0, False), (20.0, False), (20.9, False), (21.1, True)],
)
def test_a_failed_transmitter_says_so(milliampere: float, failed: bool) -> None:
    assert bool(current_failed(milliampere * 1e-3)) is failed
