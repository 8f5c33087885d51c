"""What search leaves untried does not matter: every single and every pair fitted, and triples about the best.

Pairs that were not tried together carry less than a hundredth. Triples are many and each next to nothing (a
plain cause and any two that are not needed); together they can carry some hundredths, and what is asked of
them is that they move no cause's marginal by more than three.

The calls are machine-made. Each set that search did not fit is fitted here from the same kind of start, with
as many steps, and its Laplace evidence times prior is put beside that of the sets that were fitted. Of
triples, some ten thousand a unit, those are fitted that add any one cause to one of the best forty pairs of
all pairs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest

import units
from weighing_tools import SHUT, WALK_UP, Look, hypotheses_of, simulate, unit_of, usual
from wringout.documents.call import Call
from wringout.machine.parameters import Array
from wringout.weighing.answer import Answer, prior_of, weigh
from wringout.weighing.fit import Fit, fit
from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.prior import Prior
from wringout.weighing.search import screen

pytestmark = pytest.mark.study

LEFT_OUT = 0.01
MOVED = 0.03  # of a marginal
BEST = 40  # pairs that grow to triples here
AT_ONCE = 150  # fits in one call
CALLS = (
    (units.RECLAIM_MIXING, ("strainer-plugged",)),
    (units.RECLAIM_UPSTREAM, ("valve-stuck", "filter-loaded")),
    (units.CHILLED_TWO_WAY, ("dew-sensor-high", "coil-dirty")),
    (units.BOILER_DIVERTING, ("pump-weak", "outdoor-damper-open")),
    (units.HOT_GAS, ("charge-low", "fan-slow")),
    (units.BOILER_DIVERTING, ()),
)
MORE = ("coil_leaving.t", "filter.drop", "reheat.stem", "reheat.water_in", "loop.flow", "fan.current")


@dataclass(frozen=True)
class Whole:
    """Posterior shares of what search tried, and of pairs and triples that it did not."""

    singles: int
    pairs: int
    triples: int
    tried: int
    screened: int
    left_pairs: float
    left_triples: float
    worst: str
    better: float
    moved: float


@cache
def weighed(text: str, causes: tuple[str, ...]) -> Answer:
    unit = unit_of(text)
    looks = [Look((*WALK_UP, *usual(unit, MORE))), Look(usual(unit, ("supply.t", "coil_leaving.t")), SHUT)]
    call = simulate(unit, hypotheses_of(unit, *causes), looks, np.random.default_rng(21)).call
    return weigh(call, np.random.default_rng(0), checks=False)


def fitted(answer: Answer, found: list[tuple[float, Hypothesis, Array]], rounds: int) -> list[Fit]:
    return [
        fit(answer.at, [f[1] for f in part], np.array([f[2] for f in part]), rounds=rounds)
        for part in (found[k : k + AT_ONCE] for k in range(0, len(found), AT_ONCE))
    ]


def whole(answer: Answer) -> Whole:
    """Fit everything that search did not."""
    unit = answer.problem.design.unit
    prior = prior_of(Call(unit=unit, complaint="", events=()))
    known = {
        h.numbers: float(v)
        for h, v in zip(answer.weighed.hypotheses, answer.weighed.log_posterior, strict=True)
    }
    # sets that were only screened count for what the screening made of them, as they do in the answer
    screened = dict(zip(answer.weighed.left, map(float, answer.weighed.left_log_posterior), strict=True))
    numbered = {p.number: p for h in answer.weighed.hypotheses for p in h.parts}
    parts = tuple(numbered[n] for n in sorted(numbered))
    singles = answer.weighed.fits[1]
    assert len(singles.hypotheses) == len(parts), "every single cause is fitted"
    all_pairs = _once(screen(answer.at, singles, range(len(singles.hypotheses)), parts, prior))
    pair_fits = fitted(answer, all_pairs, 4)
    pairs = _posterior(pair_fits, prior)
    order = sorted(pairs, key=lambda h: -pairs[h])[:BEST]
    triples: dict[Hypothesis, float] = {}
    for one in pair_fits:
        places = [k for k, h in enumerate(one.hypotheses) if h in order]
        if places:
            grown = _once(screen(answer.at, one, places, parts, prior))
            triples |= _posterior(fitted(answer, [g for g in grown if g[1] not in triples], 4), prior)
    top = max(*known.values(), *pairs.values(), *triples.values())

    def shares(logs: dict[Hypothesis, float]) -> dict[Hypothesis, float]:
        return {h: float(np.exp(v - top)) for h, v in logs.items()}

    fit_here = shares({h: known[h.numbers] for h in answer.weighed.hypotheses})
    anywhere = shares({h: v for h, v in {**pairs, **triples}.items() if h.numbers not in known})
    seen = fit_here | shares(screened)
    left = {h: v for h, v in anywhere.items() if h not in seen}
    everything = seen | anywhere
    total = sum(everything.values())
    worst = max(left, key=lambda h: left[h]) if left else Hypothesis()
    better = max(pairs[h] - known[h.numbers] for h in pairs if h.numbers in known)
    moved = max(
        abs(_marginal(everything, cause) - _marginal(seen, cause)) for cause in {p.cause for p in parts}
    )
    return Whole(
        len(parts),
        len(pairs),
        len(triples),
        len(known),
        len(screened),
        sum(v for h, v in left.items() if len(h.parts) == 2) / total,
        sum(v for h, v in left.items() if len(h.parts) == 3) / total,
        " + ".join(worst.causes),
        better,
        moved,
    )


def _marginal(shares: dict[Hypothesis, float], cause: str) -> float:
    return sum(v for h, v in shares.items() if cause in h.causes) / sum(shares.values())


def _once(found: list[tuple[float, Hypothesis, Array]]) -> list[tuple[float, Hypothesis, Array]]:
    """Each set once, from its better start: a pair grows from either of its causes."""
    best: dict[tuple[int, ...], tuple[float, Hypothesis, Array]] = {}
    for one in found:
        best.setdefault(one[1].numbers, one)
    return list(best.values())


def _posterior(fits: list[Fit], prior: Prior) -> dict[Hypothesis, float]:
    return {
        h: float(v) + prior.log_probability(h)
        for f in fits
        for h, v in zip(f.hypotheses, f.log_evidence, strict=True)
    }


@pytest.mark.parametrize("call", CALLS, ids=lambda call: " and ".join(call[1]) or "healthy")
def test_what_search_does_not_try_carries_less_than_a_hundredth(
    call: tuple[str, tuple[str, ...]], record_property: Callable[[str, object], None]
) -> None:
    found = whole(weighed(*call))
    print(  # noqa: T201 - the study's table
        f"\n{' + '.join(call[1]) or 'healthy':34} {found.pairs} pairs and {found.triples} triples besides "
        f"{found.singles} singles; search fitted {found.tried} sets and screened {found.screened} more; "
        f"never seen {100 * found.left_pairs:.2f} % "
        f"in pairs, {100 * found.left_triples:.2f} % in triples, most in {found.worst}; a pair's fit here is "
        f"{found.better:+.2f} nat over search's at the most; no marginal moves by more than {found.moved:.4f}"
    )
    record_property("left out in pairs", round(found.left_pairs, 5))
    record_property("left out in triples", round(found.left_triples, 5))
    assert found.pairs > 300
    assert found.left_pairs < LEFT_OUT
    assert found.moved < MOVED
