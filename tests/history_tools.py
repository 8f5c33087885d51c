"""One invented machine on several visits: healthy ones that prove it, and a later call that is weighed with
and without what they told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from weighing_tools import Look, prior_draw, simulate, thorough
from wringout.documents.call import Call
from wringout.documents.unit import Unit
from wringout.history.drift import share
from wringout.history.learning import Verdict, combined, judged
from wringout.history.visits import visits_of
from wringout.machine.design import design
from wringout.machine.known import KnownMachine
from wringout.machine.parameters import Array, spreads
from wringout.weighing.answer import Answer, weigh
from wringout.weighing.hypothesis import HEALTHY, Hypothesis

__all__ = ["Life", "LookedOver", "Tally", "life", "looked_over", "moved", "tallied", "weighed_twice"]


@dataclass(frozen=True)
class LookedOver:
    """A machine's healthy visits with the verdict on each.

    ``own`` (spreads,) is where its spreads lie of themselves, ``machines`` (visits + 1, spreads) where they
    are on each visit and on the call after them, all in usual deviations.
    """

    unit: Unit
    own: Array
    machines: Array
    verdicts: tuple[Verdict, ...]

    def known(self, at: datetime) -> KnownMachine | None:
        """What its proven visits tell for a later time; None where none is proven."""
        learned = [verdict.learned for verdict in self.verdicts if verdict.learned is not None]
        return combined(learned, design(self.unit), at) if learned else None


@dataclass(frozen=True)
class Life(LookedOver):
    """A machine that was looked over, and its later call with what is truly wrong."""

    call: Call
    truth: Hypothesis


@dataclass(frozen=True)
class Tally:
    """One answer against the truth, as the practice calls are scored."""

    exact: bool
    recalled: float
    any_true: bool
    accused: bool
    log_loss: float


def moved(call: Call, days: float) -> Call:
    """The same call so many days later."""
    later = tuple(e.model_copy(update={"at": e.at + timedelta(days=days)}) for e in call.events)
    return call.model_copy(update={"events": later})


def looked_over(
    unit: Unit,
    rng: np.random.Generator,
    visits: int = 1,
    drift: float = 1.0,
    stray: float = 1.0,
    wider: Mapping[str, float] | None = None,
) -> LookedOver:
    """Draw a machine, and look it over on some healthy visits, a month apart.

    ``drift`` times the share of the day that is reckoned with is drawn anew on every visit, all of it at the
    most; readings have errors, slips and what the equations miss, as weighing expects them. The machine's own
    part strays ``stray`` times as far as that of its kind, and ``wider`` [usual deviations] besides where its
    document is filled in by rule.
    """
    names = [row.name for row in spreads(design(unit))]
    day = np.minimum(share(names) * drift, 1.0)
    own = stray * np.sqrt(1.0 - day) * rng.standard_normal(len(names))
    noise = rng.standard_normal((visits + 1, len(names)))
    for name, spread in (wider or {}).items():
        own[names.index(name)] += spread * rng.standard_normal()
    machines = own + np.sqrt(day) * noise
    verdicts = []
    for k in range(visits):
        made = simulate(
            unit,
            [HEALTHY],
            [Look(thorough(unit))],
            rng,
            model_error=True,
            slips=True,
            machine=machines[k],
        )
        visit = visits_of([moved(made.call, 30.0 * (k - visits))])[0]
        verdicts.append(judged(visit, np.random.default_rng(0), held_since=True))
    return LookedOver(unit, own, machines, tuple(verdicts))


def life(
    unit: Unit,
    number: int,
    points: Sequence[str],
    visits: int = 1,
    truth: Sequence[Hypothesis] | None = None,
    drift: float = 1.0,
    stray: float = 1.0,
) -> Life:
    """Draw a machine, look it over on some healthy visits, and then let something go wrong; ``drift`` and
    ``stray`` as `looked_over` has them."""
    rng = np.random.default_rng(70_000 + number)
    before = looked_over(unit, rng, visits, drift, stray)
    options = prior_draw(unit, 600, rng) if truth is None else truth
    later = simulate(
        unit,
        list(options),
        [Look(tuple(points))],
        rng,
        model_error=True,
        slips=True,
        candidates=12_000,
        machine=before.machines[-1],
    )
    return Life(unit, before.own, before.machines, before.verdicts, later.call, later.truth)


def weighed_twice(one: Life) -> tuple[Answer, Answer]:
    """The call weighed without and with what the proven visits told; the same where none was proven."""
    without = weigh(one.call, np.random.default_rng(0), checks=False)
    known = one.known(one.call.events[0].at)
    if known is None:
        return without, without
    return without, weigh(one.call, np.random.default_rng(0), checks=False, known=known)


def tallied(answer: Answer, truth: Hypothesis) -> Tally:
    """Score one answer. Weather beyond the design day counts as nothing wrong, as it is nothing to mend."""
    true = set(truth.causes) - {"beyond-design"}
    marginals = {cause: p for cause, p in answer.marginals.items() if cause != "beyond-design"}
    first = set(answer.sets[0].causes) - {"beyond-design"}
    top = sorted(marginals, key=lambda cause: -marginals[cause])[: len(true)]
    chance = sum(s.probability for s in answer.sets if set(s.causes) - {"beyond-design"} == true)
    return Tally(
        first == true,
        len(true & set(top)) / len(true) if true else 1.0,
        bool(true & first) or not true,
        any(p >= 0.8 for cause, p in marginals.items() if cause not in true),
        -float(np.log(max(chance, 1e-6))),
    )
