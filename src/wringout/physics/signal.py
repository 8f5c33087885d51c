"""Control signals: what an output sends, what an actuator makes of it, and what goes wrong between them.

Voltages are read at the actuator's terminals; a current loop is read as the voltage across its resistor.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wringout.errors import InputError
from wringout.physics._limits import Array, floats, within

__all__ = [
    "NE43_LOW",
    "NE43_HIGH",
    "actuator_position",
    "volts_for_position",
    "output_volts",
    "position_from_command",
    "volts_from_current",
    "current_from_volts",
    "current_failed",
]

NE43_LOW = 3.6e-3
"""Current in A at and under which a 4 to 20 mA transmitter reports a failure (NAMUR NE 43; from memory)."""
NE43_HIGH = 21.0e-3
"""Current in A at and over which a 4 to 20 mA transmitter reports a failure (NAMUR NE 43; from memory)."""


def _span(low: ArrayLike, high: ArrayLike) -> tuple[Array, Array]:
    bottom = within("low end of the signal", low, "V")
    width = floats(high) - bottom
    if bool(np.any(width <= 0.0)):
        raise InputError(
            f"signal span from {np.max(bottom):g} to {np.min(floats(high)):g} V: the high end must lie above"
            " the low end; for reversed action give the ends in order and say that it opens at the low end"
        )
    return bottom, width


def actuator_position(
    volts: ArrayLike,
    low: ArrayLike = 2.0,
    high: ArrayLike = 10.0,
    opens_at_high: bool | NDArray[np.bool_] = True,
) -> Array:
    """Give the position to which an actuator drives on a signal.

    Parameters
    ----------
    volts : array_like, any shape, in [V]
        Signal at its terminals.
    low, high : array_like, broadcastable, in [V]
        Ends of the span the actuator is set for.
    opens_at_high : bool or ndarray of bool, broadcastable
        True if the high end opens, False for reversed action.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Position, 0 shut to 1 open; NaN where `volts` or an end is NaN.

    Raises
    ------
    InputError
        `high` not above `low`.

    Notes
    -----
    Straight line between the ends, held at the end stops outside the span: the machine does so, it is no
    tidying of ours.
    """
    bottom, width = _span(low, high)
    share = np.minimum(np.maximum((floats(volts) - bottom) / width, 0.0), 1.0)
    if opens_at_high is True:
        return share
    return np.where(opens_at_high, share, 1.0 - share)


def volts_for_position(
    position: ArrayLike,
    low: ArrayLike = 2.0,
    high: ArrayLike = 10.0,
    opens_at_high: bool | NDArray[np.bool_] = True,
) -> Array:
    """Give the signal that should be found at an actuator that stands where it is told to.

    Parameters
    ----------
    position : array_like, any shape, in [-]
        Position, 0 shut to 1 open.
    low, high : array_like, broadcastable, in [V]
        Ends of the span the actuator is set for.
    opens_at_high : bool or ndarray of bool, broadcastable
        True if the high end opens.

    Returns
    -------
    ndarray, broadcast shape, in [V]
        Signal; NaN where an input is NaN.

    Raises
    ------
    InputError
        `position` outside 0 to 1 or `high` not above `low`.
    """
    bottom, width = _span(low, high)
    share = within("actuator position", position, "", 0.0, 1.0)
    if opens_at_high is not True:
        share = np.where(opens_at_high, share, 1.0 - share)
    return bottom + width * share


def output_volts(
    command: ArrayLike, low: ArrayLike = 2.0, high: ArrayLike = 10.0, rises: bool | NDArray[np.bool_] = True
) -> Array:
    """Give the voltage a controller's output sends for a command.

    Parameters
    ----------
    command : array_like, any shape, in [-]
        Command, 0 to 1.
    low, high : array_like, broadcastable, in [V]
        Ends of the span the output is scaled to.
    rises : bool or ndarray of bool, broadcastable
        True if command 1 sends the high end, False for an output scaled the other way round.

    Returns
    -------
    ndarray, broadcast shape, in [V]
        Signal; NaN where an input is NaN.

    Raises
    ------
    InputError
        `command` outside 0 to 1 or `high` not above `low`.
    """
    bottom, width = _span(low, high)
    share = within("command", command, "", 0.0, 1.0)
    if rises is not True:
        share = np.where(rises, share, 1.0 - share)
    return bottom + width * share


def position_from_command(
    command: ArrayLike,
    output_span: tuple[ArrayLike, ArrayLike],
    actuator_span: tuple[ArrayLike, ArrayLike],
    rises: bool | NDArray[np.bool_] = True,
    opens_at_high: bool | NDArray[np.bool_] = True,
) -> Array:
    """Give where an actuator stands when the output and it need not have the same span or action.

    Parameters
    ----------
    command : array_like, any shape, in [-]
        Command, 0 to 1.
    output_span : tuple of two array_like, broadcastable, in [V]
        Ends of the output's span, low one first.
    actuator_span : tuple of two array_like, broadcastable, in [V]
        Ends of the actuator's span, low one first.
    rises : bool or ndarray of bool, broadcastable
        True if command 1 sends the output's high end.
    opens_at_high : bool or ndarray of bool, broadcastable
        True if the actuator opens at its high end.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Position, 0 shut to 1 open; NaN where an input is NaN.

    Raises
    ------
    InputError
        `command` outside 0 to 1, or a span whose high end is not above its low end.

    Notes
    -----
    0 to 10 V into 2 to 10 V: nothing moves for the first fifth of the command, and all lags behind until
    the end. 2 to 10 V into 0 to 10 V: never shuts, 20 % at command 0.
    """
    return actuator_position(output_volts(command, *output_span, rises), *actuator_span, opens_at_high)


def volts_from_current(current: ArrayLike, resistor: ArrayLike = 500.0) -> Array:
    """Give the voltage a signal current makes across its resistor.

    Parameters
    ----------
    current : array_like, any shape, in [A]
        Signal current.
    resistor : array_like, broadcastable, in [ohm]
        Resistor at the terminals; 500 ohm turns 4 to 20 mA into 2 to 10 V.

    Returns
    -------
    ndarray, broadcast shape, in [V]
        Voltage; NaN where an input is NaN.

    Raises
    ------
    InputError
        `current` below 0 or above 0.1 A (a value in mA was probably given), or `resistor` not above 0.
    """
    ampere = within("signal current", current, "A", 0.0, 0.1, check="was it given in mA?")
    return ampere * within("resistor", resistor, "ohm", 0.0, above_low=True)


def current_from_volts(volts: ArrayLike, resistor: ArrayLike = 500.0) -> Array:
    """Give the signal current from the voltage read across its resistor.

    Parameters
    ----------
    volts : array_like, any shape, in [V]
        Voltage across the resistor.
    resistor : array_like, broadcastable, in [ohm]
        Resistor at the terminals.

    Returns
    -------
    ndarray, broadcast shape, in [A]
        Current; NaN where an input is NaN.

    Raises
    ------
    InputError
        `resistor` not above 0.
    """
    return within("voltage", volts, "V") / within("resistor", resistor, "ohm", 0.0, above_low=True)


def current_failed(current: ArrayLike) -> NDArray[np.bool_]:
    """Say whether a 4 to 20 mA signal reports a failure, a broken wire or a short.

    Parameters
    ----------
    current : array_like, any shape, in [A]
        Signal current.

    Returns
    -------
    ndarray of bool, shape of `current`
        True at and under 3.6 mA, at and over 21 mA, and False between them and for NaN (not read is not
        failed).

    References
    ----------
    NAMUR NE 43 (from memory): 3.8 to 20.5 mA measures; failed at or under 3.6 mA, at or over 21 mA.
    """
    ampere = floats(current)
    failed: NDArray[np.bool_] = (ampere <= NE43_LOW) | (ampere >= NE43_HIGH)
    return failed
