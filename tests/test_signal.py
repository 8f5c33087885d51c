"""Signals between controller and actuator: scaling, action, mismatched spans, current loops."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wringout.errors import InputError
from wringout.physics import signal

SHARE = st.floats(0.0, 1.0)
SPAN = st.sampled_from([(2.0, 10.0), (0.0, 10.0), (1.0, 5.0), (6.0, 9.0)])


@settings(deadline=None)
@given(SHARE, SPAN, st.booleans())
def test_signal_and_position_go_into_each_other(
    position: float, span: tuple[float, float], at_high: bool
) -> None:
    volts = signal.volts_for_position(position, *span, at_high)
    assert span[0] <= volts <= span[1] + 1e-12
    assert signal.actuator_position(volts, *span, at_high) == pytest.approx(position, abs=1e-12)


@settings(deadline=None)
@given(SHARE, SPAN, st.booleans())
def test_matched_spans_and_actions_do_as_commanded(
    command: float, span: tuple[float, float], action: bool
) -> None:
    found = signal.position_from_command(command, span, span, rises=action, opens_at_high=action)
    assert found == pytest.approx(command, abs=1e-12)


@settings(deadline=None)
@given(SHARE, SPAN)
def test_one_reversed_action_turns_the_valve_round(command: float, span: tuple[float, float]) -> None:
    for rises, at_high in ((False, True), (True, False)):
        found = signal.position_from_command(command, span, span, rises, at_high)
        assert found == pytest.approx(1.0 - command, abs=1e-12)


def test_an_actuator_rests_against_its_stops() -> None:
    np.testing.assert_array_equal(signal.actuator_position([0.0, 1.9, 10.5, 24.0]), [0.0, 0.0, 1.0, 1.0])
    np.testing.assert_array_equal(signal.actuator_position([0.0, 24.0], opens_at_high=False), [1.0, 0.0])


def test_a_10_volt_output_on_a_2_to_10_volt_actuator_moves_late() -> None:
    found = signal.position_from_command([0.0, 0.1, 0.2, 0.6, 1.0], (0.0, 10.0), (2.0, 10.0))
    np.testing.assert_allclose(found, [0.0, 0.0, 0.0, 0.5, 1.0], atol=1e-12)


def test_a_2_to_10_volt_output_on_a_10_volt_actuator_never_shuts() -> None:
    found = signal.position_from_command([0.0, 0.5, 1.0], (2.0, 10.0), (0.0, 10.0))
    np.testing.assert_allclose(found, [0.2, 0.6, 1.0])


@settings(deadline=None)
@given(st.floats(0.0, 0.024), st.floats(100.0, 1000.0))
def test_current_and_voltage_go_into_each_other(current: float, resistor: float) -> None:
    volts = signal.volts_from_current(current, resistor)
    assert signal.current_from_volts(volts, resistor) == pytest.approx(current)


def test_actions_may_differ_from_sample_to_sample() -> None:
    at_high = np.array([True, False, True])
    np.testing.assert_allclose(signal.actuator_position(4.0, 2.0, 10.0, at_high), [0.25, 0.75, 0.25])
    np.testing.assert_allclose(signal.output_volts(0.25, 2.0, 10.0, at_high), [4.0, 8.0, 4.0])


def test_one_and_many_give_the_same_and_nan_stays_nan() -> None:
    volts = np.array([1.0, 4.0, np.nan, 12.0])
    many = signal.actuator_position(volts)
    np.testing.assert_array_equal(many, [signal.actuator_position(one) for one in volts])
    assert np.isnan(many).tolist() == [False, False, True, False]
    assert np.isnan(signal.actuator_position(5.0, np.nan, 10.0))
    assert np.isnan(signal.actuator_position(np.nan, opens_at_high=False))
    assert signal.actuator_position(volts[:, None], [0.0, 2.0]).shape == (4, 2)
    assert not signal.current_failed(np.nan)


def test_impossible_input_is_refused() -> None:
    with pytest.raises(InputError, match=r"signal span from 10 to 2 V.*reversed action"):
        signal.actuator_position(5.0, 10.0, 2.0)
    with pytest.raises(InputError, match=r"command is 40: it must lie from 0 to 1"):
        signal.output_volts(40.0)
    with pytest.raises(InputError, match=r"signal current is 12 A.*was it given in mA"):
        signal.volts_from_current(12.0)
    with pytest.raises(InputError, match=r"actuator position is 1\.5"):
        signal.volts_for_position(1.5)
    with pytest.raises(InputError, match="resistor is 0 ohm"):
        signal.current_from_volts(1.0, 0.0)
