"""An answer of weighing in plain words and figures: suspects with evidence, sets, doubts and next checks.

Pages and report take their words from here, so that they show the same figures.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np

from wringout.catalogue.causes import applies, causes
from wringout.catalogue.points import point
from wringout.catalogue.steps import Step, cautions_of
from wringout.quantity import UnitSystem
from wringout.showing.words import INSTRUMENT, chance, pretty
from wringout.weighing.answer import Answer
from wringout.weighing.document import answer_document
from wringout.weighing.evidence import Suspect, best_with, doubtful, mended, still_wrong, suspects
from wringout.weighing.evidence_words import (
    evidence_words,
    extent_words,
    foretold_words,
    in_words,
    plain,
    set_title,
    state_words,
    telling_words,
    tie_words,
    title,
    with_spread,
)
from wringout.weighing.outlook import Outlook, distinct, ties

__all__ = ["URGENCY", "answer_in_words"]

SEED = 0  # one call, one answer
MOST_SUSPECTS = 5
FAR_BEHIND = 0.15  # of the likeliest suspect
MOST_SETS = 5
WORTH_A_LINE = 0.01
WORTH_BITS = 0.3
MOST_EVIDENCE = 6
WORTH_ASKING = 0.05
MOST_CHECKS = 6
URGENCY = {"today": "today", "days": "within days", "planned": "can be planned", "none": "no repair"}


def answer_in_words(answer: Answer, system: UnitSystem, unreadable: Collection[str] = ()) -> dict[str, Any]:
    """Suspects with evidence, and next checks; points that cannot be read are not asked for."""
    highest = max([answer.healthy, *answer.marginals.values()])
    named = suspects(answer, max(0.02, FAR_BEHIND * highest), MOST_SUSPECTS)
    outlook = None
    if named:
        outlook = Outlook(answer, [i for s in named for i in (s.mine, s.rival)], np.random.default_rng(1))
    dealt = mended(answer)
    ranked = list(still_wrong(answer)) if dealt else [(s.causes, s.probability) for s in answer.sets]
    sets = [
        {"title": set_title(names), "chance": chance(p), "p": p, "causes": list(names)}
        for i, (names, p) in enumerate(ranked[:MOST_SETS])
        if p >= WORTH_A_LINE or i == 0
    ]
    rest = 1.0 - answer.unexplained - sum(p for _, p in ranked[: len(sets)])
    return {
        "document": answer_document(answer, 0.0),
        "readings": sum(len(s.observations) for s in answer.problem.situations if s.logged is None),
        "sets": sets,
        "rest": chance(rest) if rest >= 0.005 else "",
        "unexplained": chance(answer.unexplained) if answer.unexplained >= 0.005 else "",
        "dealt": set_title(sorted(dealt)) if dealt else "",
        "suspects": [_suspect(answer, s, outlook, system) for s in named],
        "ties": [
            [pretty(w) for w in tie_words(t, system)] for t in ties(answer, np.random.default_rng(SEED))
        ],
        "doubts": [
            {
                "what": plain(d.observation.point),
                "state": "" if d.state == "auto" else state_words(d.state),
                "read": pretty(
                    with_spread(d.observation.point, d.observation.value, d.observation.sigma, system)
                ),
                "computed": pretty(with_spread(d.observation.point, d.computed, 0.0, system)),
            }
            for d in doubtful(answer)
        ],
        "checks": _checks(answer, system, unreadable),
        "best_left": max((c.gain_bits for c in answer.next), default=0.0),
    }


def _suspect(answer: Answer, s: Suspect, outlook: Outlook | None, system: UnitSystem) -> dict[str, Any]:

    left = answer.weighed.hypotheses[s.bare].causes
    told: dict[str, Any] = {
        "cause": s.cause,
        "title": title(s.cause, s.variant),
        "p": s.probability,
        "chance": chance(s.probability),
        "statement": causes()[s.cause].statement if s.cause else "",
        "extent": pretty(extent_words(s, s.extent, system)) if s.extent else "",
        "than": f"{set_title(left)} alone" if left else "a healthy unit",
        "explains": _evidence(s.explains, system) if s.bare != s.rival else [],
        "rival": set_title(s.without_it),
        "evidence": _evidence(s.evidence, system),
        "tells": [pretty(telling_words(t, system)) for t in distinct(outlook.tellings(s.mine, s.rival), 4)]
        if outlook
        else [],
        "unit_has_cause": bool(s.cause),
    }
    if s.cause:
        cause = causes()[s.cause]
        told |= {
            "cares": [{"title": c.title, "text": list(c.text)} for c in cautions_of(Step(cause=s.cause))],
            "remedy": [in_words(step) for step in cause.remedy],
            "parts": list(cause.parts),
            "urgency": URGENCY[cause.urgency],
            "side": cause.side,
            "expected": in_words(cause.expected),
            "verify": in_words(cause.verify),
            "similar": [
                {"title": title(like.cause), "tell": in_words(like.tell)}
                for like in cause.similar
                if applies(like.cause, answer.problem.design.unit)
            ],
        }
    return told


def _evidence(taken: Any, system: UnitSystem) -> list[dict[str, Any]]:

    worth = [e for e in taken if abs(e.bits) >= WORTH_BITS]
    rows = [e for e in worth if e.bits > 0.0][:MOST_EVIDENCE]
    rows += [e for e in worth if e.bits < 0.0][:MOST_EVIDENCE]
    return [
        {"bits": f"{e.bits:+.1f}", "for": e.bits > 0.0, "words": pretty(evidence_words(e, system))}
        for e in rows
    ]


def _checks(answer: Answer, system: UnitSystem, unreadable: Collection[str]) -> list[dict[str, Any]]:

    best: dict[str, Any] = {}
    for check in answer.next:
        if check.gain_bits >= WORTH_ASKING and check.point not in unreadable:
            best.setdefault(check.point, check)
    taken = list(best.values())[:MOST_CHECKS]
    likely = []
    for one in answer.sets[:3]:
        same = [i for i, h in enumerate(answer.weighed.hypotheses) if h.causes == one.causes]
        index = best_with(answer, "") if not one.causes else None
        if same:
            index = max(same, key=lambda i: float(answer.weights[i]))
        if index is not None and one.probability >= 0.02:
            likely.append((index, one))
    outlook = Outlook(answer, [i for i, _ in likely], np.random.default_rng(2)) if likely else None
    found = []
    for check in taken:
        entry = point(check.point)
        cares = cautions_of(Step(points=(check.point,), state=check.state))
        foretold = outlook.foretold(check.state, check.point) if outlook is not None else ()
        at = dict(zip(outlook.indices, foretold, strict=True)) if outlook is not None and foretold else {}
        tells = [
            f"{pretty(foretold_words(check.point, at[index], system))}: {set_title(one.causes)} "
            f"({chance(one.probability)})"
            for index, one in likely
            if index in at
        ]
        item, _, to = check.state.partition("=")
        found.append(
            {
                "point": check.point,
                "what": plain(check.point),
                "state": check.state,
                "state_words": state_words(check.state),
                "by": INSTRUMENT[entry.by],
                "minutes": f"{check.minutes:.3g}",
                "bits": f"{check.gain_bits:.2f}",
                "cares": [{"title": c.title, "text": list(c.text)} for c in cares],
                "tells": tells,
                "item": item if check.state != "auto" else "",
                "to": to,
            }
        )
    return found
