"""Evidence: what each reading says for a suspect and against it, in bits.

A suspect is weighed twice: against the same set without it, which shows what it explains, and against its
best rival, the most probable set without it. Both sides are at their best fit, so the bits of all readings
and relations add up to the difference of the two log likelihoods.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from wringout.catalogue.causes import beyond_design_share, count_prior, prior_weights
from wringout.machine.acts import ACTS
from wringout.machine.parameters import Array
from wringout.machine.room_side import room_balance
from wringout.machine.steady import Settled, read_points
from wringout.weighing.answer import Answer
from wringout.weighing.batch import CONDITIONED, of_settled, settled
from wringout.weighing.best_fits import covariance, fitted, polished
from wringout.weighing.consistency import TERMS, consistency
from wringout.weighing.fit import Fit
from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.likelihood import log_density
from wringout.weighing.prior import Prior
from wringout.weighing.situation import Observation, Situation
from wringout.weighing.trend_signs import Sign
from wringout.weighing.unknowns import uniform

__all__ = [
    "WORTH_NAMING",
    "Balance",
    "Doubt",
    "Evidence",
    "Extent",
    "Suspect",
    "best_with",
    "best_without",
    "covariance",
    "doubtful",
    "evidence",
    "fitted",
    "mended",
    "polished",
    "still_wrong",
    "suspect",
    "suspects",
]

LN2 = math.log(2.0)
TINY = 1e-300
WORTH_NAMING = 0.05  # a cause that is less probable is no suspect
MOST_SUSPECTS = 5
DOUBTFUL = 3.0  # standard deviations off the best answer from which a reading is worth taking again


@dataclass(frozen=True)
class Evidence:
    """What one reading, or one relation between readings, says: ``bits`` over 0 speak for the suspect.

    ``situation`` its index and ``state`` its name; ``name`` a point id, or a name of consistency's TERMS;
    ``observation`` the reading (None for a relation). ``suspect`` and ``rival`` are what is computed with
    and without the suspect [SI of the point; NaN for a relation]; ``spread`` one standard deviation of
    reading and computation together, with the suspect. ``off_suspect`` and ``off_rival`` are residuals in
    standard deviations. ``numbers`` are what the relation ties together [SI], (with, without). ``logged`` is
    when a trend showed it; a sign of a whole trend has no situation (-1) and its own ``numbers``.
    """

    situation: int
    state: str
    name: str
    observation: Observation | None
    bits: float
    suspect: float
    rival: float
    spread: float
    off_suspect: float
    off_rival: float
    numbers: Mapping[str, tuple[float, float]]
    logged: datetime | None = None


@dataclass(frozen=True)
class Balance:
    """How a suspect's best hypothesis stands against its best rival, in bits: by all readings and
    relations, by how common each is, and by the rest: how far unknowns must stretch, how finely they must
    be tuned, and what weighing doubts of its own equations."""

    readings: float
    prior: float
    rest: float

    @property
    def total(self) -> float:
        """All of it [bits]."""
        return self.readings + self.prior + self.rest


@dataclass(frozen=True)
class Extent:
    """How far a cause goes, computed: most probable severity and one standard deviation to either side, as
    shares of the catalogue's span [0..1]."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True)
class Suspect:
    """One cause with its evidence.

    ``cause`` its id, empty for the healthy machine; ``probability`` that it is among what is wrong;
    ``variant`` which way, in words; ``mine`` and ``rival`` the hypotheses compared (indices into
    ``answer.weighed.hypotheses``), ``bare`` the same set without the cause; ``with_it`` and ``without_it``
    the causes of mine and rival; ``evidence`` against the rival and ``explains`` against the bare set, both
    strongest first; ``extent`` None where the cause has no one severity.
    """

    cause: str
    probability: float
    variant: str
    mine: int
    rival: int
    bare: int
    with_it: tuple[str, ...]
    without_it: tuple[str, ...]
    evidence: tuple[Evidence, ...]
    explains: tuple[Evidence, ...]
    balance: Balance
    extent: Extent | None


@dataclass(frozen=True)
class Doubt:
    """A reading that does not fit even the best answer; ``off`` in standard deviations."""

    state: str
    observation: Observation
    computed: float
    off: float


def _best(answer: Answer, wanted: list[bool]) -> int:
    return int(np.argmax(np.where(np.array(wanted), answer.weights, -1.0)))


def best_with(answer: Answer, cause: str, without: str | None = None) -> int | None:
    """Give the most probable hypothesis that holds a cause.

    Parameters
    ----------
    answer : Answer
    cause : str
        Id; empty for the healthy machine.
    without : str, optional
        A cause that it must not hold.

    Returns
    -------
    int or None
        Index into ``answer.weighed.hypotheses``; None where there is none.
    """
    wanted = [_holds(h, cause) and not (without and without in h.causes) for h in answer.weighed.hypotheses]
    return _best(answer, wanted) if any(wanted) else None


def best_without(answer: Answer, cause: str) -> int | None:
    """Give the most probable hypothesis that does not hold a cause.

    Parameters
    ----------
    answer : Answer
    cause : str
        Id; empty for the healthy machine.

    Returns
    -------
    int or None
        Index into ``answer.weighed.hypotheses``; None where every one holds it.
    """
    wanted = [not _holds(h, cause) for h in answer.weighed.hypotheses]
    return _best(answer, wanted) if any(wanted) else None


def _holds(hypothesis: Hypothesis, cause: str) -> bool:
    return cause in hypothesis.causes if cause else not hypothesis.causes


def evidence(answer: Answer, mine: int, rival: int) -> tuple[Evidence, ...]:
    """Take the difference between two hypotheses apart, reading by reading.

    Parameters
    ----------
    answer : Answer
    mine, rival : int
        Indices into ``answer.weighed.hypotheses``.

    Returns
    -------
    tuple of Evidence
        In the order of the readings, relations after those of each situation, what a whole trend shows at
        the end. The bits add up to the difference of the two log likelihoods.
    """
    pair = polished(answer, (mine, rival))
    hypotheses = [f.hypotheses[k] for f, k in pair]
    z = np.array([f.z[k] for f, k in pair])
    found: list[Evidence] = []
    for i, situation in enumerate(answer.problem.situations):
        here = settled(answer.at, i, hypotheses, np.arange(2), z)
        found += _of_situation(answer, i, situation, here)
    return (*found, *(_of_sign(sign, hypotheses) for sign in answer.signs))


def _of_sign(sign: Sign, hypotheses: Sequence[Hypothesis]) -> Evidence:
    mine, rival = (sign.log_likelihood(h) for h in hypotheses)
    numbers = {"value": (sign.value, sign.value), "other": (sign.other, sign.other)}
    nothing = math.nan
    return Evidence(
        -1,
        "auto",
        sign.name,
        None,
        (mine - rival) / LN2,
        nothing,
        nothing,
        nothing,
        nothing,
        nothing,
        numbers,
    )


def _of_situation(answer: Answer, i: int, situation: Situation, here: Settled) -> list[Evidence]:
    points = {name: np.broadcast_to(value, (2,)) for name, value in read_points(here).items()}
    r = of_settled(here, situation, 2)
    bits = _bits(r.residual, r.log_spread, r.slip)
    spread = np.exp(r.log_spread)
    observed = [o for o in situation.observations if o.point in points and o.point not in CONDITIONED]
    terms = consistency(here, situation)
    relations = [name for name in TERMS if name in terms]
    numbers = _numbers(here, points) if relations else {}
    found = []
    for k, observation in enumerate([*observed, *([None] * len(relations))]):
        name = observation.point if observation else relations[k - len(observed)]
        computed = points[name] if observation else np.full(2, np.nan)
        found.append(
            Evidence(
                i,
                situation.state,
                name,
                observation,
                float(bits[k]),
                float(computed[0]),
                float(computed[1]),
                float(spread[0, k]) if observation else math.nan,
                float(r.residual[0, k]),
                float(r.residual[1, k]),
                numbers if observation is None else {},
                situation.logged,
            )
        )
    return found


def _bits(residual: Array, log_spread: Array, slip: Array) -> Array:
    each = log_density(residual, slip) - log_spread
    return np.asarray((each[0] - each[1]) / LN2)


def _numbers(here: Settled, points: Mapping[str, Array]) -> dict[str, tuple[float, float]]:
    """What the relations between readings tie together, with the suspect and without it [SI]."""
    control = here.design.unit.control
    over = points["shown.dew_point"] - points["shown.setpoint_dew_point"]
    balance = room_balance(here)
    each: dict[str, Array] = {
        "command": here.conditions.command,
        "space over": points["shown.space_t"] - control.space_t,
        "dew point over": over,
        "dew point over end": over + 0.5 * control.dew_point_band,
        "asked": np.clip(over / control.dew_point_band + 0.5, 0.0, 1.0),
        "stages": here.conditions.stages,
        "modulation": here.conditions.modulation,
        "moisture gain": balance.moisture_gain,
        "moisture removed": balance.moisture_removed,
        "heat gain": balance.heat_gain,
        "heat removed": balance.heat_removed,
    }
    pairs = {name: np.broadcast_to(value, (2,)) for name, value in each.items()}
    return {name: (float(value[0]), float(value[1])) for name, value in pairs.items()}


def suspect(answer: Answer, cause: str) -> Suspect | None:
    """Give one cause with its evidence.

    Parameters
    ----------
    answer : Answer
    cause : str
        Id; empty for the healthy machine.

    Returns
    -------
    Suspect or None
        None where no weighed set holds the cause, or every one does.
    """
    mine, rival = best_with(answer, cause), best_without(answer, cause)
    if mine is None or rival is None:
        return None
    (f, k), (g, j) = fitted(answer, mine), fitted(answer, rival)
    bare = _bare(answer, f.hypotheses[k], cause, rival)
    part = next((p for p in f.hypotheses[k].parts if p.cause == cause), None)
    against = evidence(answer, mine, rival)
    return Suspect(
        cause,
        answer.marginals[cause] if cause else answer.healthy,
        part.variant.label if part else "",
        mine,
        rival,
        bare,
        f.hypotheses[k].causes,
        g.hypotheses[j].causes,
        _strongest(against),
        _strongest(against if bare == rival else evidence(answer, mine, bare)),
        _balance(answer, mine, rival, sum(e.bits for e in against)),
        _extent(answer, f, k, cause),
    )


def _bare(answer: Answer, hypothesis: Hypothesis, cause: str, rival: int) -> int:
    """The set without the cause: just that set where it was weighed, else the best of its subsets."""
    left = frozenset(hypothesis.causes) - {cause}
    if not cause:
        return rival
    others = [frozenset(h.causes) for h in answer.weighed.hypotheses]
    same = [causes == left for causes in others]
    return _best(answer, same if any(same) else [causes <= left for causes in others])


def _strongest(taken: tuple[Evidence, ...]) -> tuple[Evidence, ...]:
    return tuple(sorted(taken, key=lambda e: -abs(e.bits)))


def _balance(answer: Answer, mine: int, rival: int, readings: float) -> Balance:
    unit = answer.problem.design.unit
    known = Prior(prior_weights(unit), count_prior(), beyond_design_share())
    prior = known.log_probability(answer.weighed.hypotheses[mine]) - known.log_probability(
        answer.weighed.hypotheses[rival]
    )
    mine_weight, rival_weight = (max(float(answer.weights[k]), TINY) for k in (mine, rival))
    whole = math.log2(mine_weight / rival_weight)
    return Balance(readings, prior / LN2, whole - prior / LN2 - readings)


def _extent(answer: Answer, f: Fit, k: int, cause: str) -> Extent | None:
    if not cause or ACTS[cause].severities != 1:
        return None
    column = answer.at.first_severity + f.hypotheses[k].columns[cause].start
    deviation = math.sqrt(float(covariance(f, k)[column, column]))
    middle = float(f.z[k, column])
    shares = uniform(np.array([middle, middle - deviation, middle + deviation]))
    return Extent(float(shares[0]), float(shares[1]), float(shares[2]))


def suspects(answer: Answer, least: float = WORTH_NAMING, most: int = MOST_SUSPECTS) -> tuple[Suspect, ...]:
    """Give the causes that deserve a word, with their evidence.

    Parameters
    ----------
    answer : Answer
    least : float
        Probability from which a cause is a suspect.
    most : int
        How many at most.

    Returns
    -------
    tuple of Suspect
        Most probable first; the healthy machine is among them where it is that probable.
    """
    chances = {"": answer.healthy, **answer.marginals}
    ranked = sorted((c for c, p in chances.items() if p >= least), key=lambda c: -chances[c])
    found = (suspect(answer, cause) for cause in ranked[:most])
    return tuple(one for one in found if one is not None)


def still_wrong(answer: Answer) -> tuple[tuple[tuple[str, ...], float], ...]:
    """Give what is wrong now: sets less the causes that changes recorded in the call have dealt with.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    tuple of (tuple of str, float)
        Sets of causes that still act, with probability, most probable first. What nothing listed explains
        is not among them.
    """
    dealt = mended(answer)
    left: dict[tuple[str, ...], float] = {}
    for one in answer.sets:
        causes = tuple(c for c in one.causes if c not in dealt)
        left[causes] = left.get(causes, 0.0) + one.probability
    return tuple(sorted(left.items(), key=lambda pair: -pair[1]))


def mended(answer: Answer) -> frozenset[str]:
    """Give the causes that changes recorded in the call have dealt with.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    frozenset of str
    """
    situations = answer.problem.situations
    return situations[-1].mended if situations else frozenset()


def doubtful(answer: Answer) -> tuple[Doubt, ...]:
    """Give the readings that do not fit even the most probable answer.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    tuple of Doubt
        Furthest off first.
    """
    best = int(np.argmax(answer.weights))
    found = [
        Doubt(e.state, e.observation, e.suspect, e.off_suspect)
        for e in evidence(answer, best, best)
        if e.observation is not None and e.logged is None and abs(e.off_suspect) > DOUBTFUL
    ]
    return tuple(sorted(found, key=lambda d: -abs(d.off)))
