"""Calls and units in lists."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from wringout.documents.load import unit_from_text
from wringout.errors import InputError
from wringout.records.events import Event
from wringout.records.fold import fold_call

__all__ = ["CallSummary", "UnitSummary", "summary", "unit_summary"]


@dataclass(frozen=True, slots=True)
class CallSummary:
    """A call in a list of calls: opened and last written to [UTC], lines of its document, people;
    ``newest`` is the identifier of the event written last, which also orders calls written to within one
    millisecond; ``sequence`` is that of its newest event in this record, by which one sees whether anything
    has come."""

    call_id: str
    unit_id: str | None
    unit_name: str
    site: str
    complaint: str
    opened: datetime
    last: datetime
    newest: str
    events: int
    authors: tuple[str, ...]
    withdrawn: bool = False
    sequence: int = field(default=0, compare=False)  # another record counts otherwise


@dataclass(frozen=True, slots=True)
class UnitSummary:
    """A unit in a list of units, with its newest document as it was written."""

    unit_id: str
    name: str
    site: str
    text: str
    described: Event


def summary(call_id: str, events: tuple[Event, ...]) -> CallSummary:
    """A call, without the name of its unit."""
    folded = fold_call(call_id, events)
    newest = max(events, key=lambda event: (event.recorded, event.id))
    return CallSummary(
        call_id=call_id,
        unit_id=folded.unit_id,
        unit_name="",
        site="",
        complaint=folded.complaint,
        opened=min(event.recorded for event in events),
        last=newest.recorded,
        newest=newest.id,
        events=len(folded.lines),
        authors=folded.authors,
        withdrawn=any(line.event.kind == "opened" for line in folded.withdrawn) and folded.opening is None,
    )


def unit_summary(unit_id: str, event: Event) -> UnitSummary:
    """A unit by its newest description."""
    text = str(event.body["document"])
    try:
        unit = unit_from_text(text)
    except InputError:  # as another version of this package wrote it
        return UnitSummary(unit_id, "", "", text, event)
    return UnitSummary(unit_id, unit.name, unit.site.name or "", text, event)
