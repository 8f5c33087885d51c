"""Proof: readings after the repair, the verdict of a log of the days since, or what is still to be proven."""

from __future__ import annotations

from datetime import datetime, timedelta

from wringout.documents.states import operating_states
from wringout.proof.acceptance import Proof
from wringout.proof.criteria import Settings
from wringout.report.blocks import Block, Heading, Items, Paragraph, Table
from wringout.report.findings import Findings, due
from wringout.report.front import value_words
from wringout.showing.proof_words import (
    MARKS,
    VERDICTS,
    asked_words,
    comparison_words,
    criterion_words,
    looked_words,
    ranked,
    repair_words,
    spans_words,
    test_words,
    to_be_shown,
)
from wringout.showing.words import pretty, span
from wringout.trends.finding import shower

__all__ = ["proof_blocks"]


def proof_blocks(f: Findings) -> list[Block]:
    """The section on proof; empty where nothing was changed."""
    if f.wait is None or not f.changes:
        return []
    blocks: list[Block] = [
        Heading("Proof"),
        Paragraph(
            "A repair is proven by readings after each point has settled, and by a log of the days that "
            "follow, in which the weather asks something of the unit."
        ),
    ]
    blocks += _verdict(f, f.proof) if f.proof is not None else _to_be_proven(f)
    return [*blocks, *_after_the_change(f)]


def _verdict(f: Findings, found: Proof) -> list[Block]:
    """What `wringout prove` says of the log."""
    unit, system = f.call.unit, f.system
    blocks: list[Block] = [
        Paragraph(f"By the log of the days since: {VERDICTS[found.verdict].lower()}.", strong=True),
        Paragraph(f"{repair_words(found)}. {looked_words(found)}"),
    ]
    rows = []
    for c in ranked(found):
        words = [criterion_words(c, system)]
        if c.verdict == "untested":
            words.append(test_words(c, unit, system))
        words.append(spans_words(c))
        rows.append((c.name, MARKS[c.verdict], pretty(" ".join(part for part in words if part))))
    blocks.append(
        Table("What has to hold", ("What", "Verdict", "What the log shows"), tuple(rows), (1.2, 0.7, 5))
    )
    if found.moisture is not None:
        show = shower(system)
        blocks += [
            Heading("Moisture in the days since", 3),
            Paragraph(pretty(found.moisture.says(show))),
            Items(tuple(("", pretty(words)) for words in found.moisture.each_day(show))),
        ]
    if found.comparison is not None:
        told, ranges = comparison_words(found.comparison, found.cause, system)
        blocks += [
            Heading("Before against after, in the same weather", 3),
            Items(tuple(("", pretty(words)) for words in told)),
            Paragraph(ranges),
        ]
    if found.verdict != "proven":
        blocks.append(Paragraph(pretty(asked_words(found.settings, unit, system))))
    return blocks


def _to_be_proven(f: Findings) -> list[Block]:
    """What a log has to hold, from when on, and which weather calls for what."""
    unit = f.call.unit
    settings = Settings.of(unit)
    since = f.changes[-1].at + timedelta(seconds=settings.skip)
    why = f"The log given does not do: {f.unproven}. " if f.unproven else ""
    blocks: list[Block] = [
        Paragraph("Not yet proven over days: no log of the days since has been judged.", strong=True),
        Paragraph(
            pretty(
                f"{why}Log the unit from {since:%Y-%m-%d %H:%M} on. {asked_words(settings, unit, f.system)} "
                "Then: wringout prove, or this report with that log."
            )
        ),
    ]
    return [*blocks, Items(to_be_shown(unit, f.system))]


def _after_the_change(f: Findings) -> list[Block]:
    """When each point had settled after the last change, and what was read then."""
    assert f.wait is not None
    at = datetime.fromisoformat(f.wait["at"])
    rows = []
    after: dict[str, list[str]] = {}
    auto = {id(r) for s in operating_states(f.call) if s.state == "auto" for r in s.readings}
    for r in f.readings:
        if r.at >= at and id(r) in auto:
            after.setdefault(r.point, []).append(f"{value_words(r, f.system)} ({r.at:%m-%d %H:%M})")
    for p in f.wait["points"]:
        if not p["moves"] and p["point"] not in after:
            continue
        read = after.get(p["point"], ["still to be read"])[-1]
        wait = span(p["late"]) if p["late"] is not None else "over 24 h"
        rows.append((p["what"], wait, due(at, p), p["band"], read))
    early = ", ".join(e["what"] for e in f.wait["early"])
    blocks: list[Block] = [
        Table(
            f"After the change of {at:%Y-%m-%d %H:%M}: when nine machines in ten have settled, and the band "
            f"in which nine in ten then read, in the weather of that visit; expected of "
            f"{f.wait['expected_of']}",
            ("Point", "Settles in", "From", "Should read", "Was read"),
            tuple(rows),
            (2.2, 1, 1.2, 1.6, 2),
        ),
    ]
    if early:
        blocks.append(Paragraph(f"Read before it had settled, so it says little: {early}."))
    now = tuple((s["title"], s["chance"]) for s in f.now["sets"])
    rests = f"all readings and the log, {f.logged}" if f.logged else "all readings"
    blocks.append(Table(f"What is wrong now, on {rests}", ("Set", "Probability"), now, (4, 1)))
    return blocks
