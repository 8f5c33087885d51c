"""The causes: what can be wrong, with how much, how often, what it looks like and what to do about it.

The entries are data (``causes.yaml``). This module reads them once, and holds what data cannot say: which
units can have a cause at all, and how its weight becomes a prior probability.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from wringout.catalogue._package_data import read
from wringout.catalogue.cause import Cause, Choice, Likeness, Span

if TYPE_CHECKING:
    from wringout.documents.unit import Unit

__all__ = [
    "BEYOND_DESIGN",
    "applies",
    "beyond_design_share",
    "causes",
    "count_prior",
    "kinds_of",
    "prior_weights",
]

BEYOND_DESIGN = "beyond-design"


@cache
def causes() -> Mapping[str, Cause]:
    """Every cause by its id, in the order of the catalogue.

    Returns
    -------
    Mapping
        Id to `Cause`; read once, and read-only.
    """
    alike = _both_ways(_document()["look_alikes"])
    return MappingProxyType(
        {id: _cause(id, entry, alike.get(id, ())) for id, entry in _document()["causes"].items()}
    )


@cache
def count_prior() -> Mapping[int, float]:
    """How probable it is that a call turns out to have so many faults at once, before any reading.

    Returns
    -------
    Mapping
        Number of faults to probability; sums to 1.
    """
    return MappingProxyType({int(count): float(p) for count, p in _document()["count_prior"].items()})


def beyond_design_share() -> float:
    """Share of the calls without a fault in which the weather is past the design day.

    Returns
    -------
    float
        0..1, stated as judgement in the catalogue.
    """
    return float(_document()["beyond_design_share"])


def kinds_of(unit: Unit) -> frozenset[str]:
    """What a unit is, in the words that causes ask for.

    Parameters
    ----------
    unit : Unit
        The unit's document.

    Returns
    -------
    frozenset of str
        Words of `NEEDS`.
    """
    kinds: set[str] = {unit.cooling.kind, unit.reheat.kind, f"{unit.reheat.valve.ways}_way"}
    if any(stage.modulating for stage in unit.cooling.stages):
        kinds.add("modulating_stage")
    if unit.source is not None:
        kinds.add(unit.source.kind)
        if unit.source.upstream == "service_water":
            kinds.add("upstream")
    return frozenset(kinds)


def applies(cause: Cause | str, unit: Unit) -> bool:
    """Whether a unit of this kind can have the cause at all.

    Parameters
    ----------
    cause : Cause or str
        The cause or its id.
    unit : Unit
        The unit's document.

    Returns
    -------
    bool
        True where the unit is all that the cause needs.
    """
    entry = causes()[cause] if isinstance(cause, str) else cause
    return kinds_of(unit).issuperset(entry.needs)


def prior_weights(unit: Unit) -> dict[str, float]:
    """Prior probability of each fault that this unit can have, given that there is exactly one.

    The weather beyond design is no fault and has its own number (`beyond_design_share`).

    Parameters
    ----------
    unit : Unit
        The unit's document.

    Returns
    -------
    dict
        Cause id to probability; sums to 1.
    """
    kinds = kinds_of(unit)
    weights = {
        id: cause.weight
        for id, cause in causes().items()
        if id != BEYOND_DESIGN and kinds.issuperset(cause.needs)
    }
    total = sum(weights.values())
    return {id: weight / total for id, weight in weights.items()}


@cache
def _document() -> dict[str, Any]:
    return read("causes.yaml")


def _cause(id: str, entry: Mapping[str, Any], similar: tuple[Likeness, ...]) -> Cause:
    known = {"spans", "choices", "prior", "needs", "remedy", "cares", "parts"}
    return Cause(
        id=id,
        needs=tuple(entry.get("needs", ())),
        spans=tuple(Span(name, **span) for name, span in entry.get("spans", {}).items()),
        choices=tuple(
            Choice(name, tuple(choice["options"]), choice["means"])
            for name, choice in entry.get("choices", {}).items()
        ),
        weight=float(entry["prior"]["weight"]),
        why=entry["prior"]["why"],
        similar=similar,
        remedy=tuple(entry["remedy"]),
        cares=tuple(entry["cares"]),
        parts=tuple(entry["parts"]),
        **{name: text for name, text in entry.items() if name not in known},
    )


def _both_ways(pairs: list[dict[str, Any]]) -> dict[str, tuple[Likeness, ...]]:
    """Each pair is written once and belongs to both of its causes."""
    alike: dict[str, tuple[Likeness, ...]] = {}
    for pair in pairs:
        one, other = pair["between"]
        points, tell = tuple(pair["points"]), pair["tell"]
        alike[one] = (*alike.get(one, ()), Likeness(other, points, tell))
        alike[other] = (*alike.get(other, ()), Likeness(one, points, tell))
    return alike
