"""What is kept of one unit: plain values, every number with its unit, the same bytes for the same files."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from wringout.documents.unit import Unit
from wringout.quantity import PREFERRED, Dimension, UnitSystem, from_si
from wringout.sweep.moisture_control import Control, Since
from wringout.sweep.needless_heat import NeedlessHeat
from wringout.sweep.task import Bad, Task
from wringout.trends.finding import Finding, iso, shower
from wringout.trends.table import TrendTable

__all__ = ["RESULT_FORMAT", "result_of"]

RESULT_FORMAT = "wringout-sweep-unit/1"
KWH = 3.6e6  # [J]
# what the figures lean on: (path in the unit's document, what it is)
LEANS = (
    ("control.dew_point", "dew-point set point"),
    ("control.dew_point_band", "its band"),
    ("control.space_t", "temperature set point"),
)
HEAT_LEANS = (("air.supply_airflow", "airflow"), ("air.supply_fan.heat_rise", "fan's heat"))
BALANCE_LEANS = (("space.moisture", "moisture released"), ("space.infiltration", "air that leaks in"))


def result_of(
    task: Task,
    unit: Unit,
    table: TrendTable,
    findings: Sequence[Finding],
    control: Control,
    heat: NeedlessHeat,
    heat_since: Since | None,
    weighed: dict[str, Any] | None,
    not_weighed: str,
    guessed: bool,
    notes: Sequence[str],
    bad: Sequence[Bad],
    system: UnitSystem,
) -> dict[str, Any]:
    """Put a unit's result together.

    Parameters
    ----------
    task : Task
    unit : Unit
    table : TrendTable
    findings : sequence of Finding
    control : Control
    heat : NeedlessHeat
    heat_since : Since or None
    weighed : dict or None
    not_weighed : str
        Why it was not weighed.
    guessed : bool
        Whether columns were guessed.
    notes : sequence of str
    bad : sequence of Bad
        Files that could not be used.
    system : {'ip', 'si'}
        Units of words and figures.

    Returns
    -------
    dict
    """
    show = shower(system)
    leans = [*LEANS, *(HEAT_LEANS if heat.route else ())]
    leans += BALANCE_LEANS if heat.route == "moisture balance" else ()
    return {
        "format": RESULT_FORMAT,
        "unit": task.name,
        "name": unit.name,
        "site": unit.site.name,
        "files": list(task.trends),
        "error": None,
        "bad_files": [{"file": b.file, "error": b.reason} for b in bad],
        "from": iso(float(table.time[0])),
        "to": iso(float(table.time[-1])),
        "data": _number(table.hours, "h", 1),
        "columns": {"guessed": guessed, "points": dict(sorted(table.columns.items()))},
        "notes": list(notes),
        "given": [what for path, what in leans if unit.given(path)],
        "assumed": [what for path, what in leans if not unit.given(path)],
        "set_point": _temperature(unit.control.dew_point, system),
        "limit": _temperature(unit.control.dew_point + unit.control.dew_point_band, system),
        "moisture": {
            "state": control.state,
            "reason": control.reason or None,
            "over": _number(control.over, "h", 1),
            "over_set_point": _number(control.over_set_point, "h", 1),
            "seen": _number(control.seen, "h", 1),
            "share": round(control.share, 4),
            "worst": _temperature(control.worst, system),
            "whose": control.whose or None,
            "since": _since(control.since, system),
            "days": [{"day": iso(day)[:10], "over": _number(hours, "h", 1)} for day, hours in control.days],
        },
        "heat": {
            "least": _number(heat.least / KWH, "kWh", 0),
            "most": _number(heat.most / KWH, "kWh", 0),
            "against_cooling": _number(heat.against_cooling / KWH, "kWh", 0),
            "hours": _number(heat.hours, "h", 1),
            "route": heat.route or None,
            "reason": heat.reason or None,
            "recovered": bool(unit.source is not None and unit.source.kind == "reclaim")
            or unit.reheat.kind == "hot_gas",
            "since": _since(heat_since, system),
        },
        "findings": [
            {
                "kind": f.kind,
                "title": f.heading(),
                "wrong": f.wrong,
                "weight": round(f.weight, 3),
                "says": f.says(show),
                "means": f.means(),
                "first": iso(min(span.start for span in f.spans)) if f.spans else None,
            }
            for f in findings
        ],
        "weighed": weighed,
        "not_weighed": not_weighed or None,
    }


def _number(value: float, unit: str, decimals: int) -> dict[str, Any] | None:
    if not math.isfinite(value):
        return None
    rounded = round(value, decimals) if decimals else float(round(value))
    return {"value": rounded + 0.0, "unit": unit}


def _temperature(value: float, system: UnitSystem) -> dict[str, Any] | None:
    unit = PREFERRED[Dimension.TEMPERATURE][system]
    return _number(from_si(value, unit, Dimension.TEMPERATURE), unit, 1)


def _since(since: Since | None, system: UnitSystem) -> dict[str, Any] | None:
    if since is None:
        return None
    change = since.change
    return {
        "at": iso(since.at),
        "from_start": since.from_start,
        "change": {"at": iso(change.at), "says": change.says(shower(system))} if change is not None else None,
    }
