"""From events to the call document as it now stands: the same whatever the order in which the events arrived.

Pure functions. Every event ends in one place of `Folded`: a line of the document, an attachment,
withdrawn, or set aside with the reason. Nothing is dropped.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

from wringout.documents.call import CALL_FORMAT, ITEMS
from wringout.errors import InputError
from wringout.records.events import KINDS, OF_THE_CALL_DOCUMENT, Event, body_from, read_at

__all__ = ["LEGAL", "Folded", "Line", "fold_call", "fold_names", "newest_unit"]

_ACTS = ("corrected", "withdrawn")

# What an item held by hand allows: (kind, is anything held, is it this item) -> why not, empty where it is
# legal. Kinds that do not stand here are legal at any time.
LEGAL: Mapping[tuple[str, bool, bool], str] = {
    ("force", False, False): "",
    ("force", True, True): "",
    ("force", True, False): "another item was still held at that time",
    ("release", True, True): "",
    ("release", True, False): "another item was held at that time, not this one",
    ("release", False, False): "nothing was held at that time",
}


@dataclass(frozen=True, slots=True)
class Line:
    """An event as it now stands: its body after all corrections, and the acts that made it so, in their
    order."""

    event: Event
    body: Mapping[str, Any]
    acts: tuple[Event, ...] = ()
    why: str = ""  # why it is set aside, or the reason given for withdrawing it

    @property
    def id(self) -> str:
        """The identifier of the event that this line began with."""
        return self.event.id


@dataclass(frozen=True, slots=True)
class Folded:
    """A call as it now stands."""

    call_id: str
    unit_id: str | None
    complaint: str
    opening: Line | None
    lines: tuple[Line, ...] = ()  # the events of the document, in its order
    attachments: tuple[Line, ...] = ()
    withdrawn: tuple[Line, ...] = ()
    set_aside: tuple[Line, ...] = ()
    authors: tuple[str, ...] = ()  # everyone who wrote, in order of their first event
    _naive: bool = field(default=False, repr=False)

    def all_lines(self) -> tuple[Line, ...]:
        """Every line, wherever it ended."""
        opening = (self.opening,) if self.opening else ()
        return opening + self.lines + self.attachments + self.withdrawn + self.set_aside

    def without(self, why: Mapping[str, str]) -> Folded:
        """The same with some lines set aside for reasons."""
        out = tuple(replace(line, why=why[line.id]) for line in self.lines if line.id in why)
        kept = tuple(line for line in self.lines if line.id not in why)
        return replace(self, lines=kept, set_aside=self.set_aside + out)

    def document(self, unit: Any = "unit.yaml") -> dict[str, Any]:
        """The call document, values as they were typed; ``unit`` is a path beside it or the unit document
        itself."""
        tree: dict[str, Any] = {"format": CALL_FORMAT, "unit": unit}
        if self.complaint:
            tree["complaint"] = self.complaint
        events: list[dict[str, Any]] = []
        for line in self.lines:
            kind, at = line.event.kind, line.body["at"]
            item = {"at": _clock_of_the_place(at) if self._naive else at, "kind": kind}
            for name in (*KINDS[kind].required, *KINDS[kind].optional):
                if name in line.body and name not in item:
                    item[name] = line.body[name]
            events.append(item)
        if events:
            tree["events"] = events
        return tree


def fold_call(call_id: str, events: Iterable[Event]) -> Folded:
    """Fold the events of a call.

    Of several corrections and withdrawals of one event the last one counts, by identifier and so by time;
    either may itself be withdrawn, which undoes it. Lines stand in order of the time at
    which things happened, then of their identifiers. Where some times carry a zone and others none, all
    count as the clock of the place shows them.
    """
    mine = sorted({e.id: e for e in events if e.call_id == call_id}.values(), key=lambda e: e.id)
    standing, gone, aside = _after_acts(mine)
    openings = [line for line in standing if line.event.kind == "opened"]
    opening = openings[0] if openings else None
    aside += [replace(line, why="the call was opened before") for line in openings[1:]]
    naive = any(_naive(line) for line in standing if line.event.kind in OF_THE_CALL_DOCUMENT)
    lines = sorted(
        (line for line in standing if line.event.kind in OF_THE_CALL_DOCUMENT),
        key=lambda line: (_sortable(line.body["at"], naive), line.id),
    )
    lines, illegal = _legal(lines)
    return Folded(
        call_id=call_id,
        unit_id=_unit_of(opening),
        complaint=opening.body["complaint"].strip() if opening else "",
        opening=opening,
        lines=tuple(lines),
        attachments=tuple(line for line in standing if line.event.kind == "attached"),
        withdrawn=tuple(gone),
        set_aside=tuple(sorted(aside + illegal, key=lambda line: line.id)),
        authors=tuple(dict.fromkeys(event.author for event in mine)),
        _naive=naive,
    )


def newest_unit(events: Iterable[Event], unit_id: str) -> Event | None:
    """The newest description of a unit, by identifier and so by time."""
    return max(
        (e for e in events if e.kind == "unit_described" and e.unit_id == unit_id),
        key=lambda e: e.id,
        default=None,
    )


def fold_names(events: Iterable[Event]) -> dict[str, str]:
    """What people and devices are called now; the last naming counts."""
    names: dict[str, str] = {}
    for event in sorted(events, key=lambda e: e.id):
        if event.kind in ("person_named", "device_named"):
            names[event.body[event.kind.removesuffix("_named")]] = event.body["name"]
    return names


def _after_acts(events: list[Event]) -> tuple[list[Line], list[Line], list[Line]]:
    """What stands, what is withdrawn, and the acts that have nothing to act on."""
    children: dict[str, list[Event]] = {}
    for event in events:
        if event.kind in _ACTS:
            children.setdefault(event.body["of"], []).append(event)
    reached: set[str] = set()
    standing: list[Line] = []
    gone: list[Line] = []
    aside: list[Line] = []
    for event in events:
        if event.kind in _ACTS:
            continue
        line, withdrawn = _settled(event, children, reached, aside)
        (gone if withdrawn else standing).append(line)
    for event in events:
        if event.kind in _ACTS and event.id not in reached:
            aside.append(Line(event, event.body, why="what it speaks of has not arrived"))
    return standing, gone, aside


def _settled(
    root: Event, children: Mapping[str, list[Event]], reached: set[str], aside: list[Line]
) -> tuple[Line, bool]:
    """One event after the acts on it, and whether it is withdrawn. Without recursion: chains may be long."""
    order, below = [root], [root]
    while below:
        found = [child for parent in below for child in children.get(parent.id, ())]
        reached.update(child.id for child in found)
        order += found
        below = found
    state: dict[str, tuple[Mapping[str, Any] | None, str]] = {}  # body that stands, or nothing; reason
    for event in reversed(order):
        body: Mapping[str, Any] | None = event.body
        why = ""
        for act in children.get(event.id, ()):
            said, _ = state[act.id]
            if said is None:
                continue  # the act was itself withdrawn
            if act.kind == "withdrawn":
                body, why = None, said.get("reason", "")
                continue
            if event.kind in _ACTS:
                aside.append(Line(act, said, why="what corrects or withdraws is not corrected but withdrawn"))
                continue
            try:
                body, why = body_from(event.kind, said["body"]), ""
            except InputError as error:
                aside.append(Line(act, said, why=f"not a correction of {event.kind}: {error}"))
        state[event.id] = body, why
    body, why = state[root.id]
    acts = tuple(sorted(order[1:], key=lambda e: e.id))
    return Line(root, root.body if body is None else body, acts, why), body is None


def _legal(lines: list[Line]) -> tuple[list[Line], list[Line]]:
    kept, aside = [], []
    held: str | None = None
    for line in lines:
        kind, item = line.event.kind, line.body.get("item")
        if kind in ("force", "release"):
            why = LEGAL[kind, held is not None, held == item and held is not None]
            if item not in ITEMS:
                why = f'"{item}" cannot be held; {" and ".join(ITEMS)} can'
            if why:
                aside.append(replace(line, why=why))
                continue
            held = str(item) if kind == "force" else None
        kept.append(line)
    return kept, aside


def _unit_of(opening: Line | None) -> str | None:
    if opening is None:
        return None
    moved = [act.unit_id for act in opening.acts if act.kind == "corrected" and act.unit_id]
    return moved[-1] if moved else opening.event.unit_id


def _naive(line: Line) -> bool:
    return read_at(line.body["at"]).tzinfo is None


def _clock_of_the_place(text: str) -> str:
    at = read_at(text)
    return text if at.tzinfo is None else at.replace(tzinfo=None).isoformat()


def _sortable(text: str, naive: bool) -> datetime:
    at = read_at(text)
    return at.replace(tzinfo=None) if naive else at.astimezone(UTC)


assert set(OF_THE_CALL_DOCUMENT) <= set(KINDS)
