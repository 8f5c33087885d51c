"""One suspect in full: its evidence, what should be seen, what to do with the cautions first, what looks
like it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from wringout.catalogue.causes import applies, causes
from wringout.catalogue.steps import Step, cautions_of
from wringout.cli.cautions_text import every_caution
from wringout.cli.layout import chance, heading, item, listed, paragraph
from wringout.weighing.evidence_words import (
    evidence_words,
    extent_words,
    in_words,
    set_title,
    telling_words,
    title,
)
from wringout.weighing.outlook import distinct

if TYPE_CHECKING:
    from wringout.documents.unit import Unit
    from wringout.quantity import UnitSystem
    from wringout.weighing.answer import Answer
    from wringout.weighing.evidence import Evidence, Suspect
    from wringout.weighing.outlook import Outlook

__all__ = ["account", "explained"]

WORTH_A_LINE = 0.3  # bits
FEW_FOR, FEW_AGAINST = 2, 2
MANY = 12


def account(answer: Answer, s: Suspect, system: UnitSystem, full: bool = False) -> list[str]:
    """Evidence for and against: what the suspect explains, then what tells it from its best rival."""
    lines: list[str] = []
    left = answer.weighed.hypotheses[s.bare].causes
    if s.bare != s.rival:
        than = f"{set_title(left)} alone" if left else "a healthy unit"
        lines += _block(f"Explains better than {than}:", s.explains, system, full)
    rival = set_title(s.without_it)
    told = _block(f"Against its best rival, {rival}:", s.evidence, system, full)
    if told:
        return lines + told
    return [*lines, paragraph(f"No reading yet tells it from its best rival, {rival}.", 3, 2)]


def _block(words: str, taken: Iterable[Evidence], system: UnitSystem, full: bool) -> list[str]:
    worth = [e for e in taken if abs(e.bits) >= WORTH_A_LINE]
    for_it = [e for e in worth if e.bits > 0.0][: MANY if full else FEW_FOR]
    against = [e for e in worth if e.bits < 0.0][: MANY if full else FEW_AGAINST]
    if not for_it and not against:
        return []
    rows = [(f"{e.bits:+.1f}", evidence_words(e, system)) for e in (*for_it, *against)]
    return [paragraph(words, 3), *listed(rows, 3)]


def explained(answer: Answer, s: Suspect, outlook: Outlook, system: UnitSystem) -> list[str]:
    """Everything there is to say of one suspect."""
    lines = [heading(f"{title(s.cause, s.variant)}, {chance(s.probability)}")]
    if s.cause:
        lines.append(paragraph(f"{s.cause}: {causes()[s.cause].statement}"))
    extent = extent_words(s, s.extent, system) if s.extent else ""
    if extent:
        lines.append(paragraph(f"Computed {extent}"))
    lines += ["", paragraph("Evidence in bits (one bit doubles the odds; +- is one standard deviation):")]
    lines += account(answer, s, system, full=True)
    b = s.balance
    lines.append(
        paragraph(
            f"In all against the rival: readings {b.readings:+.1f}, how common each is {b.prior:+.1f}, "
            f"the rest (how finely each must be tuned, doubt of the model) {b.rest:+.1f}; together "
            f"{b.total:+.1f} bits.",
            3,
            2,
        )
    )
    told = distinct(outlook.tellings(s.mine, s.rival), 6)
    if told:
        lines += ["", paragraph(f"If true, against {set_title(s.without_it)} (computed, not read yet):")]
        lines += [item("-", telling_words(t, system), 3) for t in told]
    return [*lines, *_remedy(s.cause, answer.problem.design.unit)] if s.cause else lines


def _remedy(id: str, unit: Unit) -> list[str]:
    cause = causes()[id]
    urgency = {"today": "today", "days": "within days", "planned": "can be planned", "none": "no repair"}
    lines = ["", paragraph(f"As a rule: {in_words(cause.expected)}", 0, 2)]
    lines += ["", heading("CAUTIONS FIRST"), *every_caution(cautions_of(Step(cause=id)))]
    lines += ["", heading(f"WHAT TO DO ({urgency[cause.urgency]}; side: {cause.side})")]
    lines += [item(f"{n}.", in_words(step)) for n, step in enumerate(cause.remedy, 1)]
    if cause.parts:
        lines.append(paragraph(f"Parts: {', '.join(cause.parts)}.", 0, 2))
    lines.append(paragraph(f"Proven when: {in_words(cause.verify)}", 0, 2))
    lines.append(paragraph(f"Write down the repair as: kind: change, cause: {id}", 0, 2))
    similar = [like for like in cause.similar if applies(like.cause, unit)]
    if similar:
        lines += ["", heading("EASILY TAKEN FOR IT")]
        lines += [item("-", f"{title(like.cause)}: {in_words(like.tell)}") for like in similar]
    return lines
