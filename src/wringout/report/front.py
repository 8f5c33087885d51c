"""The first page: what a store manager needs, in plain words."""

from __future__ import annotations

import re

from wringout.catalogue.causes import causes
from wringout.catalogue.points import sigma
from wringout.documents.call import Reading
from wringout.report.blocks import Block, Heading, Items, Paragraph, Table, clean
from wringout.report.findings import Findings
from wringout.showing.answer import URGENCY
from wringout.showing.proof_words import VERDICTS
from wringout.showing.words import chance, pretty
from wringout.weighing.evidence import still_wrong
from wringout.weighing.evidence_words import plain, title, with_spread

__all__ = ["front", "open_causes", "value_words"]

KEY = (
    "shown.dew_point",
    "space.t",
    "shown.space_t",
    "space.rh",
    "return.rh",
    "supply.t",
    "supply.rh",
    "outdoor.t",
)
SURE = 0.5  # a cause that is more probable than not is named as what is wrong
OPEN = 0.15  # one as probable as this is still to be looked into


def value_words(reading: Reading, system: str) -> str:
    """A reading with one standard deviation, as the screens write it."""
    spread = reading.accuracy or sigma(reading.point, reading.value)
    words = pretty(with_spread(reading.point, reading.value, spread, "si" if system == "si" else "ip"))
    return re.sub(r" ± 0(?:\.0*)?(?= |$)", "", words)  # a setting is what it is


def open_causes(f: Findings) -> list[tuple[str, float]]:
    """What may still be wrong, most probable first: marginals of all readings less what was dealt with."""
    left: dict[str, float] = {}
    for names, probability in still_wrong(f.answer):
        for name in names:
            left[name] = left.get(name, 0.0) + probability
    return sorted(((n, p) for n, p in left.items() if p >= OPEN), key=lambda item: -item[1])


def front(f: Findings) -> list[Block]:
    """The page as blocks."""
    blocks: list[Block] = [Heading("What was noticed")]
    blocks.append(Paragraph(clean(f.call.complaint)[:700] or "No complaint was written down."))
    blocks += [Heading("What was found"), *_found(f)]
    blocks += [Heading("What was done"), *_done(f)]
    blocks += [Heading("Where it stands now"), *_now(f)]
    blocks += [Heading("What is still to do"), *_to_do(f)]
    blocks += _figures(f)
    return blocks


def _found(f: Findings) -> list[Block]:
    best = f.found["sets"][0] if f.found["sets"] else None
    if best is None:
        return [Paragraph("The readings fit nothing that is known.", strong=True)]
    words = best["title"][:1].upper() + best["title"][1:]
    blocks: list[Block] = [
        Paragraph(
            f"{words}: {best['chance']} probable on the readings taken{_and_log(f.logged_before)}.",
            strong=True,
        )
    ]
    blocks += [Paragraph(causes()[name].statement) for name in best["causes"]]
    if best["p"] < SURE:
        blocks.append(
            Paragraph("This is not settled: other causes fit the readings too, see the next pages.")
        )
    return blocks


def _and_log(days: str) -> str:
    return f" and the log, {days}" if days else ""


def _done(f: Findings) -> list[Block]:
    if not f.changes:
        return [Paragraph("Readings were taken. Nothing was changed.")]
    rows = [
        (
            f"{c.at:%Y-%m-%d %H:%M}",
            clean(c.text) or f"dealt with: {title(c.cause)}" if c.cause else clean(c.text),
        )
        for c in f.changes
    ]
    return [Items(tuple(rows))]


def _now(f: Findings) -> list[Block]:
    if not f.changes:
        return [Paragraph("As it was found: the repair is still to be made.", strong=True)]
    after = [r for r in f.readings if r.at >= f.changes[-1].at]
    if not after:
        return [Paragraph("Repaired, and not yet read again: whether it works is still open.", strong=True)]
    sound = sum(p for names, p in still_wrong(f.answer) if not names)
    return [
        Paragraph(
            f"After the work {len(after)} readings were taken. On them{_and_log(f.logged)} it is "
            f"{chance(sound)} probable that "
            "nothing is wrong any more.",
            strong=True,
        ),
        _over_days(f),
    ]


def _over_days(f: Findings) -> Paragraph:
    if f.proof is None:
        return Paragraph(
            "Readings of one visit show how the unit works now. That it keeps the building dry is proven "
            "over days with humid weather, by a log of them."
        )
    return Paragraph(
        f"By a log of {f.proof.hours:.0f} h since the repair: {VERDICTS[f.proof.verdict].lower()}.",
        strong=True,
    )


def _to_do(f: Findings) -> list[Block]:
    rows = []
    for name, probability in open_causes(f):
        cause = causes()[name]
        parts = f" Parts that may be needed: {', '.join(cause.parts)}." if cause.parts else ""
        rows.append(
            (
                f"{title(name)[:1].upper() + title(name)[1:]}",
                f"({chance(probability)}): {URGENCY[cause.urgency]}.{parts}",
            )
        )
    if f.changes:
        rows += _still_to_prove(f)
    elif not rows:
        rows.append(("More readings", "no cause stands out yet; see Next checks."))
    return [Items(tuple(rows))] if rows else [Paragraph("Nothing: what was asked for holds.")]


def _still_to_prove(f: Findings) -> list[tuple[str, str]]:
    what = "Proof over days"
    if f.proof is None:
        return [(what, "log the unit for some humid days and have the log judged; see Proof.")]
    return {
        "proven": [],
        "not_proven": [(what, "the log shows what does not hold; see Proof.")],
        "not_yet_testable": [(what, "the weather has not asked enough yet: log on; see Proof.")],
    }[f.proof.verdict]


def _figures(f: Findings) -> list[Block]:
    first = f.changes[0].at if f.changes else None
    found: dict[str, Reading] = {}
    left: dict[str, Reading] = {}
    for r in f.readings:
        if first is None or r.at < first:
            found.setdefault(r.point, r)
        else:
            left[r.point] = r
    rows = []
    for name in KEY:
        if name in found or name in left:
            was = value_words(found[name], f.system) if name in found else "not read"
            row = [plain(name), was]
            if f.changes:
                row.append(value_words(left[name], f.system) if name in left else "not read")
            rows.append(tuple(row))
    heads = ("", "as found", "as left") if f.changes else ("", "as found")
    widths = (1.6, 1.0, 1.0) if f.changes else (1.6, 1.0)
    if not rows:
        return []
    return [
        Heading("Figures at a glance", 3),
        Table(
            "± is one standard deviation of the instrument; weather and load differ between the two.",
            ("Place", *heads[1:]),
            tuple(rows),
            widths,
        ),
    ]
