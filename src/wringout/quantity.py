"""The only place where a string with a unit becomes an SI number, and an SI number becomes a string again.

A quantity is a number, a space and a unit of the trade: ``58.5 degF``, ``9000 cfm``, ``0.42 inWC``. The list
of units is closed, so that a slip is an error and never another unit. Inside, temperatures are in degC,
differences in K, shares 0..1, and everything else in plain SI.

Decided on purpose:

- temperatures and their differences are two dimensions with units of their own (``degF``, ``delta_degF``);
- ``ft`` is a length, and in the dimension ``head`` a column of water: pressures convert into head with the
  conventional column of 1000 kg/m3 at standard gravity (2.31 ft to the psi), as gauges in the field are read;
- ``mA`` of a control signal counts as the voltage that it makes across 500 ohm;
- ``psig`` and ``barg`` need the pressure of the air around and are refused without it;
- a comma is refused: it stands for thousands in one country and for the decimal point in the next;
- NaN and infinity are refused: a reading that was not had is not written.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Literal

from wringout.errors import InputError

__all__ = [
    "Dimension",
    "UnitSystem",
    "TradeUnit",
    "Quantity",
    "UNITS",
    "PREFERRED",
    "parse",
    "parse_any",
    "format",
    "unit_named",
    "to_si",
    "from_si",
    "units_of",
]

UnitSystem = Literal["ip", "si"]


class Dimension(StrEnum):
    """What a quantity measures, and the SI unit in which it is held."""

    TEMPERATURE = "temperature"  # degC
    TEMPERATURE_DIFFERENCE = "temperature_difference"  # K
    AIRFLOW = "airflow"  # m3/s
    WATER_FLOW = "water_flow"  # m3/s
    PRESSURE = "pressure"  # Pa, absolute
    PRESSURE_DIFFERENCE = "pressure_difference"  # Pa
    HEAD = "head"  # m of water
    POWER = "power"  # W
    MASS_FLOW = "mass_flow"  # kg/s
    LENGTH = "length"  # m
    SMALL_LENGTH = "small_length"  # m; pipe sizes and insulation, shown in inches or millimetres
    AREA = "area"  # m2
    VOLUME = "volume"  # m3
    FRACTION = "fraction"  # 0..1
    CURRENT = "current"  # A
    VOLTAGE = "voltage"  # V
    SIGNAL = "signal"  # V at the terminals of an actuator
    FREQUENCY = "frequency"  # Hz
    TIME = "time"  # s
    HUMIDITY_RATIO = "humidity_ratio"  # kg/kg of dry air
    SPECIFIC_ENERGY = "specific_energy"  # J/kg
    HEAT_TRANSFER = "heat_transfer"  # W/(m2 K): U-values, films
    COUNT = "count"  # 1
    YES_NO = "yes_no"  # 1 for yes, 0 for no


@dataclass(frozen=True, slots=True)
class TradeUnit:
    """One accepted way to write a quantity: ``SI value = number * factor + offset``."""

    name: str
    dimension: Dimension
    factor: float
    offset: float = 0.0
    decimals: int = 1  # shown digits after the point
    gauge: bool = False  # counted from the pressure of the air around
    also: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value in SI with the unit and the words it came in."""

    value: float
    unit: str
    dimension: Dimension
    text: str


# Exact by definition (NIST SP 811:2008, appendix B) except where a comment says otherwise.
FOOT = 0.3048
INCH = 0.0254
POUND = 0.45359237
GALLON = 231.0 * INCH**3  # US liquid gallon
STANDARD_GRAVITY = 9.80665
PSI = POUND * STANDARD_GRAVITY / INCH**2
BTU = 1055.05585262  # International Table; ASHRAE and the trade use this one
WATER_COLUMN = 1000.0 * STANDARD_GRAVITY  # Pa per m, conventional water
INCH_OF_WATER = INCH * WATER_COLUMN  # 249.089 Pa, conventional (4 degC)
GRAIN = POUND / 7000.0
SIGNAL_RESISTOR = 500.0  # ohm: 4..20 mA is read as 2..10 V


def _listed() -> tuple[TradeUnit, ...]:
    d = Dimension
    unit = TradeUnit
    fahrenheit, celsius = ("°F", "deg F", "deg_F", "F"), ("°C", "deg C", "deg_C", "C")
    delta_f = ("Δ°F", "delta °F", "delta degF", "delta_F", "delta F")
    delta_c = ("Δ°C", "delta °C", "delta degC", "delta_C", "delta C")
    in_water = (
        "in. w.c.",
        "in w.c.",
        "in wc",
        "iwc",
        "inH2O",
        "in. w.g.",
        "in w.g.",
        "inWG",
        '"wc',
        "in. wc",
    )
    return (
        unit("degF", d.TEMPERATURE, 5.0 / 9.0, -160.0 / 9.0, 1, also=fahrenheit),
        unit("degC", d.TEMPERATURE, 1.0, 0.0, 1, also=celsius),
        unit("delta_degF", d.TEMPERATURE_DIFFERENCE, 5.0 / 9.0, 0.0, 1, also=delta_f),
        unit("delta_degC", d.TEMPERATURE_DIFFERENCE, 1.0, 0.0, 1, also=delta_c),
        unit("K", d.TEMPERATURE_DIFFERENCE, 1.0, 0.0, 1),
        unit("cfm", d.AIRFLOW, FOOT**3 / 60.0, decimals=0, also=("ft3/min", "ft³/min")),
        unit("m3/s", d.AIRFLOW, 1.0, decimals=3, also=("m³/s",)),
        unit("m3/h", d.AIRFLOW, 1.0 / 3600.0, decimals=0, also=("m³/h",)),
        unit("L/s", d.AIRFLOW, 1e-3, decimals=0),
        unit("gpm", d.WATER_FLOW, GALLON / 60.0, decimals=1, also=("gal/min",)),
        unit("L/s", d.WATER_FLOW, 1e-3, decimals=2),
        unit("L/min", d.WATER_FLOW, 1e-3 / 60.0, decimals=1),
        unit("m3/h", d.WATER_FLOW, 1.0 / 3600.0, decimals=2, also=("m³/h",)),
        unit("m3/s", d.WATER_FLOW, 1.0, decimals=5, also=("m³/s",)),
        unit("psia", d.PRESSURE, PSI, decimals=1),
        unit("psig", d.PRESSURE, PSI, decimals=1, gauge=True),
        unit("Pa", d.PRESSURE, 1.0, decimals=0),
        unit("kPa", d.PRESSURE, 1e3, decimals=1),
        unit("bar", d.PRESSURE, 1e5, decimals=2, also=("bara",)),
        unit("barg", d.PRESSURE, 1e5, decimals=2, gauge=True),
        unit("inWC", d.PRESSURE_DIFFERENCE, INCH_OF_WATER, decimals=2, also=in_water),
        unit("psi", d.PRESSURE_DIFFERENCE, PSI, decimals=2, also=("psid",)),
        unit("Pa", d.PRESSURE_DIFFERENCE, 1.0, decimals=0),
        unit("kPa", d.PRESSURE_DIFFERENCE, 1e3, decimals=2),
        unit("mbar", d.PRESSURE_DIFFERENCE, 100.0, decimals=2),
        unit("bar", d.PRESSURE_DIFFERENCE, 1e5, decimals=3),
        unit("ft", d.HEAD, FOOT, decimals=1, also=("ftWC", "ftH2O", "ft of water")),
        unit("m", d.HEAD, 1.0, decimals=2, also=("mWC",)),
        unit("psi", d.HEAD, PSI / WATER_COLUMN, decimals=1, also=("psid",)),
        unit("kPa", d.HEAD, 1e3 / WATER_COLUMN, decimals=1),
        unit("bar", d.HEAD, 1e5 / WATER_COLUMN, decimals=2),
        unit("Btu/h", d.POWER, BTU / 3600.0, decimals=0, also=("BTU/hr", "Btuh")),
        unit("MBH", d.POWER, BTU / 3.6, decimals=1, also=("kBtu/h",)),
        unit("ton", d.POWER, 12000.0 * BTU / 3600.0, decimals=1, also=("tons",)),
        unit("kW", d.POWER, 1e3, decimals=1),
        unit("W", d.POWER, 1.0, decimals=0),
        unit("lb/h", d.MASS_FLOW, POUND / 3600.0, decimals=1, also=("lb/hr", "lbs/h", "lbs/hr", "pph")),
        unit("kg/h", d.MASS_FLOW, 1.0 / 3600.0, decimals=1),
        unit("kg/s", d.MASS_FLOW, 1.0, decimals=4),
        unit("ft", d.LENGTH, FOOT, decimals=1),
        unit("in", d.LENGTH, INCH, decimals=2, also=("inch", '"')),
        unit("m", d.LENGTH, 1.0, decimals=1),
        unit("mm", d.LENGTH, 1e-3, decimals=0),
        unit("in", d.SMALL_LENGTH, INCH, decimals=2, also=("inch", '"')),
        unit("mm", d.SMALL_LENGTH, 1e-3, decimals=0),
        unit("ft2", d.AREA, FOOT**2, decimals=0, also=("ft²", "sq ft")),
        unit("m2", d.AREA, 1.0, decimals=0, also=("m²",)),
        unit("ft3", d.VOLUME, FOOT**3, decimals=0, also=("ft³", "cu ft")),
        unit("m3", d.VOLUME, 1.0, decimals=0, also=("m³",)),
        unit("gal", d.VOLUME, GALLON, decimals=1, also=("gallon", "gallons")),
        unit("L", d.VOLUME, 1e-3, decimals=1, also=("litre", "litres", "liter", "liters")),
        unit("%", d.FRACTION, 0.01, decimals=1, also=("percent", "% rh", "%rh")),
        unit("A", d.CURRENT, 1.0, decimals=1, also=("amp", "amps")),
        unit("V", d.VOLTAGE, 1.0, decimals=1, also=("volt", "volts")),
        unit("V", d.SIGNAL, 1.0, decimals=2, also=("Vdc", "V dc", "volt", "volts")),
        unit("mA", d.SIGNAL, SIGNAL_RESISTOR * 1e-3, decimals=2),
        unit("Hz", d.FREQUENCY, 1.0, decimals=1),
        unit("s", d.TIME, 1.0, decimals=0, also=("sec",)),
        unit("min", d.TIME, 60.0, decimals=1, also=("minutes",)),
        unit("h", d.TIME, 3600.0, decimals=2, also=("hr",)),
        unit("gr/lb", d.HUMIDITY_RATIO, GRAIN / POUND, decimals=1),
        unit("g/kg", d.HUMIDITY_RATIO, 1e-3, decimals=2),
        unit("kg/kg", d.HUMIDITY_RATIO, 1.0, decimals=5, also=("lb/lb",)),
        unit("Btu/lb", d.SPECIFIC_ENERGY, BTU / POUND, decimals=2),
        unit("kJ/kg", d.SPECIFIC_ENERGY, 1e3, decimals=1),
        unit("W/m2K", d.HEAT_TRANSFER, 1.0, decimals=2, also=("W/(m2 K)", "W/m²K")),
        unit(
            "Btu/hft2F",
            d.HEAT_TRANSFER,
            BTU / 2000.0 / FOOT**2,
            decimals=2,
            also=("Btu/(h ft2 degF)", "Btu/h ft2 degF"),
        ),
        unit("count", d.COUNT, 1.0, decimals=0),
        unit("yes/no", d.YES_NO, 1.0, decimals=0),
    )


def _by_dimension(units: tuple[TradeUnit, ...]) -> dict[Dimension, dict[str, TradeUnit]]:
    table: dict[Dimension, dict[str, TradeUnit]] = {dimension: {} for dimension in Dimension}
    for unit in units:
        table[unit.dimension][unit.name] = unit
    return table


def _spellings(units: Mapping[Dimension, Mapping[str, TradeUnit]]) -> dict[Dimension, dict[str, TradeUnit]]:
    """Every accepted spelling, without regard to case and inner spaces."""
    return {
        dimension: {_folded(word): unit for unit in named.values() for word in (unit.name, *unit.also)}
        for dimension, named in units.items()
    }


def _folded(word: str) -> str:
    return "".join(word.split()).casefold().replace("²", "2").replace("³", "3").replace("º", "°")


UNITS: Mapping[Dimension, Mapping[str, TradeUnit]] = _by_dimension(_listed())
_SPELLINGS = _spellings(UNITS)

# dimension -> the unit shown to readers of inch-pound and of SI documents
PREFERRED: Mapping[Dimension, Mapping[UnitSystem, str]] = {
    Dimension.TEMPERATURE: {"ip": "degF", "si": "degC"},
    Dimension.TEMPERATURE_DIFFERENCE: {"ip": "delta_degF", "si": "delta_degC"},
    Dimension.AIRFLOW: {"ip": "cfm", "si": "m3/s"},
    Dimension.WATER_FLOW: {"ip": "gpm", "si": "L/s"},
    Dimension.PRESSURE: {"ip": "psia", "si": "kPa"},
    Dimension.PRESSURE_DIFFERENCE: {"ip": "inWC", "si": "Pa"},
    Dimension.HEAD: {"ip": "ft", "si": "m"},
    Dimension.POWER: {"ip": "Btu/h", "si": "kW"},
    Dimension.MASS_FLOW: {"ip": "lb/h", "si": "kg/h"},
    Dimension.LENGTH: {"ip": "ft", "si": "m"},
    Dimension.SMALL_LENGTH: {"ip": "in", "si": "mm"},
    Dimension.AREA: {"ip": "ft2", "si": "m2"},
    Dimension.VOLUME: {"ip": "ft3", "si": "m3"},
    Dimension.FRACTION: {"ip": "%", "si": "%"},
    Dimension.CURRENT: {"ip": "A", "si": "A"},
    Dimension.VOLTAGE: {"ip": "V", "si": "V"},
    Dimension.SIGNAL: {"ip": "V", "si": "V"},
    Dimension.FREQUENCY: {"ip": "Hz", "si": "Hz"},
    Dimension.TIME: {"ip": "s", "si": "s"},
    Dimension.HUMIDITY_RATIO: {"ip": "gr/lb", "si": "g/kg"},
    Dimension.SPECIFIC_ENERGY: {"ip": "Btu/lb", "si": "kJ/kg"},
    Dimension.HEAT_TRANSFER: {"ip": "Btu/hft2F", "si": "W/m2K"},
    Dimension.COUNT: {"ip": "count", "si": "count"},
    Dimension.YES_NO: {"ip": "yes/no", "si": "yes/no"},
}

_NUMBER = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?")
_FRACTION = re.compile(r"(?:(\d+)[ -])?(\d+)/(\d+)(?=[ \"a-zA-Z])")
_YES, _NO = frozenset({"yes", "true", "on"}), frozenset({"no", "false", "off"})
_MAX_LENGTH = 60
_ABSOLUTE_ZERO = -273.15


def units_of(dimension: Dimension | str) -> tuple[str, ...]:
    """Names of the units in which a dimension may be written."""
    return tuple(UNITS[Dimension(dimension)])


def unit_named(name: str, dimension: Dimension | str) -> TradeUnit:
    """The unit of a dimension that a spelling stands for.

    Raises
    ------
    InputError
        When the dimension has no such unit; the message lists those it has.
    """
    dimension = Dimension(dimension)
    unit = UNITS[dimension].get(name) or _SPELLINGS[dimension].get(_folded(name))
    if unit is not None and not (name[:1] == "M" and unit.name in {"mA", "mm", "mbar", "m"}):
        return unit
    raise InputError(_unit_complaint(name, dimension))


def to_si(number: Any, unit: str, dimension: Dimension | str) -> Any:
    """Numbers in a trade unit as SI; works on floats and on arrays alike.

    Parameters
    ----------
    number : float or array
        Value(s) in `unit`.
    unit : str
        A unit of the dimension (see `units_of`).
    dimension : Dimension
        What is measured.

    Returns
    -------
    float or array
        SI value(s), NaN where the input is NaN.

    Raises
    ------
    InputError
        For a unit that the dimension does not have, or a gauge pressure.
    """
    known = unit_named(unit, dimension)
    if known.gauge:
        raise InputError(f"{known.name} is counted from the air around: add that pressure first")
    return number * known.factor + known.offset


def from_si(value: Any, unit: str, dimension: Dimension | str) -> Any:
    """SI value(s) as numbers in a trade unit: the inverse of `to_si`."""
    known = unit_named(unit, dimension)
    if known.gauge:
        raise InputError(f"{known.name} is counted from the air around: take that pressure off first")
    return (value - known.offset) / known.factor


def parse(text: object, dimension: Dimension | str, *, atmosphere: float | None = None) -> Quantity:
    """Read a quantity of a known dimension.

    Parameters
    ----------
    text : object
        Number, space, unit. ``yes``, ``no``, ``true`` and ``false`` for the dimension ``yes_no``.
    dimension : Dimension
        What the quantity must measure.
    atmosphere : float, optional
        Pressure of the air around [Pa], needed for gauge pressures only.

    Returns
    -------
    Quantity
        SI value, unit, and the text as written.

    Raises
    ------
    InputError
        For a bare number, an unknown unit, a unit of another dimension, a comma, NaN, infinity, a temperature
        below absolute zero. The message says what was found and which units are taken.
    """
    dimension = Dimension(dimension)
    written = _written(text, dimension)
    if dimension is Dimension.YES_NO:
        return Quantity(_yes_no(written), "yes/no", dimension, written)
    number, name = _split(written, dimension)
    unit = unit_named(name, dimension)
    value = number * unit.factor + unit.offset
    if unit.gauge:
        if atmosphere is None:
            raise InputError(f'"{written}" is a gauge pressure and needs the altitude of the site to be used')
        value += atmosphere
    if not math.isfinite(value):
        raise InputError(f'"{written}" is too large a number')
    if dimension is Dimension.TEMPERATURE and value < _ABSOLUTE_ZERO:
        raise InputError(f'"{written}" lies below absolute zero (-459.67 degF, -273.15 degC)')
    if dimension is Dimension.PRESSURE and value < 0.0:
        raise InputError(f'"{written}" is less than no pressure at all')
    if dimension is Dimension.COUNT and (value < 0.0 or value != math.floor(value)):
        raise InputError(f'"{written}" is no count: write a whole number, for example "2 count"')
    return Quantity(value, unit.name, dimension, written)


def parse_any(text: object, dimensions: tuple[Dimension, ...]) -> Quantity:
    """Read a quantity that may have one of several dimensions; the first that takes its unit counts."""
    problem: InputError | None = None
    for dimension in dimensions:
        try:
            return parse(text, dimension)
        except InputError as error:
            problem = problem or error
    raise problem or InputError("no dimension given")


def format(
    value: float,
    dimension: Dimension | str,
    system: UnitSystem = "ip",
    *,
    unit: str | None = None,
    decimals: int | None = None,
) -> str:
    """Write an SI value for a reader.

    Parameters
    ----------
    value : float
        SI value.
    dimension : Dimension
        What it measures.
    system : {'ip', 'si'}
        The reader's units.
    unit : str, optional
        A certain unit in place of the system's usual one.
    decimals : int, optional
        Digits after the point in place of the unit's usual ones.

    Returns
    -------
    str
        Number, space, unit; ``yes`` or ``no`` for that dimension; ``-`` for NaN.
    """
    dimension = Dimension(dimension)
    if value != value:  # NaN: nothing to show
        return "-"
    if dimension is Dimension.YES_NO:
        return "yes" if value >= 0.5 else "no"
    known = unit_named(unit, dimension) if unit else UNITS[dimension][PREFERRED[dimension][system]]
    number = from_si(value, known.name, dimension)
    if decimals is None:
        decimals = known.decimals
        small = 0.0 < abs(number) < 1.0 and known.offset == 0.0 and known.decimals > 0
        if small and dimension not in _FIXED:  # two significant digits at least, however small
            decimals = min(max(decimals, 1 - math.floor(math.log10(abs(number)))), 8)
    shown = f"{number:.{decimals}f}"
    if float(shown) == 0.0:
        shown = shown.removeprefix("-")
    return f"{shown} {known.name}"


_FIXED = frozenset({Dimension.TEMPERATURE, Dimension.TEMPERATURE_DIFFERENCE, Dimension.FRACTION})


def _written(text: object, dimension: Dimension) -> str:
    if isinstance(text, bool):
        return "yes" if text else "no"
    if text is None:
        raise InputError(f"empty; {_accepted(dimension)}")
    if isinstance(text, (int, float)):
        return str(text)
    if not isinstance(text, str):
        raise InputError(f"found a {type(text).__name__}; {_accepted(dimension)}")
    written = " ".join(text.replace("−", "-").replace("\u00a0", " ").split())
    if not written:
        raise InputError(f"empty; {_accepted(dimension)}")
    if len(written) > _MAX_LENGTH:
        raise InputError(f'"{written[:30]}..." is too long for a quantity; {_accepted(dimension)}')
    return written


def _split(written: str, dimension: Dimension) -> tuple[float, str]:
    if dimension is Dimension.SMALL_LENGTH and (inches := _FRACTION.match(written)):
        whole, over, under = (int(part or 0) for part in inches.groups())
        if under == 0:
            raise InputError(f'"{written}" divides by nothing; {_accepted(dimension)}')
        return whole + over / under, written[inches.end() :].strip()
    match = _NUMBER.match(written)
    if match is None:
        word = written.split()[0].casefold().strip("+-.")
        if word in {"nan", "inf", "infinity"}:
            raise InputError(f'"{written}" is not a number; leave out what was not read')
        raise InputError(f'"{written}" does not begin with a number; {_accepted(dimension)}')
    number, name = float(match.group()), written[match.end() :].strip()
    if name.startswith(","):
        example = f"{match.group()}{name.split()[0].replace(',', '.', 1)}"
        raise InputError(f'"{written}" has a comma; write a decimal point and no thousands mark ({example}?)')
    if not name:
        raise InputError(f'"{written}" is a bare number; {_accepted(dimension)}')
    return number, name


def _yes_no(written: str) -> float:
    word = written.casefold()
    if word in _YES:
        return 1.0
    if word in _NO:
        return 0.0
    raise InputError(f'"{written}" is neither yes nor no')


def _accepted(dimension: Dimension) -> str:
    if dimension is Dimension.YES_NO:
        return "write yes or no"
    names = list(UNITS[dimension])
    units = names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]
    return f"{dimension.replace('_', ' ')} is written with its unit: {units}"


def _unit_complaint(name: str, dimension: Dimension) -> str:
    shown = name if len(name) <= 20 else name[:20] + "..."
    if dimension is Dimension.TEMPERATURE and _folded(name) in _SPELLINGS[Dimension.TEMPERATURE_DIFFERENCE]:
        return f'"{shown}" is a temperature difference; {_accepted(dimension)}'
    if dimension is Dimension.TEMPERATURE_DIFFERENCE and _folded(name) in _SPELLINGS[Dimension.TEMPERATURE]:
        return f'"{shown}" is a temperature, not a difference; {_accepted(dimension)}'
    if dimension is Dimension.PRESSURE_DIFFERENCE and _folded(name) in {"psig", "barg", "psia"}:
        return f'"{shown}" is one pressure, not a drop between two; {_accepted(dimension)}'
    for other, spellings in _SPELLINGS.items():
        if other is not dimension and _folded(name) in spellings:
            return f'"{shown}" is a unit of {other.replace("_", " ")}; {_accepted(dimension)}'
    import difflib  # late: only a complaint needs it

    near = difflib.get_close_matches(name, UNITS[dimension], n=1, cutoff=0.6)
    hint = f" (did you mean {near[0]}?)" if near else ""
    return f'unknown unit "{shown}"{hint}; {_accepted(dimension)}'
