"""Units as they are said, and what each stands for at a point."""

from __future__ import annotations

from collections.abc import Mapping

from wringout.quantity import PREFERRED, UNITS, Dimension, UnitSystem
from wringout.web.spoken.numbers import Token, tokens

__all__ = ["Spoken", "unit_at", "usual_unit"]

Spoken = Mapping[Dimension, str]
"""What a spoken unit stands for, by dimension."""

_D = Dimension
_DEGREES_F = {_D.TEMPERATURE: "degF", _D.TEMPERATURE_DIFFERENCE: "delta_degF"}
_DEGREES_C = {_D.TEMPERATURE: "degC", _D.TEMPERATURE_DIFFERENCE: "delta_degC"}
_WATER_INCHES = {_D.PRESSURE_DIFFERENCE: "inWC"}
_PSI = {_D.PRESSURE_DIFFERENCE: "psi", _D.HEAD: "psi"}
_FEET = {_D.HEAD: "ft"}
_POUNDS_AN_HOUR = {_D.MASS_FLOW: "lb/h"}
_CUBIC_METRES_AN_HOUR = {_D.AIRFLOW: "m3/h", _D.WATER_FLOW: "m3/h"}
_LITRES_A_SECOND = {_D.AIRFLOW: "L/s", _D.WATER_FLOW: "L/s"}

_SAID: tuple[tuple[Spoken, str], ...] = (
    (_DEGREES_F, "f|fahrenheit|degf|deg f|degree f|degrees f|degrees fahrenheit|degree fahrenheit|° f"),
    (_DEGREES_C, "c|celsius|centigrade|degc|deg c|degrees c|degrees celsius|degrees centigrade|° c"),
    (_DEGREES_F, "delta f|degrees f of superheat|delta_degf|fahrenheit degrees"),
    (_DEGREES_C, "delta c|delta_degc"),
    ({_D.TEMPERATURE_DIFFERENCE: "K"}, "kelvin|kelvins|k"),
    ({_D.FRACTION: "%"}, "%|percent|per cent|percentage|% rh|percent rh|percent relative humidity|pc"),
    ({_D.SIGNAL: "V", _D.VOLTAGE: "V"}, "v|volt|volts|vdc|v dc|volts dc"),
    ({_D.SIGNAL: "mA"}, "ma|milliamp|milliamps|milliampere|milliamperes"),
    ({_D.CURRENT: "A"}, "a|amp|amps|ampere|amperes"),
    ({_D.WATER_FLOW: "gpm"}, "gpm|gallons|gallon|gallons a minute|gallons per minute|gal/min"),
    ({_D.AIRFLOW: "cfm"}, "cfm|cubic feet|cubic feet a minute|cubic feet per minute"),
    (_CUBIC_METRES_AN_HOUR, "m3/h|m³/h|cubic metres an hour|cubic meters an hour|cubic meters per hour"),
    ({_D.AIRFLOW: "m3/s", _D.WATER_FLOW: "m3/s"}, "m3/s|m³/s|cubic metres a second|cubic meters per second"),
    (_LITRES_A_SECOND, "l/s|litres a second|liters a second|litres per second|liters per second"),
    ({_D.WATER_FLOW: "L/min"}, "l/min|litres a minute|liters a minute|litres per minute|liters per minute"),
    (_WATER_INCHES, "inwc|in wc|in w c|inh2o|iwc|inches of water|inch of water|inches water|inches|inch"),
    (_WATER_INCHES, "in . wc|in . w . c .|inches wc|inches of water column|of an inch"),
    (_PSI, "psi|psid|pounds per square inch|pounds a square inch"),
    ({_D.PRESSURE_DIFFERENCE: "Pa"}, "pa|pascal|pascals"),
    ({_D.PRESSURE_DIFFERENCE: "kPa", _D.HEAD: "kPa"}, "kpa|kilopascal|kilopascals"),
    ({_D.PRESSURE_DIFFERENCE: "bar", _D.HEAD: "bar"}, "bar"),
    ({_D.PRESSURE_DIFFERENCE: "mbar"}, "mbar|millibar|millibars"),
    (_FEET, "ft|foot|feet|feet of water|foot of water|feet of head|ft of water|ftwc"),
    ({_D.HEAD: "m"}, "m|metre|metres|meter|meters|metres of water|meters of water|metres of head"),
    (_POUNDS_AN_HOUR, "lb/h|lb/hr|lbs/h|lbs/hr|pounds an hour|pounds per hour|pph|lbs an hour|lb an hour"),
    ({_D.MASS_FLOW: "kg/h"}, "kg/h|kilos an hour|kilograms an hour|kilograms per hour|kilos per hour"),
    ({_D.MASS_FLOW: "kg/s"}, "kg/s"),
    ({**_PSI, **_POUNDS_AN_HOUR}, "pounds|pound|lbs|lb"),
    ({_D.FREQUENCY: "Hz"}, "hz|hertz|cycles"),
    ({_D.COUNT: "count"}, "count"),
)
_BY_WORDS: dict[tuple[str, ...], Spoken] = {
    tuple(token.text for token in tokens(phrase)): spoken
    for spoken, said in _SAID
    for phrase in said.split("|")
}
_LONGEST = max(len(words) for words in _BY_WORDS)
_PLAIN_DEGREES = frozenset({"degree", "degrees", "deg", "°", "º"})


def unit_at(words: list[Token], at: int, system: UnitSystem) -> tuple[Spoken, int] | None:
    """Give the unit said from a token on, the longest one, and the token after it.

    Plain degrees are those of the reader's system; a difference where the point measures one.
    """
    for length in range(min(_LONGEST, len(words) - at), 0, -1):
        said = tuple(token.text for token in words[at : at + length])
        if said in _BY_WORDS:
            return _BY_WORDS[said], at + length
    if at < len(words) and words[at].text in _PLAIN_DEGREES:
        return (_DEGREES_F if system == "ip" else _DEGREES_C), at + 1
    return None


def usual_unit(dimension: Dimension, usual: str, system: UnitSystem) -> str:
    """Give the unit in which a number without one is taken at a point: the point's own, or the reader's."""
    if system == "ip" or dimension in (_D.FRACTION, _D.CURRENT, _D.SIGNAL, _D.FREQUENCY, _D.COUNT):
        return usual if usual in UNITS[dimension] else PREFERRED[dimension][system]
    return "kPa" if usual == "psi" else PREFERRED[dimension]["si"]
