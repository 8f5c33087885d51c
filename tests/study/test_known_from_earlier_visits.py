"""A unit that proven visits made known is answered no worse than a new one, and better where readings tell.

Unit documents are those of the practice calls; the machines are invented, drawn anew for each case, and drift
from visit to visit. Each is looked over healthy on three visits, then something goes wrong. The later call is
weighed without, with one visit, and with three; figures stand in docs/validation.md.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from history_tools import Tally, life, tallied
from weighing_tools import SOME_MORE, WALK_UP, usual
from wringout.documents.load import load_unit
from wringout.documents.unit import Unit
from wringout.history.learning import combined
from wringout.machine.design import design
from wringout.machine.parameters import Array
from wringout.weighing.answer import weigh
from wringout.weighing.hypothesis import HEALTHY

pytestmark = pytest.mark.study

PRACTICE = Path(__file__).resolve().parents[3] / "shared" / "practice" / "calls"
CASES = 72
VISITS = 3
WALK, MORE = "walk-up", "some more"
SOUND = 24


@dataclass(frozen=True)
class Case:
    """One call: its figures by what was read and how many visits were known, and how far the machine was from
    what was learned, as a share of what the fingerprint allows."""

    figures: dict[tuple[str, int], Tally]
    faulty: bool
    off: float | None


def practice_units() -> list[Unit]:
    """Each unit document of the practice calls once."""
    if not PRACTICE.is_dir():
        pytest.skip(f"the practice calls are not at {PRACTICE}")
    once: dict[str, Path] = {}
    for path in sorted(PRACTICE.glob("*/unit.yaml")):
        once.setdefault(hashlib.sha256(path.read_bytes()).hexdigest(), path)
    return [load_unit(path) for path in once.values()]


@cache
def cases() -> tuple[Case, ...]:
    homes = practice_units()
    found = []
    for number in range(CASES):
        unit = homes[number % len(homes)]
        try:
            one = life(unit, number, (*WALK_UP, *usual(unit, SOME_MORE)), VISITS)
        except ValueError:  # nothing that this machine can show goes together with any display
            continue
        learned = [v.learned for v in one.verdicts if v.learned is not None]
        walked = tuple(event for event in one.call.events if getattr(event, "point", "") in WALK_UP)
        scored, off = {}, None
        for visits in (0, 1, VISITS):
            told = learned[len(learned) - visits :] if visits else []
            known = combined(told, design(unit), one.call.events[0].at) if told else None
            for read, call in ((WALK, one.call.model_copy(update={"events": walked})), (MORE, one.call)):
                answer = weigh(call, np.random.default_rng(0), checks=False, known=known)
                scored[read, visits] = tallied(answer, one.truth)
            if known is not None:
                away = one.machines[-1] - known.mean
                off = float(away @ np.linalg.solve(known.covariance, away)) / away.size
        faulty = bool(set(one.truth.causes) - {"beyond-design"})
        found.append(Case(scored, faulty, off))
    return tuple(found)


def figures(read: str, visits: int, name: str) -> Array:
    """A figure of every call; what can only be named where something is wrong, of those calls alone."""
    named = name in ("any_true", "recalled")
    return np.array(
        [float(getattr(case.figures[read, visits], name)) for case in cases() if case.faulty or not named]
    )


def mean(read: str, visits: int, name: str) -> float:
    return float(np.mean(figures(read, visits, name)))


@pytest.mark.parametrize("read", [WALK, MORE])
def test_the_truth_is_given_more_probability(read: str) -> None:
    for visits in (0, 1, VISITS):
        names = ("exact", "any_true", "recalled", "accused", "log_loss")
        change = figures(read, visits, "log_loss") - figures(read, 0, "log_loss")
        print(  # noqa: T201 - the study's table
            f"\n{read}, {visits} visits, {len(change)} calls ({len(figures(read, 0, 'recalled'))} faulty):",
            *(f"{name} {mean(read, visits, name):.3f}" for name in names),
            f"change {change.mean():+.2f} +- {change.std(ddof=1) / np.sqrt(len(change)):.2f}",
        )
    assert mean(read, VISITS, "log_loss") < mean(read, 0, "log_loss")


@pytest.mark.parametrize("read", [WALK, MORE])
def test_no_more_is_accused_that_is_not_there_and_no_less_is_named(read: str) -> None:
    two_calls = 2.0 / len(cases())
    assert mean(read, VISITS, "accused") <= mean(read, 0, "accused") + two_calls
    assert mean(read, VISITS, "exact") >= mean(read, 0, "exact") - two_calls


def test_the_machine_is_where_the_fingerprint_says_within_what_it_says() -> None:
    off = [case.off for case in cases() if case.off is not None]
    assert 0.85 < float(np.mean(off)) < 1.15


@pytest.mark.parametrize("stray", [1.0, 2.0])
def test_a_healthy_unit_is_more_surely_called_healthy_however_far_it_strays(stray: float) -> None:
    """Calls without a fault, on machines of the kind and on machines that stray twice as far."""
    homes = practice_units()
    sound: dict[int, list[float]] = {0: [], 1: [], VISITS: []}
    tallies: dict[int, list[Tally]] = {visits: [] for visits in sound}
    for number in range(SOUND):
        unit = homes[number % len(homes)]
        points = (*WALK_UP, *usual(unit, SOME_MORE))
        try:
            one = life(unit, 1000 + number, points, VISITS, truth=[HEALTHY], stray=stray)
        except ValueError:
            continue
        told = [v.learned for v in one.verdicts if v.learned is not None]
        for visits, mine in sound.items():
            last = told[len(told) - visits :] if visits else []
            known = combined(last, design(unit), one.call.events[0].at) if last else None
            answer = weigh(one.call, np.random.default_rng(0), checks=False, known=known)
            mine.append(answer.healthy + answer.marginals["beyond-design"])
            tallies[visits].append(tallied(answer, one.truth))
    for visits, mine in sound.items():
        shares = (
            f"{name} {np.mean([float(getattr(t, name)) for t in tallies[visits]]):.3f}"
            for name in ("exact", "accused", "log_loss")
        )
        print(f"\nstray {stray:g}, {visits} visits: mean {np.mean(mine):.3f}", *shares)  # noqa: T201
    assert np.mean(sound[VISITS]) > np.mean(sound[0])
