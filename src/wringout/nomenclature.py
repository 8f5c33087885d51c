"""The glossary: one name for each thing that code, documents and screens speak of.

A name is full words of the trade. Functions and fields use these names, alone or behind a word that says
where (``supply_airflow``, ``entering_dry_bulb``). The range is what is plausible in this trade; no equation
stops there. The page ``docs/nomenclature.md`` is written from here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["SUBJECTS", "TERMS", "Term", "page"]


@dataclass(frozen=True, slots=True)
class Term:
    """A name and what it stands for.

    Parameters
    ----------
    name : str
        As written in code.
    meaning : str
        One sentence without a full stop.
    unit : str
        SI unit inside; temperatures in degC, their differences in K, shares as 1.
    low, high : float
        Plausible range in `unit`.
    subject : str
        One of `SUBJECTS`.
    """

    name: str
    meaning: str
    unit: str
    low: float
    high: float
    subject: str


SUBJECTS: Mapping[str, str] = MappingProxyType(
    {
        "air": "Moist air",
        "coil": "Coils and exchangers",
        "water": "Water loop and valve",
        "refrigerant": "Refrigerant side",
        "fan": "Fan and filter",
        "signal": "Signal and control",
        "space": "Space and building",
        "weighing": "Weighing causes",
    }
)

# name | meaning | unit | low | high
_TABLE = {
    "air": """
        dry_bulb | temperature of the air as a dry thermometer reads it | degC | -45 | 60
        wet_bulb | temperature of adiabatic saturation at the same pressure | degC | -45 | 45
        dew_point | temperature at which liquid begins to condense, below 0 degC too | degC | -50 | 40
        frost_point | temperature at which ice begins to settle | degC | -50 | 0
        relative_humidity | vapour pressure over saturation pressure at the dry bulb (rh) | 1 | 0 | 1
        humidity_ratio | mass of water vapour to mass of dry air | kg/kg | 0 | 0.04
        saturation_pressure | vapour pressure in balance with flat water or ice | Pa | 1 | 20000
        vapour_pressure | partial pressure of the water vapour in the air | Pa | 1 | 8000
        enhancement_factor | saturation pressure in air against that of pure water | 1 | 1 | 1.01
        enthalpy | heat content for each kg of dry air; 0 for both at 0 degC | J/kg | -5e4 | 1.5e5
        specific_volume | volume of moist air for each kg of dry air | m3/kg | 0.6 | 1.3
        density | mass of a fluid in a volume | kg/m3 | 0.7 | 1300
        pressure | absolute pressure; of the air around where nothing else is said | Pa | 54000 | 110000
        altitude | height of the site over sea level | m | -500 | 5000
        airflow | volume of air in a time at the state where it is named | m3/s | 0.02 | 100
        dry_air_flow | mass of dry air in a time; the same all along a path without leaks | kg/s | 0.02 | 120
        grains | humidity ratio in grains to the pound of dry air, for readers only | gr/lb | 0 | 280
    """,
    "coil": """
        effectiveness | heat moved against the most that the inlet states allow | 1 | 0 | 1
        ntu | number of transfer units: conductance over the smaller capacity rate | 1 | 0 | 10
        capacity_rate | mass flow times specific heat: heat for each kelvin | W/K | 1 | 500000
        capacity_ratio | smaller over larger capacity rate | 1 | 0 | 1
        conductance | heat for each kelvin between two streams (UA) | W/K | 10 | 200000
        bypass_factor | share of the air that passes a cooling coil as if it had not met it | 1 | 0 | 0.5
        apparatus_dew_point | saturated state that a cooling coil's process line points at | degC | -10 | 20
        sensible_heat | heat that changes the dry bulb | W | 0 | 2e7
        latent_heat | heat that goes with water condensed or evaporated | W | 0 | 1e7
        total_heat | sensible and latent together: change of enthalpy | W | 0 | 2e7
        sensible_heat_ratio | sensible over total | 1 | 0.3 | 1
        condensate | water taken out of the air by a coil in a time | kg/s | 0 | 0.5
        reheat | heat given back to the air after the cooling coil | W | 0 | 2e7
    """,
    "water": """
        water_flow | volume of loop liquid in a time | m3/s | 0.00001 | 0.5
        water_in | temperature of the water entering the part that is named | degC | -15 | 115
        water_out | temperature of the water leaving the part that is named | degC | -15 | 115
        head | pressure difference as a column of water | m | 0 | 150
        resistance | pressure drop over the square of the flow | Pa/(m3/s)2 | 1000 | 1e13
        kv | m3/h of water through a valve at 1 bar; cv, gpm at 1 psi, is 1.156 times it | m3/h | 0.1 | 500
        position | opening of a valve or damper, of its stem or plug as named; 0 is coil shut | 1 | 0 | 1
        authority | drop over the open valve against the drop over valve and coil with it | 1 | 0.05 | 1
        rangeability | largest over least controllable flow coefficient of a valve | 1 | 10 | 100
        leakage | coil flow with the valve shut as a share of full | 1 | 0 | 0.35
        bypass_leg | the pipe beside coil and valve through which the main flows on | - | 0 | 0
        transit_time | how long water needs from source to coil | s | 1 | 3600
        concentration | mass of glycol to mass of the mixture | 1 | 0 | 0.6
    """,
    "refrigerant": """
        superheat | gas temperature over the dew temperature at its pressure | K | 0 | 50
        subcooling | liquid temperature under the bubble temperature at its pressure | K | 0 | 30
        condensing_temperature | dew temperature at the pressure in the condenser | degC | 10 | 70
        condensing_over_outdoor | condensing temperature over the air that cools the condenser | K | 3 | 45
        evaporating_temperature | dew temperature at the pressure in the evaporator | degC | -40 | 15
        capacity | heat that a cooling circuit takes up at its present conditions | W | 100 | 2e7
        stage | one compressor or step of cooling, called in order | - | 0 | 0
        gas_in | temperature of discharge gas entering the heat-recovery exchanger | degC | 20 | 180
        gas_out | temperature of discharge gas leaving it | degC | 10 | 120
        reclaim | heat recovered from a refrigeration plant's discharge gas | W | 0 | 2e7
    """,
    "fan": """
        fan_speed | frequency that a variable drive gives the motor | Hz | 5 | 200
        filter_drop | static pressure lost over the filter | Pa | 0 | 1500
        heat_rise | temperature rise of the air over the fan | K | 0 | 10
        current | current of a motor in one conductor | A | 0 | 2000
    """,
    "signal": """
        command | what control asks for, before any scaling | 1 | 0 | 1
        signal | voltage at the actuator's terminals; 4 to 20 mA read across 500 ohm | V | 0 | 24
        travel_time | time an actuator needs from end to end | s | 1 | 900
        set_point | value that control holds | as its value | 0 | 0
        band | difference over which cooling stages come on one after the other | K | 0.1 | 15
        time_constant | time to 63.2 % of a step | s | 1 | 100000
        dead_time | time before anything answers | s | 0 | 3600
    """,
    "space": """
        infiltration | outdoor air that comes in past the unit | m3/s | 0 | 100
        moisture | vapour released indoors, less what cold surfaces take out | kg/s | -0.5 | 1
        sensible_gain | heat without moisture released indoors, less what cold surfaces take | W | -2e7 | 2e7
        design_day | outdoor state that the unit was sized for | - | 0 | 0
        outdoor_share | outdoor airflow over supply airflow | 1 | 0 | 1
    """,
    "weighing": """
        prior | probability of a cause before the first reading | 1 | 0 | 1
        marginal | probability that a cause is among what is wrong, given the readings | 1 | 0 | 1
        healthy | probability that nothing is wrong, given the readings | 1 | 0 | 1
        unexplained | probability that no listed set accounts for the readings | 1 | 0 | 1
        gain | what a further reading is expected to tell | bit | 0 | 6
        sigma | one standard deviation of a value, in the value's own unit | as its value | 0 | 0
    """,
}


def _terms() -> dict[str, Term]:
    terms: dict[str, Term] = {}
    for subject, table in _TABLE.items():
        for line in table.strip().splitlines():
            name, meaning, unit, low, high = (cell.strip() for cell in line.split(" | "))
            terms[name] = Term(name, meaning, unit, float(low), float(high), subject)
    return terms


TERMS: Mapping[str, Term] = MappingProxyType(_terms())


def page() -> str:
    """The glossary as Markdown.

    Returns
    -------
    str
        The page, with a line end.
    """
    lines = [
        "# Nomenclature",
        "",
        "This page is written by `make docs` from `src/wringout/nomenclature.py`; change it there.",
        "",
        "One name for each thing, in code, documents and screens. SI inside: temperatures in degC, their",
        "differences in K, shares as 1. The range is what is plausible in this trade; it is no limit of any",
        "equation.",
    ]
    for subject, heading in SUBJECTS.items():
        lines += [
            "",
            f"## {heading}",
            "",
            "| name | meaning | unit | plausible |",
            "| --- | --- | --- | --- |",
        ]
        lines += [
            f"| `{term.name}` | {term.meaning} | {term.unit} | {_range(term)} |"
            for term in TERMS.values()
            if term.subject == subject
        ]
    return "\n".join(lines) + "\n"


def _range(term: Term) -> str:
    return "-" if term.low == term.high else f"{term.low:g} to {term.high:g}"
