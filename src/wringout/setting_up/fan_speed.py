"""Drive speed for a wanted airflow: fan laws, the system's curve, sheaves, and what the motor then draws."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from wringout.errors import InputError
from wringout.physics.fan import fan_curve, system_resistance
from wringout.quantity import Dimension
from wringout.setting_up.answer import Answer, Array, Value, worked
from wringout.setting_up.inputs import Ask, Inputs
from wringout.setting_up.subject import Subject

__all__ = ["FAN_SPEED", "current_at_most", "speed_ratio"]

MAINS = 60.0  # Hz; a drive goes over it only where fan, motor and belt are rated for it
FAR = 0.3  # of the airflow; further away from what was measured the laws carry less
SHUTOFF = 1.4  # of the fan's curve, as in physics.fan

_D = Dimension
ASKS = (
    Ask("airflow", "airflow wanted", _D.AIRFLOW, 1e-3, 300.0, path="air.supply_airflow", example="9000 cfm"),
    Ask(
        "airflow-now",
        "airflow now",
        _D.AIRFLOW,
        1e-3,
        300.0,
        0.06,
        point="supply.airflow",
        example="7600 cfm",
    ),
    Ask(
        "speed-now",
        "drive speed now",
        _D.FREQUENCY,
        1.0,
        200.0,
        spread=0.2,
        point="fan.speed",
        path="air.supply_fan.speed",
        optional=True,
        example="44 Hz",
    ),
    Ask(
        "sheave-now",
        "motor sheave now, pitch diameter",
        _D.SMALL_LENGTH,
        0.02,
        1.5,
        0.01,
        optional=True,
        example="5 in",
    ),
    Ask(
        "current-now", "motor current now", _D.CURRENT, 0.05, 3000.0, 0.03, point="fan.current", optional=True
    ),
    Ask(
        "nameplate", "motor current on the nameplate", _D.CURRENT, 0.05, 3000.0, optional=True, example="14 A"
    ),
    Ask("pressure-now", "fan pressure now", _D.PRESSURE_DIFFERENCE, 5.0, 5000.0, 0.05, optional=True),
    Ask(
        "held",
        "part of that pressure which is held whatever the airflow",
        _D.PRESSURE_DIFFERENCE,
        0.0,
        5000.0,
        optional=True,
        example="0.5 inWC",
    ),
)


def speed_ratio(airflow_ratio: Array, held_share: Array, shutoff_ratio: float = SHUTOFF) -> Array:
    """New speed over old for a wanted airflow over the present one.

    ``held_share`` is the part of the present fan pressure that stays whatever the airflow (a duct pressure
    that is controlled, a plenum); without it the speed goes with the airflow, the first fan law.
    """
    shutoff, fall = fan_curve(1.0, 1.0, shutoff_ratio)
    rest = system_resistance(1.0 - held_share, 1.0)
    # the new point on the system's curve, on the fan's curve at the new speed
    return np.sqrt((held_share + (rest + fall) * airflow_ratio**2) / shutoff)


def current_at_most(current: Array, power_ratio: Array) -> Array:
    """Motor current at another power: in proportion, which leaves out the part that magnetises and so errs
    high where the power grows."""
    return current * power_ratio


def _answer(x: Inputs) -> Answer:
    held = _held(x)
    used = [x["airflow"], x["airflow-now"], held]
    ratio = float(x["airflow"].value / x["airflow-now"].value)
    results = [
        _result(
            "ratio", "speed, new over old", None, _one(used, lambda a, b, h: speed_ratio(a / b, h)), "times"
        )
    ]
    power = [*used]

    def power_ratio(a: Array, b: Array, h: Array) -> Array:
        return (a / b) * (h + (1.0 - h) * (a / b) ** 2)

    do = []
    if "speed-now" in x:
        found = _one([*used, x["speed-now"]], lambda a, b, h, n: n * speed_ratio(a / b, h))
        results.insert(0, _result("speed", "drive speed to set", _D.FREQUENCY, found))
        do.append("Set the drive's speed (and its upper limit) to the value above, in steps.")
    if "sheave-now" in x:
        found = _one([*used, x["sheave-now"]], lambda a, b, h, n: n * speed_ratio(a / b, h))
        results.insert(0, _result("sheave", "motor sheave, pitch diameter", _D.SMALL_LENGTH, found))
        do.append("Take the nearest motor sheave, or a fan sheave smaller by the same ratio; align, tension.")
    if not do:
        do.append("Multiply the present speed by the ratio above.")
    results.append(_result("power", "shaft power, new over old", None, _one(power, power_ratio), "times"))
    if "current-now" in x:
        found = _one([*used, x["current-now"]], lambda a, b, h, i: current_at_most(i, power_ratio(a, b, h)))
        results.append(_result("current", "motor current then, at most", _D.CURRENT, found))
    do += [
        "Measure airflow and motor current at the new speed; the laws do not replace the measurement.",
        "Look behind the cooling coil for droplets carried off, and at the filter drop against "
        "its clean value.",
    ]
    return Answer(
        "fan-speed",
        "Drive speed for a wanted airflow",
        (
            "speed = speed now x airflow / airflow now",
            "pressure x (airflow ratio)^2, power x (airflow ratio)^3",
            "with a held pressure h: system h + (1 - h) r^2 met by the fan's curve at the new speed",
        ),
        "fan laws, ASHRAE Handbook HVAC Systems and Equipment, chapter Fans (from memory); falling branch of "
        "the fan's curve: ESTIMATE, shut-off pressure 1.4 times that at the point",
        x.all(),
        tuple(results),
        tuple(do),
        _warnings(x, tuple(results), ratio),
        ("Same duct system, filters and dampers as when the airflow now was measured.",),
    )


def _held(x: Inputs) -> Value:
    """The held share of the pressure; nothing is held unless both pressures are given."""
    if "held" not in x:
        return Value("held-share", "held share of the pressure", 0.0, 0.0, None, "assumed", "nothing held")
    if "pressure-now" not in x:
        raise InputError("needs the fan pressure now beside it", "--held")
    share, all_of_it = x["held"].value, x["pressure-now"].value
    if share >= all_of_it:
        raise InputError("cannot be all of the fan pressure now or more", "--held")
    sigma = share / all_of_it * x["pressure-now"].sigma / all_of_it
    return Value("held-share", "held share of the pressure", share / all_of_it, sigma, None, "computed")


def _one(inputs: list[Value], law: Callable[..., Array]) -> tuple[float, float, str]:
    return worked(inputs, lambda *x: [law(*x)])[0]


def _result(
    key: str, name: str, dimension: Dimension | None, found: tuple[float, float, str], unit: str = ""
) -> Value:
    return Value(key, name, found[0], found[1], dimension, "computed", unit=unit, mostly=found[2])


def _warnings(x: Inputs, results: tuple[Value, ...], ratio: float) -> tuple[str, ...]:
    found = []
    by_key = {value.key: value for value in results}
    if "current" in by_key and "nameplate" in x:
        current, limit = by_key["current"], x["nameplate"].value
        if current.value > limit:
            found.append(
                "The motor would draw more than its nameplate: do not set this speed. A larger "
                "motor, or less "
                "resistance in the ducts."
            )
        elif current.value + 2.0 * current.sigma > limit:
            found.append("The motor comes close to its nameplate: raise in steps, the clamp on the wire.")
    elif ratio > 1.0:
        found.append(
            f"Power goes with the cube: {ratio**3:.2f} times. Give --current-now and --nameplate "
            "to see whether "
            "the motor bears it."
        )
    if "speed" in by_key and by_key["speed"].value > MAINS:
        found.append(
            "That is over mains frequency: only where fan wheel, motor and bearings are rated for it."
        )
    if abs(ratio - 1.0) > FAR:
        found.append("Far from the airflow measured: go half the way, measure, and work it out again.")
    return tuple(found)


FAN_SPEED = Subject(
    "fan-speed", "Drive speed for a wanted airflow", ASKS, ("fan_turns", "power_panel_open"), _answer
)
