"""What an answer is made of: values with a mark and a source, the formula, what to do, what to look out
for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wringout.ledger.propagation import propagate
from wringout.quantity import Dimension, UnitSystem, format

__all__ = ["Answer", "Array", "Mark", "Value", "Word", "worked"]

Array = NDArray[np.float64]
Mark = Literal["given", "assumed", "computed"]


@dataclass(frozen=True, slots=True)
class Value:
    """A number that goes into an answer or comes out of it.

    ``value`` and one standard deviation ``sigma`` are SI; ``dimension`` is None for a number whose ``unit``
    stands in words (Cv, or nothing). ``source`` says where it comes from, ``unit_shown`` a unit that suits it
    better than the usual one, by system. ``mostly`` names the input that most of its uncertainty comes from.
    """

    key: str
    name: str
    value: float
    sigma: float
    dimension: Dimension | None
    mark: Mark
    source: str = ""
    unit: str = ""
    unit_shown: tuple[str, str] | None = None
    mostly: str = ""

    def shown(self, system: UnitSystem) -> str:
        """The value written for a reader."""
        if self.dimension is None:
            return f"{self.value:.3g}{self.unit and ' ' + self.unit}"
        return format(self.value, self.dimension, system, unit=self._unit(system))

    def spread(self, system: UnitSystem) -> str:
        """One standard deviation written for a reader; empty where there is none."""
        if not self.sigma > 0.0:
            return ""
        if self.dimension is None:
            return f"{self.sigma:.2g}"
        if self.dimension is Dimension.TEMPERATURE:
            return format(self.sigma, Dimension.TEMPERATURE_DIFFERENCE, system)
        return format(self.sigma, self.dimension, system, unit=self._unit(system))

    def _unit(self, system: UnitSystem) -> str | None:
        if self.unit_shown is None:
            return None
        return self.unit_shown[0] if system == "ip" else self.unit_shown[1]


@dataclass(frozen=True, slots=True)
class Word:
    """A choice that goes into an answer."""

    key: str
    name: str
    text: str
    mark: Mark
    source: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer.

    ``do`` holds the steps that carry it out, ``warnings`` what speaks against it, ``notes`` how far it can be
    trusted, ``table`` rows of text under a heading where one number is not enough.
    """

    subject: str
    title: str
    formula: tuple[str, ...]
    source: str
    inputs: tuple[Value | Word, ...]
    results: tuple[Value, ...]
    do: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def result(self, key: str) -> Value:
        """The result of a key."""
        return next(value for value in self.results if value.key == key)


def worked(inputs: Sequence[Value], law: Callable[..., Sequence[Array]]) -> list[tuple[float, float, str]]:
    """Value, standard deviation and chief source of doubt of every result of a law, to first order.

    ``law`` takes one array for each input and gives one for each result; the inputs are independent.
    """
    mean = np.array([value.value for value in inputs])
    spread = np.diag([value.sigma**2 for value in inputs])

    def rows(x: Array) -> Array:
        given = np.broadcast_arrays(*(np.asarray(part, dtype=np.float64) for part in law(*x.T)), x[:, 0])
        return np.column_stack(given[:-1])

    found = propagate(rows, mean, spread)
    chief = np.argmax(np.abs(found.part), axis=0)
    return [
        (float(value), float(sigma), inputs[int(most)].name if sigma > 0.0 else "")
        for value, sigma, most in zip(found.value, found.sigma, chief, strict=True)
    ]
