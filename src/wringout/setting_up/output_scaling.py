"""Output scaling: which minimum, maximum and action make an actuator go its full travel, and no more."""

from __future__ import annotations

import numpy as np

from wringout.errors import InputError
from wringout.physics.signal import position_from_command, volts_for_position
from wringout.quantity import Dimension, UnitSystem, format
from wringout.setting_up.answer import Answer, Array, Value, worked
from wringout.setting_up.inputs import Ask, Inputs, Known
from wringout.setting_up.subject import Subject

__all__ = ["OUTPUT_SCALING", "kind_of_signal", "scaling"]

_D = Dimension
_KINDS = ("volts", "milliamperes")
ASKS = (
    Ask(
        "low",
        "low end of the actuator's signal",
        _D.SIGNAL,
        0.0,
        24.0,
        spread=0.1,
        path="reheat.valve.signal.low",
        example="2 V",
    ),
    Ask(
        "high",
        "high end of the actuator's signal",
        _D.SIGNAL,
        0.0,
        24.0,
        spread=0.1,
        path="reheat.valve.signal.high",
        example="10 V",
    ),
    Ask(
        "opens-at",
        "end at which the actuator opens",
        path="reheat.valve.signal.coil_open_at",
        choices=("high", "low"),
        assume="high",
        why="usual",
    ),
    Ask(
        "output-low",
        "output at 0 %",
        _D.SIGNAL,
        0.0,
        24.0,
        spread=0.05,
        assume="0 V",
        why="usual output, 0 to 10 V",
    ),
    Ask(
        "output-high",
        "output at 100 %",
        _D.SIGNAL,
        0.0,
        24.0,
        spread=0.05,
        assume="10 V",
        why="usual output, 0 to 10 V",
    ),
    Ask("output-kind", "what the output sends", choices=_KINDS, assume="volts", why="usual"),
    Ask("actuator-kind", "what the actuator takes", choices=_KINDS, assume="volts", why="usual"),
    Ask("minimum-now", "minimum set now", _D.FRACTION, 0.0, 1.0, optional=True, example="0 %"),
    Ask("maximum-now", "maximum set now", _D.FRACTION, 0.0, 1.0, optional=True, example="100 %"),
    Ask("reverse-now", "output reversed now", choices=("no", "yes"), assume="no", why="usual"),
)
STEPS = (0.0, 0.25, 0.5, 0.75, 1.0)


def scaling(low: Array, high: Array, output_low: Array, output_high: Array) -> tuple[Array, Array]:
    """Minimum and maximum of an output [-], at which it sends the two ends of an actuator's span."""
    width = output_high - output_low
    return (low - output_low) / width, (high - output_low) / width


def kind_of_signal(known: Known) -> str:
    """Volts or milliamperes, as the unit document writes the reheat actuator's span."""
    unit = known.unit
    if unit is None:
        return "volts"
    source = unit.provenance.get("reheat.valve.signal.high")
    return "milliamperes" if source is not None and "mA" in source.text else "volts"


def _answer(x: Inputs) -> Answer:
    ends = [x["low"], x["high"], x["output-low"], x["output-high"]]
    low, high, output_low, output_high = (value.value for value in ends)
    for key, bottom, top in (("high", low, high), ("output-high", output_low, output_high)):
        if top <= bottom:
            raise InputError("must lie above the low end", f"--{key}")
    (least, s_least, of_least), (most, s_most, of_most) = worked(ends, lambda a, b, c, d: scaling(a, b, c, d))
    opens_high = x.word("opens-at") == "high"
    results = [
        _share("minimum", "minimum to set", least, s_least, of_least),
        _share("maximum", "maximum to set", most, s_most, of_most),
    ]
    for key, share in (("volts-at-0", 0.0), ("volts-at-50", 0.5), ("volts-at-100", 1.0)):
        volts = float(volts_for_position(share, low, high, opens_high))
        name = f"at the actuator at {100 * share:.0f} % command"
        results.append(
            Value(key, name, volts, x["output-high"].sigma, _D.SIGNAL, "computed", unit_shown=_shown_in(x))
        )
    warnings = _warnings(x, least, most)
    results += _now(x, warnings)
    do = [
        f"Set the output: minimum {100 * least:.0f} %, maximum {100 * most:.0f} %, "
        f"{'direct (not reversed)' if opens_high else 'reversed'}; reverse at one place only, not twice.",
        f"At the actuator set {_text(x, low)} to {_text(x, high)}, opening at its {x.word('opens-at')} end.",
        "Hold 0 %, 50 % and 100 % and read the meter at the actuator's terminals against the values above.",
        "Watch the stem go from stop to stop; then release the output and write the scaling down.",
    ]
    return Answer(
        "output-scaling",
        "Output scaling for an actuator",
        (
            "minimum = (actuator low - output at 0 %) / (output at 100 % - output at 0 %)",
            "maximum = (actuator high - output at 0 %) / (output at 100 % - output at 0 %)",
        ),
        "straight-line analogue signals: IEC 60381-1 (4 to 20 mA) and IEC 60381-2 (direct "
        "voltage) (from memory)",
        x.all(),
        tuple(results),
        tuple(do),
        tuple(warnings),
        ("Tolerance of output 0.05 V and of the actuator's ends 0.1 V: common practice.",),
    )


def _share(key: str, name: str, value: float, sigma: float, mostly: str) -> Value:
    return Value(key, name, value, sigma, _D.FRACTION, "computed", mostly=mostly)


def _shown_in(x: Inputs) -> tuple[str, str] | None:
    return ("mA", "mA") if x.word("actuator-kind") == "milliamperes" else None


def _text(x: Inputs, volts: float, system: UnitSystem = "ip") -> str:
    milliamperes = x.word("actuator-kind") == "milliamperes"
    return format(volts, _D.SIGNAL, system, unit="mA" if milliamperes else "V", decimals=1)


def _warnings(x: Inputs, least: float, most: float) -> list[str]:
    found = []
    if least < -1e-6 or most > 1.0 + 1e-6:
        found.append("The output cannot reach the whole span of the actuator: part of the travel is lost.")
    if x.word("output-kind") != x.word("actuator-kind"):
        found.append(
            "Output and actuator are of different kinds. 500 ohm (0.1 %, at the actuator) turn 4 "
            "to 20 mA into "
            "2 to 10 V; the other way needs a converter."
        )
    return found


def _now(x: Inputs, warnings: list[str]) -> list[Value]:
    """What the scaling that is set now makes of the actuator's travel."""
    if "minimum-now" not in x and "maximum-now" not in x:
        return []
    bottom = x["minimum-now"].value if "minimum-now" in x else 0.0
    top = x["maximum-now"].value if "maximum-now" in x else 1.0
    if top <= bottom:
        raise InputError("must lie above the minimum set now", "--maximum-now")
    width = x["output-high"].value - x["output-low"].value
    sent = (x["output-low"].value + bottom * width, x["output-low"].value + top * width)
    command = np.linspace(0.0, 1.0, 201)
    stands = position_from_command(
        command,
        sent,
        (x["low"].value, x["high"].value),
        x.word("reverse-now") == "no",
        x.word("opens-at") == "high",
    )
    at_0, at_100 = float(stands[0]), float(stands[-1])
    still = float(np.mean(np.abs(np.diff(stands)) < 1e-9))
    if at_0 > at_100:
        warnings.append("As set now it runs the wrong way: a command of 100 % shuts.")
    elif at_0 > 0.02 or at_100 < 0.98:
        warnings.append("As set now it does not use the whole travel.")
    if still > 0.02:
        warnings.append(f"As set now {100 * still:.0f} % of the command moves nothing.")
    return [
        Value("stands-at-0", "stands now at 0 % command", at_0, 0.0, _D.FRACTION, "computed"),
        Value("stands-at-100", "stands now at 100 % command", at_100, 0.0, _D.FRACTION, "computed"),
    ]


OUTPUT_SCALING = Subject(
    "output-scaling", "Output scaling for an actuator", ASKS, ("live_terminals", "output_forced"), _answer
)
