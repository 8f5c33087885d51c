"""Is the unit big enough for today's weather: the healthy machine at full cooling against what the room
gains."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design, design
from wringout.machine.parameters import healthy_values, neutral, spreads
from wringout.machine.room_side import room_balance
from wringout.machine.steady import settle
from wringout.quantity import Dimension
from wringout.setting_up.answer import Answer, Array, Value, worked
from wringout.setting_up.inputs import Ask, Inputs
from wringout.setting_up.subject import Subject

__all__ = ["BIG_ENOUGH", "chance_above_zero", "margins"]

_D = Dimension
ASKS = (
    Ask(
        "outdoor-t",
        "outdoor air",
        _D.TEMPERATURE,
        -45.0,
        55.0,
        spread=0.7,
        point="outdoor.t",
        path="space.design_day.outdoor_t",
        example="86 degF",
    ),
    Ask(
        "outdoor-dew-point",
        "outdoor dew point",
        _D.TEMPERATURE,
        -45.0,
        35.0,
        spread=0.8,
        point="outdoor.dew_point shown.outdoor_dew_point",
        path="space.design_day.outdoor_dew_point",
        example="74 degF",
    ),
    Ask(
        "space-t",
        "room, as it should be",
        _D.TEMPERATURE,
        0.0,
        45.0,
        path="control.space_t",
        example="74 degF",
    ),
    Ask(
        "space-dew-point",
        "dew point, as it should be",
        _D.TEMPERATURE,
        -20.0,
        28.0,
        path="control.dew_point",
        example="53 degF",
    ),
)
LOWEST, HIGHEST = -12.0, 26.0  # degC of dew point between which an answer is looked for


def margins(
    machine: Design, z: Array, outdoor_t: Array, outdoor_dew: Array, space_t: Array, space_dew: Array
) -> tuple[Array, Array, Array, Array]:
    """Moisture removed and gained [kg/s], and sensible heat removed and gained [W], everything at full.

    Every stage called (or the chilled-water valve open) and the reheat command at 100 %, the room held at
    what it should be. ``z`` (samples, spreads) are standard normal numbers of the healthy machine.
    """
    rows = z.shape[0]
    values = healthy_values(spreads(machine), z) | neutral(machine)
    ones = np.ones(rows)
    calls = float(len(machine.stage_share)) if machine.dx else 1.0
    outdoor_dew = np.minimum(outdoor_dew, outdoor_t - 0.05)
    around = Conditions(
        outdoor_t * ones,
        outdoor_dew * ones,
        space_t * ones,
        np.minimum(space_dew, space_t - 0.1) * ones,
        ones,
        calls * ones,
        ones,
        0.0 * ones,
    )
    found = room_balance(settle(machine, values, around))
    wide = (
        np.broadcast_to(x, (rows,))
        for x in (found.moisture_removed, found.moisture_gain, found.heat_removed, found.heat_gain)
    )
    removed, gained, heat_removed, heat_gained = wide
    return removed, gained, heat_removed, heat_gained


def chance_above_zero(value: float, sigma: float) -> float:
    """Probability that a normal number lies above zero."""
    return 0.5 * math.erfc(-value / max(sigma, 1e-300) / math.sqrt(2.0))


def _answer(x: Inputs) -> Answer:
    if x.unit is None:
        raise InputError(
            "needs the unit: give a unit document or a call, for example `big-enough unit.yaml`", "CALL"
        )
    machine = design(x.unit)
    rows = spreads(machine)
    asked = [x[ask.key] for ask in ASKS]
    unknown = [Value("z", _plain(row.name), 0.0, 1.0, None, "assumed", row.why) for row in rows]

    def law(*v: Array) -> list[Array]:
        z = np.column_stack(v[len(asked) :])
        removed, gained, heat_removed, heat_gained = margins(machine, z, *v[: len(asked)])
        return [removed - gained, removed, gained, heat_gained - heat_removed]

    spare, removed, gained, warm = worked([*asked, *unknown], law)
    wanted = x["space-dew-point"]
    slope = _slope(law, [*asked, *unknown])
    driest = _crossing(law, [*asked, *unknown], 3, falling=False)
    worst = _crossing(law, [*asked, *unknown], 1, falling=True)
    chance = chance_above_zero(*spare[:2])
    results = [
        Value(
            "spare",
            "moisture to spare (negative: short)",
            spare[0],
            spare[1],
            _D.MASS_FLOW,
            "computed",
            mostly=spare[2],
        ),
        Value("chance", "chance that it is big enough", chance, 0.0, _D.FRACTION, "computed"),
        Value(
            "removed",
            "moisture it can take out",
            removed[0],
            removed[1],
            _D.MASS_FLOW,
            "computed",
            mostly=removed[2],
        ),
        Value(
            "gained",
            "moisture that comes in",
            gained[0],
            gained[1],
            _D.MASS_FLOW,
            "computed",
            mostly=gained[2],
        ),
    ]
    if driest is not None:
        results.append(
            Value(
                "driest",
                "dew point it can hold",
                driest,
                spare[1] / slope,
                _D.TEMPERATURE,
                "computed",
                mostly=spare[2],
            )
        )
    if worst is not None:
        results.append(
            Value("weather", "outdoor dew point up to which it holds", worst, 0.0, _D.TEMPERATURE, "computed")
        )
    results.append(
        Value(
            "warm",
            "heat to spare at full reheat",
            warm[0],
            warm[1],
            _D.POWER,
            "computed",
            mostly=warm[2],
            unit_shown=("MBH", "kW"),
        )
    )
    return Answer(
        "big-enough",
        "Is the unit big enough for today's weather",
        (
            "spare = supply flow x (room - supply humidity ratio) - (released + infiltration x "
            "(outdoor - room))",
            "supply air: the healthy machine of the unit document, all cooling on, reheat at 100 %",
        ),
        "the machine of this package (docs/validation.md); spreads of healthy machines as "
        "`wringout weigh` uses them",
        x.all(),
        tuple(results),
        _do(chance, x.unit),
        _warnings(chance, warm, wanted),
        ("People and wet work are those of the unit document, +- 40 %.",),
    )


def _plain(name: str) -> str:
    words = name.replace("_ratio", "").replace("_shift", "").replace("_", " ")
    return f"spread of the machine: {words}"


def _slope(law: Callable[..., Sequence[Array]], inputs: list[Value]) -> float:
    """Spare moisture to the kelvin of room dew point, at the mean [kg/(s K)]."""
    middle = [np.array([value.value, value.value]) for value in inputs]
    middle[3] = middle[3] + np.array([-0.5, 0.5])
    spare = np.asarray(law(*middle)[0])
    return max(float(spare[1] - spare[0]), 1e-9)


def _crossing(
    law: Callable[..., Sequence[Array]], inputs: list[Value], place: int, falling: bool
) -> float | None:
    """Where the spare moisture is nothing along one input [degC]; None where it never is."""
    at = np.linspace(LOWEST, HIGHEST if place == 3 else 30.0, 85)
    at = at[at < inputs[2].value - 0.2] if place == 3 else at[at < inputs[0].value - 0.1]
    spread = [np.full_like(at, value.value) for value in inputs]
    spread[place] = at
    spare = np.asarray(law(*spread)[0])
    sign = -spare if falling else spare
    up = np.flatnonzero((sign[:-1] < 0.0) & (sign[1:] >= 0.0))
    if up.size == 0:
        return None
    i = int(up[-1])
    return float(at[i] + (at[i + 1] - at[i]) * sign[i] / (sign[i] - sign[i + 1]))


def _do(chance: float, unit: Unit) -> tuple[str, ...]:
    if chance > 0.8:
        return ("Big enough by its document: when the room stays wet, look for a fault (`wringout weigh`).",)
    outdoor = "Less outdoor air, down to what the code asks, lowers the load at once."
    if chance < 0.2:
        return (
            "Too small for this weather by its document; a healthy unit would not hold it either.",
            outdoor,
            "Doors, and `moisture-sources`, before a larger unit.",
        )
    return ("On the edge: measure outdoor airflow and supply air, then ask again with the readings.", outdoor)


def _warnings(chance: float, warm: tuple[float, float, str], wanted: Value) -> tuple[str, ...]:
    found = []
    if warm[0] + 2.0 * warm[1] < 0.0:
        found.append(
            "Even full reheat does not hold the room's temperature with all cooling on: see `reclaim-heat`."
        )
    if wanted.value < 2.0:
        found.append(
            "Under 2 degC (36 degF) of dew point cooling coils frost: this answer has no frost in it."
        )
    return tuple(found)


BIG_ENOUGH = Subject(
    "big-enough", "Is the unit big enough for today's weather", ASKS, ("outdoor_place",), _answer
)
