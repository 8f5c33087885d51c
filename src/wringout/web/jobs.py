"""What the worker process does: a call's document in, plain words and numbers for a page out."""

from __future__ import annotations

import time
from typing import Any

from wringout.errors import WringoutError
from wringout.quantity import UnitSystem

__all__ = ["Failed", "book", "read_document", "run", "wait", "warm", "weigh"]

SEED = 0  # one call, one answer
MOST_SUSPECTS = 5
FAR_BEHIND = 0.15  # of the likeliest suspect
MOST_SETS = 5
WORTH_A_LINE = 0.01
WORTH_BITS = 0.3
MOST_EVIDENCE = 6
WORTH_ASKING = 0.05
MOST_CHECKS = 6


class Failed(Exception):
    """A job that ended in an error of ours or of the person's, as words; it crosses between processes."""

    def __init__(self, message: str, input: bool) -> None:
        super().__init__(message, input)
        self.message, self.input = message, input


def warm() -> None:
    """Import what weighing needs, so that the first answer is not the slow one."""
    import wringout.ledger.book
    import wringout.proof.settling
    import wringout.weighing.answer
    import wringout.weighing.outlook  # noqa: F401


def run(kind: str, document: str, system: UnitSystem, more: dict[str, Any] | None = None) -> dict[str, Any]:
    """Do one job; errors come back as `Failed`."""
    from wringout.errors import DataError, InputError
    from wringout.web.trend_job import trend

    works = {"weigh": weigh, "book": book, "wait": wait, "trend": trend}
    started = time.perf_counter()
    try:
        found = works[kind](document, system, more or {})
    except (InputError, DataError) as error:
        raise Failed(str(error), True) from None
    except WringoutError as error:
        raise Failed(str(error), False) from None
    found["seconds"] = round(time.perf_counter() - started, 3)
    return found


def read_document(document: str) -> Any:
    """The call of a document as JSON text."""
    from wringout.catalogue.calls import vocabulary
    from wringout.documents.call import call_from_tree
    from wringout.documents.source import tree_of

    return call_from_tree(tree_of(document, "the call"), "the call", None, vocabulary())


# ------------------------------------------------------------------------------------------- weighing


def weigh(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """Suspects with evidence, and next checks."""
    import numpy as np

    from wringout.web.words import chance, pretty
    from wringout.weighing.answer import weigh as answer_of
    from wringout.weighing.document import answer_document
    from wringout.weighing.evidence import doubtful, mended, still_wrong, suspects
    from wringout.weighing.evidence_words import plain, set_title, state_words, tie_words, with_spread
    from wringout.weighing.outlook import Outlook, ties

    call = read_document(document)
    unreadable = set(more.get("unreadable", ()))
    answer = answer_of(call, np.random.default_rng(SEED))
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
        "readings": answer.problem.count,
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


def _suspect(answer: Any, s: Any, outlook: Any, system: UnitSystem) -> dict[str, Any]:
    from wringout.catalogue.cares import cares_for
    from wringout.catalogue.causes import applies, causes
    from wringout.web.words import chance, pretty
    from wringout.weighing.evidence_words import extent_words, in_words, set_title, telling_words, title
    from wringout.weighing.outlook import distinct

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
        "tells": [pretty(telling_words(t, system)) for t in distinct(outlook.tellings(s.mine, s.rival), 4)],
        "unit_has_cause": bool(s.cause),
    }
    if s.cause:
        cause = causes()[s.cause]
        urgency = {"today": "today", "days": "within days", "planned": "can be planned", "none": "no repair"}
        told |= {
            "cares": [{"title": c.title, "text": list(c.text)} for c in cares_for(cause.cares)],
            "remedy": [in_words(step) for step in cause.remedy],
            "parts": list(cause.parts),
            "urgency": urgency[cause.urgency],
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
    from wringout.web.words import pretty
    from wringout.weighing.evidence_words import evidence_words

    worth = [e for e in taken if abs(e.bits) >= WORTH_BITS]
    rows = [e for e in worth if e.bits > 0.0][:MOST_EVIDENCE]
    rows += [e for e in worth if e.bits < 0.0][:MOST_EVIDENCE]
    return [
        {"bits": f"{e.bits:+.1f}", "for": e.bits > 0.0, "words": pretty(evidence_words(e, system))}
        for e in rows
    ]


def _checks(answer: Any, system: UnitSystem, unreadable: set[str]) -> list[dict[str, Any]]:
    import numpy as np

    from wringout.catalogue.cares import cares_for
    from wringout.catalogue.points import point
    from wringout.web.words import INSTRUMENT, chance, pretty
    from wringout.weighing.evidence import best_with
    from wringout.weighing.evidence_words import foretold_words, plain, set_title, state_words
    from wringout.weighing.outlook import Outlook

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
        cares = (*entry.care, *(() if check.state == "auto" else ("live_control",)))
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
                "cares": [{"title": c.title, "text": list(c.text)} for c in cares_for(cares)],
                "tells": tells,
                "item": item if check.state != "auto" else "",
                "to": to,
            }
        )
    return found


# --------------------------------------------------------------------------------------------- ledger


def book(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """The ledger in words, the band of every point, and the states for the chart."""
    import numpy as np

    from wringout.catalogue.points import sigma
    from wringout.ledger.book import ledgers
    from wringout.ledger.words import beside, sentences
    from wringout.web.chart_states import chart_states
    from wringout.web.expected import bands, scene
    from wringout.web.words import amount_words, pretty, range_words
    from wringout.weighing.evidence_words import state_words

    call = read_document(document)
    here = scene(call, np.random.default_rng(SEED))
    found: dict[str, Any] = {
        "state": here.state,
        "bands": {
            name: {"words": range_words(name, b.low, b.high, system), "low": b.low, "high": b.high}
            for name, b in bands(here, np.random.default_rng(SEED)).items()
        },
        "ledgers": [],
        "charts": [],
    }

    def show(amount: Any) -> str:
        return amount_words(amount, system)

    for ledger in ledgers(call, sigma, np.random.default_rng(SEED)):
        found["ledgers"].append(
            {
                "state": ledger.state,
                "state_words": state_words(ledger.state),
                "machine": ledger.machine_epoch,
                "visit": ledger.visit,
                "first": ledger.first.isoformat(),
                "last": ledger.last.isoformat(),
                "readings": ledger.readings,
                "lines": [_line(line, system) for line in ledger.lines],
                "mismatches": [
                    {
                        "subject": m.subject,
                        "kind": m.kind,
                        "words": [pretty(w) for w in sentences(m, show)],
                        "points": list(m.points),
                        "line": next(
                            (ln.transfer for ln in ledger.lines if m.subject.startswith(ln.title)), ""
                        ),
                    }
                    for m in ledger.mismatches
                ],
                "beside": pretty(beside(ledger)),
                "assumed": [
                    {"name": i.name, "amount": show(i.amount), "source": i.source, "points": list(i.points)}
                    for i in ledger.inputs
                    if i.mark == "assumed"
                ],
            }
        )
    found["charts"] = chart_states(call, np.random.default_rng(SEED))
    found["document"] = _ledger_document(call, system)
    return found


def _ledger_document(call: Any, system: UnitSystem) -> dict[str, Any]:
    import numpy as np

    from wringout.catalogue.points import sigma
    from wringout.ledger.book import ledgers
    from wringout.ledger.document import ledger_document
    from wringout.web.words import amount_words

    booked = ledgers(call, sigma, np.random.default_rng(SEED))
    return ledger_document(booked, lambda amount: amount_words(amount, system))


def _line(line: Any, system: UnitSystem) -> dict[str, Any]:
    from wringout.web.words import amount_words, band_words

    return {
        "transfer": line.transfer,
        "title": line.title,
        "meaning": line.meaning,
        "heat": band_words(line.expected_heat, system) if line.expected_heat else "",
        "moisture": band_words(line.expected_moisture, system) if line.expected_moisture else "",
        "routes": [
            {
                "name": r.name,
                "heat": amount_words(r.heat, system) if r.heat else "",
                "moisture": amount_words(r.moisture, system) if r.moisture else "",
                "mark": r.mark,
                "weak": r.weak,
                "assumed": list(r.assumed),
            }
            for r in line.possible
        ],
        "closed": [f"{r.name} ({r.impossible})" for r in line.routes if r.impossible],
    }


# ----------------------------------------------------------------------------------------------- wait


def wait(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """How long each point takes after the last change, and what it should then read."""
    import math

    import numpy as np

    from wringout.catalogue.points import points_of, sigma
    from wringout.proof.settling import waiting
    from wringout.web.words import range_words
    from wringout.weighing.discrepancy import model_spread
    from wringout.weighing.evidence_words import plain

    call = read_document(document)
    found = waiting(
        call,
        points_of(call.unit),
        sigma,
        lambda name, predicted, s: model_spread(name, predicted, s, None),
        np.random.default_rng(SEED),
    )
    last = found.visit.last
    rows = []
    for p in sorted(found.points, key=lambda p: (not p.moves, p.late_95)):
        band = range_words(p.point, p.low, p.high, system)
        if "yes" in band or band == "no":
            band = "yes" if p.settled > 0.5 else "no"
        rows.append(
            {
                "point": p.point,
                "what": plain(p.point),
                "half": p.to_63 if math.isfinite(p.to_63) else None,
                "middle": p.to_95 if math.isfinite(p.to_95) else None,
                "late": p.late_95 if math.isfinite(p.late_95) else None,
                "band": band,
                "moves": p.moves,
                "swings": p.swings,
            }
        )
    return {
        "at": last.at.isoformat(),
        "kind": last.kind,
        "unnamed": found.visit.unnamed,
        "points": rows,
        "early": [
            {"what": plain(r.point), "value": r.text, "at": r.at.isoformat(), "point": r.point}
            for r in found.early
        ],
    }
