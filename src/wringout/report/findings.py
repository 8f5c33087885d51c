"""All that a report tells, worked out once from a call and, where there is one, a trend."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from wringout.documents.call import Call, Change, Reading
from wringout.documents.states import operating_states
from wringout.errors import InputError
from wringout.history.fingerprint import LearnedVisit
from wringout.history.proofs import HeldProof
from wringout.proof.acceptance import Proof, prove
from wringout.proof.criteria import Settings
from wringout.quantity import UnitSystem
from wringout.showing.answer import answer_in_words
from wringout.showing.books import ledger_in_words
from wringout.showing.known_unit import Told, learned_from, told_for
from wringout.showing.logged import days_words, tells
from wringout.showing.visits import History, history_of
from wringout.showing.waits import wait_in_words
from wringout.trends.evidence import TrendEvidence, trend_evidence
from wringout.trends.finding import shower
from wringout.trends.findings import findings_of
from wringout.trends.pictures import picture_of
from wringout.trends.table import TrendTable
from wringout.weighing.answer import Answer, weigh

__all__ = ["Findings", "TrendFinding", "as_found", "due", "findings", "judged"]

SEED = 0  # the one of every other command: the report shows what they answer


@dataclass(frozen=True)
class TrendFinding:
    """One finding of a trend in words, with its picture (empty where there is nothing to draw)."""

    heading: str
    says: str
    means: str
    picture: str


@dataclass(frozen=True)
class Findings:
    """What a report is written from. ``found`` is the answer on the readings before the first change, in
    words, with what was then to be read next; ``now`` the answer on all of them (the same object where
    nothing was changed); ``book`` the ledgers; ``wait`` what to read after the last change, and when;
    ``proof`` the verdict of a log of the days since, or ``unproven`` why there is none; ``answer`` is
    ``now`` before it was put into words; ``history`` holds earlier visits, where calls of these are given;
    ``known_from`` those of them that are proven, with what they told of the machine in answers, ``book`` and
    ``wait``; ``logged`` and ``logged_before`` say of which days a log was weighed in ``now`` and in ``found``
    (empty: none)."""

    call: Call
    system: UnitSystem
    found: dict[str, Any]
    now: dict[str, Any]
    answer: Answer
    book: dict[str, Any]
    wait: dict[str, Any] | None
    proof: Proof | None
    unproven: str
    trend: tuple[TrendFinding, ...]
    history: History | None = None
    known_from: tuple[LearnedVisit, ...] = ()
    logged: str = ""
    logged_before: str = ""

    @property
    def changes(self) -> tuple[Change, ...]:
        """What was altered, in order."""
        return tuple(event for event in self.call.events if isinstance(event, Change))

    @property
    def readings(self) -> tuple[Reading, ...]:
        """Every reading, in order."""
        return tuple(event for event in self.call.events if isinstance(event, Reading))


def as_found(call: Call) -> Call:
    """The call up to its first change; the whole where nothing was changed."""
    for place, event in enumerate(call.events):
        if isinstance(event, Change):
            return call.model_copy(update={"events": call.events[:place]})
    return call


def findings(
    call: Call,
    system: UnitSystem,
    table: TrendTable | None = None,
    earlier: Sequence[Call] = (),
    proofs: Sequence[HeldProof] = (),
) -> Findings:
    """Weigh and book a call for its report.

    Parameters
    ----------
    call : Call
    system : {'ip', 'si'}
    table : TrendTable, optional
        A log to weigh with the readings, to show, and to judge the repair by.
    earlier : sequence of Call
        Calls of the same unit; what proven visits among them tell of the machine is used.
    proofs : sequence of HeldProof
        Of the days after earlier visits.

    Returns
    -------
    Findings

    Raises
    ------
    InputError
        For a call without a reading.
    """
    if not any(isinstance(event, Reading) for event in call.events):
        raise InputError("no reading yet; a report needs some, `wringout next` says which first", "events")
    before = as_found(call)
    told = _told(call, earlier, proofs)
    known = told.known if told is not None else None
    log = _weighable(table, call)
    answer = weigh(call, np.random.default_rng(SEED), trend=log, known=known)
    now = answer_in_words(answer, system)
    logged = logged_before = _days(log, answer)
    found = now
    if before is not call and any(isinstance(event, Reading) for event in before.events):
        log = _weighable(table, call, len(before.events))
        then = weigh(before, np.random.default_rng(SEED), checks=False, trend=log, known=known)
        found = answer_in_words(then, system)
        logged_before = _days(log, then)
    acted = any(isinstance(event, Change) for event in call.events)
    return Findings(
        call,
        system,
        found,
        now,
        answer,
        ledger_in_words(call, system, told),
        wait_in_words(_since_change(call), system, told) if acted else None,
        *judged(call, table if acted else None),
        _trend(call, table, system) if table is not None else (),
        history_of([*earlier, call]) if earlier else None,
        told.visits if told is not None else (),
        logged,
        logged_before,
    )


def _weighable(table: TrendTable | None, call: Call, until: int | None = None) -> TrendEvidence | None:
    """What a log tells weighing: all of it, or only what came before one of the call's events."""
    if table is None or not table.values:
        return None
    if until is not None:
        end = call.events[until].at.replace(tzinfo=UTC).timestamp()
        table = table.between(-np.inf, end)
    return trend_evidence(table, call.unit) if len(table.time) else None


def _days(log: TrendEvidence | None, answer: Answer) -> str:
    return days_words(log) if log is not None and tells(answer) else ""


def _told(call: Call, earlier: Sequence[Call], proofs: Sequence[HeldProof]) -> Told | None:
    """What earlier visits that are proven tell of the machine."""
    if not earlier:
        return None
    fingerprint, _ = learned_from(earlier, call.unit, proofs)
    return told_for(fingerprint, call) if fingerprint is not None else None


def judged(call: Call, table: TrendTable | None) -> tuple[Proof | None, str]:
    """What `wringout prove` answers without options, or why the log proves nothing yet."""
    if table is None:
        return None, ""
    try:
        return prove(call, table, Settings.of(call.unit), np.random.default_rng(SEED)), ""
    except InputError as error:
        return None, error.message


def _since_change(call: Call) -> Call:
    """The call as if nothing had been held after its last change, so that the wait counts from that."""
    last = max(k for k, event in enumerate(call.events) if isinstance(event, Change))
    auto = {id(r) for s in operating_states(call) if s.state == "auto" for r in s.readings}
    later = tuple(event for event in call.events[last + 1 :] if id(event) in auto)
    return call.model_copy(update={"events": (*call.events[: last + 1], *later)})


def _trend(call: Call, table: TrendTable, system: UnitSystem) -> tuple[TrendFinding, ...]:
    show = shower(system)
    return tuple(
        TrendFinding(f.heading(), f.says(show), f.means(), picture_of(f, table, system))
        for f in findings_of(table, call.unit)
    )


def due(at: datetime, point: dict[str, Any]) -> str:
    """When a point may be read after the last change: the moment by which nine in ten have settled."""
    if point["late"] is None:
        return "not within a day"
    moment = at + timedelta(seconds=point["late"])
    return f"{moment:%H:%M}" if moment.date() == at.date() else f"{moment:%Y-%m-%d %H:%M}"
