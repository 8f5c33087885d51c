"""A trend file in, findings, pictures and thinned series out: done in the worker."""

from __future__ import annotations

import itertools
from typing import Any

from wringout.quantity import UnitSystem

__all__ = ["trend"]

MOST_POINTS = 700
MOST_SERIES = 12


def trend(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """Findings of a trend file; ``document`` is the unit's, ``more`` names the file on the disk."""
    from wringout.catalogue.calls import load_trend
    from wringout.documents.load import unit_from_text
    from wringout.showing.words import pretty
    from wringout.trends.finding import iso, shower
    from wringout.trends.findings import findings_of
    from wringout.trends.mapping import load_table
    from wringout.trends.pictures import picture_of
    from wringout.web.column_job import column_rows

    unit = unit_from_text(document)
    told = load_trend(more["map"]) if "map" in more else None
    table, raw, guesses = load_table(more["path"], more.get("map"), unit)
    show = shower(system)
    findings = []
    for finding in findings_of(table, unit) if table.values else ():
        findings.append(
            {
                "heading": pretty(finding.heading()),
                "says": pretty(finding.says(show)),
                "means": pretty(finding.means()),
                "wrong": finding.wrong,
                "picture": picture_of(finding, table, system),
            }
        )
    return {
        "rows": len(table.time),
        "from": iso(float(table.time[0])),
        "to": iso(float(table.time[-1])),
        "findings": findings,
        "given": told is not None,
        "columns": [{**row, "unit": pretty(row["unit"])} for row in column_rows(raw, guesses or (), told)],
        "dirt": [d.text for d in table.dirt],
        "series": _series(table, system),
        "name": raw.name,
    }


def _series(table: Any, system: UnitSystem) -> dict[str, Any]:
    """Thinned to what a screen can show: of every slot the value that strays furthest from its mean."""
    import numpy as np

    from wringout.catalogue.trend_points import measure_of
    from wringout.quantity import PREFERRED, from_si
    from wringout.showing.words import pretty
    from wringout.web.column_job import point_words

    time = np.asarray(table.time, dtype=float)
    count = min(MOST_POINTS, len(time))
    edges = np.linspace(0, len(time), count + 1).astype(int)
    series = []
    for name, values in list(table.values.items())[:MOST_SERIES]:
        dimension = measure_of(name).dimension
        unit = PREFERRED[dimension][system]
        shown = np.asarray(from_si(np.asarray(values, dtype=float), unit, dimension))
        thin: list[float | None] = []
        for a, b in itertools.pairwise(edges):
            slot = shown[a:b][np.isfinite(shown[a:b])]
            thin.append(round(float(slot[np.argmax(np.abs(slot - slot.mean()))]), 2) if len(slot) else None)
        series.append({"point": name, "words": point_words(name), "unit": pretty(unit), "values": thin})
    return {"time": [int(t) for t in time[edges[:-1]]], "series": series}
