"""One invented machine on several visits: healthy ones that prove it, and a later call that is weighed with
and without what they told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from weighing_tools import Look, prior_draw, simulate, thorough
from wringout.documents.call import Call
from wringout.documents.unit import Unit
from wringout.history.drift import share
from wringout.history.learning import Verdict, combined, judged
from wringout.history.visits import visits_of
from wringout.machine.design import design
from wringout.machine.parameters import Array, spreads
from wringout.weighing.answer import Answer, weigh
from wringout.weighing.hypothesis import HEALTHY, Hypothesis

__all__ = ["Life", "Tally", "life", "moved", "tallied", "weighed_twice"]


@dataclass(frozen=True)
class Life:
    """A machine's healthy visits with the verdict on each, and its later call with what is truly wrong.

    ``machines`` (visits + 1, spreads) are its spreads on each visit and on the call, in usual deviations.
    """

    unit: Unit
    machines: Array
    verdicts: tuple[Verdict, ...]
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


def life(
    unit: Unit,
    number: int,
    points: Sequence[str],
    visits: int = 1,
    truth: Sequence[Hypothesis] | None = None,
    drift: float = 1.0,
    stray: float = 1.0,
) -> Life:
    """Draw a machine, look it over on some healthy visits, and then let something go wrong.

    ``drift`` times the share of the day that is reckoned with is drawn anew on every visit, all of it at the
    most; readings have errors, slips and what the equations miss, as weighing expects them. The machine's own
    part strays ``stray`` times as far as that of its kind.
    """
    rng = np.random.default_rng(70_000 + number)
    rows = spreads(design(unit))
    day = np.minimum(share([row.name for row in rows]) * drift, 1.0)
    own = rng.standard_normal(len(rows))
    noise = rng.standard_normal((visits + 1, len(rows)))
    machines = stray * np.sqrt(1.0 - day) * own + np.sqrt(day) * noise
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
    options = prior_draw(unit, 600, rng) if truth is None else truth
    later = simulate(
        unit,
        list(options),
        [Look(tuple(points))],
        rng,
        model_error=True,
        slips=True,
        candidates=12_000,
        machine=machines[-1],
    )
    return Life(unit, machines, tuple(verdicts), later.call, later.truth)


def weighed_twice(one: Life) -> tuple[Answer, Answer]:
    """The call weighed without and with what the proven visits told; the same where none was proven."""
    without = weigh(one.call, np.random.default_rng(0), checks=False)
    learned = [v.learned for v in one.verdicts if v.learned is not None]
    if not learned:
        return without, without
    known = combined(learned, design(one.unit), one.call.events[0].at)
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
