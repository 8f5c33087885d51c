"""What a column may be: each point's place, quantity and the range it moves in, and the words that names are
made of.

The words are those of the trade in general; ranges are judgement, wide enough for any conditioned building,
and only weigh candidates against each other.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from wringout.quantity import Dimension

__all__ = ["Role", "ROLES", "tags_of", "PLACES", "unit_in_name"]

_D = Dimension


@dataclass(frozen=True, slots=True)
class Role:
    """A point, what a name for it speaks of, and where its values usually lie (mean and spread in SI)."""

    point: str
    dimension: Dimension
    place: str | None
    quantity: str
    subject: str | None = None
    mean: float = 0.5
    spread: float = 1.0
    setting: bool = False  # set by people: stands still for long
    prior: float = 0.0  # how often logs hold it, against the others [ln of odds]; judgement


def _listed() -> tuple[Role, ...]:
    t, f, s, n = _D.TEMPERATURE, _D.FRACTION, _D.YES_NO, _D.COUNT
    return (
        Role("shown.space_t", t, "space", "temperature", mean=21.0, spread=4.0, prior=0.7),
        Role("shown.supply_t", t, "supply", "temperature", mean=19.0, spread=8.0, prior=0.5),
        Role("outdoor.t", t, "outdoor", "temperature", mean=18.0, spread=12.0, prior=0.5),
        Role("return.t", t, "return", "temperature", mean=21.5, spread=4.5, prior=-0.2),
        Role("mixed.t", t, "mixed", "temperature", mean=21.0, spread=6.0, prior=-0.5),
        Role("coil_leaving.t", t, "coil", "temperature", mean=10.0, spread=5.0, prior=-0.8),
        Role("shown.dew_point", t, "space", "dew_point", mean=11.0, spread=5.0, prior=0.5),
        Role("shown.outdoor_dew_point", t, "outdoor", "dew_point", mean=14.0, spread=8.0),
        Role("supply.dew_point", t, "supply", "dew_point", mean=9.0, spread=4.0, prior=-1.2),
        Role("return.dew_point", t, "return", "dew_point", mean=11.0, spread=5.0, prior=-1.0),
        Role("shown.setpoint_dew_point", t, "space", "dew_point", "setpoint", 11.0, 4.0, setting=True),
        Role(
            "shown.setpoint_space_t",
            t,
            "space",
            "temperature",
            "setpoint",
            21.0,
            3.0,
            setting=True,
            prior=-0.5,
        ),
        Role(
            "shown.setpoint_supply_t",
            t,
            "supply",
            "temperature",
            "setpoint",
            16.0,
            7.0,
            setting=True,
            prior=-1,
        ),
        Role("outdoor.rh", f, "outdoor", "humidity", mean=0.65, spread=0.2),
        Role("space.rh", f, "space", "humidity", mean=0.5, spread=0.12),
        Role("return.rh", f, "return", "humidity", mean=0.5, spread=0.12),
        Role("supply.rh", f, "supply", "humidity", mean=0.6, spread=0.2, prior=-0.7),
        Role("mixed.rh", f, "mixed", "humidity", mean=0.55, spread=0.15, prior=-1.0),
        Role("shown.reheat_command", f, None, "output", "heating", 0.4, 0.5, prior=0.3),
        Role("cooling.command", f, None, "output", "cooling", 0.4, 0.5, prior=-0.8),
        Role("fan.command", f, None, "output", "fan", 0.8, 0.4, prior=-2.0),
        Role("outdoor.damper", f, "outdoor", "output", "damper", 0.4, 0.4, prior=-2.0),
        Role("shown.stages_called", n, None, "count", "cooling", 1.2, 1.5),
        Role("shown.dehumidifying", s, None, "state", "dehumidify", 0.6, 0.5),
        Role("fan.running", s, None, "state", "fan", 0.9, 0.5),
        Role("space.occupied", s, None, "state", "occupied", 0.5, 0.5),
        Role("shown.reheat_in_hand", s, None, "state", "hand", 0.1, 0.4),
        Role("supply.airflow", _D.AIRFLOW, "supply", "flow", None, 4.0, 5.0, prior=-1),
        Role("outdoor.airflow", _D.AIRFLOW, "outdoor", "flow", None, 1.0, 2.0, prior=-1.5),
        Role("fan.speed", _D.FREQUENCY, None, "output", "fan", 48.0, 15.0, prior=-1),
        Role("loop.flow", _D.WATER_FLOW, "loop", "flow", None, 0.0015, 0.003, prior=-2),
        Role("reheat.water_in", t, "loop_in", "temperature", None, 48.0, 12.0, prior=-3),
        Role("reheat.water_out", t, "loop_out", "temperature", None, 40.0, 12.0, prior=-3),
        Role("chilled.water_in", t, "chilled_in", "temperature", None, 7.0, 3.0, prior=-3),
        Role("chilled.water_out", t, "chilled_out", "temperature", None, 12.0, 4.0, prior=-3),
        Role("filter.drop", _D.PRESSURE_DIFFERENCE, "filter", "pressure", None, 120.0, 100.0, prior=-2),
    )


ROLES: Mapping[str, Role] = {role.point: role for role in _listed()}
PLACES = frozenset(role.place for role in ROLES.values() if role.place)

# word -> tags; a word may speak of several things at once (sat: supply, air, temperature)
_WORDS: dict[str, str] = {
    # places
    "outdoor": "outdoor", "outdoors": "outdoor", "outside": "outdoor", "ambient": "outdoor",
    "oa": "outdoor", "osa": "outdoor", "oat": "outdoor temperature", "oadp": "outdoor dew_point",
    "oarh": "outdoor humidity", "ext": "outdoor", "external": "outdoor", "weather": "outdoor",
    "wea": "outdoor", "aussen": "outdoor", "odt": "outdoor temperature", "fresh": "outdoor",
    "return": "return", "ra": "return", "rat": "return temperature", "rarh": "return humidity",
    "extract": "return", "mixed": "mixed", "mix": "mixed", "ma": "mixed", "mat": "mixed temperature",
    "supply": "supply", "sa": "supply", "sat": "supply temperature", "sup": "supply",
    "discharge": "supply", "da": "supply", "dat": "supply temperature", "disch": "supply",
    "zuluft": "supply", "space": "space", "zone": "space", "room": "space", "rm": "space",
    "zn": "space", "indoor": "space", "inside": "space", "hall": "space", "zat": "space temperature",
    "znt": "space temperature", "raum": "space", "rmt": "space temperature",
    "spt": "space temperature", "store": "space", "spc": "space", "coil": "coil", "evap": "coil",
    "lat": "coil temperature", "leaving": "coil", "offcoil": "coil", "cct": "coil temperature",
    "filter": "filter", "loop": "loop", "chws": "chilled_in", "chwr": "chilled_out",
    "chwst": "chilled_in temperature", "chwrt": "chilled_out temperature", "hws": "loop_in",
    "hwr": "loop_out", "hwst": "loop_in temperature", "hwrt": "loop_out temperature",
    # quantities
    "temperature": "temperature", "temp": "temperature", "tmp": "temperature", "t": "temperature?",
    "tt": "temperature?", "te": "temperature?", "ti": "temperature?", "db": "temperature",
    "tdb": "temperature", "degf": "temperature", "degc": "temperature", "temperatur": "temperature",
    "bul": "", "dry": "temperature?", "dew": "dew_point", "dewpoint": "dew_point",
    "dewpt": "dew_point", "dp": "dew_point", "dpt": "dew_point", "tdp": "dew_point",
    "taupunkt": "dew_point", "rh": "humidity", "humidity": "humidity", "hum": "humidity",
    "humid": "humidity", "moisture": "humidity", "feuchte": "humidity", "hygro": "humidity",
    "setpoint": "setpoint", "stpt": "setpoint", "setpt": "setpoint", "sp": "setpoint?",
    "set": "setpoint?", "sollwert": "setpoint", "soll": "setpoint", "target": "setpoint",
    "valve": "output", "vlv": "output", "cmd": "output", "command": "output", "signal": "output",
    "output": "output", "out": "output?", "ao": "output", "yv": "output", "pos": "output",
    "position": "output", "modulation": "output", "demand": "output", "control": "output?",
    "ctrl": "output?", "v": "output?", "pct": "output?", "capacity": "output", "ventil": "output",
    "loading": "output", "status": "state", "state": "state", "sts": "state", "ss": "state",
    "enable": "state", "enabled": "state", "run": "state", "running": "state", "mode": "state",
    "active": "state", "call": "state?", "proof": "state", "stage": "count cooling?",
    "stages": "count cooling?", "stg": "count cooling?", "cnt": "count", "count": "count",
    "n": "count?", "number": "count", "stufe": "count cooling?", "stufen": "count cooling?",
    "flow": "flow", "airflow": "flow", "cfm": "flow", "gpm": "flow loop", "pressure": "pressure",
    "static": "pressure", "press": "pressure", "speed": "output fan?", "hz": "output fan",
    "vfd": "output fan", "freq": "output fan", "dpressure": "pressure", "current": "current",
    "amps": "current", "amp": "current", "power": "power", "kw": "power", "kwh": "power",
    "energy": "power", "co2": "gas", "ppm": "gas", "lux": "light", "light": "light",
    # subjects
    "reheat": "heating", "rht": "heating", "reht": "heating", "rhv": "heating output",
    "rhc": "heating", "heating": "heating", "heat": "heating", "htg": "heating", "hw": "heating?",
    "hcv": "heating output", "hwv": "heating output", "heizung": "heating", "nachheizung": "heating",
    "hgr": "heating", "cooling": "cooling", "cool": "cooling", "clg": "cooling",
    "ccv": "cooling output", "chw": "cooling", "chwv": "cooling output", "comp": "cooling",
    "cmp": "cooling", "compressor": "cooling", "compressors": "cooling", "cp": "cooling?",
    "dx": "cooling", "kuehlung": "cooling", "chilled": "cooling", "bo": "count?", "fan": "fan",
    "sf": "fan", "blower": "fan", "ventilator": "fan", "rf": "fan return", "ef": "fan exhaust",
    "exhaust": "exhaust", "relief": "exhaust", "damper": "damper output", "dmpr": "damper output",
    "oad": "damper output outdoor", "econ": "damper outdoor", "dehum": "dehumidify",
    "dehumidify": "dehumidify", "dehumidifying": "dehumidify", "dehumidification": "dehumidify",
    "dh": "dehumidify", "occ": "occupied", "occupied": "occupied", "occupancy": "occupied",
    "hand": "hand", "manual": "hand", "hoa": "hand", "override": "hand", "freezer": "other",
    "fre": "other", "cooler": "other", "case": "other", "refrigerator": "other", "ref": "other",
    "crawlspace": "other", "battery": "other", "price": "other", "fault": "other", "alarm": "other",
    "truth": "other", "ratio": "other", "wind": "other", "solar": "other", "radiation": "other",
    "row": "other", "index": "other",
}  # fmt: skip

# words that say nothing by themselves; they keep a long word from being cut up wrongly
_FILL = {
    "air", "unit", "ahu", "rtu", "point", "value", "pv", "ai", "bi", "di", "do", "av", "bv", "level", "and",
    "of", "the", "sensor", "actual", "present", "avg", "hot", "water", "duct", "indicator", "ground",
    "detection",
}  # fmt: skip

_BRACKET = re.compile(r"[\(\[]\s*([^()\[\]]{1,12})\s*[\)\]]")


def unit_in_name(name: str) -> str | None:
    """The unit that stands in a column's name: in brackets, as a last word, or as ``degF`` anywhere."""
    from wringout.trends.cells import unit_of_word

    for inner in _BRACKET.findall(name):
        if (unit := unit_of_word(inner)) is not None:
            return unit or None
    words = re.split(r"[\s_,:;/-]+", name.strip())
    last = words[-1] if len(words) > 1 else ""
    if last and (len(last) > 1 or last in "%°") and (unit := unit_of_word(last)):
        return unit
    if len(words) > 1 and last in {"F", "C"} and _speaks_of_heat(words[:-1]):
        return f"deg{last}"
    if "°F" in name or "°C" in name:
        return "degF" if "°F" in name else "degC"
    return "%" if "%" in name else None


def _speaks_of_heat(words: list[str]) -> bool:
    tags = tags_of(" ".join(words))
    return bool({"temperature", "dew_point"} & tags) or "deg" in (word.casefold() for word in words)


def tags_of(name: str) -> frozenset[str]:
    """What the words of a column's name speak of; a tag with ``?`` is a hint only."""
    tags: set[str] = set()
    spaced = re.sub(
        r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])|(?<=\d)(?=[A-Za-z])|(?<=[A-Za-z])(?=\d)", " ", name
    )
    for word in re.split(r"[^a-zäöü0-9]+", spaced.casefold()):
        if not word or word.isdigit():
            continue
        for part in _parts(word):
            tags |= set(_WORDS.get(part, "").split())
    for phrase, tag in (("dew point", "dew_point"), ("set point", "setpoint"), ("taupunkt", "dew_point")):
        if phrase in re.sub(r"[^a-z]+", " ", spaced.casefold()):
            tags.add(tag)
    if "co 2" in spaced.casefold():
        tags.add("gas")
    return frozenset(tags)


def _parts(word: str) -> list[str]:
    """A word cut into known ones, the longest first: ``spdew`` gives ``sp`` and ``dew``."""
    if word in _WORDS or word in _FILL:
        return [word]
    for length in range(len(word) - 1, 1, -1):
        head, tail = word[:length], word[length:]
        if (head in _WORDS or head in _FILL) and (rest := _parts(tail)) and _known(rest):
            return [head, *rest]
    return [word]


def _known(parts: list[str]) -> bool:
    return all(part in _WORDS or part in _FILL for part in parts)
