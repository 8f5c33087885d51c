"""Sheets of signals to print: one a signal, with where it runs, what to read, and where it turns wrong."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from wringout.catalogue.steps import Step, cautions_of
from wringout.documents.overview import system_of
from wringout.documents.unit import Unit
from wringout.report.blocks import Block, Box, Heading, Items, Page, Paragraph, Report, Table, clean
from wringout.showing.plain import chance
from wringout.showing.words import pretty
from wringout.trace.finding import Finding
from wringout.trace.path import HEALTHY
from wringout.trace.words import cells, facts, place_words, worth_naming

__all__ = ["sheets"]

TO_FILL = "........................"  # a place for a pencil


def sheets(unit: Unit, found: Sequence[Finding], day: date, version: str) -> Report:
    """The sheets of some signals of a unit.

    Parameters
    ----------
    unit : Unit
    found : sequence of Finding
        One a signal.
    day : date
        Of the call, or of the last check.
    version : str
        Of the software.

    Returns
    -------
    Report
    """
    place = f"{clean(unit.site.name)}, " if unit.site.name != unit.name else ""
    blocks: list[Block] = []
    for number, one in enumerate(found):
        if number:
            blocks.append(Page())
        blocks += _sheet(one)
    return Report(
        f"Signals: {clean(unit.name)}",
        f"{place}{day:%Y-%m-%d}",
        day,
        f"{place}{clean(unit.name)}, {day:%Y-%m-%d}; wringout {version}",
        "us-letter" if system_of(unit) == "ip" else "a4",
        tuple(blocks),
    )


def _sheet(one: Finding) -> list[Block]:
    signal = one.signal
    cares = cautions_of(Step(work=("live_terminals", "output_forced")))
    rows = []
    for row in one.rows:
        at, expected, measured, off = cells(one, row)[3:]
        told = measured if row.measured else TO_FILL
        rows.append(
            (clean(row.place), clean(row.terminal or "-"), clean(row.wire or "-"), at, expected, told, off)
        )
    return [
        Heading(f"Signal {clean(signal.id)}"),
        Box("Before a meter touches a terminal", tuple((f"{c.title}.", pretty(c.text[0])) for c in cares)),
        Table(
            "Where it runs",
            ("What", "As recorded"),
            tuple((name, clean(words)) for name, words in facts(signal)),
            (1, 6),
        ),
        Table(
            f"Along the path, command {100.0 * one.command:.0f} %: what it should read, and what it did",
            ("Place", "Terminal", "Wire", "Command", "Expected", "Measured", "Off"),
            tuple(rows),
            (1.4, 1.1, 1, 0.9, 1.1, 1.6, 0.5),
        ),
        *_verdict(one),
        Table(
            "Checked by",
            ("Name", "How", "When"),
            ((TO_FILL, TO_FILL, TO_FILL),),
            (1, 1, 1),
        ),
    ]


def _verdict(one: Finding) -> list[Block]:
    """Which single break the readings tell of, and what to do; nothing measured says where to begin."""
    if not one.measured:
        last = one.signal.places[-1].name
        return [
            Paragraph(
                f"Nothing measured yet. Begin at the last place: {place_words(one, last)}.", strong=True
            )
        ]
    named = worth_naming(one)
    first = named[0].found
    blocks: list[Block] = [
        Paragraph("It turns wrong here:" if one.wrong else "Nothing wrong along this path.", strong=True),
        Items(tuple((f"{chance(s.probability)}:", clean(s.found.words)) for s in named)),
    ]
    then = [f"Then: {clean(first.do)}"] if first.kind != HEALTHY and first.do else []
    if one.next:
        then.append(f"Read next: {place_words(one, one.next)}.")
    return [*blocks, *(Paragraph(words) for words in then)]
