"""A log as weighing takes it: its summary, from whatever face it comes, and that summary as text."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.trends.evidence import Moment, TrendEvidence, trend_evidence
from wringout.trends.table import TrendTable

__all__ = ["evidence_from_text", "evidence_in", "evidence_text"]


def evidence_in(
    table: TrendTable, name: str, unit: Unit, mend: str = "say which column is what"
) -> TrendEvidence:
    """Summarise a log that was read, for weighing.

    Parameters
    ----------
    table : TrendTable
    name : str
        What the log is called.
    unit : Unit
    mend : str
        How a log of which no column is known is helped at this face.

    Returns
    -------
    TrendEvidence

    Raises
    ------
    InputError
        For a log without a single point.
    """
    if not table.values:
        raise InputError(f"no column was recognised; {mend}", name)
    return trend_evidence(table, unit)


def evidence_text(evidence: TrendEvidence) -> str:
    """Write a summary as text, every number to its last bit and every point in its place.

    Parameters
    ----------
    evidence : TrendEvidence

    Returns
    -------
    str
        JSON, with NaN for what the log cannot tell.
    """
    return json.dumps(asdict(evidence))


def evidence_from_text(text: str) -> TrendEvidence:
    """Read a summary that `evidence_text` wrote.

    Parameters
    ----------
    text : str

    Returns
    -------
    TrendEvidence
    """
    tree: dict[str, Any] = json.loads(text)
    moments = tuple(Moment(**one) for one in tree.pop("moments"))
    return TrendEvidence(**tree, moments=moments)
