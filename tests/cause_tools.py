"""The same machines with and without a cause, for the tests of what each cause does."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest

from units import (
    BOILER_DIVERTING,
    CHILLED_TWO_WAY,
    HOT_GAS,
    RECLAIM_MIXING,
    RECLAIM_UPSTREAM,
    UNITS,
    conditions,
    machine,
    random_machine,
    with_cause,
)
from wringout.machine.acts import ACTS, Variant
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design
from wringout.machine.parameters import Array
from wringout.machine.steady import Settled, read_points, settle

__all__ = [
    "DEGF",
    "DX",
    "KINDS",
    "LOOPS",
    "MACHINES",
    "RECLAIM",
    "THREE_WAY",
    "Seen",
    "about",
    "design_of",
    "ends",
    "full",
    "healthy_machines",
    "shut",
]

MACHINES = 40
DEGF = 5.0 / 9.0  # K in a Fahrenheit degree of difference
KINDS = pytest.mark.parametrize("kind", UNITS)
DX = pytest.mark.parametrize("text", [RECLAIM_MIXING, BOILER_DIVERTING, HOT_GAS])
LOOPS = pytest.mark.parametrize("text", [RECLAIM_MIXING, RECLAIM_UPSTREAM, CHILLED_TWO_WAY, BOILER_DIVERTING])
THREE_WAY = pytest.mark.parametrize("text", [RECLAIM_MIXING, RECLAIM_UPSTREAM, BOILER_DIVERTING])
RECLAIM = pytest.mark.parametrize("text", [RECLAIM_MIXING, RECLAIM_UPSTREAM])


@cache
def design_of(text: str) -> Design:
    return machine(text)


@cache
def healthy_machines(text: str) -> dict[str, Array]:
    return random_machine(design_of(text), MACHINES, np.random.default_rng(20))


class Seen:
    """The same machines with and without a cause: points over points, or differences of them."""

    def __init__(
        self, text: str, cause: str, severity: float, c: Conditions, variant: Variant | None
    ) -> None:
        d, sound = design_of(text), healthy_machines(text)
        severities = [np.full(MACHINES, severity) for _ in range(ACTS[cause].severities)]
        self.values = with_cause(d, sound, cause, severities, variant)
        self.sick: Settled = settle(d, self.values, c)
        self.well: Settled = settle(d, sound, c)
        self.now, self.then = read_points(self.sick), read_points(self.well)

    def ratio(self, point: str) -> Array:
        return self.now[point] / self.then[point]

    def rise(self, point: str) -> Array:
        return self.now[point] - self.then[point]


def ends(
    text: str, cause: str, c: Conditions, variant: Variant | None = None
) -> Iterator[tuple[float, Seen]]:
    """The cause at both ends of its range, 0 the first figure of the statement and 1 the second."""
    for severity in (0.0, 1.0):
        yield severity, Seen(text, cause, severity, c, variant)


def full(text: str) -> Conditions:
    """Every stage and the reheat full on."""
    return conditions(design_of(text), command=1.0, modulation=1.0)


def shut(text: str) -> Conditions:
    """Every stage on, the reheat commanded shut."""
    return conditions(design_of(text), command=0.0, modulation=1.0)


def about(values: Array, figure: float, within: float) -> bool:
    return bool(np.all(np.abs(values - figure) <= within))
