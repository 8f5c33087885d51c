"""What differs from how the last visit left the unit: settings one to one, readings through the machine."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from wringout.catalogue.points import sigma
from wringout.documents.call import Call
from wringout.history.drift import share
from wringout.history.visits import LeftReading, Visit, left_readings
from wringout.machine.parameters import Array
from wringout.machine.steady import read_points
from wringout.weighing.answer import SEVERITIES, weigh
from wringout.weighing.batch import settled
from wringout.weighing.best_fits import covariance
from wringout.weighing.discrepancy import model_spread
from wringout.weighing.fit import fit
from wringout.weighing.hypothesis import HEALTHY, Hypothesis
from wringout.weighing.situation import Problem, problem
from wringout.weighing.unknowns import Layout, layout

__all__ = ["CLEAR", "Difference", "differences"]

CLEAR = 2.5  # standard deviations from which a point differs: by chance one in eighty does
DRAWS = 160
# what is set by hand and does not follow the weather: compared one to one
SETTINGS = ("shown.setpoint_dew_point", "fan.speed", "shown.reheat_in_hand")
# what weather, people and control make of the moment: the machine is looked at under these
OF_THE_MOMENT = (
    "outdoor.t",
    "outdoor.rh",
    "return.t",
    "return.rh",
    "space.t",
    "space.rh",
    "shown.dew_point",
    "shown.outdoor_dew_point",
    "shown.space_t",
    "shown.reheat_command",
    "shown.stages_called",
    "shown.dehumidifying",
)
# of these nothing but control decides, so that no machine says what they should be
NOT_COMPARED = ("shown.reheat_command", "shown.stages_called", "shown.dehumidifying")
LEAST_LEFT = 4  # readings of the last visit from which its machine can be told at all


@dataclass(frozen=True)
class Difference:
    """One point in one state, now and as left.

    ``now`` the reading [SI]; ``left`` the last visit's reading, None where there was none; ``expected`` what
    the machine of the last visit would read now, None for a ``setting``, which is compared one to one;
    ``spread`` one standard deviation of ``off``, the difference; ``differs`` whether it is clear.
    """

    state: str
    point: str
    kind: Literal["setting", "reading"]
    now: float
    left: float | None
    expected: float | None
    off: float
    spread: float

    @property
    def differs(self) -> bool:
        """Whether the difference is more than instruments, weather and play account for."""
        return bool(abs(self.off) > CLEAR * self.spread)


def differences(before: Visit, now: Visit, rng: np.random.Generator) -> tuple[Difference, ...]:
    """Set what a visit found against what the one before had left.

    Parameters
    ----------
    before : Visit
        What it left is what its last readings after the last change show.
    now : Visit
        What it found: up to its first change.
    rng : numpy.random.Generator

    Returns
    -------
    tuple of Difference
        The clearest first.

    Notes
    -----
    Both visits are one machine in two weathers. It is fitted to what was left and to weather, room and
    controls of now, under the set of causes that the last readings then made most probable (mostly none), and
    asked for the other points as they should be now. A point of weather or room is judged by all others
    but itself. The machine's play between visits is added, and what the equations miss.
    """
    left, found = left_readings(before), _found(now)
    told = {(one.state, one.reading.point): one for one in left}
    result = [
        _setting(one, told[one.state, one.reading.point])
        for one in found
        if one.reading.point in SETTINGS and (one.state, one.reading.point) in told
    ]
    if len(left) >= LEAST_LEFT and found:
        result += _through_machine(before.as_left(), now.as_found(), told, found, rng)
    return tuple(sorted(result, key=lambda one: -abs(one.off) / max(one.spread, 1e-9)))


def _found(visit: Visit) -> tuple[LeftReading, ...]:
    """The last reading of every point in every state before the first change."""
    return left_readings(replace(visit, events=visit.as_found().events, held_before=None))


def _setting(now: LeftReading, left: LeftReading) -> Difference:
    a, b = now.reading.value, left.reading.value
    name = now.reading.point
    one = max(sigma(name, a), sigma(name, b))
    off = a - b
    # what is shown without error differs as soon as it is another
    return Difference(now.state, name, "setting", a, b, None, off, max(2.0**0.5 * one, 1e-6))


def _through_machine(
    left: Call,
    found: Call,
    told: dict[tuple[str, str], LeftReading],
    readings: Sequence[LeftReading],
    rng: np.random.Generator,
) -> list[Difference]:
    answer = weigh(left, rng, checks=False)
    best = answer.weighed.hypotheses[int(np.argmax(answer.weights))] if answer.weights.size else HEALTHY
    both = _both(left, found)
    at = layout(both, SEVERITIES)
    first = len(problem(left, sigma).situations)
    moment = [one for one in readings if one.reading.point in OF_THE_MOMENT]
    result: list[Difference] = []
    wanted: list[tuple[Collection[str], list[LeftReading]]] = [
        ((), [one for one in readings if one.reading.point not in (*OF_THE_MOMENT, *SETTINGS)])
    ]
    wanted += [
        ((name,), [one for one in moment if one.reading.point == name])
        for name in dict.fromkeys(one.reading.point for one in moment)
        if name not in NOT_COMPARED
    ]
    for hidden, judged in wanted:
        if judged:
            kept = [name for name in (*OF_THE_MOMENT, *SETTINGS) if name not in hidden]
            result += _judged(at, first, kept, best, judged, told, rng)
    return result


def _both(left: Call, found: Call) -> Problem:
    """What was left and what was found as two visits of one machine."""
    one, two = problem(left, sigma), problem(found, sigma)
    later = tuple(replace(s, visit=1, epoch=0) for s in two.situations)
    return replace(one, situations=(*(replace(s, visit=0, epoch=0) for s in one.situations), *later))


def _judged(
    at: Layout,
    first: int,
    kept: Collection[str],
    hypothesis: Hypothesis,
    judged: Sequence[LeftReading],
    told: dict[tuple[str, str], LeftReading],
    rng: np.random.Generator,
) -> list[Difference]:
    """Points as the machine would show them, fitted to all that was left and what is kept of now."""
    situations = list(at.problem.situations)
    for k in range(first, len(situations)):
        seen = tuple(o for o in situations[k].observations if o.point in kept)
        situations[k] = replace(situations[k], observations=seen)
    here = layout(replace(at.problem, situations=tuple(situations)), at.severities, at.rows)
    f = fit(here, [hypothesis], np.zeros((1, here.width)), rounds=8)
    rows = _draws(f.z[0], covariance(f, 0), share([row.name for row in at.rows]), here, rng)
    result: list[Difference] = []
    for k in range(first, len(situations)):
        there = [one for one in judged if one.state == situations[k].state]
        if not there:
            continue
        s = settled(here, k, [hypothesis], np.zeros(DRAWS, dtype=np.intp), rows)
        points = read_points(s)
        for one in there:
            name, value = one.reading.point, one.reading.value
            if name not in points:
                continue
            drawn: Array = np.broadcast_to(np.asarray(points[name], dtype=float), (DRAWS,))
            if not np.isfinite(drawn).all():
                continue
            middle = float(drawn.mean())
            missed = np.broadcast_to(model_spread(name, drawn, s, situations[k].item), (DRAWS,))
            own = one.reading.accuracy if one.reading.accuracy is not None else sigma(name, value)
            spread = float(np.sqrt(drawn.var() + np.mean(np.square(missed)) + own**2))
            before = told.get((one.state, name))
            result.append(
                Difference(
                    one.state,
                    name,
                    "reading",
                    value,
                    None if before is None else before.reading.value,
                    middle,
                    value - middle,
                    spread,
                )
            )
    return result


def _draws(middle: Array, spread: Array, day: Array, at: Layout, rng: np.random.Generator) -> Array:
    """Machines in the weather of now, with their play between two visits: what is of either day, but no more
    than machines of the kind have."""
    wider = spread.copy()
    machine = np.arange(len(at.rows))
    wider[machine, machine] += np.minimum(2.0 * day, np.maximum(1.0 - np.diag(spread)[machine], 0.0))
    size, axes = np.linalg.eigh(wider)
    root = (axes * np.sqrt(np.maximum(size, 0.0))) @ axes.T
    half = rng.standard_normal((DRAWS // 2, at.width))
    return np.asarray(np.clip(middle + np.concatenate([half, -half]) @ root, -5.0, 5.0))
