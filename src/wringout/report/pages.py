"""The pages after the first: everything an engineer needs to check the answer."""

from __future__ import annotations

from typing import Any

from wringout.catalogue.points import point
from wringout.catalogue.steps import Step, cautions_of
from wringout.documents.call import Change, Force, Note, Reading, Release
from wringout.documents.overview import kind_in_words, overview
from wringout.documents.states import operating_states, state_left
from wringout.report.blocks import Block, Box, Heading, Items, Page, Paragraph, Picture, Table, clean
from wringout.report.earlier import earlier_visits
from wringout.report.findings import Findings
from wringout.report.front import open_causes, value_words
from wringout.report.pictures import for_paper, width_on_page
from wringout.report.proven import proof_blocks
from wringout.showing.chart import chart_svg
from wringout.showing.drawing import drawing_svg
from wringout.showing.expected import last_readings
from wringout.showing.known_unit import visits_words
from wringout.showing.words import pretty
from wringout.weighing.evidence_words import plain, state_words
from wringout.weighing.next_check import SETTLE_MINUTES

__all__ = ["pages"]

FIRST_CARE = "Before anything here is repeated or carried on"
HELD = {"reheat.command": "the reheat command", "cooling.call": "the cooling call"}
MOST_TREND = 8


def pages(f: Findings, version: str) -> list[Block]:
    """Every page after the first."""
    return [
        Page(),
        *_cautions(f),
        *_unit(f),
        *_left(f),
        *earlier_visits(f),
        *_readings(f),
        *_course(f),
        *_suspects(f),
        *proof_blocks(f),
        *_open(f),
        *_ledger(f),
        *_trend(f),
        *_assumed(f),
        *_versions(f, version),
    ]


def _cautions(f: Findings) -> list[Block]:
    steps = [Step(points=tuple(dict.fromkeys(r.point for r in f.readings)))]
    steps += [Step(cause=c.cause) for c in f.changes if c.cause]
    steps += [Step(cause=name) for name, _ in open_causes(f)]
    steps += [Step(points=(c["point"],), state=c["state"]) for c in f.now["checks"][:3]]
    if any(isinstance(event, Force) for event in f.call.events):
        steps.append(Step(state="reheat.command=0 %"))
    items = tuple((f"{care.title}.", pretty(" ".join(care.text))) for care in cautions_of(*steps))
    return [Heading("Cautions"), Box(FIRST_CARE, items)]


def _unit(f: Findings) -> list[Block]:
    unit = f.call.unit
    return [
        Heading("The unit"),
        Paragraph(f"{unit.name}, {unit.site.name}: {kind_in_words(unit)}."),
    ]


def _left(f: Findings) -> list[Block]:
    """Last reading of every point before and after the work, of those read on both sides."""
    if not f.changes:
        return []
    first, last = f.changes[0].at, f.changes[-1].at
    auto = {id(r) for s in operating_states(f.call) if s.state == "auto" for r in s.readings}
    found = {r.point: r for r in f.readings if r.at < first and id(r) in auto}
    left = {r.point: r for r in f.readings if r.at >= last and id(r) in auto}
    rows = tuple(
        (plain(name), value_words(found[name], f.system), value_words(left[name], f.system))
        for name in found
        if name in left
    )
    if not rows:
        return []
    caption = "Read under its own control on both sides of the work; settings shown are as left."
    return [
        Heading("As found and as left"),
        Table(caption, ("Point", "As found", "As left"), rows, (2, 1.2, 1.2)),
    ]


def _readings(f: Findings) -> list[Block]:
    blocks: list[Block] = [Heading("Readings")]
    for snapshot in operating_states(f.call):
        after = f", after change {snapshot.machine_epoch}" if snapshot.machine_epoch else ""
        visit = f", visit {snapshot.visit + 1}" if snapshot.visit else ""
        rows = tuple(
            (
                plain(r.point),
                value_words(r, f.system),
                r.by.replace("_", " "),
                f"{r.at:%H:%M}",
                pretty(r.text),
            )
            for r in snapshot.readings
        )
        caption = f"{_capital(state_words(snapshot.state))}{after}{visit}: {snapshot.first:%Y-%m-%d}"
        heads = ("Point", "Reading ± one sigma", "Instrument", "At", "As written")
        blocks.append(Table(caption, heads, rows, (2.4, 1.6, 1.1, 0.6, 1.0)))
    blocks.append(
        Paragraph(
            "Without an accuracy of its own a reading carries that of a careful reading at its point with "
            "the usual instrument."
        )
    )
    return blocks


def _course(f: Findings) -> list[Block]:
    rows = []
    for event in f.call.events:
        if isinstance(event, Reading):
            continue
        rows.append((f"{event.at:%Y-%m-%d %H:%M}", _event(event)))
    if not rows:
        return []
    return [Heading("What was held, changed and noted"), Items(tuple(rows))]


def _event(event: Force | Release | Change | Note) -> str:
    if isinstance(event, Force):
        return f"held {HELD[event.item]} at {100.0 * event.to:.3g} %"
    if isinstance(event, Release):
        return f"gave {HELD[event.item]} back to control"
    if isinstance(event, Change):
        return f"changed: {clean(event.text)}{f' ({event.cause})' if event.cause else ''}"
    return clean(event.text)


def _suspects(f: Findings) -> list[Block]:
    when = "on the readings before the work" if f.found is not f.now else "on all readings"
    blocks: list[Block] = [Heading(f"Suspects, {when}")]
    rows = [(s["title"], s["chance"]) for s in f.found["sets"]]
    if f.found["rest"]:
        rows.append(("all other sets together", f.found["rest"]))
    if f.found["unexplained"]:
        rows.append(("nothing listed explains the readings", f.found["unexplained"]))
    if f.logged_before:
        blocks.append(Paragraph(f"Weighed: these readings and the log, {f.logged_before}."))
    blocks.append(Table("What is wrong, as sets of causes", ("Set", "Probability"), tuple(rows), (4, 1)))
    for s in f.found["suspects"]:
        blocks += _suspect(s)
    if f.found["doubts"]:
        again = tuple(
            (
                f"{d['what']}{', ' + d['state'] if d['state'] else ''}",
                f"read {d['read']}, computed {d['computed']}",
            )
            for d in f.found["doubts"]
        )
        blocks += [Heading("Read again: off even the best answer", 3), Items(again)]
    blocks += [Paragraph(" ".join(words)) for words in f.found["ties"]]
    return blocks


def _suspect(s: dict[str, Any]) -> list[Block]:
    blocks: list[Block] = [Heading(f"{_capital(s['title'])}: {s['chance']}", 3)]
    if s["statement"]:
        blocks.append(Paragraph(s["statement"] + (f" Computed: {s['extent']}." if s["extent"] else "")))
    evidence = s["explains"] or s["evidence"]
    against = s["than"] if s["explains"] else s["rival"]
    if evidence:
        rows = tuple((e["bits"], e["words"]) for e in evidence)
        caption = f"Against {against}. One bit doubles the odds; + speaks for, - against."
        blocks.append(Table(caption, ("Bits", "What was read, and what it says"), rows, (1, 9)))
    return blocks


def _open(f: Findings) -> list[Block]:
    blocks: list[Block] = [Heading("Open items")]
    rows = []
    by_cause = {s["cause"]: s for s in [*f.found["suspects"], *f.now["suspects"]] if s["cause"]}
    for name, _ in open_causes(f):
        s = by_cause.get(name)
        if s is None:
            continue
        rows.append(
            (
                s["title"],
                s["side"],
                s["urgency"],
                ", ".join(s["parts"]) or "none",
                " ".join(s["remedy"]),
            )
        )
    if rows:
        caption = "What is still probable, whose matter it is, by when, and with what"
        blocks.append(
            Table(
                caption,
                ("Item", "Side", "Urgency", "Parts", "What to do"),
                tuple(rows),
                (1.3, 0.8, 1, 1.3, 3),
            )
        )
    else:
        blocks.append(Paragraph("No cause is probable enough to act on."))
    checks = f.now["checks"][:4]

    def tells(check: dict[str, Any]) -> str:
        """Under which set it would read what; after a repair the sets still hold what was mended."""
        return "" if f.changes or not check["tells"] else f": {'; '.join(check['tells'])}"

    if checks:
        told = tuple(
            (
                f"{c['what']}",
                f"{c['state_words']}, {_minutes(f, c)}, tells {c['bits']} bits{tells(c)}",
            )
            for c in checks
        )
        blocks += [Heading("Next checks, most told per minute first", 3), Items(told, numbered=True)]
    return blocks


def _minutes(f: Findings, check: dict[str, Any]) -> str:
    """What a check takes from how the unit was left: another state than that is waited for once more."""
    stands, _ = state_left(f.call)
    reading = point(check["point"]).minutes
    if check["state"] == stands:
        return f"{reading:.3g} min"
    return f"{reading + SETTLE_MINUTES:.3g} min with the wait"


def _ledger(f: Findings) -> list[Block]:
    blocks: list[Block] = [Page(), Heading("Ledger: what each part moves, and what it should move")]
    blocks.append(Paragraph(f"What should move is expected of {f.book['expected_of']}."))
    last = {name: reading.text for name, reading in last_readings(f.call).items()}
    epochs = [book for book in f.book["ledgers"] if book["state"] == "auto"] or f.book["ledgers"]
    drawn = epochs[0] if epochs else None
    for book in f.book["ledgers"]:
        after = f", after change {book['machine']}" if book["machine"] else ""
        visit = f", visit {book['visit'] + 1}" if book["visit"] else ""
        rows: list[tuple[str, ...]] = []
        for line in book["lines"]:
            should = "; ".join(part for part in (line["heat"], line["moisture"]) if part)
            routes = line["routes"]
            if not routes:
                rows.append((line["title"], "not read", "", should))
            for k, route in enumerate(routes):
                mark = {"computed": "computed", "assumed": "rests on assumed", "given": "read"}[route["mark"]]
                moved = "; ".join(part for part in (route["heat"], route["moisture"]) if part)
                rows.append(
                    (
                        line["title"] if k == 0 else f"{line['title']} (again)",
                        f"{route['name']} ({mark})",
                        moved,
                        should,
                    )
                )
        caption = f"{_capital(book['state_words'])}{after}{visit}: {book['readings']} readings"
        heads = ("Part", "By which route", "Moves", "Should move")
        blocks.append(Table(caption, heads, tuple(rows), (1.2, 1.8, 1.8, 1.6)))
        off = tuple((f"{k}.", " ".join(m["words"])) for k, m in enumerate(book["mismatches"], 1))
        blocks.append(
            Paragraph("What does not add up: " + ("nothing among these readings." if not off else ""))
        )
        if off:
            blocks.append(Items(tuple(("", words) for _, words in off), numbered=True))
        blocks.append(Paragraph(book["beside"]))
    if drawn is not None:
        last_found = {r.point: r.text for r in f.readings if not f.changes or r.at < f.changes[0].at} or last
        svg = for_paper(drawing_svg(f.call.unit, drawn, last_found, f.system))
        off_words = ", ".join(m["subject"] for m in drawn["mismatches"]) or "nothing"
        blocks.append(
            Picture(
                svg,
                "Drawing of the unit's air, refrigerant and water path with readings as found. Does not "
                f"add up: {off_words}. The ledger's table holds the same figures.",
                "The unit as found. A thick frame and ≠ mark what does not add up; ~ is computed, * rests on "
                "what was assumed.",
                width_on_page(svg, 0.62),
            )
        )
    for states in f.book["charts"]:
        if states["state"] == "auto":
            blocks += _chart(states, f)
    return blocks


def _chart(states: dict[str, Any], f: Findings) -> list[Block]:
    svg, table = chart_svg(states, f.system)
    after = f", after change {states['machine']}" if states["machine"] else ""
    told = "; ".join(f"{row['place']} {row['read'] or 'not read'}" for row in table)
    rows = tuple((row["place"], row["read"] or "not read", row["expected"] or "") for row in table)
    caption = (
        f"Moist-air chart{after}: the way of the air as read (thick, with the ellipse of one standard "
        f"deviation) and as expected of {f.book['expected_of']} (dashed)."
    )
    return [
        Picture(for_paper(svg), f"Moist-air chart{after}. As read: {told}.", caption, 0.6),
        Table(f"States of the air{after}", ("Place", "As read", "Expected"), rows, (1, 2, 2)),
    ]


def _trend(f: Findings) -> list[Block]:
    if not f.trend:
        return []
    blocks: list[Block] = [Page(), Heading("What the log shows")]
    for one in f.trend[:MOST_TREND]:
        blocks.append(Heading(pretty(one.heading), 3))
        blocks.append(Paragraph(f"{pretty(one.says)} {pretty(one.means)}"))
        if one.picture:
            blocks.append(
                Picture(
                    for_paper(one.picture),
                    pretty(f"{one.heading}: {one.says}"),
                    "From the log.",
                    width_on_page(one.picture, 0.9),
                )
            )
    if len(f.trend) > MOST_TREND:
        blocks.append(
            Paragraph(f"{len(f.trend) - MOST_TREND} more findings of less weight: wringout trend lists them.")
        )
    return blocks


def _assumed(f: Findings) -> list[Block]:
    entries = overview(f.call.unit, f.system)
    blocks: list[Block] = [Heading("Given and assumed")]
    given = tuple((e.path, pretty(e.shown)) for e in entries if e.given)
    assumed = tuple(
        (e.path, pretty(e.shown), pretty(e.spread), e.provenance.rule) for e in entries if not e.given
    )
    if assumed:
        caption = "Assumed of the unit, because its document does not say; ± is one standard deviation"
        blocks.append(Table(caption, ("Field", "Value", "±", "Rule"), assumed, (2, 1.2, 1, 3)))
    taken = {
        i["name"]: (
            i["name"],
            i["amount"],
            f"{i['source']}{'; to read: ' + ', '.join(i['points']) if i['points'] else ''}",
        )
        for book in f.book["ledgers"]
        for i in book["assumed"]
    }
    if taken:
        blocks.append(
            Table(
                "Assumed in the ledger, because it was not read",
                ("What", "Taken as", "Source"),
                tuple(taken.values()),
                (1.5, 1.2, 3),
            )
        )
    if given:
        blocks.append(Table("Given in the unit's document", ("Field", "Value"), given, (2, 3)))
    if f.known_from:
        blocks.append(
            Paragraph(
                f"Assumed of the machine, weighed and expected: that it is still as "
                f"{visits_words(f.known_from)} told of it, in place of any machine of its kind. What moves "
                "from day to day is left open."
            )
        )
    blocks.append(
        Paragraph(
            "Assumed besides: how far healthy units stray from their schedule, how often each cause is met, "
            "and how well controls, instruments and equations agree; docs/validation.md says what was "
            "measured of that."
        )
    )
    return blocks


def _versions(f: Findings, version: str) -> list[Block]:
    first, last = (f"{event.at:%Y-%m-%d %H:%M}" for event in (f.call.events[0], f.call.events[-1]))
    return [
        Heading("How this report was made"),
        Paragraph(
            f"wringout {version}; {len(f.readings)} readings, the first event {first}, the last {last}. The "
            "same call gives the same report. Characters that the typefaces lack stand as [their name] or □ "
            "in the PDF, and as written in the HTML."
        ),
    ]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
