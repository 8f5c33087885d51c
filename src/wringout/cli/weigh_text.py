"""An answer of weighing as text: first what is most probable, then why, then what to read next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wringout.catalogue.causes import causes
from wringout.cli.check_text import checks_text
from wringout.cli.explain_text import account, explained
from wringout.cli.layout import chance, heading, item, listed, paragraph
from wringout.documents.overview import overview
from wringout.weighing.evidence import WORTH_NAMING, Suspect, doubtful, mended, still_wrong, suspect, suspects
from wringout.weighing.evidence_words import (
    extent_words,
    plain,
    set_title,
    state_words,
    tie_words,
    title,
    with_spread,
)
from wringout.weighing.outlook import Outlook, ties
from wringout.weighing.trend_signs import FOLLOW_ON, STILL, SWING

if TYPE_CHECKING:
    from wringout.documents.call import Call
    from wringout.quantity import UnitSystem
    from wringout.weighing.answer import Answer

__all__ = ["text"]

WORTH_A_LINE = 0.01  # sets under this share one line
FAR_BEHIND = 0.15  # of the likeliest suspect: one further behind is left to --explain
MOST_SETS = 5
MOST_SUSPECTS = 3
FEW_CHECKS = 3
FEW_ASSUMED = 4
SEED = 1


def text(
    call: Call, answer: Answer, system: UnitSystem, checks: int | None, explain: str | None, path: str
) -> list[str]:
    """The whole answer as lines."""
    named = _asked(answer, explain)
    lines = _about(call, answer)
    lines += _most_probable(answer)
    if explain:
        return lines + _explained(answer, named, explain, system)
    lines += _suspects(answer, named, system, path)
    lines += _doubts(answer, system)
    lines += checks_text(answer, FEW_CHECKS if checks is None else checks, system)
    return lines + _assumed(call, system, path)


def _explained(answer: Answer, named: tuple[Suspect, ...], explain: str, system: UnitSystem) -> list[str]:
    if not named:
        why = "no cause is probable" if explain == "all" else f"this unit cannot have {title(explain)}"
        return ["", paragraph(f"Nothing to explain: {why}.")]
    indices = [index for s in named for index in (s.mine, s.rival)]
    outlook = Outlook(answer, indices, np.random.default_rng(SEED))
    lines: list[str] = []
    for s in named:
        lines += ["", *explained(answer, s, outlook, system)]
    return lines


def _asked(answer: Answer, explain: str | None) -> tuple[Suspect, ...]:
    if explain and explain != "all":
        one = suspect(answer, explain) if explain in answer.marginals else None
        return (one,) if one else ()
    if explain:
        return suspects(answer)
    highest = max(answer.marginals.values(), default=0.0)
    return suspects(answer, max(WORTH_NAMING, FAR_BEHIND * highest), MOST_SUSPECTS)


def _about(call: Call, answer: Answer) -> list[str]:
    unit = call.unit
    place = f", {unit.site.name}" if unit.site.name != unit.name else ""
    lines = [heading(f"{unit.name}{place}")]
    if call.complaint:
        lines.append(paragraph(f"Complaint: {' '.join(call.complaint.split())}"))
    situations = answer.problem.situations
    told = []
    logged = [s for s in situations if s.logged is not None]
    for s in situations:
        if s.logged is not None or not s.observations:
            continue
        later = f" after change {s.epoch}" if s.epoch else ""
        visit = f" on visit {s.visit + 1}" if situations[-1].visit else ""
        told.append(f"{len(s.observations)} {state_words(s.state)}{visit}{later}")
    lines.append(paragraph(f"Readings given: {'; '.join(told) or 'none'}", 0, 2))
    if answer.problem.known is not None:
        lines.append(paragraph("Machine: as proven visits told of it (--fingerprint)", 0, 2))
    if logged or answer.signs:
        lines.append(paragraph(_of_trend(answer), 0, 2))
    return lines


def _of_trend(answer: Answer) -> str:
    """What of a trend was weighed."""
    moments = [f"{s.logged:%d %b %H:%M}" for s in answer.problem.situations if s.logged is not None]
    settled = f"settled at {', '.join(moments)}" if moments else "no settled moment"
    names = {
        SWING: "the swing of its reheat command",
        STILL: "whether that stands still",
        FOLLOW_ON: "whether its dew point follows outdoors",
    }
    signs = [words for name, words in names.items() if any(sign.name == name for sign in answer.signs)]
    return f"Trend given: {'; '.join([settled, *signs])}"


def _most_probable(answer: Answer) -> list[str]:
    dealt = mended(answer)
    lines: list[str] = []
    if dealt:
        lines += ["", heading(f"WRONG NOW, with {set_title(sorted(dealt))} dealt with")]
        lines += _sets(list(still_wrong(answer)), answer.unexplained)
        lines += ["", heading("WHAT WAS WRONG, all readings together")]
    else:
        lines += ["", heading("MOST PROBABLE")]
    return lines + _sets([(s.causes, s.probability) for s in answer.sets], answer.unexplained)


def _sets(ranked: list[tuple[tuple[str, ...], float]], unexplained: float) -> list[str]:
    shown = [(names, p) for i, (names, p) in enumerate(ranked[:MOST_SETS]) if p >= WORTH_A_LINE or i == 0]
    rest = 1.0 - unexplained - sum(p for _, p in shown)
    rows = [(chance(p), set_title(names)) for names, p in shown]
    if rest >= 0.005:
        rows.append((chance(rest), "all other sets together"))
    if unexplained >= 0.005:
        rows.append((chance(unexplained), "nothing listed explains the readings"))
    return listed(rows, 2)


def _suspects(answer: Answer, named: tuple[Suspect, ...], system: UnitSystem, path: str) -> list[str]:
    if not named:
        return []
    lines = [
        "",
        heading("SUSPECTS, with what speaks for (+) and against (-) each, in bits"),
        paragraph("One bit doubles the odds. +- is one standard deviation."),
    ]
    for number, s in enumerate(named, 1):
        lines += ["", item(f"{number}.", f"{title(s.cause, s.variant)}, {chance(s.probability)}")]
        if s.cause:
            lines.append(paragraph(f"{s.cause}: {causes()[s.cause].statement}", 3))
        extent = extent_words(s, s.extent, system) if s.extent else ""
        if extent:
            lines.append(paragraph(f"Computed: {extent}", 3, 2))
        lines += account(answer, s, system)
    for tie in ties(answer, np.random.default_rng(SEED)):
        lines += ["", *(paragraph(words, 0, 2) for words in tie_words(tie, system))]
    example = next((s.cause for s in named if s.cause), "all")
    more = f"wringout weigh {path} --explain {example}"
    return [*lines, "", paragraph(f"What to do about a suspect, cautions first: {more}", 0, 2)]


def _doubts(answer: Answer, system: UnitSystem) -> list[str]:
    found = doubtful(answer)
    if not found:
        return []
    lines = ["", heading("READ AGAIN: off even the best answer, perhaps a slip")]
    for doubt in found:
        o = doubt.observation
        state = "" if doubt.state == "auto" else f", {state_words(doubt.state)}"
        read = with_spread(o.point, o.value, o.sigma, system)
        computed = with_spread(o.point, doubt.computed, 0.0, system)
        lines.append(item("-", f"{plain(o.point)}{state}: read {read}, computed {computed}"))
    return lines


def _assumed(call: Call, system: UnitSystem, path: str) -> list[str]:
    entries = overview(call.unit, system)
    assumed = [entry for entry in entries if not entry.given]
    lines = ["", heading("ASSUMED")]
    if assumed:
        names = ", ".join(f"{entry.path} {entry.shown}" for entry in assumed[:FEW_ASSUMED])
        more = f", and {len(assumed) - FEW_ASSUMED} more" if len(assumed) > FEW_ASSUMED else ""
        lines.append(
            item(
                "-",
                f"{len(assumed)} of {len(entries)} values of the unit: {names}{more} "
                f"(wringout check {path} lists them with their rules)",
            )
        )
    else:
        lines.append(item("-", "nothing of the unit: its document gives every value"))
    lines.append(
        item("-", "how far healthy units stray from their schedule, and how often each cause is met")
    )
    lines.append(item("-", "of a reading without its own accuracy: that of a careful reading at its point"))
    return lines
