"""Loads a unit document: read, check, complete, check as a whole."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from wringout.documents.consistency import check_unit
from wringout.documents.defaults import fill
from wringout.documents.fields import Found, Reader
from wringout.documents.provenance import Provenance
from wringout.documents.source import Branch, Leaf, name_of, read_tree, tree_of
from wringout.documents.unit import UNIT_FORMAT, Unit

__all__ = ["load_unit", "unit_from_text", "unit_from_tree", "require_format"]

REQUIRED = ("name", "air.supply_airflow", "cooling.kind", "reheat.kind")


def load_unit(path: str | Path) -> Unit:
    """Read a unit document from a file, YAML or JSON.

    Raises
    ------
    InputError
        For anything in the file that must be mended; the message names file, line and field.
    """
    path = Path(path)
    return unit_from_tree(read_tree(path), name_of(path))


def unit_from_text(text: str, name: str = "unit document") -> Unit:
    """Read a unit document from its text."""
    return unit_from_tree(tree_of(text, name), name)


def unit_from_tree(tree: Branch, name: str) -> Unit:
    """Read a unit document from its tree; ``name`` is what complaints call it."""
    reader = Reader(name)
    require_format(reader, tree, UNIT_FORMAT)
    found: dict[str, Found] = {}
    reader.fields(tree, Unit, "", found)
    _kinds(reader, tree, found)
    values = fill(found)
    check_unit(values, reader)
    return _built(values.values, values.provenance)


def require_format(reader: Reader, tree: Branch, wanted: str) -> None:
    """Refuse a document whose ``format`` is missing or another."""
    node = tree.entries.get("format")
    if node is None:
        raise reader.error(f"missing; write `format: {wanted}`", tree.line, "format")
    if not isinstance(node, Leaf) or node.text != wanted:
        found = f'"{node.text[:40]}"' if isinstance(node, Leaf) else "no word"
        raise reader.error(f"found {found}, wanted {wanted}", node.line, "format")


def _kinds(reader: Reader, tree: Branch, found: dict[str, Found]) -> None:
    """What must be there, and what this kind of unit does not have."""

    def need(path: str, why: str = "") -> None:
        if path not in found:
            raise reader.error(f"missing{why}; it cannot be assumed", None, path)

    def lacks(prefix: str, why: str) -> None:
        for path, item in found.items():
            if path == prefix or path.startswith(prefix + "."):
                raise reader.error(f"{why} has no such field", item.line, path)

    for path in REQUIRED:
        need(path)
    if found["cooling.kind"].value == "dx":
        need("cooling.stages", " (dx cooling: the stages in the order they are called, each `- {id: c1}`)")
        if not found["cooling.stages"].value:
            raise reader.error(
                "dx cooling needs at least one stage", found["cooling.stages"].line, "cooling.stages"
            )
        for name in ("water_in", "water_out", "water_flow"):
            lacks(f"cooling.rated.{name}", "dx cooling")
    else:
        for name in ("stages", "superheat", "condensing_over_outdoor"):
            lacks(f"cooling.{name}", "chilled-water cooling")
    if found["reheat.kind"].value == "hot_water":
        need("reheat.valve.ways", " (hot-water reheat: three or two)")
        need("source.kind", " (hot-water reheat: reclaim or boiler)")
        lacks("reheat.rated.condensing_t", "hot-water reheat")
        if found["source.kind"].value == "boiler":
            for name in ("refrigerant", "gas", "upstream"):
                lacks(f"source.{name}", "a boiler")
    else:
        if found["cooling.kind"].value != "dx":
            raise reader.error(
                "hot-gas reheat takes the discharge gas of the unit's own stages, and chilled water has none",
                found["reheat.kind"].line,
                "reheat.kind",
            )
        for prefix in ("loop", "source", "reheat.rated.water_in", "reheat.rated.water_flow"):
            lacks(prefix, "hot-gas reheat")
    if found.get("reheat.valve.ways", Found("three", "", 0)).value == "two":
        lacks("reheat.valve.placement", "a two-way valve")
    plain = found.get("loop.fluid", Found("water", "", 0)).value == "water"
    if plain and found.get("loop.concentration", Found(0.0, "", 0)).value > 0.0:
        lacks("loop.concentration", "a loop of plain water")


def _built(values: dict[str, Any], provenance: dict[str, Provenance]) -> Unit:
    nested: dict[str, Any] = {}
    stages = values.get("cooling.stages", ())
    for path, value in values.items():
        if path.startswith("cooling.stages"):
            continue
        *parents, leaf = path.split(".")
        place = nested
        for parent in parents:
            place = place.setdefault(parent, {})
        place[leaf] = value
    nested["cooling"]["stages"] = tuple(
        {name: values[f"cooling.stages.{stage}.{name}"] for name in ("id", "share", "modulating", "current")}
        for stage in stages
    )
    nested["provenance"] = provenance
    return Unit.model_validate(nested)
