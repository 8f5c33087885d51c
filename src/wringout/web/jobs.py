"""What the worker process does: a call's document in, plain words and numbers for a page out."""

from __future__ import annotations

import json
import os
import time
from typing import TYPE_CHECKING, Any

from wringout.errors import WringoutError
from wringout.quantity import UnitSystem

if TYPE_CHECKING:
    from wringout.documents.call import Call
    from wringout.showing.known_unit import Told

__all__ = [
    "WITH_LOG",
    "Failed",
    "book",
    "essence",
    "history",
    "learn",
    "live",
    "read_document",
    "run",
    "wait",
    "warm",
    "warm_for_logs",
    "weigh",
]

SEED = 0  # one call, one answer
WITH_LOG = "weigh log"  # of a log the hours in which a state was held do not count
LATER = 5  # steps of the machine's own priority


class Failed(Exception):
    """A job that ended in an error of ours or of the person's, as words; it crosses between processes."""

    def __init__(self, message: str, input: bool) -> None:
        super().__init__(message, input)
        self.message, self.input = message, input


def warm() -> None:
    """Import what weighing needs, so that the first answer is not the slow one."""
    import wringout.ledger.book
    import wringout.proof.settling
    import wringout.showing.known_unit
    import wringout.weighing.answer
    import wringout.weighing.outlook  # noqa: F401


def warm_for_logs() -> None:
    """The same for the process of logs, which lets readings go first where cores are few."""
    import wringout.trends.findings
    import wringout.trends.mapping  # noqa: F401

    warm()

    if hasattr(os, "nice"):
        os.nice(LATER)


def essence(kind: str, document: str) -> str:
    """What of a call's document a job looks at, so that a note or a complaint put right begins no new work.

    Parameters
    ----------
    kind, document : str

    Returns
    -------
    str
        Without complaint and notes; for weighing readings alone also without the states held after the last
        one; for proof the last change alone.
    """
    if kind not in ("weigh", WITH_LOG, "book", "wait", "prove"):
        return document
    tree = json.loads(document)
    tree.pop("complaint", None)
    events = [event for event in tree.pop("events", ()) if event["kind"] != "note"]
    if kind == "prove":
        events = [event for event in events if event["kind"] == "change"][-1:]
    while kind == "weigh" and events and events[-1]["kind"] in ("force", "release"):
        events.pop()
    return json.dumps({**tree, "events": events} if events else tree, ensure_ascii=False, sort_keys=True)


def run(kind: str, document: str, system: UnitSystem, more: dict[str, Any] | None = None) -> dict[str, Any]:
    """Do one job; errors come back as `Failed`."""
    from wringout.errors import DataError, InputError
    from wringout.web.column_job import columns
    from wringout.web.log_job import log
    from wringout.web.proof_job import prove
    from wringout.web.trend_job import trend

    works = {
        "weigh": weigh,
        "book": book,
        "wait": wait,
        "prove": prove,
        "trend": trend,
        "columns": columns,
        "log": log,
        "history": history,
        "learn": learn,
        "live": live,
    }
    kind = kind.partition(" ")[0]
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


def weigh(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """Suspects with evidence, and next checks."""
    import numpy as np

    from wringout.showing.answer import answer_in_words
    from wringout.showing.logged import days_words, tells
    from wringout.trends.logged import evidence_from_text
    from wringout.weighing.answer import weigh as answer_of

    call = read_document(document)
    told = _told(call, more)
    known = told.known if told is not None else None
    trend = evidence_from_text(more["log"]["evidence"]) if "log" in more else None
    answer = answer_of(call, np.random.default_rng(SEED), trend=trend, known=known)
    words = answer_in_words(answer, system, set(more.get("unreadable", ())))
    words |= {"known": _begins_with(told), "not_known": _not_known(more), "log": {}}
    if trend is not None:
        words["log"] = {"name": more["log"]["name"], "days": days_words(trend), "tells": tells(answer)}
    return words


def _told(call: Call, more: dict[str, Any]) -> Told | None:
    """What earlier visits told of the machine."""
    from wringout.history.fingerprint import fingerprint_from_text
    from wringout.showing.known_unit import told_for

    text = more.get("fingerprint")
    return told_for(fingerprint_from_text(text, "earlier visits"), call) if text else None


def _begins_with(told: Told | None) -> str:
    from wringout.showing.known_unit import visits_words

    return f"Starts from what {visits_words(told.visits)} told of this machine." if told is not None else ""


def _not_known(more: dict[str, Any]) -> str:
    return f"Earlier visits are not used: {more['not_known']}" if more.get("not_known") else ""


def learn(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """What proven visits of earlier calls tell of their unit, which is that of ``document``."""
    from wringout.history.fingerprint import fingerprint_text
    from wringout.history.proofs import proof_of
    from wringout.showing.known_unit import learned_from

    proofs = [proof_of(json.loads(text), "a proof that is attached") for text in more["proofs"]]
    calls = [read_document(one) for one in more["earlier"]]
    fingerprint, verdicts = learned_from(calls, read_document(document).unit, proofs)
    return {
        "fingerprint": fingerprint_text(fingerprint) if fingerprint is not None else "",
        "verdicts": {
            one.visit.first.isoformat(): {
                "proven": one.learned.proven if one.learned is not None else "",
                "why": one.why,
            }
            for one in verdicts
        },
    }


def book(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """The ledger in words, the band of every point, and the states for the chart."""
    from wringout.showing.books import ledger_in_words

    call = read_document(document)
    told = _told(call, more)
    return ledger_in_words(call, system, told) | {"known": told is not None, "not_known": _not_known(more)}


def wait(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """How long each point takes after the last change, and what it should then read."""
    from wringout.showing.waits import wait_in_words

    call = read_document(document)
    told = _told(call, more)
    return wait_in_words(call, system, told) | {"known": told is not None, "not_known": _not_known(more)}


def history(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """The visits of earlier calls and of this one, and what differs from as left."""
    from wringout.showing.visits import history_in_words

    earlier = [read_document(one) for one in more.get("earlier", ())]
    return history_in_words([*earlier, read_document(document)], system)


def live(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """How long the machine needs at each live point after a state is forced."""
    import numpy as np

    from wringout.catalogue.points import sigma
    from wringout.proof.machine_waits import machine_waits

    unit = read_document(document).unit
    found = machine_waits(unit, more["state"], more["points"], sigma, np.random.default_rng(SEED))
    return {"waits": {name: [row.late, row.dead, row.tau, row.moves] for name, row in found.items()}}
