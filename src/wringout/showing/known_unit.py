"""What proven earlier visits tell of a unit for its next call, learned and taken in the same way by commands,
pages and report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from wringout.documents.call import Call
from wringout.documents.unit import Unit
from wringout.history.fingerprint import (
    Fingerprint,
    LearnedVisit,
    check_unit,
    fingerprint_from_text,
    fingerprint_text,
    merged,
)
from wringout.history.learning import Verdict, combined, judged, not_among
from wringout.history.proofs import HeldProof, proven_visits, still_proven
from wringout.history.visits import Visit, fitted, visits_of
from wringout.machine.design import design
from wringout.machine.known import KnownMachine

__all__ = ["Told", "expected_of", "learned_from", "told_for", "verdicts", "visits_words"]

SEED = 0  # one visit, one verdict
MOST_NAMED = 4
MOST_DAYS = 2  # in a line that stands on every page
BY = {"readings": "by its readings", "days": "by the days after"}


@dataclass(frozen=True)
class Told:
    """What a fingerprint tells for one call: ``known`` for weighing, and the ``visits`` that it is from."""

    known: KnownMachine
    visits: tuple[LearnedVisit, ...]


def verdicts(visits: Iterable[Visit], unit: Unit, proven: Sequence[Visit] = ()) -> list[Verdict]:
    """Judge the visits to a machine that is still the one of the unit's document; ``proven`` are those that
    the days after have proven."""
    same = [visit for visit in visits if fitted(visit.unit) == fitted(unit)]
    return [judged(visit, np.random.default_rng(SEED), visit in proven) for visit in same]


def learned_from(
    calls: Sequence[Call], unit: Unit, proofs: Iterable[HeldProof] = ()
) -> tuple[Fingerprint | None, list[Verdict]]:
    """Learn a unit from its calls.

    Parameters
    ----------
    calls : sequence of Call
        Of one unit.
    unit : Unit
        Its document as it is now.
    proofs : iterable of HeldProof
        Of the days after; one that speaks of other days proves nothing here.

    Returns
    -------
    (Fingerprint or None, list of Verdict)
        None where no visit is proven; and what was judged of each. The numbers are those of the written
        document, so that a file of it gives the same answers.
    """
    visits = visits_of(calls)
    proven = [visit for proof in still_proven(proofs) for visit in proven_visits(proof, visits)]
    found = verdicts(visits, unit, proven)
    learned = [one.learned for one in found if one.learned is not None]
    if not learned:
        return None, found
    return fingerprint_from_text(fingerprint_text(merged(learned, unit)), "earlier visits"), found


def told_for(fingerprint: Fingerprint, call: Call, place: str = "earlier visits") -> Told | None:
    """Give what a fingerprint tells for a call.

    Parameters
    ----------
    fingerprint : Fingerprint
    call : Call
    place : str
        What complaints call the fingerprint.

    Returns
    -------
    Told or None
        None where it holds the call's own visits alone: a reading must not count twice.

    Raises
    ------
    InputError
        For the fingerprint of another unit.
    """
    check_unit(fingerprint, call.unit, place)
    spans = [(visit.first, visit.last) for visit in visits_of([call])]
    others = not_among(fingerprint, spans)
    if not others:
        return None
    at = max((last for _, last in spans), default=None)
    return Told(combined(others, design(call.unit), at), others)


def visits_words(visits: Sequence[LearnedVisit]) -> str:
    """Name proven visits, the latest last: "the proven visit of 2029-06-13 (by its readings)"."""
    named = [f"{visit.first:%Y-%m-%d} ({BY[visit.proven]})" for visit in visits[-MOST_NAMED:]]
    before = len(visits) - len(named)
    more = f"{before} before and " if before else ""
    return f"the proven visit{'' if len(visits) == 1 else 's'} of {more}{', '.join(named)}"


def expected_of(told: Told | None) -> str:
    """Name the machine that is expected: "this unit, as proven on 2029-06-13", or any of the kind."""
    if told is None:
        return "any healthy unit of the kind"
    days = list(dict.fromkeys(f"{visit.first:%Y-%m-%d}" for visit in told.visits))
    if len(days) > MOST_DAYS:
        return f"this unit, as proven on {len(days)} days, the last of them {days[-1]}"
    return f"this unit, as proven on {' and '.join(filter(None, (', '.join(days[:-1]), days[-1])))}"
