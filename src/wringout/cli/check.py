"""``wringout check``: is a document valid, and what was assumed where it is silent?"""

from __future__ import annotations

import json
import shutil
import textwrap
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from wringout.documents.call import Call
    from wringout.documents.overview import Entry
    from wringout.documents.trend import Trend
    from wringout.documents.unit import Unit
    from wringout.quantity import UnitSystem

__all__ = ["command"]

CHECK_FORMAT = "wringout-check/1"
WIDE = 76  # columns from which on a field, its value and its rule stand in one line


@click.command(
    "check",
    epilog="Exit codes: 0 valid, 2 something to mend (the message names file, line and field). "
    "Example: wringout check unit.yaml",
)
@click.argument("document", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="Write the result as JSON.")
@click.option(
    "--units",
    type=click.Choice(["ip", "si"]),
    default=None,
    help="Units for assumed values; without it, those of the document.",
)
def command(document: str, as_json: bool, units: UnitSystem | None) -> None:
    """Validate a unit, call or trend document and list what was assumed."""
    from wringout.catalogue.calls import load_document
    from wringout.documents.call import Call
    from wringout.documents.unit import Unit

    loaded = load_document(document)
    if isinstance(loaded, Unit):
        result, lines = _unit_result(loaded, units), _unit_lines(loaded, units)
    elif isinstance(loaded, Call):
        result, lines = _call_result(loaded, units), _call_lines(loaded, units)
    else:
        result, lines = _trend_result(loaded), _trend_lines(loaded)
    result = {"format": CHECK_FORMAT, "document": document, "valid": True, **result}
    if as_json:
        click.echo(json.dumps(result, indent=1, ensure_ascii=False))
        return
    click.echo(_wrapped(f"{document}: valid {result['kind']} document"))
    for line in lines:
        click.echo(line)


def _width() -> int:
    return max(min(shutil.get_terminal_size((80, 24)).columns, 100), 24)


def _wrapped(text: str, indent: str = "") -> str:
    return textwrap.fill(text, _width() - 1, subsequent_indent=indent + "  ", initial_indent=indent)


def _entries(unit: Unit, units: UnitSystem | None) -> list[Entry]:
    from wringout.documents.overview import overview, system_of

    return overview(unit, units or system_of(unit))


def _unit_result(unit: Unit, units: UnitSystem | None) -> dict[str, Any]:
    entries = _entries(unit, units)
    return {
        "kind": "unit",
        "name": unit.name,
        "site": unit.site.name,
        "given": [{"field": entry.path, "value": entry.shown} for entry in entries if entry.given],
        "assumed": [
            {
                "field": entry.path,
                "value": entry.shown,
                "rule": entry.provenance.rule,
                "spread": entry.spread or None,
            }
            for entry in entries
            if not entry.given
        ],
    }


def _unit_lines(unit: Unit, units: UnitSystem | None) -> list[str]:
    from wringout.documents.overview import kind_in_words

    entries = _entries(unit, units)
    assumed = [entry for entry in entries if not entry.given]
    place = f", {unit.site.name}" if unit.site.name != unit.name else ""
    lines = [
        _wrapped(f"{unit.name}{place}"),
        _wrapped(kind_in_words(unit)),
        _wrapped(f"{len(entries) - len(assumed)} values given, {len(assumed)} assumed"),
    ]
    if assumed:
        lines += ["", _wrapped("Assumed, each by a rule of the trade (+- is one standard deviation):")]
        lines += [_entry_line(entry) for entry in assumed]
    return lines


def _entry_line(entry: Entry) -> str:
    spread = f" (+- {entry.spread})" if entry.spread else ""
    rule = entry.provenance.rule
    if _width() <= WIDE:
        head = _wrapped(f"{entry.path}: {entry.shown}{spread}", "  ")
        return head if rule == entry.shown else head + "\n" + _wrapped(rule, "    ")
    head = f"  {entry.path:<36} {entry.shown}{spread}"
    return head if rule == entry.shown else head + "\n" + _wrapped(rule, "      ")


def _call_result(call: Call, units: UnitSystem | None) -> dict[str, Any]:
    from wringout.documents.states import operating_states

    return {
        "kind": "call",
        "complaint": call.complaint,
        "events": dict(sorted(_kinds(call).items())),
        "states": [
            {
                "state": snapshot.state,
                "machine": snapshot.machine_epoch + 1,
                "visit": snapshot.visit + 1,
                "readings": [
                    {"point": reading.point, "value": reading.text, "by": reading.by}
                    for reading in snapshot.readings
                ],
            }
            for snapshot in operating_states(call)
        ],
        "unit": _unit_result(call.unit, units),
    }


def _kinds(call: Call) -> dict[str, int]:
    counts: dict[str, int] = {}
    for event in call.events:
        counts[event.kind] = counts.get(event.kind, 0) + 1
    return counts


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _call_lines(call: Call, units: UnitSystem | None) -> list[str]:
    from wringout.documents.states import operating_states

    lines = [_wrapped(f"Complaint: {call.complaint}")] if call.complaint else []
    counts = ", ".join(_counted(count, kind) for kind, count in _kinds(call).items())
    lines.append(_wrapped(f"Events: {counts or 'none yet'}"))
    for snapshot in operating_states(call):
        change = f", after change {snapshot.machine_epoch}" if snapshot.machine_epoch else ""
        visit = f", visit {snapshot.visit + 1}" if snapshot.visit else ""
        lines.append(
            _wrapped(f"{snapshot.state}{change}{visit}: {_counted(len(snapshot.readings), 'reading')}", "  ")
        )
    return [*lines, "", _wrapped("The unit:"), *_unit_lines(call.unit, units)]


def _trend_result(trend: Trend) -> dict[str, Any]:
    return {
        "kind": "trend",
        "file": str(trend.file),
        "time": {"column": trend.time_column, "format": trend.time_format},
        "columns": [
            {"column": column.column, "point": column.point, "unit": column.unit} for column in trend.columns
        ],
    }


def _trend_lines(trend: Trend) -> list[str]:
    there = "" if trend.file.is_file() else " (not there yet)"
    lines = [
        _wrapped(f"File: {trend.file}{there}"),
        _wrapped(f"Time: column {trend.time_column}, written as {trend.time_format}"),
        _wrapped(f"{len(trend.columns)} columns"),
    ]
    return lines + [_wrapped(f"{item.column}: {item.point} in {item.unit}", "  ") for item in trend.columns]
