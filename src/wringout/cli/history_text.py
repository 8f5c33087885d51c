"""A unit's history as text and as one document: visits, what differs, what was learned."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from wringout.catalogue.points import shown
from wringout.cli.layout import chance, counted, heading, item, paragraph
from wringout.documents.unit import Unit
from wringout.history.differences import CLEAR, Difference
from wringout.history.fingerprint import Fingerprint
from wringout.history.learning import Verdict, combined
from wringout.history.spread_words import spread_words
from wringout.history.visits import Visit, left_readings
from wringout.machine.design import design
from wringout.machine.parameters import spreads
from wringout.quantity import UnitSystem
from wringout.showing.visits import difference_words, settings_left
from wringout.weighing.evidence_words import difference, plain, state_words, title

__all__ = ["HISTORY_FORMAT", "history_document", "history_lines", "learned_lines"]

HISTORY_FORMAT = "wringout-history/1"
MOST = 8  # of what differs or was learned, in words
WORTH_TELLING = 0.85  # of the usual deviation: what was narrowed less is not told in words


def history_lines(
    visits: Sequence[Visit], left: Visit | None, found: Sequence[Difference], system: UnitSystem
) -> list[str]:
    """Visits in order of time, then what the last one found otherwise."""
    unit = visits[-1].unit
    lines = [heading(", ".join(part for part in (unit.name, unit.site.name) if part))]
    for visit in visits:
        lines += ["", *_visit(visit, system)]
    return [*lines, "", *_differences(visits, left, found, system)]


def _visit(visit: Visit, system: UnitSystem) -> list[str]:
    lines = [f"{visit.first:%Y-%m-%d %H:%M} to {visit.last:%H:%M}"]
    if visit.complaint:
        lines.append(paragraph(f'"{visit.complaint}"', 2))
    lines.append(paragraph(f"{counted(len(visit.readings), 'reading')} taken", 2))
    for change in visit.changes:
        named = title(change.cause) if change.cause else ""
        lines.append(item("changed:", ", ".join(part for part in (named, change.text) if part), 2))
    for one in settings_left(visit):
        state = "" if one.state == "auto" else f" ({state_words(one.state)})"
        value = shown(one.reading.point, one.reading.value, system)
        lines.append(item("left:", f"{plain(one.reading.point)} {value}{state}", 2))
    if visit.left_held is not None:
        held = visit.left_held
        lines.append(item("left held by hand:", f"{held.item} at {100.0 * held.to:.3g} %", 2))
    if not left_readings(visit) and visit.changes:
        lines.append(paragraph("nothing read after the last change", 2))
    return lines


def _differences(
    visits: Sequence[Visit], left: Visit | None, found: Sequence[Difference], system: UnitSystem
) -> list[str]:
    if left is None:
        why = "one visit only" if len(visits) == 1 else "no reading of an earlier visit shows how it was left"
        return [paragraph(f"Nothing to compare: {why}.")]
    lines = [heading(f"Found on {visits[-1].first:%Y-%m-%d}, against as left on {left.last:%Y-%m-%d}")]
    clear = [one for one in found if one.differs]
    lines += [item("-", difference_words(one, system)) for one in clear[:MOST]]
    if len(clear) > MOST:
        lines.append(paragraph(f"and {len(clear) - MOST} more; --json gives all"))
    alike = len(found) - len(clear)
    if found and not clear:
        lines.append(paragraph(f"Nothing: all {counted(len(found), 'point')} compared read as they should."))
    elif alike:
        lines.append(paragraph(f"{counted(alike, 'other point')} within {CLEAR:g} standard deviations."))
    if not found:
        lines.append(paragraph("No point that was read on both visits, and too little to tell through it."))
    else:
        lines.append(
            paragraph(
                "Settings are compared one to one; readings with what the machine as it was left would read "
                "in the weather, room and controls of now (computed)."
            )
        )
    return lines


def learned_lines(
    verdicts: Sequence[Verdict], fingerprint: Fingerprint, unit: Unit, path: str, system: UnitSystem
) -> list[str]:
    """What each visit counted for, and what the fingerprint now tells of the machine."""
    lines = ["", heading(f"Learned, written to {path}")]
    for verdict in verdicts:
        taken = "learned from" if verdict.learned is not None else "left out"
        if verdict.learned is not None and verdict.learned.proven == "readings":
            why = f"nothing wrong by its last readings, {chance(verdict.nothing_wrong)}"
        else:
            why = verdict.why
        lines.append(item("-", f"{verdict.visit.first:%Y-%m-%d %H:%M} {taken}: {why}"))
    machine = design(unit)
    known, rows = combined(fingerprint.visits, machine), spreads(machine)
    deviation = np.sqrt(np.diag(known.covariance))
    order = [int(k) for k in np.argsort(deviation) if deviation[k] < WORTH_TELLING]
    lines.append(
        paragraph(
            f"{counted(len(fingerprint.visits), 'proven visit')} in it. Best known now of this machine, one "
            "standard deviation, beside what is known of any of its kind:"
        )
    )
    for k in order[:MOST]:
        row, mean = rows[k], float(known.mean[k])
        name = spread_words(row.name, unit.stage_ids)
        if row.kind == "ratio":
            middle, spread = math.exp(row.sigma * mean), row.sigma * float(deviation[k])
            text = f"{middle:.2f} +-{middle * spread:.2f} times the document's (any: 1.00 +-{row.sigma:.2f})"
        elif row.name == "sensible_shift":
            text = f"{mean:+.2f} +-{float(deviation[k]):.2f} of what such gains differ by"
        else:
            low, about = (difference(row.sigma * value, system) for value in (mean, float(deviation[k])))
            sign = "-" if mean < 0.0 else "+"
            text = f"{sign}{low} +-{about} (any: 0 +-{difference(row.sigma, system)})"
        lines.append(item("-", f"{name}: {text}", 2))
    if not order:
        lines.append(paragraph("Nothing much: too few readings that tell of the machine.", 2))
    return lines


def history_document(
    visits: Sequence[Visit],
    left: Visit | None,
    found: Sequence[Difference],
    verdicts: Sequence[Verdict],
    system: UnitSystem,
) -> dict[str, Any]:
    """All of it as one JSON document; every number with its unit."""
    unit = visits[-1].unit
    judged = {id(verdict.visit): verdict for verdict in verdicts}
    return {
        "format": HISTORY_FORMAT,
        "unit": {"name": unit.name, "site": unit.site.name or ""},
        "visits": [
            {
                "from": visit.first.isoformat(),
                "to": visit.last.isoformat(),
                "complaint": visit.complaint,
                "readings": len(visit.readings),
                "changes": [
                    {"at": change.at.isoformat(), "cause": change.cause, "text": change.text}
                    for change in visit.changes
                ],
                "left": [
                    {
                        "state": one.state,
                        "point": one.reading.point,
                        "value": shown(one.reading.point, one.reading.value, system),
                    }
                    for one in left_readings(visit)
                ],
                "left_held": None
                if visit.left_held is None
                else {"item": visit.left_held.item, "to": f"{100.0 * visit.left_held.to:g} %"},
                "learned": _verdict(judged.get(id(visit))),
            }
            for visit in visits
        ],
        "compared_with": None if left is None else left.last.isoformat(),
        "differences": [
            {
                "state": one.state,
                "point": one.point,
                "kind": one.kind,
                "now": shown(one.point, one.now, system),
                "left": None if one.left is None else shown(one.point, one.left, system),
                "expected": None if one.expected is None else shown(one.point, one.expected, system),
                "deviations": round(one.off / one.spread, 2),
                "differs": one.differs,
                "says": difference_words(one, system),
            }
            for one in found
        ],
        "learned_of": len([1 for verdict in verdicts if verdict.learned is not None]),
    }


def _verdict(verdict: Verdict | None) -> dict[str, Any] | None:
    if verdict is None:
        return None
    known = verdict.nothing_wrong == verdict.nothing_wrong
    return {
        "proven": verdict.learned.proven if verdict.learned is not None else None,
        "nothing_wrong": round(verdict.nothing_wrong, 4) if known else None,
        "why": verdict.why,
    }
