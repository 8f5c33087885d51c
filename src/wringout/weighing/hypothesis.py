"""Hypotheses: sets of causes, each in one of its variants, and what each is worth before any reading."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from wringout.documents.unit import Unit
from wringout.machine.acts import ACTS, Variant, variants

__all__ = ["HEALTHY", "Hypothesis", "Part", "compatible", "extended", "parts_of"]


@dataclass(frozen=True)
class Part:
    """One cause in one variant; ``share`` of the cause's prior that falls on the variant."""

    cause: str
    variant: Variant
    share: float

    @property
    def severities(self) -> int:
        """How many severities the cause draws."""
        return ACTS[self.cause].severities


@dataclass(frozen=True)
class Hypothesis:
    """A set of causes at work together, in order of their ids; empty for a healthy unit."""

    parts: tuple[Part, ...] = ()

    @property
    def causes(self) -> tuple[str, ...]:
        """Ids, sorted."""
        return tuple(part.cause for part in self.parts)

    @property
    def severities(self) -> int:
        """Severities of all parts."""
        return sum(part.severities for part in self.parts)


HEALTHY = Hypothesis()

# what cannot be there together, because one hides the other wholly or is the opposite of it
_EXCLUDING: tuple[frozenset[str], ...] = (
    frozenset({"fan-slow", "fan-fast"}),
    frozenset({"pump-weak", "pump-off"}),
    frozenset({"dew-sensor-high", "dew-sensor-low"}),
    frozenset({"valve-stuck", "actuator-loose"}),
    frozenset({"source-starved", "reclaim-not-diverting"}),
)


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
        found += [Part(cause, way, 1.0 / len(ways)) for way in ways]
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
    return not any(part.cause in pair and any(c in pair for c in hypothesis.causes) for pair in _EXCLUDING)


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
    return Hypothesis(
        tuple(sorted((*hypothesis.parts, part), key=lambda p: (p.cause, p.variant.index, p.variant.sign)))
    )
