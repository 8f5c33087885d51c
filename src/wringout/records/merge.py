"""Two records become one: the union of what they hold, whatever the order and however often."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from wringout.errors import InputError
from wringout.records.events import Event
from wringout.records.store import Store

__all__ = ["Merged", "brought", "merge", "united"]


@dataclass(frozen=True, slots=True)
class Merged:
    """What a merge brought: new events, how many were there already, and the calls that came or grew."""

    new: tuple[str, ...]
    known: int
    calls: tuple[str, ...]
    contents: int


def united(*many: Iterable[Event]) -> tuple[Event, ...]:
    """The union of sets of events, by identifier.

    Raises
    ------
    InputError
        When two of them hold different contents under one identifier.
    """
    found: dict[str, Event] = {}
    for events in many:
        for event in events:
            if found.setdefault(event.id, event) != event:
                raise InputError("two events of this id differ", event.id)
    return tuple(found[identifier] for identifier in sorted(found))


def merge(into: Store, source: Store) -> Merged:
    """Bring everything that one record holds into another, in one transaction; the source is only read.

    Raises
    ------
    InputError
        When both hold different contents under one identifier; nothing is kept then.
    """
    events = source.events()
    lacking = sorted(source.contents() - into.contents())
    new = into.append(events, (source.content(sha256) for sha256 in lacking))
    return brought(events, new, len(lacking))


def brought(events: Iterable[Event], new: tuple[str, ...], contents: int) -> Merged:
    """What was brought, of the events that were offered and those that were new."""
    fresh = set(new)
    offered = tuple(events)
    calls = dict.fromkeys(event.call_id for event in offered if event.call_id)
    return Merged(new, len(offered) - len(fresh), tuple(call for call in calls if call), contents)
