"""What a signal should read at each place for a command, and what it reads with each single break in its
path."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.physics.signal import actuator_position, output_volts
from wringout.trace.document import STEM, Signal

__all__ = ["HEALTHY", "Break", "Expected", "along", "breaks", "expected"]

Array = NDArray[np.float64]
HEALTHY = "healthy"
COMPLIANCE = (12.0, 24.0)  # V that a current output drives into an open loop; common practice
SHORTED = 0.05  # V left on a shorted pair
# what is not known of a break, in steps finer than a meter reads
DRIFTS = np.concatenate([np.arange(-4.0, -0.39, 0.05), np.arange(0.4, 4.01, 0.05)])  # V between two commons
LOADS = np.linspace(0.2, 0.92, 145)  # of the right voltage, where something else hangs on the pair
ANYWHERE = np.linspace(0.0, 1.0, 201)
# spans that outputs and actuators are set to by mistake [V]
SPANS = {
    "volts": ((0.0, 10.0), (2.0, 10.0), (0.0, 5.0), (1.0, 5.0), (0.0, 20.0)),
    "milliamperes": ((0.0, 10.0), (2.0, 10.0)),  # 0 to 20 and 4 to 20 mA across 500 ohm
}


@dataclass(frozen=True, slots=True)
class Expected:
    """Volts at every place in order, and the position that the device should take [0..1 open]."""

    volts: tuple[float, ...]
    position: float


@dataclass(frozen=True)
class Break:
    """One way in which the path can be wrong.

    ``kind`` and ``place`` (index of the place behind it, -1 for none) tell it apart; ``words`` say it, ``do``
    what to do. ``reads`` gives for a command the readings at the places and of the stem, (states, places +
    1): one row for each value of what is not known of the break. ``weight`` is its share before any reading.
    """

    kind: str
    place: int
    words: str
    do: str
    weight: float
    reads: Callable[[float], Array]


def expected(signal: Signal, command: float) -> Expected:
    """What a sound path reads for a command [0..1]."""
    volts = float(output_volts(command, signal.sends.low, signal.sends.high, signal.action == "direct"))
    at = float(actuator_position(volts, signal.takes.low, signal.takes.high, signal.opens_at == "high"))
    return Expected((volts,) * len(signal.places), at)


def along(signal: Signal) -> tuple[str, ...]:
    """Names of what can be measured: every place, then the stem."""
    return (*(place.name for place in signal.places), STEM)


def breaks(signal: Signal) -> tuple[Break, ...]:
    """Every single break of a path, and the sound path first.

    Weights are judgement: a sound path as likely as three kinds of break, for most signals that are suspected
    are sound; a kind shared evenly over its places.
    """
    found = [Break(HEALTHY, -1, "nothing wrong along this path", "", 3.0, _sound(signal))]
    found += _at_the_output(signal)
    found += _along_the_wire(signal)
    found += _at_the_device(signal)
    return tuple(found)


def _volts(signal: Signal, command: float) -> float:
    return expected(signal, command).volts[0]


def _position(signal: Signal, volts: Array) -> Array:
    return np.asarray(
        actuator_position(volts, signal.takes.low, signal.takes.high, signal.opens_at == "high")
    )


def _row(signal: Signal, volts: Array, current: Array | None = None) -> Array:
    """Rows of readings from rows of volts at the places: the stem follows the last place, and the current
    goes with the volts unless it is told apart."""
    return np.column_stack([volts, _position(signal, volts[:, -1]), volts if current is None else current])


def _everywhere(signal: Signal, volts: Array) -> Array:
    return _row(signal, np.repeat(volts[:, None], len(signal.places), axis=1))


def _sound(signal: Signal) -> Callable[[float], Array]:
    return lambda command: _everywhere(signal, np.array([_volts(signal, command)]))


def _at_the_output(signal: Signal) -> list[Break]:
    name = signal.output or signal.places[0].name
    low, high, rises = signal.sends.low, signal.sends.high, signal.action == "direct"

    def scaled(span: tuple[float, float], up: bool) -> Callable[[float], Array]:
        return lambda c: _everywhere(signal, np.array([float(output_volts(c, *span, up))]))

    spans = [span for span in SPANS[signal.kind] if span != (low, high)]
    found = [
        Break(
            "range-at-controller",
            0,
            f"output {name} is scaled to {_span(signal, span)} instead of {_span(signal, (low, high))}",
            "Set the output's minimum and maximum (`wringout set-up output-scaling`).",
            1.0 / len(spans),
            scaled(span, rises),
        )
        for span in spans
    ]
    found.append(
        Break(
            "reversed-at-controller",
            0,
            f"output {name} is scaled upside down",
            "Turn the output's action round, at this one place.",
            1.0,
            scaled((low, high), not rises),
        )
    )
    current = signal.kind == "milliamperes"
    found.append(
        Break(
            "dead-or-short",
            0,
            f"no signal from output {name}: the output is dead"
            + ("" if current else ", or the pair is shorted to common"),
            f"Lift the wire at {_at(signal, 0)} and read the bare terminal: right volts there mean a short "
            "further on, none mean the output. Halve the path the same way.",
            1.0,
            lambda c: _everywhere(signal, np.array([SHORTED * 0.5])),
        )
    )
    found.append(
        Break(
            "command-not-what-is-shown",
            0,
            f"output {name} sends something else than the command: held by hand, another program, "
            "a dead board",
            "Look at the output itself in the controller: in hand, its own value, which point drives it.",
            0.5,
            lambda c: _everywhere(signal, 0.0 + max(high, 10.0) * ANYWHERE),
        )
    )
    found.append(
        Break(
            "loaded",
            0,
            "the pair is loaded: a second device or a resistor hangs on it, or it shares its common",
            "Lift one device after the other at the last place and see which one lets the volts "
            "come back; look "
            "for a 500 ohm resistor that was left in.",
            1.0,
            lambda c: _loaded(signal, c),
        )
    )
    return found


def _loaded(signal: Signal, command: float) -> Array:
    right = _volts(signal, command)
    volts = np.repeat((right * LOADS)[:, None], len(signal.places), axis=1)
    if signal.kind == "volts":
        return _row(signal, volts)
    # a current output keeps its current; what hangs beside the device takes a part of it there
    current = np.full_like(volts, right)
    current[:, -1] = volts[:, -1]
    return _row(signal, volts, current)


def _along_the_wire(signal: Signal) -> list[Break]:
    found = []
    count = len(signal.places)
    for place in range(1, count):
        wire = signal.places[place].wire
        name = f"wire {wire}" if wire else "the wire"
        where = f"{name} between {_at(signal, place - 1)} and {_at(signal, place)}"
        found.append(
            Break(
                "open",
                place,
                f"{where} is open, its core or its common",
                "Pull at its ends; then dead, ring core and common through one by one.",
                1.0 / (count - 1),
                _opened(signal, place),
            )
        )
        if signal.kind == "milliamperes":
            found.append(
                Break(
                    "short",
                    place,
                    f"{where} is shorted: the current turns back before it",
                    "Dead, lift both ends and ring core against common.",
                    1.0 / (count - 1),
                    _shorted(signal, place),
                )
            )
        found.append(
            Break(
                "offset",
                place,
                f"the commons of {_at(signal, place - 1)} and {_at(signal, place)} are not at one voltage",
                "Read common to common. One transformer for both ends, one earth, or a signal isolator.",
                1.0 / (count - 1),
                _shifted(signal, place),
            )
        )
    return found


def _opened(signal: Signal, place: int) -> Callable[[float], Array]:
    def reads(command: float) -> Array:
        before = np.array([_volts(signal, command)])
        if signal.kind == "milliamperes":  # the output drives up to its own supply, nothing flows
            before = np.linspace(*COMPLIANCE, 241)
        volts = np.zeros((before.size, len(signal.places)))
        volts[:, :place] = before[:, None]
        return _row(signal, volts, np.zeros_like(volts) if signal.kind == "milliamperes" else None)

    return reads


def _shorted(signal: Signal, place: int) -> Callable[[float], Array]:
    def reads(command: float) -> Array:
        volts = np.full((1, len(signal.places)), 0.5 * SHORTED)
        current = np.zeros_like(volts)
        current[:, :place] = _volts(signal, command)
        return _row(signal, volts, current)

    return reads


def _shifted(signal: Signal, place: int) -> Callable[[float], Array]:
    def reads(command: float) -> Array:
        volts = np.full((DRIFTS.size, len(signal.places)), _volts(signal, command))
        volts[:, place:] += DRIFTS[:, None]
        return _row(signal, volts)

    return reads


def _at_the_device(signal: Signal) -> list[Break]:
    low, high, opens_high = signal.takes.low, signal.takes.high, signal.opens_at == "high"

    def stands(at: Callable[[float], Array]) -> Callable[[float], Array]:
        def reads(command: float) -> Array:
            volts = _volts(signal, command)
            position = np.atleast_1d(at(volts))
            sound = np.full((position.size, len(signal.places)), volts)
            return np.column_stack([sound, position, sound])

        return reads

    def set_for(span: tuple[float, float]) -> Callable[[float], Array]:
        return lambda volts: np.asarray(actuator_position(volts, span[0], span[1], opens_high))

    spans = [span for span in SPANS[signal.kind] if span != (low, high)]
    found = [
        Break(
            "range-at-device",
            len(signal.places),
            f"{signal.device} is set for {_span(signal, span)} instead of {_span(signal, (low, high))}",
            "Set its switches or jumper to the span of the output, then run it end to end.",
            1.0 / len(spans),
            stands(set_for(span)),
        )
        for span in spans
    ]
    found.append(
        Break(
            "reversed-at-device",
            len(signal.places),
            f"{signal.device} runs the wrong way round",
            "Turn its direction switch, or the linkage, at this one place.",
            1.0,
            stands(lambda volts: np.asarray(actuator_position(volts, low, high, not opens_high))),
        )
    )
    found.append(
        Break(
            "device-does-not-follow",
            len(signal.places),
            f"{signal.device} does not follow its signal: no supply, stuck, or broken",
            "Read its supply voltage; uncouple it and see whether it turns.",
            0.5,
            stands(lambda volts: 0.0 * volts + ANYWHERE),
        )
    )
    return found


def _span(signal: Signal, span: tuple[float, float]) -> str:
    if signal.kind == "milliamperes":
        return f"{2.0 * span[0]:g} to {2.0 * span[1]:g} mA"
    return f"{span[0]:g} to {span[1]:g} V"


def _at(signal: Signal, place: int) -> str:
    one = signal.places[place]
    return f"{one.name} ({one.terminal})" if one.terminal else one.name
