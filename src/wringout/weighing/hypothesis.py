"""Hypotheses: sets of causes, each in one of its variants, and what each is worth before any reading."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from wringout.documents.unit import Unit
from wringout.machine.acts import ACTS, Variant, variants

__all__ = ["HEALTHY", "Hypothesis", "Part", "compatible", "extended", "parts_of"]


@dataclass(frozen=True)
class Part:
    """One cause in one variant; ``share`` of the cause's prior that falls on the variant.

    ``number`` is its place among all parts of the unit and tells parts apart.
    """

    number: int
    cause: str
    variant: Variant
    share: float

    @property
    def severities(self) -> int:
        """How many severities the cause draws."""
        return ACTS[self.cause].severities


@dataclass(frozen=True)
class Hypothesis:
    """A set of causes at work together, in order of their numbers; empty for a healthy unit."""

    parts: tuple[Part, ...] = ()

    @cached_property
    def numbers(self) -> tuple[int, ...]:
        """Numbers of the parts; two hypotheses with the same numbers are the same."""
        return tuple(part.number for part in self.parts)

    @cached_property
    def causes(self) -> tuple[str, ...]:
        """Ids, sorted."""
        return tuple(sorted(part.cause for part in self.parts))

    @cached_property
    def severities(self) -> int:
        """Severities of all parts."""
        return sum(part.severities for part in self.parts)

    @cached_property
    def columns(self) -> dict[str, range]:
        """By cause where its severities stand among all severities of the set."""
        found: dict[str, range] = {}
        first = 0
        for part in self.parts:
            found[part.cause] = range(first, first + part.severities)
            first += part.severities
        return found


HEALTHY = Hypothesis()

# what cannot be there together, because one hides the other wholly or is the opposite of it
_EXCLUDING: tuple[frozenset[str], ...] = (
    frozenset({"fan-slow", "fan-fast"}),
    frozenset({"pump-weak", "pump-off"}),
    frozenset({"dew-sensor-high", "dew-sensor-low"}),
    frozenset({"valve-stuck", "actuator-loose"}),
    frozenset({"source-starved", "reclaim-not-diverting"}),
)

_BARRED = {
    cause: frozenset().union(*(pair - {cause} for pair in _EXCLUDING if cause in pair))
    for pair in _EXCLUDING
    for cause in pair
}


def parts_of(unit: Unit, applying: Iterable[str]) -> tuple[Part, ...]:
    """Give every cause that this unit can have, in each of its variants.

    Parameters
    ----------
    unit : Unit
    applying : iterable of str
        Ids of the causes to consider.

    Returns
    -------
    tuple of Part
    """
    found: list[Part] = []
    for cause in applying:
        ways = variants(cause, unit)
        found += [Part(len(found) + k, cause, way, 1.0 / len(ways)) for k, way in enumerate(ways)]
    return tuple(found)


def compatible(hypothesis: Hypothesis, part: Part) -> bool:
    """Whether a cause can join a set.

    Parameters
    ----------
    hypothesis : Hypothesis
    part : Part

    Returns
    -------
    bool
        False for a cause that is in the set already, for opposites, and for anything beside
        ``beyond-design``.
    """
    if part.cause in hypothesis.causes:
        return False
    if hypothesis.parts and ("beyond-design" in hypothesis.causes or part.cause == "beyond-design"):
        return False
    barred = _BARRED.get(part.cause)
    return barred is None or not any(cause in barred for cause in hypothesis.causes)


def extended(hypothesis: Hypothesis, part: Part) -> Hypothesis:
    """Give the set with one more cause, in order.

    Parameters
    ----------
    hypothesis : Hypothesis
    part : Part

    Returns
    -------
    Hypothesis
    """
    return Hypothesis(tuple(sorted((*hypothesis.parts, part), key=lambda p: p.number)))
