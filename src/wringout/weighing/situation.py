"""A call turned into numbers: the situations in which it was read, and the readings with their errors."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from wringout.documents.call import Call, Change
from wringout.documents.states import forced, operating_states
from wringout.machine.design import Design, design
from wringout.machine.known import KnownMachine

__all__ = ["Observation", "Problem", "Situation", "problem"]

BINARY = ("shown.reheat_in_hand", "shown.dehumidifying")
SLIP_PRONE = (
    "handheld",
    "strap_on",
    "clamp",
    "gauges",
    "meter",
    "traverse",
    "manometer",
    "bucket",
    "seen",
    "clamp_on_ultrasonic",
)


@dataclass(frozen=True)
class Observation:
    """One reading: its point, its value [SI], one standard deviation [SI], and how often its kind is a
    gross slip."""

    point: str
    value: float
    sigma: float
    slip: float
    index: int


@dataclass(frozen=True)
class Situation:
    """One operating state of one machine on one visit.

    ``item`` and ``to`` say what is held (None in ``auto``); ``visit`` and ``epoch`` count visits and
    changes; ``mended`` are the causes that changes up to here have dealt with. ``logged`` is when a trend
    showed it (None for readings of a visit); ``tolerance`` a factor on every error in it.
    """

    state: str
    item: str | None
    to: float
    visit: int
    epoch: int
    mended: frozenset[str]
    observations: tuple[Observation, ...]
    logged: datetime | None = None
    tolerance: float = 1.0

    def read(self, point: str) -> float | None:
        """The mean of what was read at a point here, or None."""
        values = [o.value for o in self.observations if o.point == point]
        return sum(values) / len(values) if values else None


@dataclass(frozen=True)
class Problem:
    """Everything that weighing needs to know of a call; ``known`` is what earlier visits told of the unit."""

    design: Design
    situations: tuple[Situation, ...]
    known: KnownMachine | None = None

    @property
    def count(self) -> int:
        """Number of readings."""
        return sum(len(s.observations) for s in self.situations)


def problem(call: Call, sigma: Callable[[str, float], float]) -> Problem:
    """Group a call's readings by situation.

    Parameters
    ----------
    call : Call
    sigma : callable
        One standard deviation [SI] of a reading, from point id and value; the catalogue's.

    Returns
    -------
    Problem
        Situations in order of first reading. Within one, readings stand by point: in which order they were
        taken there tells nothing, and so it changes nothing, not even a draw.
    """
    changes = [event for event in call.events if isinstance(event, Change)]
    situations: list[Situation] = []
    index = 0
    for snapshot in operating_states(call):
        held = forced(snapshot.state)
        observations: list[Observation] = []
        for reading in snapshot.readings:
            spread = reading.accuracy if reading.accuracy is not None else sigma(reading.point, reading.value)
            slip = 0.03 if reading.by != "display" and reading.point not in BINARY else 0.003
            observations.append(Observation(reading.point, reading.value, spread, slip, index))
            index += 1
        observations.sort(key=lambda one: one.point)
        mended = frozenset(c.cause for c in changes[: snapshot.machine_epoch] if c.cause is not None)
        situations.append(
            Situation(
                snapshot.state,
                held[0] if held else None,
                held[1] if held else 0.0,
                snapshot.visit,
                snapshot.machine_epoch,
                mended,
                tuple(observations),
            )
        )
    if not situations:
        # nothing read yet: the answer is the prior, and the machine still needs a state to be in
        situations.append(Situation("auto", None, 0.0, 0, 0, frozenset(), ()))
    return Problem(design(call.unit), tuple(situations))
