"""What proven visits tell of the machine: readings as information, combined for the next call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from wringout.errors import InputError
from wringout.history.drift import YEARLY, share
from wringout.history.fingerprint import Fingerprint, LearnedSpread, LearnedVisit, correlations
from wringout.history.visits import Visit
from wringout.machine.design import Design
from wringout.machine.known import KnownMachine
from wringout.machine.parameters import Array, Spread, spreads
from wringout.weighing.answer import Answer, weigh
from wringout.weighing.best_fits import covariance, fitted

__all__ = ["LEAST_READINGS", "Verdict", "combined", "judged", "not_among"]

LEAST_READINGS = 8
BY_READINGS = 0.5  # from which as-left readings alone count as proof: likelier than all that could be wrong
BY_DAYS = 0.15  # the same where the days after have proven the repair
YEAR = 365.25 * 86400.0
LEAST_EIGENVALUE = 1e-4  # of a covariance, in usual deviations: next to a hundredth of one


@dataclass(frozen=True)
class Verdict:
    """Whether a visit counts as proven, with what it told if so; ``why`` says it in words."""

    visit: Visit
    learned: LearnedVisit | None
    nothing_wrong: float
    why: str


def judged(visit: Visit, rng: np.random.Generator, held_since: bool = False) -> Verdict:
    """Judge whether a visit left the unit healthy, and learn from it if so.

    Parameters
    ----------
    visit : Visit
    rng : numpy.random.Generator
    held_since : bool
        Whether the days after the visit have proven the repair.

    Returns
    -------
    Verdict

    Notes
    -----
    Only readings after the last change count. What they tell is the posterior of the healthy machine about
    its best fit (Laplace), with weather, room and controls of the visit integrated out.
    """
    call = visit.as_left()
    count = len([event for event in call.events if event.kind == "reading"])
    if visit.left_held is not None:
        return Verdict(visit, None, float("nan"), f"{visit.left_held.item} was left held by hand")
    if count < LEAST_READINGS:
        least = f"{LEAST_READINGS} are the least to learn from"
        return Verdict(visit, None, float("nan"), f"{count} readings after the last change; {least}")
    answer = weigh(call, rng, checks=False)
    sound = answer.healthy + answer.marginals.get("beyond-design", 0.0)
    wanted = BY_DAYS if held_since else BY_READINGS
    if sound < wanted:
        said = f"nothing wrong is {100.0 * sound:.0f} % probable by its last readings"
        more = "" if held_since else "; proof by the days after it helps"
        return Verdict(visit, None, sound, f"{said}, {100.0 * wanted:.0f} % is wanted{more}")
    learned = LearnedVisit(
        first=visit.first,
        last=visit.last,
        complaint=visit.complaint,
        readings=count,
        nothing_wrong=round(min(max(sound, 0.0), 1.0), 4),
        proven="days" if held_since else "readings",
        **_posterior(answer),
    )
    return Verdict(visit, learned, sound, "proven by the days after it" if held_since else "its readings")


def _posterior(answer: Answer) -> dict[str, tuple[object, ...]]:
    """Spreads and correlations of the machine with nothing wrong."""
    sound = [k for k, h in enumerate(answer.weighed.hypotheses) if set(h.causes) <= {"beyond-design"}]
    best = max(sound, key=lambda k: float(answer.weighed.log_posterior[k]))
    f, row = fitted(answer, best)
    rows = answer.at.rows
    whole = covariance(f, row)[: len(rows), : len(rows)]
    deviation = np.sqrt(np.diag(whole))
    together = np.clip(whole / np.outer(deviation, deviation), -1.0, 1.0)
    return {
        "spreads": tuple(
            LearnedSpread(
                name=one.name,
                kind="ratio" if one.kind == "ratio" else "shift",
                mean=float(one.sigma * f.z[row, k]),
                deviation=float(one.sigma * min(deviation[k], 1.0)),
                usual=one.sigma,
            )
            for k, one in enumerate(rows)
        ),
        "correlation": tuple(tuple(float(v) for v in together[k, :k]) for k in range(len(rows))),
    }


def information(visit: LearnedVisit, rows: Sequence[Spread]) -> tuple[Array, Array]:
    """What a visit's readings alone tell of the machine, without what is known of its kind.

    Parameters
    ----------
    visit : LearnedVisit
    rows : sequence of Spread
        The machine's spreads.

    Returns
    -------
    (array, array)
        Information (rows, rows), never negative in any direction, and information times mean (rows,); in
        usual deviations of ``rows``.

    Raises
    ------
    InputError
        For a spread that this machine does not have.
    """
    names = [row.name for row in rows]
    there = []
    for spread in visit.spreads:
        if spread.name not in names or rows[names.index(spread.name)].kind != spread.kind:
            raise InputError(
                f'there is no spread "{spread.name[:40]}" ({spread.kind}) in a machine of this kind; learn '
                "again with this version"
            )
        there.append(names.index(spread.name))
    usual = np.array([spread.usual for spread in visit.spreads])
    mean = np.array([spread.mean for spread in visit.spreads]) / usual
    deviation = np.array([spread.deviation for spread in visit.spreads]) / usual
    size, axes = np.linalg.eigh(correlations(visit) * np.outer(deviation, deviation))
    size = np.clip(size, LEAST_EIGENVALUE, 1.0)
    told = (axes * (1.0 / size - 1.0)) @ axes.T
    # along directions in which nothing was learned a rounded mean must not count
    pull = axes @ ((axes.T @ mean) / size)
    # another version may hold machines of the kind for wider or narrower: what was read stays the same
    scale = np.array([rows[k].sigma for k in there]) / usual
    whole, vector = np.zeros((len(rows), len(rows))), np.zeros(len(rows))
    whole[np.ix_(there, there)] = told * np.outer(scale, scale)
    vector[there] = pull * scale
    return whole, vector


def combined(visits: Sequence[LearnedVisit], design: Design, at: datetime | None = None) -> KnownMachine:
    """Combine visits into what is known of the machine at a later time.

    Parameters
    ----------
    visits : sequence of LearnedVisit
        In any order.
    design : Design
    at : datetime, optional
        When it is to be known; at the last visit, if not given.

    Returns
    -------
    KnownMachine
        Never wider than machines of the kind, never narrower than what is of the day.

    Notes
    -----
    Of each spread a share D of the variance is drawn anew on every visit and the rest is the machine's own
    (a random-effects model; D of :mod:`wringout.history.drift`). A visit tells of the machine's own part,
    its error widened by D and by what years do; these tellings are multiplied as normal densities, which no
    order changes. The next call then has D on top again.
    """
    rows = spreads(design)
    names = tuple(row.name for row in rows)
    day = share(names)
    own = np.sqrt(1.0 - day)
    told, pull = np.zeros((len(rows), len(rows))), np.zeros(len(rows))
    at = at or max((visit.last for visit in visits), default=None)
    for visit in visits:
        of_visit, vector = information(visit, rows)
        years = abs((at - visit.last).total_seconds()) / YEAR if at is not None else 0.0
        moved = np.diag(day + YEARLY * years)
        widened = np.linalg.solve(np.eye(len(rows)) + of_visit @ moved, np.column_stack([of_visit, vector]))
        told += 0.5 * (widened[:, :-1] + widened[:, :-1].T)
        pull += widened[:, -1]
    core = np.linalg.inv(np.eye(len(rows)) + own[:, None] * told * own)
    kept = own[:, None] * (0.5 * (core + core.T)) * own
    return KnownMachine(names, kept @ pull, kept + np.diag(day))


def not_among(
    fingerprint: Fingerprint, spans: Sequence[tuple[datetime, datetime]]
) -> tuple[LearnedVisit, ...]:
    """Give the visits of a fingerprint that lie in none of some spans of time.

    Parameters
    ----------
    fingerprint : Fingerprint
    spans : sequence of (datetime, datetime)
        First and last moment of each, by the clock of the place.

    Returns
    -------
    tuple of LearnedVisit
    """
    return tuple(
        visit
        for visit in fingerprint.visits
        if not any(visit.first <= last and first <= visit.last for first, last in spans)
    )
