"""What is hidden in a practice session: an invented machine, drawn by a number from the catalogue's priors"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from wringout.catalogue.causes import count_prior, prior_weights
from wringout.catalogue.points import sigma
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.machine.acts import ACTS
from wringout.machine.closed import Closed, closed
from wringout.machine.design import Design, design
from wringout.machine.motion import Loads, Weather
from wringout.machine.motion_storage import storage_spreads
from wringout.machine.parameters import Array, Values, healthy_values, neutral, spreads
from wringout.weighing.hypothesis import HEALTHY, Hypothesis, compatible, extended, parts_of
from wringout.weighing.unknowns import (
    OUTDOOR_DEW_SPREAD,
    OUTDOOR_T_MEAN,
    OUTDOOR_T_SPREAD,
)

__all__ = ["LEVELS", "MOST_CAUSES", "Chance", "Hidden", "draw", "fingerprint", "values_with"]

Chance = Callable[[int | Sequence[int]], np.random.Generator]
"""Gives a generator for a number or several, the same one for the same: numpy.random.default_rng."""

LEVELS = {
    1: "one cause, and it shows at three test points or more",
    2: "none, one, two or three causes, as often as the catalogue holds likely",
    3: "two or three causes, and some readings are slips",
}
MOST_CAUSES = 3
WIDEST = 2.0  # standard deviations that a healthy machine strays at most: none is a freak
SHOWS_AT, SHOWS_BY = 3, 4.0  # points of level 1, and instrument deviations by which each has to differ
MOST_DRAWS = 200
STATES: tuple[dict[str, float], ...] = ({}, {"reheat.command": 1.0}, {"reheat.command": 0.0})


@dataclass(frozen=True)
class Hidden:
    """An invented machine: ``healthy`` parameters, the hidden ``causes`` with their ``severities`` [0..1],
    constant weather [degC] and loads, whether readings are now and then slips; where chance comes from."""

    design: Design
    healthy: Values
    causes: Hypothesis
    severities: tuple[tuple[float, ...], ...]
    outdoor_t: float
    outdoor_dew_point: float
    slips: bool
    chance: Chance

    @property
    def weather(self) -> Weather:
        """The weather of the session."""
        return Weather.of(self.outdoor_t, self.outdoor_dew_point)

    @cached_property
    def rest(self) -> Closed:
        """Machine, room and control at rest with each other, as the technician finds them."""
        return closed(self.design, values_with(self, frozenset()), self.weather, self.loads, least=np.inf)

    @property
    def loads(self) -> Loads:
        """People and processes, as on the settled machine's usual day."""
        return Loads.of()


def draw(unit: Unit, seed: int, chance: Chance, level: int = 2, count: int | None = None) -> Hidden:
    """Draw what is hidden; the same arguments give the same machine.

    Parameters
    ----------
    unit : Unit
    seed : int
        Any whole number from 0.
    chance : callable
        numpy.random.default_rng.
    level : int
        One of LEVELS.
    count : int, optional
        How many causes, 0 to 3, in place of what the level says.

    Returns
    -------
    Hidden

    Raises
    ------
    InputError
        A level, count or number that is not taken.
    """
    if level not in LEVELS:
        raise InputError(f"there is no level {level}; write 1, 2 or 3", "level")
    if count is not None and not 0 <= count <= MOST_CAUSES:
        raise InputError(f"{count} causes; 0 to {MOST_CAUSES} can be hidden", "causes")
    if seed < 0:
        raise InputError(f"{seed} is less than nothing; write a whole number from 0", "seed")
    rng = chance([seed, level, 7 if count is None else count])
    d = design(unit)
    rows = spreads(d) + storage_spreads()
    healthy: dict[str, Array] = neutral(d)
    healthy |= healthy_values(rows, np.clip(rng.standard_normal((1, len(rows))), -WIDEST, WIDEST))
    healthy["hand_command"] = rng.random(1)
    day = unit.space.design_day
    # inside the design day, as weighing takes it; weather beyond it is no cause and never hidden
    outdoor_t = day.outdoor_t + OUTDOOR_T_MEAN + OUTDOOR_T_SPREAD * float(np.clip(rng.normal(), -1.5, 1.0))
    dew = day.outdoor_dew_point - OUTDOOR_DEW_SPREAD * min(abs(float(rng.normal())), 1.5)
    dew = min(dew, outdoor_t - 1.0)
    for _ in range(MOST_DRAWS):
        causes = _causes(unit, level, count, rng)
        severities = tuple(tuple(rng.random(part.severities).tolist()) for part in causes.parts)
        found = Hidden(d, healthy, causes, severities, outdoor_t, dew, level == 3, chance)
        if level != 1 or not causes.parts or _shows(found):
            return found
    raise InputError(f"no cause shows on this unit in the weather of {seed}; take another number", "seed")


def _causes(unit: Unit, level: int, count: int | None, rng: np.random.Generator) -> Hypothesis:
    """A set of causes by the catalogue's prior, of as many as the level says."""
    weights = prior_weights(unit)
    parts = parts_of(unit, weights)
    ids, shares = list(weights), np.array(list(weights.values()))
    counts = {1: {1: 1.0}, 2: count_prior(), 3: {2: 0.7, 3: 0.3}}[level]
    if count is None:
        chances = np.array(list(counts.values()))
        count = int(rng.choice(list(counts), p=chances / chances.sum()))
    found = HEALTHY
    while len(found.parts) < count:
        cause = str(rng.choice(ids, p=shares))
        ways = [part for part in parts if part.cause == cause]
        part = ways[int(rng.integers(len(ways)))]
        if compatible(found, part):
            found = extended(found, part)
    return found


def values_with(hidden: Hidden, mended: frozenset[str]) -> dict[str, Array]:
    """The machine's parameters with every hidden cause acting that is not mended.

    Parameters
    ----------
    hidden : Hidden
    mended : frozenset of str
        Ids of causes that were dealt with.

    Returns
    -------
    dict of array, one entry each
    """
    values = dict(hidden.healthy)
    for part, severities in zip(hidden.causes.parts, hidden.severities, strict=True):
        if part.cause not in mended:
            u = [np.array([share]) for share in severities]
            values |= ACTS[part.cause].move(values.__getitem__, part.variant, u)
    return values


def _shows(hidden: Hidden) -> bool:
    """Whether enough test points read clearly elsewhere than on the same machine without the causes."""
    everything = frozenset(hidden.causes.causes)
    told: set[str] = set()
    for held in STATES:
        here, well = (
            closed(
                hidden.design,
                values_with(hidden, mended),
                hidden.weather,
                hidden.loads,
                held,
                least=np.inf,
            ).points()
            for mended in (frozenset[str](), everything)
        )
        for name, value in here.items():
            # what room and weather do is no sign of its own; a count or a yes is sure
            spread = max(sigma(name, float(well[name][0])), 1e-6)
            if abs(float(value[0] - well[name][0])) > SHOWS_BY * spread:
                told.add(name)
    return len(told) >= SHOWS_AT


def fingerprint(hidden: Hidden) -> str:
    """Twelve letters that stand for a drawn machine and tell nothing of it.

    Parameters
    ----------
    hidden : Hidden

    Returns
    -------
    str
        Another version of the program may draw another machine from the same number; then these differ.
    """
    unit = hidden.design.unit.model_dump_json(exclude={"provenance"})
    words = [unit, f"{hidden.outdoor_t:.6f}", f"{hidden.outdoor_dew_point:.6f}"]
    for part, severities in zip(hidden.causes.parts, hidden.severities, strict=True):
        words += [part.cause, part.variant.label, *(f"{share:.6f}" for share in severities)]
    words += [f"{name} {float(hidden.healthy[name][0]):.6g}" for name in sorted(hidden.healthy)]
    return hashlib.sha256("\n".join(words).encode()).hexdigest()[:12]
