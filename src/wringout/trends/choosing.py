"""Columns of a log chosen one by one: what is wrong with a choice, and the mapping file that it makes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from wringout.catalogue.calls import trend_from_text
from wringout.catalogue.trend_points import measure_of, what_of
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.quantity import units_of
from wringout.trends.mapping import mapping_head, mapping_line, quoted

__all__ = ["Choice", "Fault", "chosen_text", "faults"]

# any time that a document takes: only the columns are looked at
_HEAD = mapping_head("log.csv", "time", "%Y-%m-%d %H:%M")


@dataclass(frozen=True, slots=True)
class Choice:
    """What one column is to be taken for; without a point it is left out, without a unit it has none yet."""

    column: str
    point: str
    unit: str

    def settled(self) -> Choice:
        """With its unit, where the point's numbers have one unit only; without any where it is left out."""
        if not self.point:
            return replace(self, unit="")
        if self.unit:
            return self
        try:
            units = units_of(measure_of(self.point).dimension)
        except InputError:
            return self  # what is wrong with the point is said by the document
        return replace(self, unit=units[0]) if len(units) == 1 else self


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a choice: whether it is the point or the unit, and what would be right."""

    field: Literal["point", "unit"]
    words: str


def faults(choices: Sequence[Choice], unit: Unit | None = None) -> dict[str, Fault]:
    """What the mapping file would refuse, by column.

    Parameters
    ----------
    choices : sequence of Choice
        In the order in which they were made: of two columns with one point the later is at fault.
    unit : Unit, optional
        Only points that it has are taken.

    Returns
    -------
    dict
        Column to what is wrong with it, in the document's own words with the point's meaning for its id;
        empty where nothing is.
    """
    found: dict[str, Fault] = {}
    sound: dict[str, str] = {}  # by point
    for choice in choices:
        if not choice.point:
            continue
        if not choice.unit:
            found[choice.column] = Fault("unit", "say in which unit its numbers are")
            continue
        line = f"  {mapping_line(choice.column, choice.point, choice.unit)}"
        other = [sound[choice.point]] if choice.point in sound else []
        try:
            trend_from_text("\n".join([*_HEAD, *other, line]), "columns", unit)
        except InputError as error:
            found[choice.column] = _said(error, choice)
            continue
        sound[choice.point] = line
    return found


def _said(error: InputError, choice: Choice) -> Fault:
    """The document's complaint without the place in it, which nobody saw."""
    place, _, words = error.message.partition(": ")
    if place.endswith(".unit"):
        return Fault("unit", words)
    taken = f"is {choice.point} already"
    if words.endswith(taken):
        words = words.replace(
            taken, f"is taken for {what_of(choice.point)} already; leave one of the two out"
        )
    return Fault("point", words)


def chosen_text(choices: Sequence[Choice], file: str, time_column: str, time_format: str) -> str:
    """The mapping file of columns that were chosen.

    Parameters
    ----------
    choices : sequence of Choice
        Of every column, in the order of the log.
    file : str
        Where the log lies, seen from the mapping file.
    time_column, time_format : str
        As read.

    Returns
    -------
    str
        YAML, with what each point means and what was left out as comments.

    Raises
    ------
    InputError
        For what no mapping file may say; `faults` tells which column it is.
    """
    taken = [choice for choice in choices if choice.point]
    left = [choice.column for choice in choices if not choice.point]
    lines = [
        "# Which column of the trend is what: chosen by hand.",
        *mapping_head(file, time_column, time_format),
    ]
    for choice in taken:
        lines.append(f"  {mapping_line(choice.column, choice.point, choice.unit)}  # {what_of(choice.point)}")
    if not taken:
        lines[-1] = "columns: {}"
    if left:
        lines.append("  # left out: " + ", ".join(quoted(name) for name in left))
    text = "\n".join(lines) + "\n"
    trend_from_text(text, "columns")
    return text
