"""Loads call and trend documents against the catalogue: points that exist and that the unit has."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from wringout.catalogue.points import INSTRUMENTS, has_point, point
from wringout.catalogue.trend_points import trend_measure
from wringout.documents.call import CALL_FORMAT, Call, Vocabulary, call_from_tree, read_call
from wringout.documents.fields import Reader
from wringout.documents.load import unit_from_tree
from wringout.documents.measure import Measure
from wringout.documents.source import Leaf, name_of, read_tree, tree_of
from wringout.documents.trend import TREND_FORMAT, Trend, read_trend, trend_from_tree
from wringout.documents.unit import UNIT_FORMAT, Unit

__all__ = ["load_call", "load_trend", "load_document", "trend_from_text", "vocabulary"]


def vocabulary() -> Vocabulary:
    """What a call document may name.

    Returns
    -------
    Vocabulary
        Points with what they measure, instruments and causes of the catalogue.
    """
    return Vocabulary(
        measure=_measure, usual=lambda name: point(name).by, instruments=INSTRUMENTS, causes=_causes
    )


def load_call(path: str | Path) -> Call:
    """Read a call document with its unit document, checked against the catalogue.

    Parameters
    ----------
    path : str or Path
        A file, YAML or JSON.

    Returns
    -------
    Call
        Unit, complaint and events in order of time, SI inside.

    Raises
    ------
    InputError
        For anything that must be mended; the message names file, line and field.
    """
    return read_call(path, vocabulary())


def load_trend(path: str | Path) -> Trend:
    """Read a trend document, checked against the catalogue; the trend file itself is not opened.

    Parameters
    ----------
    path : str or Path
        A file, YAML or JSON.

    Returns
    -------
    Trend
        Which column is which point, in which unit.

    Raises
    ------
    InputError
        For anything that must be mended; the message names file, line and field.
    """
    return read_trend(path, _trend_vocabulary())


def trend_from_text(text: str, name: str, unit: Unit | None = None) -> Trend:
    """Read a trend document from its text, checked against the catalogue and, where it is named, the unit.

    Parameters
    ----------
    text : str
        YAML or JSON.
    name : str
        What complaints call it.
    unit : Unit, optional
        Only points that it has are taken.

    Returns
    -------
    Trend
        Its file has no folder.

    Raises
    ------
    InputError
        For anything that must be mended.
    """
    words = replace(vocabulary(), measure=lambda point_id, _: trend_measure(point_id, unit))
    return trend_from_tree(tree_of(text, name), name, Path(), words)


def load_document(path: str | Path) -> Unit | Call | Trend:
    """Read a document of any kind, told by its ``format``.

    Parameters
    ----------
    path : str or Path
        A file, YAML or JSON.

    Returns
    -------
    Unit, Call or Trend
        As the document says.

    Raises
    ------
    InputError
        For anything that must be mended; the message names file, line and field.
    """
    path = Path(path)
    tree = read_tree(path)
    node = tree.entries.get("format")
    kind = node.text if isinstance(node, Leaf) else None
    if kind == UNIT_FORMAT:
        return unit_from_tree(tree, name_of(path))
    if kind == CALL_FORMAT:
        return call_from_tree(tree, name_of(path), path.parent, vocabulary())
    if kind == TREND_FORMAT:
        return trend_from_tree(tree, name_of(path), path.parent, _trend_vocabulary())
    known = f"{UNIT_FORMAT}, {CALL_FORMAT} or {TREND_FORMAT}"
    found = "missing" if node is None else f'found "{kind[:40]}"' if kind is not None else "found no word"
    raise Reader(name_of(path)).error(f"{found}; write {known}", node.line if node else tree.line, "format")


def _trend_vocabulary() -> Vocabulary:
    """As for calls, with the points that only trends have."""
    return replace(vocabulary(), measure=trend_measure)


def _measure(name: str, unit: Unit | None) -> Measure:
    has_point(unit, name)
    return point(name).measure


def _causes() -> tuple[str, ...]:
    from wringout.catalogue.causes import causes  # late: most calls hold no change

    return tuple(causes())
