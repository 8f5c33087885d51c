"""Service calls made by the machine: an invented unit, causes at work, and what instruments would show.

A call is drawn from just what weighing assumes: parameters from their healthy spread, weather and room from
theirs, kept in proportion to how well controls and room agree with what the display shows. So an exact
weighing of such calls would be calibrated, and every departure from that is the weighing's own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wringout.catalogue.points import point, points_of, sigma
from wringout.documents.call import Call, Change, Event, Force, Reading, Release
from wringout.documents.load import unit_from_text
from wringout.documents.unit import Unit
from wringout.machine.acts import ACTS
from wringout.machine.parameters import Array, neutral, spreads
from wringout.machine.steady import read_points
from wringout.weighing.answer import prior_of
from wringout.weighing.batch import of_settled, settled
from wringout.weighing.discrepancy import model_spread
from wringout.weighing.hypothesis import HEALTHY, Hypothesis, Part, compatible, extended, parts_of
from wringout.weighing.likelihood import SLIP_SCALE
from wringout.weighing.situation import BINARY, Observation, Problem, problem
from wringout.weighing.unknowns import SHIFT, VISIT, Layout, conditions, layout

__all__ = [
    "DISPLAY",
    "WALK_UP",
    "Look",
    "OPEN",
    "SHUT",
    "SOME_MORE",
    "Simulated",
    "altered",
    "evident",
    "hypotheses_of",
    "machine_made_call",
    "parts_for",
    "prior_draw",
    "reading",
    "simulate",
    "thorough",
    "unit_of",
    "usual",
]

DISPLAY = ("shown.dehumidifying", "shown.stages_called", "shown.reheat_command")
"""What the controller has decided; every visit begins by reading it."""
WALK_UP = (
    *DISPLAY,
    "shown.dew_point",
    "shown.space_t",
    "shown.setpoint_dew_point",
    "outdoor.t",
    "outdoor.rh",
    "space.t",
    "space.rh",
    "supply.t",
    "supply.rh",
)
SOME_MORE = (
    "coil_leaving.t",
    "filter.drop",
    "mixed.t",
    "fan.current",
    "reheat.stem",
    "reheat.signal",
    "reheat.water_in",
    "loop.flow",
    "source.water_out",
    "chilled.water_in",
    "reclaim.gas_in",
    "shown.reheat_in_hand",
)
"""What a second quarter of an hour adds to a walk-up."""
SHUT, OPEN = "reheat.command=0 %", "reheat.command=100 %"
SEVERITIES = 9
BATCHES, MOST_BATCHES = 12, 72  # displays that are tried: so many, or more until enough rows agree with one
ENOUGH = 25.0  # effective candidates behind the one that is picked
FIRST_DAY = datetime(2027, 7, 6, 10, 0)


@dataclass(frozen=True)
class Look:
    """Points read in one state; ``visit`` counts days, ``change`` is what was altered just before (a cause,
    or "" for a change that names none)."""

    points: tuple[str, ...]
    state: str = "auto"
    visit: int = 0
    change: str | None = None


@dataclass(frozen=True)
class Simulated:
    """A call, what is truly wrong in it, and the unknowns behind it: their row and what its columns mean."""

    call: Call
    truth: Hypothesis
    z: Array
    at: Layout


def unit_of(text: str) -> Unit:
    """The unit of a document's text."""
    return unit_from_text(text)


def usual(unit: Unit, points: Sequence[str]) -> tuple[str, ...]:
    """Those of some points that a unit has."""
    own = set(points_of(unit))
    return tuple(name for name in points if name in own)


def thorough(unit: Unit) -> tuple[str, ...]:
    """Some 25 to 30 points that a careful technician reads in ``auto``, one traverse among them."""
    wanted = [
        *WALK_UP,
        "shown.supply_t",
        "shown.outdoor_dew_point",
        "shown.reheat_in_hand",
        "mixed.t",
        "coil_leaving.t",
        "supply.airflow",
        "filter.drop",
        "fan.current",
        "chilled.water_in",
        "chilled.water_out",
        "chilled.stem",
        "reheat.signal",
        "reheat.stem",
        "loop.flow",
        "reheat.water_in",
        "source.water_in",
        "source.water_out",
        "pump.head",
        "strainer.drop",
        "reclaim.gas_in",
        "reclaim.gas_out",
        *(f"stage.{id}.current" for id in unit.stage_ids),
    ]
    return usual(unit, wanted)


def parts_for(unit: Unit) -> tuple[Part, ...]:
    """Every cause that a unit can have, in each variant."""
    return parts_of(unit, [id for id in ACTS if id in _causes_of(unit)])


def _causes_of(unit: Unit) -> set[str]:
    return {*prior_of(Call(unit=unit, complaint="", events=())).weights, "beyond-design"}


def hypotheses_of(unit: Unit, *causes: str) -> list[Hypothesis]:
    """A set of causes in each combination of its variants."""
    found = [HEALTHY]
    for cause in causes:
        ways = [part for part in parts_for(unit) if part.cause == cause]
        if not ways:
            raise ValueError(f"{unit.name} cannot have {cause}")
        found = [extended(h, part) for h in found for part in ways]
    return found


def prior_draw(unit: Unit, count: int, rng: np.random.Generator) -> list[Hypothesis]:
    """Sets of causes drawn from the catalogue's prior, barred sets left out as weighing leaves them out."""
    prior = prior_of(Call(unit=unit, complaint="", events=()))
    parts = parts_for(unit)
    by_cause = {id: [p for p in parts if p.cause == id] for id in {p.cause for p in parts}}
    ids, weights = list(prior.weights), np.array(list(prior.weights.values()))
    numbers, chances = list(prior.counts), np.array(list(prior.counts.values()))
    drawn: list[Hypothesis] = []
    while len(drawn) < count:
        size = int(rng.choice(numbers, p=chances))
        causes = [ids[k] for k in rng.choice(len(ids), size=size, p=weights)]
        if size == 0 and rng.random() < prior.beyond_design:
            causes = ["beyond-design"]
        found: Hypothesis | None = HEALTHY
        for cause in causes:
            ways = by_cause[cause]
            part = ways[int(rng.integers(len(ways)))]
            found = extended(found, part) if compatible(found, part) else None
            if found is None:
                break
        if found is not None:
            drawn.append(found)
    return drawn


def simulate(
    unit: Unit,
    hypotheses: Sequence[Hypothesis],
    looks: Sequence[Look],
    rng: np.random.Generator,
    *,
    model_error: bool = False,
    slips: bool = False,
    severe: bool = False,
    candidates: int = 6000,
    machine: Array | None = None,
) -> Simulated:
    """Draw a call in which one of some sets of causes is at work.

    Parameters
    ----------
    unit : Unit
    hypotheses : sequence of Hypothesis
        Equally probable before the displays are read.
    looks : sequence of Look
        What is read, in order; the first reads the displays.
    rng : numpy.random.Generator
    model_error : bool
        Whether readings also stray by the model's own error, beside the instrument's.
    slips : bool
        Whether some readings are gross slips, as often as weighing expects.
    severe : bool
        Whether each cause is in the worse half of its range.
    candidates : int
        Rows of unknowns drawn for each look at the displays, more where few of them agree with it.
    machine : array, (spreads,), [-], optional
        The machine's spreads; drawn, if not given.

    Returns
    -------
    Simulated
    """
    at, situations = _laid_out(unit, looks)
    row = np.zeros(at.width)
    fixed = np.zeros(at.width, dtype=bool)
    if machine is not None:
        row[: len(at.rows)], fixed[: len(at.rows)] = machine, True
    options = list(hypotheses)
    for index in dict.fromkeys(situations):
        read = {p for look, k in zip(looks, situations, strict=True) if k == index for p in look.points}
        if read.issuperset(DISPLAY):
            row, truth, shown = _settle_on(at, index, options, row, fixed, rng, candidates, severe)
            at, options = _showing(at, index, shown), [truth]
        elif fixed.any():
            row = np.where(fixed, row, rng.standard_normal(at.width))
        else:
            raise ValueError("the first look has to read the displays")
        fixed |= _columns_of(at, index)
    values = [
        _taken(at, k, look, options[0], row, rng, model_error, slips)
        for look, k in zip(looks, situations, strict=True)
    ]
    return Simulated(_call(unit, looks, values), options[0], row, at)


def machine_made_call(number: int, homes: Sequence[Unit]) -> Simulated:
    """A walk-up call and some readings more, with what the catalogue's prior puts wrong, errors and slips
    included; the same number gives the same call."""
    unit, rng = homes[number % len(homes)], np.random.default_rng(9000 + number)
    look = Look((*WALK_UP, *usual(unit, SOME_MORE)))
    return simulate(
        unit, prior_draw(unit, 600, rng), [look], rng, model_error=True, slips=True, candidates=12_000
    )


def evident(made: Simulated) -> int:
    """How many readings, or terms of control and room, would lie more than three standard deviations
    elsewhere if nothing were wrong and all else were the same."""
    at = replace(made.at, problem=problem(made.call, sigma))
    owner = np.zeros(1, dtype=np.intp)
    moved = 0
    for index, situation in enumerate(at.problem.situations):
        with_it, without = (
            of_settled(settled(at, index, [h], owner, made.z[None]), situation, 1).residual[0]
            for h in (made.truth, HEALTHY)
        )
        moved += int((np.abs(with_it - without) > 3.0).sum())
    return moved


def _laid_out(unit: Unit, looks: Sequence[Look]) -> tuple[Layout, list[int]]:
    """Unknowns of a call that is still to be read, and which situation each look belongs to."""
    what = problem(_call(unit, looks, [dict.fromkeys(DISPLAY, 1.0)] * len(looks)), sigma)
    keys: list[tuple[int, int, str]] = []
    situations: list[int] = []
    epoch = 0
    for look in looks:
        epoch += look.change is not None
        key = (epoch, look.visit, look.state)
        if key not in keys:
            keys.append(key)
        situations.append(keys.index(key))
    empty = tuple(replace(s, observations=()) for s in what.situations)
    return layout(Problem(what.design, empty), SEVERITIES, spreads(what.design)), situations


def _showing(at: Layout, index: int, shown: tuple[float, ...]) -> Layout:
    """The same unknowns where one situation's displays have been read."""
    read = tuple(
        Observation(name, value, sigma(name, value), 0.003, k)
        for k, (name, value) in enumerate(zip(DISPLAY, shown, strict=True))
    )
    situations = list(at.problem.situations)
    situations[index] = replace(situations[index], observations=read)
    return replace(at, problem=replace(at.problem, situations=tuple(situations)))


def _columns_of(at: Layout, index: int) -> NDArray[np.bool_]:
    """Columns that a situation has settled: the machine, its causes, its visit and its own shifts."""
    name = at.problem.situations[index]
    mask = np.zeros(at.width, dtype=bool)
    mask[: len(at.rows)] = True
    mask[at.first_severity :] = True
    first, count = at.visit_column(name.visit, VISIT[0]), len(VISIT)
    mask[first : first + count] = True
    first, count = at.shift_column(index, SHIFT[0]), len(SHIFT)
    mask[first : first + count] = True
    return mask


def _display(unit: Unit, rng: np.random.Generator) -> tuple[float, ...]:
    """What a display may show: dehumidifying, stages called, reheat command."""
    most = max(len(unit.stage_ids), 1)
    active = float(rng.random() < 0.85)
    stages = float(rng.integers(1, most + 1)) if active else float(rng.random() < 0.1)
    pick = rng.random()
    command = 0.0 if pick < 0.15 else 1.0 if pick < 0.35 else float(rng.uniform(0.02, 0.98))
    if not active and rng.random() < 0.8:
        command = 0.0
    return active, stages, round(command, 3)


def _settle_on(
    at: Layout,
    index: int,
    options: Sequence[Hypothesis],
    row: Array,
    fixed: NDArray[np.bool_],
    rng: np.random.Generator,
    candidates: int,
    severe: bool,
) -> tuple[Array, Hypothesis, tuple[float, ...]]:
    """Pick a display, a set of causes and unknowns in proportion to how well they go together."""
    logs: list[Array] = []
    rows: list[Array] = []
    choices: list[tuple[Hypothesis, tuple[float, ...]]] = []
    each = max(candidates // BATCHES, 1)
    for batch in range(MOST_BATCHES):
        shown = _display(at.problem.design.unit, rng)
        picked = [options[int(k)] for k in np.sort(rng.integers(len(options), size=min(each, len(options))))]
        owner = np.sort(rng.integers(len(picked), size=each))
        drawn = rng.standard_normal((each, at.width))
        if severe:
            worse = np.array([_worse(h, neutral(at.problem.design)) for h in picked])[owner]
            tail = drawn[:, at.first_severity :]
            drawn[:, at.first_severity :] = np.where(worse == 0.0, tail, worse * np.abs(tail))
        z = np.where(fixed, row, drawn)
        here = _showing(at, index, shown)
        s = settled(here, index, picked, owner, z)
        fit = of_settled(s, here.problem.situations[index], each).log_likelihood
        logs.append(np.where(_possible(here, index, picked, owner, z), fit, -np.inf))
        rows.append(z)
        choices += [(picked[k], shown) for k in owner]
        if batch + 1 < BATCHES:
            continue
        together = np.concatenate(logs)
        if together.max() == -np.inf:
            continue
        weights = np.exp(together - together.max())
        weights /= weights.sum()
        if 1.0 / np.square(weights).sum() > ENOUGH:
            break
    else:
        if together.max() == -np.inf:
            raise ValueError("no display goes together with these causes")
    chosen = int(rng.choice(weights.size, p=weights))
    return np.concatenate(rows)[chosen], *choices[chosen]


def _worse(hypothesis: Hypothesis, sound: Mapping[str, Array]) -> list[float]:
    """Which way each severity gets worse: 1, -1, or 0 where a place is drawn and no size."""
    ways: list[float] = []
    for part in hypothesis.parts:
        act = ACTS[part.cause]
        for k in range(act.severities):
            ends = []
            for end in (0.0, 1.0):
                drawn = [np.full(1, end if j == k else 0.5) for j in range(act.severities)]
                moved = act.move(sound.__getitem__, part.variant, drawn)
                ends.append({name: float(value[0]) for name, value in moved.items()})
            low, high = ends
            name = next(name for name in low if low[name] != high[name])
            healthy = float(sound[name][0])
            placed = healthy != healthy  # NaN: free to move
            ways.append(
                0.0 if placed else float(np.sign(abs(high[name] - healthy) - abs(low[name] - healthy)))
            )
    return ways + [0.0] * (SEVERITIES - len(ways))


def _possible(
    at: Layout, index: int, hypotheses: Sequence[Hypothesis], owner: NDArray[np.intp], z: Array
) -> NDArray[np.bool_]:
    """Air, outdoors and in the room, is no wetter than saturated, and what is locked out does not dry."""
    beyond = np.array(["beyond-design" in h.causes for h in hypotheses])[owner]
    c = conditions(at, index, z, beyond)
    drying = at.problem.situations[index].read("shown.dehumidifying") == 1.0
    idle = np.array([not (drying and "locked-out" in h.causes) for h in hypotheses])[owner]
    return np.asarray((c.outdoor_dew_point < c.outdoor_t) & (c.space_dew_point < c.space_t) & idle)


def _taken(
    at: Layout,
    index: int,
    look: Look,
    truth: Hypothesis,
    row: Array,
    rng: np.random.Generator,
    model_error: bool,
    slips: bool,
) -> dict[str, float]:
    """Read a look's points off the machine, each with its error."""
    situation = at.problem.situations[index]
    s = settled(at, index, [truth], np.zeros(1, dtype=np.intp), row[None])
    predicted = read_points(s)
    taken: dict[str, float] = {}
    for name in look.points:
        entry = point(name)
        shown = situation.read(name)
        if shown is not None:
            taken[name] = shown
            continue
        if not _can_be_had(at.problem.design.unit, name, look.state, s.cooling.running):
            continue
        value = float(np.broadcast_to(predicted[name], 1)[0])
        if name not in BINARY:
            spread = sigma(name, value)
            if model_error:
                own = model_spread(name, predicted[name], s, situation.item)
                spread = float(np.hypot(spread, np.broadcast_to(own, 1)[0]))
            if slips and rng.random() < (0.003 if entry.by == "display" else 0.03):
                spread *= SLIP_SCALE
            value = float(np.clip(value + spread * rng.standard_normal(), entry.low, entry.high))
        taken[name] = value
    return taken


def _can_be_had(unit: Unit, name: str, state: str, running: Sequence[Array]) -> bool:
    if name == "shown.reheat_in_hand":
        return not state.startswith("reheat.command")
    if name.startswith("stage.") and not name.endswith(".current"):
        return float(np.max(running[unit.stage_ids.index(name.split(".")[1])])) > 0.8
    return True


def _call(unit: Unit, looks: Sequence[Look], values: Sequence[dict[str, float]]) -> Call:
    """The call document of some looks."""
    events: list[Event] = []
    for look, taken in zip(looks, values, strict=True):
        at = FIRST_DAY + timedelta(days=look.visit)
        at = max(at, events[-1].at + timedelta(minutes=1)) if events else at
        if look.change is not None:
            events.append(Change(at=at, cause=look.change or None, text="mended what was found"))
        word, _, share = look.state.partition("=")
        item: Literal["reheat.command", "cooling.call"] = (
            "cooling.call" if word == "cooling.call" else "reheat.command"
        )
        if look.state != "auto":
            events.append(Force(at=at, item=item, to=float(share.removesuffix("%")) / 100.0))
            at += timedelta(minutes=15)
        for name, value in taken.items():
            at += timedelta(seconds=20)
            events.append(reading(name, value, at))
        if look.state != "auto":
            events.append(Release(at=at, item=item))
    return Call(unit=unit, complaint="made by the machine", events=tuple(events))


def reading(name: str, value: float, at: datetime) -> Reading:
    """A reading as a call holds it."""
    return Reading(at=at, point=name, value=value, unit_text="", text=f"{value:g}", by=point(name).by)


def altered(call: Call, name: str, by: float, state: str = "auto") -> Call:
    """The same call with its first reading of a point moved by so much [SI]."""
    events: list[Event] = []
    held, done = "auto", False
    for event in call.events:
        if isinstance(event, Force):
            held = f"{event.item}={100.0 * event.to:g} %"
        elif isinstance(event, Release):
            held = "auto"
        elif isinstance(event, Reading) and not done and held == state and event.point == name:
            event, done = event.model_copy(update={"value": event.value + by}), True
        events.append(event)
    if not done:
        raise ValueError(f"{name} was not read in {state}")
    return Call(unit=call.unit, complaint=call.complaint, events=tuple(events))
