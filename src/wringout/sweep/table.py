"""The list as Parquet: one row a unit, figures in SI with their unit in the column's name."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from wringout.errors import InputError
from wringout.quantity import Dimension, to_si
from wringout.sweep.ranking import Ranked
from wringout.sweep.task import Bad

__all__ = ["COLUMNS", "parquet"]

# name -> kind; in their order
COLUMNS: Mapping[str, str] = {
    "place": "count", "group": "text", "unit": "text", "name": "text", "site": "text",
    "from": "time", "to": "time", "data_h": "number",
    "set_point_degC": "number", "limit_degC": "number", "worst_degC": "number",
    "over_limit_h": "number", "over_set_point_h": "number", "dew_point_seen_h": "number",
    "over_limit_share": "number", "whose": "text", "since": "time", "since_from_start": "state",
    "needless_heat_least_kWh": "number", "needless_heat_most_kWh": "number",
    "needless_heat_against_cooling_kWh": "number", "needless_heat_h": "number", "needless_heat_route": "text",
    "needless_heat_since": "time", "findings": "list", "suspects": "list", "suspect_probabilities": "numbers",
    "nothing_wrong_probability": "number", "error": "text", "bad_files": "list",
}  # fmt: skip


def parquet(units: Sequence[Ranked], failed: Sequence[Mapping[str, Any]], bad: Sequence[Bad]) -> bytes:
    """Write the list.

    Parameters
    ----------
    units : sequence of Ranked
    failed : sequence of dict
        Results of units that could not be judged; they come last, without a place.
    bad : sequence of Bad
        Files that belong to no unit; a row each, with the file in ``bad_files``.

    Returns
    -------
    bytes
        The same for the same list.

    Raises
    ------
    InputError
        Where polars is not installed.
    """
    try:
        import polars as pl
    except ImportError:
        raise InputError('the table is written with polars: install "wringout[sweep]"') from None
    kinds: dict[str, Any] = {
        "count": pl.Int64, "text": pl.String, "time": pl.Datetime("us"), "number": pl.Float64,
        "state": pl.Boolean, "list": pl.List(pl.String), "numbers": pl.List(pl.Float64),
    }  # fmt: skip
    rows = [_row(unit) for unit in units]
    rows += [_empty(r["unit"], r["error"], [b["file"] for b in r["bad_files"]]) for r in failed]
    rows += [_empty(None, b.reason, [b.file]) for b in bad]
    schema = {name: kinds[kind] for name, kind in COLUMNS.items()}
    frame = pl.DataFrame([{**dict.fromkeys(COLUMNS), **row} for row in rows], schema=schema, orient="row")
    out = io.BytesIO()
    frame.write_parquet(out, compression="zstd", statistics=False)
    return out.getvalue()


def _empty(unit: str | None, error: str, files: list[str]) -> dict[str, Any]:
    return {"unit": unit, "error": error, "bad_files": files}


def _row(unit: Ranked) -> dict[str, Any]:
    result, moisture, heat = unit.result, unit.result["moisture"], unit.result["heat"]
    weighed = result["weighed"]
    since, heat_since = moisture["since"], heat["since"]
    return {
        "place": unit.place,
        "group": unit.group,
        **{name: result[name] for name in ("unit", "name", "site")},
        "from": _time(result["from"]),
        "to": _time(result["to"]),
        "data_h": _value(result["data"]),
        "set_point_degC": _celsius(result["set_point"]),
        "limit_degC": _celsius(result["limit"]),
        "worst_degC": _celsius(moisture["worst"]),
        "over_limit_h": _value(moisture["over"]),
        "over_set_point_h": _value(moisture["over_set_point"]),
        "dew_point_seen_h": _value(moisture["seen"]),
        "over_limit_share": moisture["share"],
        "whose": moisture["whose"],
        "since": _time(since["at"]) if since else None,
        "since_from_start": since["from_start"] if since else None,
        "needless_heat_least_kWh": _value(heat["least"]) if not heat["reason"] else None,
        "needless_heat_most_kWh": _value(heat["most"]) if not heat["reason"] else None,
        "needless_heat_against_cooling_kWh": _value(heat["against_cooling"]) if not heat["reason"] else None,
        "needless_heat_h": _value(heat["hours"]),
        "needless_heat_route": heat["route"],
        "needless_heat_since": _time(heat_since["at"]) if heat_since else None,
        "findings": [f["kind"] for f in result["findings"] if f["wrong"]],
        "suspects": [m["cause"] for m in weighed["marginals"]] if weighed else None,
        "suspect_probabilities": [m["probability"] for m in weighed["marginals"]] if weighed else None,
        "nothing_wrong_probability": weighed["healthy"] if weighed else None,
        "error": None,
        "bad_files": [b["file"] for b in result["bad_files"]],
    }


def _value(number: Mapping[str, Any] | None) -> float | None:
    return float(number["value"]) if number is not None else None


def _celsius(number: Mapping[str, Any] | None) -> float | None:
    if number is None:
        return None
    return round(float(to_si(number["value"], number["unit"], Dimension.TEMPERATURE)), 2)


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)
