"""A string with a unit becomes one SI number, or one clear error; never another unit."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wringout import quantity
from wringout.errors import InputError
from wringout.quantity import PREFERRED, UNITS, Dimension, TradeUnit, format, from_si, parse, to_si, units_of

ALL_UNITS = [unit for named in UNITS.values() for unit in named.values()]
SCALES = [unit for unit in ALL_UNITS if not unit.gauge and unit.dimension is not Dimension.YES_NO]
IDS = [f"{unit.dimension}:{unit.name}" for unit in ALL_UNITS]

# what the pint library calls our units, where it reads them rightly at all (cfm is a centi-fermi to it)
PINT_NAMES = {
    "degF": "degF",
    "degC": "degC",
    "delta_degF": "delta_degF",
    "delta_degC": "delta_degC",
    "K": "kelvin",
    "cfm": "foot**3/minute",
    "m3/s": "m**3/s",
    "m3/h": "m**3/hour",
    "L/s": "liter/s",
    "L/min": "liter/minute",
    "gpm": "gallon/minute",
    "psia": "psi",
    "psi": "psi",
    "Pa": "pascal",
    "kPa": "kilopascal",
    "bar": "bar",
    "mbar": "millibar",
    "inWC": "1000*inch*g_0*kg/m**3",
    "Btu/h": "Btu_it/hour",
    "MBH": "1000*Btu_it/hour",
    "ton": "12000*Btu_it/hour",
    "kW": "kilowatt",
    "W": "watt",
    "lb/h": "pound/hour",
    "kg/h": "kg/hour",
    "kg/s": "kg/s",
    "ft": "foot",
    "in": "inch",
    "m": "meter",
    "mm": "millimeter",
    "ft2": "foot**2",
    "m2": "m**2",
    "ft3": "foot**3",
    "m3": "m**3",
    "gal": "gallon",
    "L": "liter",
    "%": "percent",
    "A": "ampere",
    "V": "volt",
    "Hz": "hertz",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "gr/lb": "grain/pound",
    "g/kg": "gram/kg",
    "kg/kg": "kg/kg",
    "Btu/lb": "Btu_it/pound",
    "kJ/kg": "kJ/kg",
    "W/m2K": "W/m**2/kelvin",
    "Btu/hft2F": "Btu_it/hour/foot**2/delta_degF",
}
PINT_SI = {
    Dimension.TEMPERATURE: "degC",
    Dimension.TEMPERATURE_DIFFERENCE: "kelvin",
    Dimension.AIRFLOW: "m**3/s",
    Dimension.WATER_FLOW: "m**3/s",
    Dimension.PRESSURE: "pascal",
    Dimension.PRESSURE_DIFFERENCE: "pascal",
    Dimension.HEAD: "meter",
    Dimension.POWER: "watt",
    Dimension.MASS_FLOW: "kg/s",
    Dimension.LENGTH: "meter",
    Dimension.SMALL_LENGTH: "meter",
    Dimension.AREA: "m**2",
    Dimension.VOLUME: "m**3",
    Dimension.FRACTION: "dimensionless",
    Dimension.CURRENT: "ampere",
    Dimension.VOLTAGE: "volt",
    Dimension.SIGNAL: "volt",
    Dimension.FREQUENCY: "hertz",
    Dimension.TIME: "second",
    Dimension.HUMIDITY_RATIO: "dimensionless",
    Dimension.SPECIFIC_ENERGY: "joule/kg",
    Dimension.HEAT_TRANSFER: "W/m**2/kelvin",
}
ORACLED = [
    unit
    for unit in SCALES
    if unit.name in PINT_NAMES
    and unit.dimension in PINT_SI
    and not (unit.dimension is Dimension.HEAD and unit.name not in ("ft", "m"))
    and unit.name != "mA"
]


@pytest.fixture(scope="module")
def pint_registry():
    return pytest.importorskip("pint").UnitRegistry()


@pytest.mark.parametrize("unit", ORACLED, ids=lambda unit: f"{unit.dimension}:{unit.name}")
def test_factors_agree_with_pint(unit: TradeUnit, pint_registry) -> None:
    name = PINT_NAMES[unit.name]
    number, _, name = name.partition("*") if name[0].isdigit() else ("1", "", name)
    theirs = pint_registry.Quantity(7.0 * float(number), name).to(PINT_SI[unit.dimension])
    assert to_si(7.0, unit.name, unit.dimension) == pytest.approx(theirs.magnitude, rel=1e-9)


def test_nearly_every_unit_has_an_oracle() -> None:
    without = {unit.name for unit in ALL_UNITS} - {unit.name for unit in ORACLED}
    assert without == {"psig", "barg", "mA", "count", "yes/no"}


@pytest.mark.parametrize("unit", SCALES, ids=lambda unit: f"{unit.dimension}:{unit.name}")
@settings(max_examples=20)
@given(number=st.floats(-1e6, 1e6))
@example(number=0.0)
@example(number=-40.0)
def test_there_and_back_is_the_same_number(unit: TradeUnit, number: float) -> None:
    back = from_si(to_si(number, unit.name, unit.dimension), unit.name, unit.dimension)
    assert back == pytest.approx(number, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize("system", ["ip", "si"])
@pytest.mark.parametrize("dimension", [d for d in Dimension if d not in (Dimension.YES_NO, Dimension.COUNT)])
@settings(max_examples=20)
@given(value=st.floats(0.001, 1e5))
def test_what_is_shown_reads_back_within_its_last_digit(dimension: Dimension, system, value: float) -> None:
    unit = UNITS[dimension][PREFERRED[dimension][system]]
    shown = format(value, dimension, system)
    digits = len(shown.split()[0].partition(".")[2])
    assert parse(shown, dimension).value == pytest.approx(
        value, abs=0.501 * 10.0**-digits * unit.factor, rel=1e-12
    )


@pytest.mark.parametrize("unit", SCALES, ids=lambda unit: f"{unit.dimension}:{unit.name}")
def test_every_spelling_means_the_same(unit: TradeUnit) -> None:
    expected = parse(f"3 {unit.name}", unit.dimension)
    for spelling in (
        *unit.also,
        unit.name.upper() if unit.name not in ("mA", "mm", "m", "mbar") else unit.name,
    ):
        read = parse(f"3 {spelling}", unit.dimension)
        assert (read.value, read.unit) == (expected.value, expected.unit)


@pytest.mark.parametrize("dimension", list(Dimension))
def test_no_spelling_means_two_units_of_a_dimension(dimension: Dimension) -> None:
    meaning: dict[str, str] = {}
    for unit in UNITS[dimension].values():
        for word in (unit.name, *unit.also):
            assert meaning.setdefault(quantity._folded(word), unit.name) == unit.name


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("58.5 degF", "temperature", 14.722222222222221),
        ("58.5°F", "temperature", 14.722222222222221),
        ("58.5 °F", "temperature", 14.722222222222221),
        ("−4 degC", "temperature", -4.0),
        ("12 delta_degF", "temperature_difference", 12.0 / 1.8),
        ("12 K", "temperature_difference", 12.0),
        ("30 %", "fraction", 0.30),
        ("30%", "fraction", 0.30),
        ("4 mA", "signal", 2.0),
        ("20 mA", "signal", 10.0),
        ("4.4 V", "signal", 4.4),
        ("42 ft", "head", 12.8016),
        ("220 ft", "length", 67.056),
        ("1 1/2 in", "small_length", 0.0381),
        ("1-1/4 in", "small_length", 0.03175),
        ("3/4 in", "small_length", 0.01905),
        ("1.5e3 cfm", "airflow", 1500.0 * 0.3048**3 / 60.0),
        ("2 count", "count", 2.0),
        ("yes", "yes_no", 1.0),
        ("No", "yes_no", 0.0),
        (True, "yes_no", 1.0),
        (False, "yes_no", 0.0),
        ("90 s", "time", 90.0),
        ("7000 gr/lb", "humidity_ratio", 1.0),
    ],
)
def test_as_the_trade_writes_it(text: object, dimension: str, value: float) -> None:
    assert parse(text, dimension).value == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "words"),
    [
        ("58.5", "temperature", "bare number.*degF or degC"),
        (58.5, "temperature", "bare number.*degF or degC"),
        ("9000", "airflow", "bare number.*cfm, m3/s, m3/h or L/s"),
        ("2", "count", "bare number.*count"),
        ("58,5 degF", "temperature", r"comma.*58\.5"),
        ("1,200 cfm", "airflow", "comma"),
        ("12 degF", "temperature_difference", "a temperature, not a difference.*delta_degF"),
        ("12 delta_degF", "temperature", "temperature difference.*degF or degC"),
        ("12 gpm", "airflow", "unit of water flow.*cfm"),
        ("30 psi", "power", "unit of .*pressure"),
        ("12 tonn", "power", "unknown unit.*did you mean ton"),
        ("12 furlong", "length", "unknown unit.*ft, in, m or mm"),
        ("3 psig", "pressure_difference", "one pressure, not a drop"),
        ("3 psig", "pressure", "gauge pressure.*altitude"),
        ("nan degF", "temperature", "not a number"),
        ("inf cfm", "airflow", "not a number"),
        ("-inf cfm", "airflow", "not a number"),
        ("1e999 cfm", "airflow", "too large"),
        ("-500 degF", "temperature", "below absolute zero"),
        ("-20 psia", "pressure", "less than no pressure"),
        ("2.5 count", "count", "whole number"),
        ("-1 count", "count", "whole number"),
        ("maybe", "yes_no", "neither yes nor no"),
        ("", "airflow", "empty"),
        ("   ", "airflow", "empty"),
        (None, "airflow", "empty"),
        ([], "airflow", "list"),
        ("warm", "temperature", "does not begin with a number"),
        ("1/0 in", "small_length", "divides by nothing"),
        ("5 MA", "signal", "unknown unit"),
        ("9" * 500 + " cfm", "airflow", "too long"),
    ],
)
def test_what_is_refused_says_what_is_taken(text: object, dimension: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        parse(text, dimension)


def test_gauge_pressure_counts_from_the_air_around() -> None:
    """Denver, about 83.4 kPa: 10 psig there is less than at sea level."""
    high, low = (
        parse("10 psig", "pressure", atmosphere=83.4e3),
        parse("10 psig", "pressure", atmosphere=101325.0),
    )
    assert low.value - high.value == pytest.approx(101325.0 - 83.4e3)
    assert low.value == pytest.approx(101325.0 + 10 * 6894.757, rel=1e-6)


@given(text=st.text(max_size=80), dimension=st.sampled_from(list(Dimension)))
def test_any_text_is_read_or_refused(text: str, dimension: Dimension) -> None:
    try:
        read = parse(text, dimension)
    except InputError:
        return
    assert math.isfinite(read.value)
    assert read.unit in units_of(dimension)


def test_arrays_convert_like_numbers_and_keep_nan() -> None:
    column = np.array([32.0, np.nan, 212.0])
    np.testing.assert_allclose(to_si(column, "degF", "temperature"), [0.0, np.nan, 100.0], atol=1e-12)
    np.testing.assert_allclose(from_si(to_si(column, "degF", "temperature"), "degF", "temperature"), column)


@pytest.mark.parametrize("convert", [to_si, from_si])
def test_gauge_pressure_cannot_be_converted_blindly(convert) -> None:
    with pytest.raises(InputError, match="air around"):
        convert(1.0, "psig", "pressure")


@pytest.mark.parametrize(
    ("value", "dimension", "system", "shown"),
    [
        (14.7222, "temperature", "ip", "58.5 degF"),
        (14.7222, "temperature", "si", "14.7 degC"),
        (-0.0001, "temperature", "si", "0.0 degC"),
        (4.2475, "airflow", "ip", "9000 cfm"),
        (0.3, "fraction", "si", "30.0 %"),
        (7.5, "pressure_difference", "ip", "0.030 inWC"),
        (1.0, "yes_no", "ip", "yes"),
        (0.0, "yes_no", "ip", "no"),
        (math.nan, "power", "ip", "-"),
        (70338.0, "power", "si", "70.3 kW"),
    ],
)
def test_values_are_shown_in_the_readers_units(value: float, dimension: str, system, shown: str) -> None:
    assert format(value, dimension, system) == shown


def test_a_certain_unit_and_so_many_digits_can_be_asked_for() -> None:
    assert format(70337.06, "power", unit="ton", decimals=2) == "20.00 ton"
