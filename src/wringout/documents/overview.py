"""A unit document as a list: every field, its value for a reader, and where the value came from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pydantic import BaseModel

from wringout.documents.fields import measure_of
from wringout.documents.measure import Measure
from wringout.documents.provenance import Provenance
from wringout.documents.unit import Unit
from wringout.quantity import Dimension, UnitSystem, format, parse

__all__ = ["Entry", "overview", "system_of", "kind_in_words"]


@dataclass(frozen=True, slots=True)
class Entry:
    """One field: path, value and one standard deviation as shown (empty where there is none), and source."""

    path: str
    shown: str
    spread: str
    provenance: Provenance

    @property
    def given(self) -> bool:
        """Whether the value stood in the document."""
        return self.provenance.kind == "given"


def overview(unit: Unit, system: UnitSystem) -> list[Entry]:
    """Every field of a unit that its kind has, in the order of the document format.

    Parameters
    ----------
    unit : Unit
        As loaded.
    system : {'ip', 'si'}
        Units for assumed values; given ones are shown as written.

    Returns
    -------
    list of Entry
    """
    return [
        _entry(path, value, measure, unit.provenance[path], system)
        for path, value, measure in _leaves(unit, "")
        if path in unit.provenance
    ]


def system_of(unit: Unit) -> UnitSystem:
    """The system of units that the document itself was written in, told by its supply airflow."""
    source = unit.provenance.get("air.supply_airflow")
    inch_pound = source is None or parse(source.text, Dimension.AIRFLOW).unit == "cfm"
    return "ip" if inch_pound else "si"


def kind_in_words(unit: Unit) -> str:
    """What the unit is, in one line."""
    stages = len(unit.stage_ids)
    cooling = "chilled water"
    if unit.cooling.kind == "dx":
        modulating = ", the first modulating" if unit.cooling.stages[0].modulating else ""
        cooling = f"direct expansion in {stages} stage{'s' if stages > 1 else ''}{modulating}"
    valve = unit.reheat.valve
    placement = f" {valve.placement}" if valve.placement else ""
    heat = "hot gas" if unit.source is None else f"hot water from a {unit.source.kind}"
    if unit.source is not None and unit.source.kind == "reclaim":
        heat = f"hot water from {unit.source.refrigerant} reclaim"
    return f"{cooling}; reheat by {heat}, {valve.ways}-way{placement} valve"


def _leaves(part: BaseModel, path: str) -> Iterator[tuple[str, object, Measure | None]]:
    for name, field in type(part).model_fields.items():
        if name == "provenance":
            continue
        value = getattr(part, name)
        where = f"{path}.{field.alias or name}" if path else name
        if value is None:
            continue
        if isinstance(value, BaseModel):
            yield from _leaves(value, where)
        elif isinstance(value, tuple):
            for item in value:
                yield from _leaves(item, f"{where}.{item.id}")
        else:
            yield where, value, measure_of(field)


def _entry(
    path: str, value: object, measure: Measure | None, source: Provenance, system: UnitSystem
) -> Entry:
    spread = ""
    if isinstance(value, bool):
        shown = "yes" if value else "no"
    elif measure is None or not isinstance(value, float):
        shown = str(value)
    else:
        shown = _rounded(measure.shown(value, system), 3)
        if source.sigma > 0.0:
            spread = _spread(source.sigma, measure, system)
    if source.kind == "given" and source.text:
        shown = source.text
    return Entry(path, shown, spread, source)


def _spread(sigma: float, measure: Measure, system: UnitSystem) -> str:
    if measure.dimension is Dimension.TEMPERATURE:
        return format(sigma, Dimension.TEMPERATURE_DIFFERENCE, system)
    return _rounded(measure.shown(sigma, system), 2)


def _rounded(shown: str, digits: int) -> str:
    """A rule of the trade is not known to the last Btu: so many digits, then noughts."""
    number, _, unit = shown.partition(" ")
    excess = len(number.lstrip("-").partition(".")[0]) - digits
    return f"{round(float(number), -excess):.0f} {unit}" if excess > 0 else shown
