"""Test points: where a technician can take a reading, what it takes, and how well it is known."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from wringout.catalogue._package_data import read
from wringout.documents.fields import nearest
from wringout.documents.measure import Measure
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.quantity import Dimension, UnitSystem, parse

__all__ = [
    "Point",
    "POINTS",
    "INSTRUMENTS",
    "point",
    "points_of",
    "has_point",
    "sigma",
    "dimension_of",
    "shown",
]


@dataclass(frozen=True, slots=True)
class Point:
    """One test point; ``id`` holds ``<id>`` where there is one for each cooling stage.

    ``accuracy`` is one standard deviation in SI, or a share of the reading where ``relative``. ``digit`` is
    the last digit a reading is written down to [SI].
    """

    id: str
    what: str
    dimension: Dimension
    unit: str
    accuracy: float
    relative: bool
    digit: float
    low: float
    high: float
    minutes: float
    by: str
    care: tuple[str, ...]
    only: str | None

    @property
    def measure(self) -> Measure:
        """What a reading here must be, and the units it is shown in."""
        water = self.dimension is Dimension.PRESSURE_DIFFERENCE and self.unit == "psi"
        return Measure(self.dimension, self.low, self.high, ip=self.unit, si="kPa" if water else None)


# kind named in "only" -> whether a unit is of that kind
KINDS: Mapping[str, Callable[[Unit], bool]] = {
    "variable_drive": lambda unit: unit.air.supply_fan.drive == "variable",
    "dx": lambda unit: unit.cooling.kind == "dx",
    "chilled_water": lambda unit: unit.cooling.kind == "chilled_water",
    "hot_water": lambda unit: unit.reheat.kind == "hot_water",
    "reclaim": lambda unit: unit.source is not None and unit.source.kind == "reclaim",
}

_STAGE = re.compile(r"stage\.([a-z][a-z0-9_-]*)\.([a-z_]+)")


def _absolute(text: str, dimension: Dimension) -> float:
    """A spread: for temperatures it is written as a difference."""
    spread = Dimension.TEMPERATURE_DIFFERENCE if dimension is Dimension.TEMPERATURE else dimension
    return parse(text, spread).value


def _point(name: str, entry: dict[str, Any]) -> Point:
    dimension, unit = Dimension(entry["measures"][0]), entry["measures"][1]
    low, high = (parse(limit, dimension).value for limit in entry.get("limits", ("no", "yes")))
    written = entry.get("accuracy")
    relative = written is not None and written.endswith("%") and dimension is not Dimension.FRACTION
    if written is None:
        accuracy = 0.0
    elif relative:
        accuracy = parse(written, Dimension.FRACTION).value
    else:
        accuracy = _absolute(written, dimension)
    digit = _absolute(entry["digit"], dimension) if "digit" in entry else 0.0
    return Point(
        id=name,
        what=entry["what"],
        dimension=dimension,
        unit=unit,
        accuracy=accuracy,
        relative=relative,
        digit=digit,
        low=low,
        high=high,
        minutes=float(entry["minutes"]),
        by=entry["by"],
        care=tuple(entry.get("care", ())),
        only=entry.get("only"),
    )


def _read() -> dict[str, Point]:
    return {name: _point(name, entry) for name, entry in read("points.yaml").items()}


POINTS: Mapping[str, Point] = _read()
INSTRUMENTS: tuple[str, ...] = tuple(dict.fromkeys(entry.by for entry in POINTS.values()))


def point(name: str) -> Point:
    """The point of an id; a stage's points are known under the id of any stage.

    Parameters
    ----------
    name : str
        Such as ``supply.t`` or ``stage.c1.current``.

    Returns
    -------
    Point
        Its entry in the catalogue.

    Raises
    ------
    InputError
        For an id that is not known, naming the nearest one.
    """
    found = POINTS.get(name)
    if found is None and (stage := _STAGE.fullmatch(name)):
        found = POINTS.get(f"stage.<id>.{stage.group(2)}")
    if found is None:
        raise InputError(f'there is no point "{name[:60]}"{nearest(name, POINTS, listed=False)}')
    return found


def points_of(unit: Unit) -> list[str]:
    """Ids of the points that a unit has.

    Parameters
    ----------
    unit : Unit
        The unit's document.

    Returns
    -------
    list of str
        In the order of the catalogue, those of its stages one by one.
    """
    ids: list[str] = []
    for entry in POINTS.values():
        if entry.only is not None and not KINDS[entry.only](unit):
            continue
        if "<id>" in entry.id:
            ids += [entry.id.replace("<id>", stage) for stage in unit.stage_ids]
        else:
            ids.append(entry.id)
    return ids


def has_point(unit: Unit | None, name: str) -> None:
    """Refuse a point that is not known or that this unit lacks.

    Parameters
    ----------
    unit : Unit or None
        The unit's document; None where only the id is in question.
    name : str
        Id of the point.

    Raises
    ------
    InputError
        Saying why the unit does not have the point.
    """
    entry = point(name)
    if name == entry.id and "<id>" in name:
        raise InputError(f"{name} stands for one point a stage: write the id of the stage in place of <id>")
    if unit is None:
        return
    if entry.only is not None and not KINDS[entry.only](unit):
        kind = entry.only.replace("_", " ")
        raise InputError(
            f"this unit has no {name}: only {kind} units have it, and {unit.name} is {_kind_of(unit)}"
        )
    stage = _STAGE.fullmatch(name)
    if stage and stage.group(1) not in unit.stage_ids:
        known = ", ".join(unit.stage_ids)
        raise InputError(f'this unit has no stage "{stage.group(1)[:30]}"; its stages are {known}')


def dimension_of(name: str) -> Dimension:
    """What a reading at a point measures.

    Parameters
    ----------
    name : str
        Id of the point.

    Returns
    -------
    Dimension
        Its dimension.
    """
    return point(name).dimension


def shown(name: str, value: float, system: UnitSystem) -> str:
    """Write a value at a point for a reader.

    Parameters
    ----------
    name : str
        Id of the point.
    value : float
        The value [SI of the point's dimension].
    system : {'ip', 'si'}
        The point's usual unit, or SI.

    Returns
    -------
    str
        Number, space, unit; ``-`` for NaN.
    """
    return point(name).measure.shown(value, system)


def sigma(name: str, value: float) -> float:
    """One standard deviation of a careful reading.

    Parameters
    ----------
    name : str
        Id of the point.
    value : float
        The reading [SI of the point's dimension].

    Returns
    -------
    float
        Standard deviation [SI; K for temperatures]; at least that of rounding to the last digit
        (digit / sqrt(12)). 0 for counts and for yes and no, which are exact. NaN where the value is NaN and
        the accuracy a share of it.
    """
    entry = point(name)
    spread = entry.accuracy * abs(value) if entry.relative else entry.accuracy
    floor = entry.digit / math.sqrt(12.0)
    return spread if spread != spread else max(spread, floor)


def _kind_of(unit: Unit) -> str:
    source = f" from a {unit.source.kind}" if unit.source is not None else ""
    cooling, reheat = (kind.replace("_", " ") for kind in (unit.cooling.kind, unit.reheat.kind))
    return f"{cooling}, {reheat}{source}, {unit.air.supply_fan.drive} drive"
