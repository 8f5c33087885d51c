"""Weigh a call: which sets of causes make its readings likely, how sure that is, and what to read next."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from wringout.catalogue.causes import BEYOND_DESIGN, beyond_design_share, count_prior, prior_weights
from wringout.catalogue.points import point, points_of, sigma
from wringout.documents.call import Call
from wringout.machine.known import KnownMachine
from wringout.machine.parameters import Array
from wringout.weighing.hypothesis import parts_of
from wringout.weighing.likelihood import log_density, log_density_astray
from wringout.weighing.next_check import Check, next_checks
from wringout.weighing.prior import Prior
from wringout.weighing.refine import refine
from wringout.weighing.search import Weighed, search
from wringout.weighing.situation import Problem, problem
from wringout.weighing.trend import LoggedTrend, mended_by, with_moments
from wringout.weighing.trend_signs import Sign, informed, signs_of
from wringout.weighing.unknowns import Layout, layout

__all__ = ["Answer", "CauseSet", "weigh"]

MOST_CAUSES = 3
SEVERITIES = 9  # three causes of three severities each
LEADING, LEADING_WORTH, SAMPLES = 24, 6.0, 128  # how many hypotheses are sampled, how far down, how often
# Those that share most of the answer between them are sampled more, and about other places than their fits
# too: an error of theirs is one of the answer.
FIRST, FIRST_WORTH, FIRST_SAMPLES = 8, 3.0, 640
DOUBT, DOUBTED_POWER = (
    0.05,
    0.4,
)  # that the equations fail a unit, and what its readings then still mean; judgement
UNLISTED_PRIOR = 0.01  # that something not in the catalogue is wrong; judgement
UNLISTED_ASTRAY = 0.25  # of the readings that such a thing sends anywhere; judgement


@dataclass(frozen=True)
class CauseSet:
    """A set of causes and the probability that it is exactly what is wrong; empty for a healthy unit."""

    causes: tuple[str, ...]
    probability: float


@dataclass(frozen=True)
class Answer:
    """What weighing a call gives.

    ``marginals`` by cause id the probability that it is among what is wrong; ``sets`` the joint answer,
    most probable first; ``healthy``; ``unexplained`` that nothing listed accounts for the readings;
    ``next`` further readings, best per minute first; ``weights`` posterior of every fitted hypothesis,
    beside ``weighed`` itself and its layout, for evidence and explanation; ``signs`` what a trend shows
    beside its settled moments.
    """

    marginals: dict[str, float]
    sets: tuple[CauseSet, ...]
    healthy: float
    unexplained: float
    next: tuple[Check, ...]
    problem: Problem
    at: Layout
    weighed: Weighed
    weights: Array
    signs: tuple[Sign, ...] = ()


def prior_of(call: Call) -> Prior:
    """The catalogue's prior for a call's unit."""
    return Prior(prior_weights(call.unit), count_prior(), beyond_design_share())


def refined_posterior(at: Layout, weighed: Weighed, rng: np.random.Generator) -> Array:
    """Log posterior of every hypothesis, the leading ones by sampling, the rest by their fits."""
    log_posterior = weighed.log_posterior.copy()
    order = np.argsort(-log_posterior)
    leading = order[log_posterior[order] > log_posterior[order[0]] - LEADING_WORTH][:LEADING]
    bounds = np.cumsum([0] + [len(f.hypotheses) for f in weighed.fits])
    level = np.searchsorted(bounds, leading, side="right") - 1
    place = [(weighed.fits[int(k)], int(i - bounds[k])) for i, k in zip(leading, level, strict=True)]
    fitted = log_posterior[leading]
    first = int((fitted[:FIRST] > fitted[0] - FIRST_WORTH).sum())
    for these, count, beside in ((slice(first), FIRST_SAMPLES, True), (slice(first, None), SAMPLES, False)):
        if not place[these]:
            continue
        found = refine(
            at,
            [f.hypotheses[j] for f, j in place[these]],
            np.array([f.z[j] for f, j in place[these]]),
            np.array([f.curvature.root[j] for f, j in place[these]]),
            count,
            rng,
            beside,
        )
        parabola = np.array([f.log_evidence[j] for f, j in place[these]])
        log_posterior[leading[these]] += found.log_evidence - parabola
    return log_posterior


def doubted(log_posterior: Array, log_prior: Array) -> Array:
    """Probabilities of hypotheses, with some doubt that the machine's equations hold for this very unit.

    With probability DOUBT the readings are taken to mean only a part of what the equations make of them:
    the likelihood to the power DOUBTED_POWER (a tempered posterior). No set of causes is then called all
    but certain on a few readings.
    """

    def shares(logs: Array) -> Array:
        raw = np.exp(logs - logs.max())
        return np.asarray(raw / raw.sum())

    part = log_prior + DOUBTED_POWER * (log_posterior - log_prior)
    return (1.0 - DOUBT) * shares(log_posterior) + DOUBT * shares(part)


def unlisted(weighed: Weighed, log_posterior: Array) -> float:
    """Probability that something outside the catalogue is at work, alone or beside what is in it.

    Parameters
    ----------
    weighed : Weighed
    log_posterior : array, (hypotheses,)

    Returns
    -------
    float, 0..1 [-]

    Notes
    -----
    Such a thing may send any reading anywhere, so it is weighed by what each hypothesis leaves unexplained
    where it fits best; it wins once several readings would have to be blunders.
    """
    gained = [
        (log_density_astray(f.residual, f.slip, UNLISTED_ASTRAY) - log_density(f.residual, f.slip)).sum(
            axis=1
        )
        for f in weighed.fits
    ]
    without = np.exp(log_posterior - log_posterior.max())
    odds = UNLISTED_PRIOR * float(without @ np.exp(np.concatenate(gained))) / float(without.sum())
    return odds / (1.0 + odds)


def _telling(trend: LoggedTrend, call: Call) -> tuple[Sign, ...]:
    """What a trend shows of causes that nobody had dealt with by its end: of the others it tells nothing."""
    dealt = mended_by(trend.end, call)
    return tuple(sign for sign in signs_of(trend) if sign.cause not in dealt)


def weigh(
    call: Call,
    rng: np.random.Generator,
    checks: bool = True,
    trend: LoggedTrend | None = None,
    known: KnownMachine | None = None,
) -> Answer:
    """Weigh a call.

    Parameters
    ----------
    call : Call
    rng : numpy.random.Generator
        Draws the samples behind the next checks.
    checks : bool
        Whether to look for next checks.
    trend : LoggedTrend, optional
        What a log of the days before the visit shows, beside the readings or without any.
    known : KnownMachine, optional
        What earlier visits told of this machine; without it, it is any machine of its kind.

    Returns
    -------
    Answer
    """
    prior = prior_of(call)
    what = replace(problem(call, sigma), known=known)
    signs: tuple[Sign, ...] = ()
    if trend is not None:
        what, signs = with_moments(what, call, trend, sigma), _telling(trend, call)
    at = layout(what, SEVERITIES)
    parts = parts_of(call.unit, [*prior.weights, BEYOND_DESIGN])
    told = informed(prior, signs)
    weighed = search(at, parts, told, MOST_CAUSES)
    log_posterior = refined_posterior(at, weighed, rng)
    unexplained = unlisted(weighed, log_posterior)
    # what was only screened counts too, for what the screening made of it
    every = (*weighed.hypotheses, *weighed.left)
    log_posterior = np.concatenate([log_posterior, weighed.left_log_posterior])
    log_prior = np.array([prior.log_probability(h) for h in every])
    believed = doubted(log_posterior, log_prior)
    shares = believed * (1.0 - unexplained)
    by_set: dict[tuple[str, ...], float] = {}
    for hypothesis, weight in zip(every, shares, strict=True):
        by_set[hypothesis.causes] = by_set.get(hypothesis.causes, 0.0) + float(weight)
    marginals = {part.cause: 0.0 for part in parts}
    for causes, weight in by_set.items():
        for cause in causes:
            marginals[cause] += weight
    ranked = sorted(by_set.items(), key=lambda item: -item[1])
    following: list[Check] = []
    if checks:
        fitted = believed[: len(weighed.hypotheses)]
        names = points_of(call.unit)
        following = next_checks(
            at,
            weighed,
            fitted / fitted.sum(),
            names,
            sigma,
            {name: point(name).minutes for name in names},
            rng,
        )
    return Answer(
        marginals,
        tuple(CauseSet(causes, weight) for causes, weight in ranked),
        by_set.get((), 0.0),
        unexplained,
        tuple(following),
        what,
        at,
        weighed,
        shares[: len(weighed.hypotheses)],
        signs,
    )
