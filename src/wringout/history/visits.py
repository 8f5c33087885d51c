"""The visits to one unit, taken from its calls: what was found, done and left."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from wringout.documents.call import Call, Change, Event, Force, Reading, Release
from wringout.documents.states import VISIT_GAP, state_name
from wringout.documents.unit import Unit
from wringout.errors import InputError

__all__ = ["LeftReading", "Visit", "fitted", "left_readings", "visits_of"]


@dataclass(frozen=True)
class LeftReading:
    """The last reading of a point in an operating state."""

    state: str
    reading: Reading


@dataclass(frozen=True)
class Visit:
    """One visit: ``first`` and ``last`` by the clock of the place, all its ``events``, and the ``unit``.

    ``held_before`` is what the visit before, of the same call, had left held.
    """

    unit: Unit
    complaint: str
    events: tuple[Event, ...]
    held_before: Force | None = None

    @property
    def first(self) -> datetime:
        """When it began."""
        return _clock(self.events[0].at)

    @property
    def last(self) -> datetime:
        """When the last thing was written."""
        return _clock(self.events[-1].at)

    @property
    def changes(self) -> tuple[Change, ...]:
        """What was altered, in order."""
        return tuple(event for event in self.events if isinstance(event, Change))

    @property
    def readings(self) -> tuple[Reading, ...]:
        """Everything read, in order."""
        return tuple(event for event in self.events if isinstance(event, Reading))

    @property
    def left_held(self) -> Force | None:
        """What is still held by hand at the end; None where everything was given back to control."""
        return _held(self.events, self.held_before)

    def as_found(self) -> Call:
        """The visit up to its first change; all of it where nothing was changed."""
        first = next((k for k, e in enumerate(self.events) if isinstance(e, Change)), len(self.events))
        return self._call(self.events[:first], self.held_before)

    def as_left(self) -> Call:
        """The visit after its last change; all of it where nothing was changed."""
        after = 1 + max((k for k, e in enumerate(self.events) if isinstance(e, Change)), default=-1)
        return self._call(self.events[after:], _held(self.events[:after], self.held_before))

    def _call(self, events: Sequence[Event], held: Force | None) -> Call:
        still = [held.model_copy(update={"at": events[0].at})] if held is not None and events else []
        local = tuple(e.model_copy(update={"at": _clock(e.at)}) for e in (*still, *events))
        return Call(unit=self.unit, complaint=self.complaint, events=local)


def fitted(unit: Unit) -> str:
    """Fingerprint of a unit document: what machine it describes, whatever its set points.

    Parameters
    ----------
    unit : Unit

    Returns
    -------
    str
        SHA-256 in hexadecimal. Set points and what was given or assumed do not count: they are altered on
        visits, and the machine stays what it is.
    """
    text = unit.model_dump_json(exclude={"control", "provenance"}, by_alias=True)
    return hashlib.sha256(text.encode()).hexdigest()


def visits_of(calls: Sequence[Call]) -> tuple[Visit, ...]:
    """Part the calls of one unit into visits.

    Parameters
    ----------
    calls : sequence of Call
        In any order.

    Returns
    -------
    tuple of Visit
        In order of time, by the clock of the place; a call without events has none.

    Raises
    ------
    InputError
        For calls of different units.
    """
    names = list(dict.fromkeys(call.unit.name for call in calls))
    if len(names) > 1:
        raise InputError(
            f"these are calls of different units ({', '.join(names[:4])}); a history is of one unit", "CALL"
        )
    found: list[Visit] = []
    for call in calls:
        groups: list[list[Event]] = []
        for event in call.events:
            if not groups or event.at - groups[-1][-1].at > VISIT_GAP:
                groups.append([])
            groups[-1].append(event)
        held: Force | None = None
        for events in groups:
            found.append(Visit(call.unit, call.complaint, tuple(events), held))
            held = found[-1].left_held
    once = {(visit.first, visit.events): visit for visit in found}  # the same call given twice counts once
    return tuple(sorted(once.values(), key=lambda visit: (visit.first, visit.last)))


def left_readings(visit: Visit) -> tuple[LeftReading, ...]:
    """The last reading of every point in every state, as the visit left the unit.

    Parameters
    ----------
    visit : Visit

    Returns
    -------
    tuple of LeftReading
        In order of first reading.
    """
    found: dict[tuple[str, str], LeftReading] = {}
    state = "auto"
    for event in visit.as_left().events:
        if isinstance(event, Force):
            state = state_name(event.item, event.to)
        elif isinstance(event, Release):
            state = "auto"
        elif isinstance(event, Reading):
            found[state, event.point] = LeftReading(state, event)
    return tuple(found.values())


def _clock(at: datetime) -> datetime:
    return at.replace(tzinfo=None)


def _held(events: Sequence[Event], before: Force | None) -> Force | None:
    held = before
    for event in events:
        if isinstance(event, Force):
            held = event
        elif isinstance(event, Release):
            held = None
    return held
