"""What a log tells weighing, from its file: done in the worker, once for each log and its mapping file."""

from __future__ import annotations

from typing import Any

from wringout.quantity import UnitSystem

__all__ = ["log"]


def log(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """The log's summary as text; ``document`` is the unit's, ``more`` names the files on the disk."""
    from wringout.documents.load import unit_from_text
    from wringout.trends.logged import evidence_in, evidence_text
    from wringout.trends.mapping import load_table

    unit = unit_from_text(document)
    table, raw, _ = load_table(more["path"], more.get("map"), unit)
    return {"evidence": evidence_text(evidence_in(table, raw.name, unit))}
