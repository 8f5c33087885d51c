"""Where along its path a signal turns wrong: every single break weighed by what was measured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.errors import InputError
from wringout.trace.document import STEM, Signal
from wringout.trace.path import HEALTHY, Break, Expected, along, breaks, expected

__all__ = ["Finding", "Measured", "Row", "Suspected", "find"]

Array = NDArray[np.float64]
OUTPUT_SIGMA = 0.05  # V; what outputs and wires of sound paths stray by, common practice
STEM_SIGMA = 0.03  # of the travel; what stops, linkage and pointer of a sound device stray by
SLIP = 0.02  # share of readings that are slips, anywhere on the meter's range; judgement
RANGE = 24.0  # V over which a slip may lie
WORTH = 0.02  # chance that the reading parts two breaks, under which it is not worth the climb
OFF = 3.0  # standard deviations from which a reading counts as off


@dataclass(frozen=True, slots=True)
class Measured:
    """A reading: at a place of the path [V] or of the stem [0..1], its standard deviation, and the command
    that stood then [0..1]. ``current`` is true where the meter stood in the loop: its milliamperes, told
    as volts across 500 ohm."""

    place: str
    value: float
    sigma: float
    command: float
    text: str = ""
    current: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table: what is expected at a place for a command, and what was measured there."""

    place: str
    terminal: str
    wire: str
    command: float
    expected: float
    measured: Measured | None
    off: bool


@dataclass(frozen=True, slots=True)
class Suspected:
    """A break with its probability among the single breaks."""

    found: Break
    probability: float


@dataclass(frozen=True)
class Finding:
    """What the readings say of a path.

    ``suspects`` go by probability, the sound path (``healthy``) among them; ``next`` is the place whose
    reading would tell most, empty where none would.
    """

    signal: Signal
    command: float
    at: Expected
    rows: tuple[Row, ...]
    suspects: tuple[Suspected, ...]
    next: str
    measured: tuple[Measured, ...]

    @property
    def healthy(self) -> float:
        """Probability that the path is sound."""
        return next(one.probability for one in self.suspects if one.found.kind == HEALTHY)

    @property
    def wrong(self) -> bool:
        """Whether something more probable than the sound path explains what was measured."""
        return bool(self.measured) and self.suspects[0].found.kind != HEALTHY


def find(signal: Signal, command: float, measured: Sequence[Measured] = ()) -> Finding:
    """Weigh every single break of a path by what was measured.

    Parameters
    ----------
    signal : Signal
    command : float, [0..1]
        The command that stands now, for what is expected.
    measured : sequence of Measured
        Readings at places of the signal; each may belong to a command of its own.

    Returns
    -------
    Finding

    Raises
    ------
    InputError
        For a place that the signal does not have; the message names those it has.

    Notes
    -----
    Each break gives readings for each value of what is not known of it; the likelihood is the mean over them
    of a product of normal densities, each with a small share of slips spread over the meter's range.
    """
    names = along(signal)
    for one in measured:
        if one.place not in names:
            raise InputError(
                f'there is no place "{one.place[:40]}"; this signal has {", ".join(names)}', "--measured"
            )
        if one.current and signal.kind == "volts":
            raise InputError(f'"{one.text}" at {one.place}: this signal is in volts', "--measured")
    every = breaks(signal)
    weights = np.array([one.weight for one in every])
    weights = weights / weights.sum()
    commands = {command, *(one.command for one in measured)}
    # a meter is put to many places at one command: what a break reads is worked out once for all of them
    reads = [{at: one.reads(at) for at in commands} for one in every]
    fitted = np.array([_likelihood(rows, measured, names) for rows in reads])
    weighed = weights * fitted
    total = float(weighed.sum())
    probability = weighed / total if total > 0.0 else weights
    # equal ones in the order of the list, so that one measurement gives one answer
    order = np.argsort(-probability, kind="stable")
    suspects = tuple(Suspected(every[int(i)], float(probability[int(i)])) for i in order)
    return Finding(
        signal,
        command,
        expected(signal, command),
        _table(signal, command, measured),
        suspects,
        _next([rows[command] for rows in reads], probability, command, measured, names),
        tuple(measured),
    )


def _likelihood(reads: Mapping[float, Array], measured: Sequence[Measured], names: tuple[str, ...]) -> float:
    """How well a break that reads so at each command goes with what was measured."""
    if not measured:
        return 1.0
    logs: Array | None = None
    for reading in measured:
        at = names.index(reading.place)
        value = reads[reading.command][:, at + len(names) if reading.current else at]
        stem = reading.place == STEM
        sigma = float(np.hypot(reading.sigma, STEM_SIGMA if stem else OUTPUT_SIGMA))
        density = np.exp(-0.5 * ((reading.value - value) / sigma) ** 2) / (sigma * np.sqrt(2.0 * np.pi))
        slips = SLIP / (1.0 if stem else RANGE)
        log = np.log((1.0 - SLIP) * density + slips)
        logs = log if logs is None else logs + log
    assert logs is not None
    return float(np.mean(np.exp(logs)))


def _table(signal: Signal, command: float, measured: Sequence[Measured]) -> tuple[Row, ...]:
    rows = []
    for name in along(signal):
        readings: list[Measured | None] = [one for one in measured if one.place == name]
        for reading in readings or [None]:
            at = expected(signal, command if reading is None else reading.command)
            stem = name == STEM
            place = None if stem else next(p for p in signal.places if p.name == name)
            wanted = at.position if stem else at.volts[0]
            own = OUTPUT_SIGMA if not stem else STEM_SIGMA
            off = reading is not None and abs(reading.value - wanted) > OFF * float(
                np.hypot(reading.sigma, own)
            )
            rows.append(
                Row(
                    name,
                    place.terminal if place else "",
                    place.wire if place else "",
                    command if reading is None else reading.command,
                    wanted,
                    reading,
                    off,
                )
            )
    return tuple(rows)


def _next(
    reads: Sequence[Array],
    probability: Array,
    command: float,
    measured: Sequence[Measured],
    names: tuple[str, ...],
) -> str:
    """The place not measured yet at this command at which two breaks drawn by their probabilities most often
    read apart; none where they hardly ever would."""
    open_ones = [n for n in names if not any(m.place == n and m.command == command for m in measured)]
    if not open_ones:
        return ""
    told = {}
    for name in open_ones:
        at = names.index(name)
        apart = 3.0 * (STEM_SIGMA + 0.05 if name == STEM else 2.0 * OUTPUT_SIGMA)
        means = np.array([float(np.mean(rows[:, at])) for rows in reads])
        pairs = np.minimum(np.abs(means[:, None] - means[None, :]) / apart, 1.0)
        told[name] = float(probability @ pairs @ probability)
    best = max(told, key=lambda name: told[name])
    return best if told[best] > WORTH else ""
