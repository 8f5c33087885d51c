"""A repair judged by a log of the days since, in words for a page: done in the worker."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from wringout.quantity import UnitSystem

if TYPE_CHECKING:
    from wringout.documents.call import Change
    from wringout.documents.unit import Unit
    from wringout.proof.acceptance import Proof
    from wringout.proof.criteria import Settings
    from wringout.trends.table import TrendTable

__all__ = ["prove"]

SEED = 0  # that of the command
# what a page tells first
HEADINGS = {"fails": "Fails", "untested": "Still to be shown", "holds": "Holds"}


def prove(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """The verdict on the last change of a call; ``more`` names the log on the disk, if there is one."""
    import numpy as np

    from wringout.documents.call import Change
    from wringout.errors import InputError
    from wringout.proof.acceptance import prove as judge
    from wringout.proof.criteria import Settings
    from wringout.trends.mapping import load_table
    from wringout.web.jobs import read_document

    call = read_document(document)
    unit = call.unit
    settings = Settings.of(unit)
    change = [event for event in call.events if isinstance(event, Change)][-1]
    if "path" not in more:
        return _open(unit, settings, change, "No log of the days since is here.", system)
    table, _, _ = load_table(more["path"], more.get("map"), unit)
    try:
        found = judge(call, table, settings, np.random.default_rng(SEED))
    except InputError as error:
        words = error.message
        return _open(unit, settings, change, f"{words[:1].upper()}{words[1:]}.", system)
    return _judged(found, table, unit, system)


def _open(unit: Unit, settings: Settings, change: Change, why: str, system: UnitSystem) -> dict[str, Any]:
    """Nothing is judged yet: from when on to log, and what the days have to show."""
    from wringout.showing.proof_words import VERDICTS, asked_words, to_be_shown
    from wringout.showing.words import pretty

    since = change.at + timedelta(seconds=settings.skip)
    enough = since + timedelta(hours=settings.hours)
    return {
        "title": VERDICTS["not_yet_testable"],
        "why": why,
        "since": f"{since:%Y-%m-%d %H:%M}",
        "enough": f"{enough:%Y-%m-%d %H:%M}",
        "asked": pretty(asked_words(settings, unit, system)),
        "to_show": [list(row) for row in to_be_shown(unit, system)],
    }


def _repair(found: Proof) -> str:
    """Which repair was judged, in words of the trade."""
    from wringout.weighing.evidence_words import title

    if found.change is None:
        return ""
    named = [title(found.cause)] if found.cause else []
    words = ", ".join([*named, *([found.change.text] if found.change.text else [])])
    return f"Repair of {found.change.at:%Y-%m-%d %H:%M}: {words}"


def _judged(found: Proof, table: TrendTable, unit: Unit, system: UnitSystem) -> dict[str, Any]:
    from wringout.proof.picture import dew_point_picture
    from wringout.showing.proof_document import proof_document
    from wringout.showing.proof_words import (
        VERDICTS,
        asked_words,
        band_words,
        comparison_words,
        criterion_words,
        looked_words,
        spans_words,
        test_words,
        verdict_words,
    )
    from wringout.showing.words import pretty
    from wringout.trends.finding import shower

    rows = [
        {
            "verdict": c.verdict,
            "name": c.name,
            "says": pretty(criterion_words(c, system)),
            "test": pretty(test_words(c, unit, system)) if c.verdict == "untested" else "",
            "when": spans_words(c),
        }
        for c in found.criteria
    ]
    dew = next(c for c in found.criteria if c.name == "dew point")
    drawn = "shown.dew_point" in table and dew.why != "shows_outdoor"
    picture = dew_point_picture(found, table, system, criterion_words(dew, system)) if drawn else ""
    told: list[str] = []
    ranges = ""
    if found.comparison is not None:
        told, ranges = comparison_words(found.comparison, found.cause, system)
    show = shower(system)
    return {
        "title": VERDICTS[found.verdict],
        "why": verdict_words(found),
        "repair": _repair(found),
        "band": pretty(band_words(found.settings, system)),
        "looked": looked_words(found),
        "groups": [
            {"heading": heading, "rows": [row for row in rows if row["verdict"] == verdict]}
            for verdict, heading in HEADINGS.items()
        ],
        "asked": pretty(asked_words(found.settings, unit, system)) if found.verdict != "proven" else "",
        "picture": picture,
        "moisture": [pretty(words) for words in (found.moisture.says(show), *found.moisture.each_day(show))]
        if found.moisture is not None
        else [],
        "comparison": [pretty(words) for words in told],
        "ranges": ranges,
        "document": proof_document(found, unit, system),
    }
