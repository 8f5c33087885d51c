"""Where the moisture comes from: people, air from outdoors, open water, ice and wet goods, with their
shares."""

from __future__ import annotations

import numpy as np

from wringout.errors import InputError
from wringout.physics.air_constants import SPECIFIC_HEAT_DRY_AIR
from wringout.physics.moist_air import saturated_humidity_ratio, standard_pressure
from wringout.physics.room import moisture_gain
from wringout.physics.saturation import saturation_pressure
from wringout.quantity import Dimension
from wringout.setting_up.answer import Answer, Array, Value, Word, worked
from wringout.setting_up.inputs import Ask, Inputs
from wringout.setting_up.subject import Subject

__all__ = ["ACTIVITY", "MOISTURE_SOURCES", "USE_OF_WATER", "from_ice", "from_open_water", "from_people"]

_D = Dimension
# latent heat of one person [W]: ASHRAE Handbook Fundamentals 2009, p. 18.4 (as quoted in public model
# libraries); athletics from memory
ACTIVITY = {"theatre": 31.0, "seated": 45.0, "walking": 59.0, "light_work": 140.0, "athletics": 315.0}
# activity factor of open water: ASHRAE Handbook Applications 2011, as quoted in EnergyPlus Engineering
# Reference
USE_OF_WATER = {"quiet": 0.5, "fitness": 0.65, "hotel": 0.8, "public": 1.0, "waves": 1.5}
_OPEN_WATER = 0.1 * 0.45359237 / 3600.0 / 0.3048**2 / 3386.389  # 0.1 lb/(h ft2 inHg) in kg/(s m2 Pa)
ICE_FILM = 1.0  # W/(m2 K): Carling, Roomvent 1998, from frosting rates in a model rink (abstract read)
LEWIS = 0.91  # Lewis number of water vapour in air, 0.865, to the power 2/3
EVAPORATION = 2.45e6  # J/kg at skin and room temperature

ASKS = (
    Ask("people", "people", _D.COUNT, 0.0, 1e5, 0.2, path="space.people", assume="0 count", why="none given"),
    Ask("activity", "what they do", choices=tuple(ACTIVITY), assume="walking", why="usual"),
    Ask(
        "infiltration",
        "air that leaks in",
        _D.AIRFLOW,
        0.0,
        300.0,
        0.3,
        path="space.infiltration",
        assume="0 cfm",
        why="none given",
        example="700 cfm",
    ),
    Ask(
        "outdoor-air",
        "outdoor air through the unit",
        _D.AIRFLOW,
        0.0,
        300.0,
        0.12,
        point="outdoor.airflow",
        path="air.outdoor_airflow",
        assume="0 cfm",
        why="none given",
        example="1500 cfm",
    ),
    Ask(
        "outdoor-dew-point",
        "outdoor dew point",
        _D.TEMPERATURE,
        -50.0,
        35.0,
        spread=0.8,
        point="outdoor.dew_point shown.outdoor_dew_point",
        path="space.design_day.outdoor_dew_point",
        example="72 degF",
    ),
    Ask(
        "space-dew-point",
        "dew point of the room",
        _D.TEMPERATURE,
        -50.0,
        35.0,
        spread=0.8,
        point="space.dew_point shown.dew_point",
        path="control.dew_point",
        example="53 degF",
    ),
    Ask(
        "water-area",
        "open water",
        _D.AREA,
        0.0,
        1e5,
        0.03,
        assume="0 ft2",
        why="none given",
        example="1000 ft2",
    ),
    Ask(
        "water-t",
        "temperature of the water",
        _D.TEMPERATURE,
        0.5,
        60.0,
        spread=0.5,
        optional=True,
        example="82 degF",
    ),
    Ask("water-use", "use of the water", choices=tuple(USE_OF_WATER), assume="public", why="usual"),
    Ask("ice-area", "ice", _D.AREA, 0.0, 1e5, 0.03, assume="0 ft2", why="none given", example="17000 ft2"),
    Ask(
        "ice-t",
        "temperature of the ice",
        _D.TEMPERATURE,
        -40.0,
        0.0,
        spread=0.5,
        assume="25 degF",
        why="usual of a rink",
    ),
    Ask(
        "wet",
        "water that dries off floors, goods or washing",
        _D.MASS_FLOW,
        0.0,
        10.0,
        0.3,
        assume="0 lb/h",
        why="none given",
        example="20 lb/h",
    ),
    Ask(
        "indoors",
        "released indoors by design, people included",
        _D.MASS_FLOW,
        -1.0,
        10.0,
        0.3,
        path="space.moisture",
        optional=True,
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
    Ask(
        "condensate",
        "water from the drain now",
        _D.MASS_FLOW,
        0.0,
        10.0,
        0.08,
        point="condensate.rate",
        optional=True,
    ),
)


def from_people(people: Array, latent: float) -> Array:
    """Water that people give off [kg/s], each ``latent`` [W]."""
    return people * latent / EVAPORATION


def from_open_water(area: Array, water_t: Array, dew_point: Array, factor: float) -> Array:
    """Water that evaporates from a pool [kg/s]: ``0.1 A AF (Pw - Pdp)`` in lb/h, ft2 and inHg; negative where
    the air is the wetter."""
    return _OPEN_WATER * factor * area * (saturation_pressure(water_t) - saturation_pressure(dew_point))


def from_ice(area: Array, ice_t: Array, space_ratio: Array, pressure: float) -> Array:
    """Water that leaves a sheet of ice [kg/s]; negative where the air's moisture freezes onto it."""
    carried = ICE_FILM / (SPECIFIC_HEAT_DRY_AIR * LEWIS)
    return area * carried * (saturated_humidity_ratio(ice_t, pressure) - space_ratio)


def _answer(x: Inputs) -> Answer:
    pressure = float(standard_pressure(x["altitude"].value))
    latent, factor = ACTIVITY[x.word("activity")], USE_OF_WATER[x.word("water-use")]
    keys = ["people", "infiltration", "outdoor-air", "outdoor-dew-point", "space-dew-point"]
    keys += ["water-area", "ice-area", "ice-t", "wet"]
    inputs = [x[key] for key in keys]
    water = x.values.get("water-t")
    if x["water-area"].value > 0.0 and water is None:
        raise InputError(
            'missing: temperature of the water; write for example --water-t "82 degF"', "--water-t"
        )
    inputs.append(water or Value("water-t", "temperature of the water", 20.0, 0.0, _D.TEMPERATURE, "assumed"))
    inputs.append(_rest_indoors(x, latent))
    # what the laws themselves are worth, as inputs of mean 1
    laws = [_doubt("each person", 0.2), _doubt("evaporation law", 0.3), _doubt("film at the ice", 0.5)]

    def law(
        n: Array,
        leak: Array,
        outdoor: Array,
        out_dew: Array,
        in_dew: Array,
        pool: Array,
        ice: Array,
        ice_t: Array,
        wet: Array,
        pool_t: Array,
        rest: Array,
        d_n: Array,
        d_pool: Array,
        d_ice: Array,
    ) -> list[Array]:
        out_w, in_w = (saturated_humidity_ratio(t, pressure) for t in (out_dew, in_dew))
        density = pressure / (287.042 * 293.15)
        parts = [
            d_n * from_people(n, latent),
            moisture_gain(0.0 * leak, leak * density, out_w, in_w),
            moisture_gain(0.0 * outdoor, outdoor * density, out_w, in_w),
            d_pool * from_open_water(pool, pool_t, in_dew, factor),
            d_ice * from_ice(ice, ice_t, in_w, pressure),
            wet,
            rest,
        ]
        brought = sum(np.maximum(part, 0.0) for part in parts)
        whole = np.maximum(brought, 1e-12)
        return [*parts, sum(parts[1:], parts[0]), *(np.maximum(part, 0.0) / whole for part in parts)]

    found = worked([*inputs, *laws], law)
    names = [
        "people",
        "air that leaks in",
        "outdoor air through the unit",
        "open water",
        "ice",
        "what dries off",
    ]
    names.append("other release indoors")
    results = [_flow("total", "all of it", found[7])]
    for place, name in enumerate(names):
        if found[place][0] == 0.0 and found[place][1] == 0.0:
            continue
        results.append(_flow(f"part-{place + 1}", name, found[place]))
        share = found[8 + place]
        if found[place][0] <= 0.0:
            continue  # it takes water out
        results.append(
            Value(f"share-{place + 1}", "   of what comes in", *share[:2], _D.FRACTION, "computed")
        )
    warnings, notes = _compared(x, found[7])
    return Answer(
        "moisture-sources",
        "Where the moisture comes from",
        (
            "people: n x latent heat / 2450 kJ/kg",
            "air: flow x density x (outdoor - room humidity ratio)",
            "open water: 0.1 A AF (Pw - Pdp) lb/h, ft2, inHg; ice: film / (cp Le^2/3) A (w_ice - w_room)",
        ),
        "people: ASHRAE Handbook Fundamentals 2009, ch. 18; water: ASHRAE Handbook Applications "
        "2011 as quoted in "
        "EnergyPlus Engineering Reference (measured pools scatter by 30 %); ice: Carling, "
        "Roomvent 1998 (film "
        "1 W/(m2 K), ESTIMATE +- half)",
        _taken(x),
        tuple(results),
        ("Begin with the largest share that can be changed: doors and dampers cost least.",),
        tuple(warnings),
        (*notes, "Cold cases, and walls that dry or soak, are not counted; evaporation is at rest."),
    )


def _taken(x: Inputs) -> tuple[Value | Word, ...]:
    """The inputs that count: what belongs to water, ice or people only where there are any."""
    idle = {"water-t", "water-use"} if x["water-area"].value == 0.0 else set()
    idle |= {"ice-t"} if x["ice-area"].value == 0.0 else set()
    idle |= {"activity"} if x["people"].value == 0.0 else set()
    return tuple(one for one in x.all() if one.key not in idle)


def _rest_indoors(x: Inputs, latent: float) -> Value:
    """What the unit document has released indoors besides people, unless water, ice or wet goods were
    named."""
    name = "released indoors besides people"
    named = any(x[key].mark == "given" for key in ("water-area", "ice-area", "wet"))
    if "indoors" not in x or named:
        return Value("rest", name, 0.0, 0.0, _D.MASS_FLOW, "assumed", "nothing more")
    indoors = x["indoors"]
    people = x.unit.space.people if x.unit is not None else x["people"].value
    rest = indoors.value - float(from_people(np.array(people), latent))
    return Value(
        "rest", name, rest, indoors.sigma, _D.MASS_FLOW, indoors.mark, "unit document, less its people"
    )


def _doubt(name: str, sigma: float) -> Value:
    return Value("law", f"the law for {name}", 1.0, sigma, None, "assumed")


def _flow(key: str, name: str, found: tuple[float, float, str]) -> Value:
    return Value(key, name, found[0], found[1], _D.MASS_FLOW, "computed", mostly=found[2])


def _compared(x: Inputs, total: tuple[float, float, str]) -> tuple[list[str], list[str]]:
    if "condensate" not in x:
        return [], []
    drain = x["condensate"]
    apart = drain.value - total[0]
    sigma = float(np.hypot(drain.sigma, total[1]))
    if abs(apart) <= 2.0 * sigma:
        return [], ["The water at the drain and the sum agree within two standard deviations."]
    if apart > 0.0:
        return ["More water runs down the drain than is accounted for: look for a source left out."], []
    return [
        "Less water runs down the drain than comes in: the room is getting wetter, or a source is too high."
    ], []


MOISTURE_SOURCES = Subject(
    "moisture-sources", "Where the moisture comes from", ASKS, ("outdoor_place",), _answer
)
