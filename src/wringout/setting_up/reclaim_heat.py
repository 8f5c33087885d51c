"""Recovered heat at hand now against what reheat needs."""

from __future__ import annotations

import numpy as np

from wringout.errors import InputError
from wringout.machine.design import GAS_RESERVE
from wringout.physics.fluid import capacity_rate
from wringout.physics.moist_air import standard_pressure
from wringout.physics.refrigerant import (
    REFRIGERANTS,
    available_heat,
    bubble_pressure,
    dew_pressure,
    heat_share_above,
)
from wringout.quantity import Dimension
from wringout.setting_up.answer import Answer, Array, Value, worked
from wringout.setting_up.inputs import Ask, Inputs
from wringout.setting_up.subject import Subject

__all__ = ["RECLAIM_HEAT", "heat_of_air", "usable_share"]

_D = Dimension
LIQUID = 2.0  # K of subcooling behind an exchanger that condenses; common practice
AIR_SPECIFIC_HEAT = 1020.0  # J/(kg K) of dry air with 7.5 g/kg of vapour

ASKS = (
    Ask(
        "airflow",
        "air over the reheat coil",
        _D.AIRFLOW,
        0.01,
        300.0,
        0.06,
        point="supply.airflow",
        path="air.supply_airflow",
        example="9000 cfm",
    ),
    Ask(
        "coil-t",
        "air onto the reheat coil",
        _D.TEMPERATURE,
        -20.0,
        40.0,
        spread=0.6,
        point="coil_leaving.t",
        path="reheat.rated.entering_t",
        example="52 degF",
    ),
    Ask(
        "supply-t",
        "supply air wanted",
        _D.TEMPERATURE,
        0.0,
        60.0,
        spread=0.6,
        path="control.space_t",
        example="74 degF",
    ),
    Ask(
        "refrigerant",
        "refrigerant",
        path="source.refrigerant",
        choices=REFRIGERANTS,
        assume="R744",
        why="usual in new plants",
    ),
    Ask(
        "plant-heat",
        "heat that the plant gives off now, all of it",
        _D.POWER,
        1.0,
        2e7,
        0.15,
        optional=True,
        example="400 MBH",
    ),
    Ask(
        "rated-heat",
        "heat that the exchanger is rated for",
        _D.POWER,
        1.0,
        2e7,
        0.05,
        path="source.rated.heat",
        optional=True,
    ),
    Ask(
        "gas-in",
        "hot gas at the exchanger",
        _D.TEMPERATURE,
        0.0,
        180.0,
        spread=1.2,
        point="reclaim.gas_in",
        path="source.gas.in_",
        example="220 degF",
    ),
    Ask(
        "gas-out",
        "gas behind the exchanger by design",
        _D.TEMPERATURE,
        -10.0,
        170.0,
        spread=3.0,
        path="source.gas.out",
        optional=True,
    ),
    Ask(
        "gas-cold",
        "gas or liquid behind the plant's own cooler",
        _D.TEMPERATURE,
        -20.0,
        80.0,
        spread=2.0,
        assume="86 degF",
        why="usual in warm weather",
    ),
    Ask(
        "pressure", "pressure of the hot gas", _D.PRESSURE, 1e5, 150e5, 0.02, optional=True, example="90 bar"
    ),
    Ask(
        "return-t",
        "water into the exchanger",
        _D.TEMPERATURE,
        -10.0,
        110.0,
        spread=0.7,
        point="source.water_in",
        example="95 degF",
    ),
    Ask(
        "approach",
        "gas leaves over the water that enters by",
        _D.TEMPERATURE_DIFFERENCE,
        0.0,
        40.0,
        spread=2.0,
        assume="5 K",
        why="common practice for plate exchangers, 3 to 8 K",
    ),
    Ask(
        "leaving-t",
        "water out of the exchanger",
        _D.TEMPERATURE,
        -10.0,
        115.0,
        spread=0.7,
        point="source.water_out",
        optional=True,
    ),
    Ask(
        "flow",
        "water through the exchanger",
        _D.WATER_FLOW,
        1e-6,
        1.0,
        0.05,
        point="loop.flow",
        optional=True,
    ),
    Ask(
        "fluid",
        "liquid",
        path="loop.fluid",
        choices=("water", "propylene_glycol", "ethylene_glycol"),
        assume="water",
        why="usual",
    ),
    Ask(
        "concentration",
        "glycol by mass",
        _D.FRACTION,
        0.0,
        0.6,
        path="loop.concentration",
        assume="0 %",
        why="plain water",
    ),
    Ask(
        "altitude",
        "height above the sea",
        _D.LENGTH,
        -400.0,
        5000.0,
        path="site.altitude",
        assume="0 ft",
        why="sea level",
    ),
)


def heat_of_air(airflow: Array, coil_t: Array, supply_t: Array, pressure: float) -> Array:
    """Heat [W] that lifts an airflow [m3/s, as it enters the coil] from one temperature to another [degC]."""
    density = pressure / (287.042 * (coil_t + 273.15) * 1.012)
    return airflow * density * AIR_SPECIFIC_HEAT * (supply_t - coil_t)


def usable_share(refrigerant: str, pressure: Array, gas_in: Array, gas_cold: Array, level: Array) -> Array:
    """Share of the plant's heat that comes above a level of temperature [-]."""
    return heat_share_above(refrigerant, pressure, gas_in, np.minimum(gas_cold, level - 0.01), level)


def _answer(x: Inputs) -> Answer:
    refrigerant = x.word("refrigerant")
    pressure = _pressure(x, refrigerant)
    plant, fallback = _plant_heat(x, refrigerant, pressure)
    around = float(standard_pressure(x["altitude"].value))
    inputs = [
        x["airflow"],
        x["coil-t"],
        x["supply-t"],
        plant,
        pressure,
        x["gas-in"],
        x["gas-cold"],
        x["return-t"],
        x["approach"],
    ]

    def law(
        q: Array,
        on: Array,
        off: Array,
        all_heat: Array,
        p: Array,
        hot: Array,
        cold: Array,
        back: Array,
        over: Array,
    ) -> list[Array]:
        needed = heat_of_air(q, on, off, around)
        share = usable_share(refrigerant, p, hot, cold, np.minimum(back + over, hot - 0.1))
        return [needed, share, all_heat * share, all_heat * share - needed]

    needed, share, at_hand, spare = worked(inputs, law)
    results = [
        _power("spare", "left over (negative: missing)", spare),
        _power("at-hand", "heat at hand over the water's temperature", at_hand),
        _power("needed", "heat that reheat needs", needed),
        Value(
            "share",
            "share of the plant's heat that is warm enough",
            *share[:2],
            _D.FRACTION,
            "computed",
            mostly=share[2],
        ),
    ]
    warnings, do = [], []
    delivered = _delivered(x)
    if delivered is not None:
        results.append(delivered)
        if delivered.value + 2.0 * delivered.sigma < min(at_hand[0], needed[0]):
            warnings.append(
                "Less is delivered than is at hand and needed: look at diverting valve, exchanger, flow."
            )
    if spare[0] + 2.0 * spare[1] < 0.0:
        warnings.append(
            "The plant has not enough heat that is warm enough: no setting at the unit mends that."
        )
        do.append(
            "With who runs the plant: more pressure, or colder return water, moves heat over the level."
        )
        do.append("Ask what takes the heat before: service water, floor heating, defrost.")
    elif spare[0] < 2.0 * spare[1]:
        warnings.append("Too close to call: read water, gas and airflow, which carry the doubt.")
    else:
        do.append("Heat enough: when the room stays cold, the fault lies on the way, not in the plant.")
    do.append("Lower the return: full coil flow, no open bypass; each kelvin colder makes more heat usable.")
    return Answer(
        "reclaim-heat",
        "Recovered heat at hand, against what reheat needs",
        (
            "needed = airflow x density x cp x (supply wanted - air onto the coil)",
            "at hand = plant's heat x share given above (water in + approach), from enthalpies of "
            "the refrigerant",
        ),
        "refrigerant enthalpies: CoolProp tables of physics.refrigerant; approach and plant heat "
        "by common practice",
        (*x.all(), *(one for one in (plant, pressure) if one.key not in x)),
        tuple(results),
        tuple(do),
        tuple(warnings),
        (*fallback, "Pipe losses are not in it. The plant is licensed work: nothing is set there from here."),
    )


def _power(key: str, name: str, found: tuple[float, float, str]) -> Value:
    return Value(
        key, name, found[0], found[1], _D.POWER, "computed", mostly=found[2], unit_shown=("MBH", "kW")
    )


def _pressure(x: Inputs, refrigerant: str) -> Value:
    if "pressure" in x:
        return x["pressure"]
    if refrigerant == "R744":
        return Value(
            "pressure",
            "pressure of the hot gas",
            90e5,
            6e5,
            _D.PRESSURE,
            "assumed",
            "90 bar, usual while heat is wanted",
        )
    if "gas-out" in x:  # an exchanger that condenses: what leaves it is liquid, so it boils a little warmer
        value = float(bubble_pressure(refrigerant, x["gas-out"].value + LIQUID))
        why = "condensing just over the exchanger's rated outlet"
    else:
        value = float(dew_pressure(refrigerant, x["gas-cold"].value + 5.0))
        why = "condensing 5 K over the liquid"
    return Value("pressure", "pressure of the hot gas", value, 0.05 * value, _D.PRESSURE, "assumed", why)


def _plant_heat(x: Inputs, refrigerant: str, pressure: Value) -> tuple[Value, tuple[str, ...]]:
    """The plant's heat as written, else what a plant with 1.3 times the gas of the rating gives off."""
    if "plant-heat" in x:
        return x["plant-heat"], ()
    if "rated-heat" not in x or "gas-out" not in x:
        raise InputError(
            'missing: heat that the plant gives off; write for example --plant-heat "400 MBH"', "--plant-heat"
        )
    hot, out, cold = (x[key].value for key in ("gas-in", "gas-out", "gas-cold"))
    rated = float(available_heat(refrigerant, pressure.value, hot, out))
    whole = float(available_heat(refrigerant, pressure.value, hot, cold))
    value = GAS_RESERVE * x["rated-heat"].value * whole / rated
    words = f"{GAS_RESERVE:g} times the gas that the exchanger's rating takes (judgement)"
    made = Value(
        "plant-heat", "heat that the plant gives off now", value, 0.25 * value, _D.POWER, "assumed", words
    )
    return made, (
        f"The plant's heat is assumed: {words}. Read it at the plant's controller for a firm answer.",
    )


def _delivered(x: Inputs) -> Value | None:
    if "flow" not in x or "leaving-t" not in x:
        return None
    fluid = x.word("fluid")

    def law(flow: Array, leaving: Array, entering: Array) -> list[Array]:
        rate = capacity_rate(flow, 0.5 * (leaving + entering), fluid, x["concentration"].value)  # type: ignore[arg-type]
        return [rate * (leaving - entering)]

    (found,) = worked([x["flow"], x["leaving-t"], x["return-t"]], law)
    return _power("delivered", "delivered to the water now", found)


RECLAIM_HEAT = Subject(
    "reclaim-heat",
    "Recovered heat at hand, against what reheat needs",
    ASKS,
    ("hot_surface", "refrigerant_plant", "service_water"),
    _answer,
)
