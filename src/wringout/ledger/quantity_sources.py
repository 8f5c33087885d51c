"""Quantities that routes are made of, each as a function of readings and expectations, with its source."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import wraps

import numpy as np
from numpy.typing import NDArray

from wringout.ledger.entries import Mark
from wringout.ledger.readings import Seen
from wringout.machine.design import Design

__all__ = ["Assumed", "Inputs", "Known", "Quantity", "combine", "first", "from_model", "from_reading", "once"]

Array = NDArray[np.float64]


class Inputs(dict[str, Array]):
    """Readings by point id, and expectations under ``model`` and a name; and what was worked out of them."""

    def __init__(self, columns: Mapping[str, Array]) -> None:
        super().__init__(columns)
        self.done: dict[int, Array] = {}


MODEL = "model "


@dataclass(frozen=True)
class Assumed:
    """An input that was not read: its name, its column, its dimension, why it may be taken, and the points
    that would tell it; ``shown`` times its value is in that dimension."""

    name: str
    column: str
    dimension: str
    source: str
    points: tuple[str, ...]
    shown: float = 1.0


@dataclass(frozen=True)
class Quantity:
    """Something that can be worked out: ``of`` gives it from the inputs named in ``bases``."""

    name: str
    of: Callable[[Inputs], Array]
    bases: frozenset[str]
    mark: Mark
    dimension: str
    assumed: tuple[Assumed, ...] = ()


@dataclass(frozen=True)
class Known:
    """What one operating state offers: the unit's constants and the readings.

    ``proven`` says that what is expected is of this very unit, as earlier visits told of it; ``made`` keeps
    quantities that many routes share, so that each is worked out once.
    """

    design: Design
    seen: Seen
    state: str
    proven: bool = False
    made: dict[str, Quantity] = field(default_factory=dict)

    @property
    def healthy(self) -> str:
        """What the expected machine is called."""
        return "this unit as proven" if self.proven else "a healthy unit"

    @property
    def schedule(self) -> str:
        """Where a value comes from that is in the unit document."""
        spread = "as proven visits told of it" if self.proven else "with the spread of installed units"
        return f"unit document, {spread}"

    @property
    def as_found(self) -> str:
        """Where a value comes from that follows from the conditions."""
        return f"what {self.healthy} would show under the conditions found"

    def read(self, *points: str) -> bool:
        """Whether all of these points were read."""
        return all(point in self.seen for point in points)

    def missing(self, *points: str) -> tuple[str, ...]:
        """Those of these points that were not read."""
        return tuple(point for point in points if point not in self.seen)


def once(build: Callable[[Known], Quantity]) -> Callable[[Known], Quantity]:
    """Build a quantity of one state once, and hand out the same one ever after.

    Parameters
    ----------
    build : callable

    Returns
    -------
    callable
    """

    @wraps(build)
    def kept(known: Known) -> Quantity:
        name = build.__name__
        if name not in known.made:
            known.made[name] = build(known)
        return known.made[name]

    return kept


def from_reading(known: Known, point: str, name: str, dimension: str) -> Quantity | None:
    """Take a quantity as it was read.

    Parameters
    ----------
    known : Known
    point : str
    name : str
        In words.
    dimension : str

    Returns
    -------
    Quantity or None
        None where the point was not read.
    """
    if point not in known.seen:
        return None
    return Quantity(name, lambda x: x[point], frozenset({point}), "given", dimension)


def from_model(
    known: Known,
    column: str,
    name: str,
    dimension: str,
    source: str,
    points: tuple[str, ...],
    airflow: bool = False,
) -> Quantity:
    """Take a quantity as the healthy machine would show it under the conditions found.

    Parameters
    ----------
    known : Known
    column : str
        Of the expectation.
    name : str
        In words.
    dimension : str
    source : str
        Why it may be taken so, in words.
    points : tuple of str
        Readings that would take its place.
    airflow : bool
        A mass flow of dry air that readers know as a volume at design.

    Returns
    -------
    Quantity
    """
    key = MODEL + column
    assumed = Assumed(name, key, dimension, source, points)
    if airflow:
        assumed = Assumed(name, key, "airflow", source, points, known.design.air_volume)
    return Quantity(name, lambda x: x[key], frozenset({key}), "assumed", dimension, (assumed,))


def combine(
    name: str,
    dimension: str,
    law: Callable[..., Array],
    *parts: Quantity,
    same: bool = False,
) -> Quantity:
    """Work a quantity out of others.

    Parameters
    ----------
    name : str
        In words.
    dimension : str
    law : callable
        Takes the parts' arrays in their order.
    *parts : Quantity
    same : bool
        The result is another way of writing the reading (rh and dry bulb as humidity ratio): what was given
        stays given.

    Returns
    -------
    Quantity
        Its mark is the weakest of its parts'; given parts make a computed whole.
    """
    marks = {part.mark for part in parts}
    mark: Mark = (
        "assumed" if "assumed" in marks else "computed" if "computed" in marks or not same else "given"
    )
    assumed = tuple(dict.fromkeys(item for part in parts for item in part.assumed))
    bases = frozenset[str]().union(*(part.bases for part in parts))

    def of(x: Inputs) -> Array:
        key = id(of)
        if key not in x.done:
            x.done[key] = law(*(part.of(x) for part in parts))
        return x.done[key]

    return Quantity(name, of, bases, mark, dimension, assumed)


def first(*candidates: Quantity | None) -> Quantity:
    """Take the first quantity that is there.

    Parameters
    ----------
    *candidates : Quantity or None
        The last one must be there.

    Returns
    -------
    Quantity
    """
    return next(candidate for candidate in candidates if candidate is not None)
