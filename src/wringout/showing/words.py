"""Numbers and things in words for pages: units as people write them, figures with their uncertainty."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from wringout.catalogue.points import point, shown
from wringout.documents.call import Reading
from wringout.errors import InputError
from wringout.ledger.entries import Amount, Band
from wringout.quantity import PREFERRED, Dimension, UnitSystem, format, parse
from wringout.quantity import UNITS as KNOWN
from wringout.showing.plain import chance, span

__all__ = [
    "INSTRUMENT",
    "amount_words",
    "band_words",
    "chance",
    "pretty",
    "range_text",
    "range_words",
    "reading_words",
    "span",
    "value_words",
]

INSTRUMENT: Mapping[str, str] = {
    "handheld": "a handheld instrument, where the air is well mixed",
    "traverse": "a traverse of the duct, many places",
    "manometer": "a manometer across it",
    "display": "the controller's display",
    "clamp": "a clamp around one insulated conductor",
    "bucket": "a bucket and a watch",
    "gauges": "gauges",
    "strap_on": "a probe strapped on the pipe, wrapped in insulation",
    "seen": "a look",
    "meter": "a meter at the terminals, plug in",
    "clamp_on_ultrasonic": "a clamp-on ultrasonic meter on a straight length of pipe",
}
# heat in thousands, so that a figure fits a drawing
_UNITS: Mapping[str, Mapping[UnitSystem, str]] = {
    "power": {"ip": "MBH", "si": "kW"},
    "water_flow": {"ip": "gpm", "si": "L/s"},
}
_PRETTY = (
    (re.compile(r"\bdelta_degC\b"), "K"),
    (re.compile(r"(?:delta_)?deg([FC])\b"), r"°\1"),
    (re.compile(r"(?<=\()\+/?-\s?"), "± "),
    (re.compile(r"\s?\+/?-\s?"), " ± "),
    (re.compile(r"\binWC\b"), "in. w.c."),
    (re.compile(r"(?<=[\d ])(m|ft)2\b"), r"\1²"),
    (re.compile(r"(?<=[\d ])(m|ft)3\b"), r"\1³"),
    (re.compile(r"(?<=\d )count\b"), ""),
)


# no instrument shows less than nothing, nor more than the whole, however wide the band
_NOT_UNDER_ZERO = frozenset(
    {
        Dimension.AIRFLOW,
        Dimension.WATER_FLOW,
        Dimension.MASS_FLOW,
        Dimension.CURRENT,
        Dimension.SIGNAL,
        Dimension.FREQUENCY,
        Dimension.HEAD,
        Dimension.PRESSURE_DIFFERENCE,
        Dimension.FRACTION,
        Dimension.COUNT,
    }
)


def pretty(text: str) -> str:
    """Write units and signs as people do: degrees, plus or minus."""
    for pattern, new in _PRETTY:
        text = pattern.sub(new, text)
    return text.strip()


def reading_words(reading: Reading, system: UnitSystem) -> str:
    """Write a reading as it was given; one in the other system's unit in the reader's own."""
    dimension = point(reading.point).dimension
    ours = shown(reading.point, reading.value, system)
    temperature = dimension in (Dimension.TEMPERATURE, Dimension.TEMPERATURE_DIFFERENCE)
    other = PREFERRED[dimension]["si" if system == "ip" else "ip"]
    foreign = reading.unit_text != ours.partition(" ")[2] and (temperature or reading.unit_text == other)
    return pretty(ours if foreign else reading.text)


def value_words(name: str, text: str, system: UnitSystem) -> tuple[str, str]:
    """Write the value of a record for a reader, and as it was written where that is another unit.

    Parameters
    ----------
    name, text : str
        A point, and what was read there.
    system : {'ip', 'si'}

    Returns
    -------
    (str, str)
        The second is empty where it would say the same.
    """
    written = pretty(text)
    try:
        dimension = point(name).dimension
        value = parse(text, dimension)
    except InputError:
        return written, ""
    other = PREFERRED[dimension]["si" if system == "ip" else "ip"]
    ours = shown(name, value.value, system)
    same = PREFERRED[dimension]["ip"] == PREFERRED[dimension]["si"]
    if same or value.unit != other or ours.partition(" ")[2] == other:
        return written, ""
    return pretty(ours), written


def range_words(name: str, low: float, high: float, system: UnitSystem) -> str:
    """Write the band in which a reading at a point [SI] should fall."""
    return pretty(range_text(name, low, high, system))


def range_text(name: str, low: float, high: float, system: UnitSystem) -> str:
    """The same for a terminal: units as they are typed."""
    if point(name).dimension is Dimension.YES_NO:
        return "yes" if low > 0.5 else "no" if high < 0.5 else "yes or no"
    dimension = point(name).dimension
    if dimension in _NOT_UNDER_ZERO:
        low = max(low, 0.0)
    if dimension is Dimension.FRACTION:
        high = min(high, 1.0)
    # a spread about a mean reaches past what the point can show: a stem past its stop, a current under none
    least, most = point(name).low, point(name).high
    low, high = min(max(low, least), most), min(max(high, least), most)
    one, other = shown(name, low, system), shown(name, high, system)
    number, _, unit = one.partition(" ")
    last = other.partition(" ")[0]
    if number == last:
        return one
    if low == 0.0:
        number = "0" if float(number) == 0.0 else number
    return f"{number} to {last} {unit}"


def _digits(spread: float, figures: int) -> int:
    return min(max(figures - 1 - math.floor(math.log10(spread)), 0), 3) if spread > 0.0 else 1


def _unit(dimension: Dimension, system: UnitSystem) -> str:
    return _UNITS.get(dimension.value, PREFERRED[dimension])[system]


def amount_words(amount: Amount, system: UnitSystem) -> str:
    """Write an amount with one standard deviation."""
    dimension = Dimension(amount.dimension)
    unit = _unit(dimension, system)
    spread = amount.sigma / KNOWN[dimension][unit].factor
    decimals = _digits(spread, 2)
    number, _, name = format(amount.value, dimension, system, unit=unit, decimals=decimals).partition(" ")
    return pretty(f"{number} +- {spread:.{decimals}f} {name}")


def band_words(band: Band, system: UnitSystem) -> str:
    """Write the middle 68 of a hundred healthy units."""
    dimension = Dimension(band.dimension)
    unit = _unit(dimension, system)
    decimals = _digits(0.5 * (band.high - band.low) / KNOWN[dimension][unit].factor, 1)
    low, high = (
        format(value, dimension, system, unit=unit, decimals=decimals).partition(" ")[0]
        for value in (band.low, band.high)
    )
    return pretty(f"{low} to {high} {unit}" if low != high else f"{low} {unit}")
