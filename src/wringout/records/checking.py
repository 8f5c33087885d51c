"""Whether an event says something that the call document takes: told at entry, when the person can still
mend it.

The store keeps any well-formed event, since two devices cannot know of each other; this is the stricter
look at one event beside what is already there.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from typing import Any

from wringout.documents.call import CALL_FORMAT, Vocabulary, call_from_tree
from wringout.documents.load import unit_from_text
from wringout.documents.source import tree_of
from wringout.errors import InputError
from wringout.records.events import OF_THE_CALL_DOCUMENT, Event, body_from
from wringout.records.fold import Folded, Line, fold_call

__all__ = ["STANDS_ALONE", "OutOfPlace", "check_event", "place_in", "unreadable"]

_WHERE = re.compile(r"^events\[\d+\]\.?")


# Kinds of which no other event, the opening aside, can make nonsense.
STANDS_ALONE = ("reading", "change", "note", "attached")


class OutOfPlace(InputError):
    """An event that is well written but makes no sense beside the others, or not yet."""


def check_event(event: Event, before: Iterable[Event], unit: Any, vocabulary: Vocabulary) -> None:
    """Refuse an event that the call document would not take.

    Parameters
    ----------
    event : Event
        What is to be written.
    before : iterable of Event
        The events of the same call that are there.
    unit : mapping or None
        The unit document as a plain tree; without it, values at points are not looked at.
    vocabulary : Vocabulary
        Points, instruments and causes that there are.

    Raises
    ------
    InputError
        Naming the field, what was found and what is taken.
    OutOfPlace
        When the order of force and release is broken, what is spoken of is not there, or the call was not
        opened, or was opened before.
    """
    if event.kind == "unit_described":
        unit_from_text(event.body["document"])
    if event.call_id is None:
        return
    before = tuple(before)
    kind, body = event.kind, event.body
    if kind == "corrected":
        target = next((e for e in before if e.id == body["of"]), None)
        if target is None:
            raise OutOfPlace("what it corrects is not here", "of")
        if target.kind in ("corrected", "withdrawn"):
            raise InputError("what corrects or withdraws is not corrected but withdrawn", "of")
        kind, body = target.kind, body_from(target.kind, body["body"])
    _check_body(kind, body, unit, vocabulary)
    folded = fold_call(event.call_id, [*before, event])
    where, line = place_in(folded, event.id)
    if where == "set aside":
        raise OutOfPlace(line.why, event.kind)
    if folded.opening is None:
        raise OutOfPlace("this call was not opened yet", "call_id")
    if line in folded.set_aside:  # corrected into something that stands nowhere
        raise OutOfPlace(line.why, line.event.kind)


def place_in(folded: Folded, identifier: str) -> tuple[str, Line]:
    """The line that an event is, or else the one that it acts on, and whether that is set aside."""
    for line in folded.set_aside:
        if line.id == identifier:
            return "set aside", line
    for line in folded.all_lines():
        if line.id == identifier or any(act.id == identifier for act in line.acts):
            return "stands", line
    raise LookupError(identifier)


def unreadable(folded: Folded, unit: Any, vocabulary: Vocabulary) -> dict[str, str]:
    """Which lines the call document would not take, and why: a later unit document may lack a point that
    was read."""
    found = {}
    for line in folded.lines:
        try:
            _check_body(line.event.kind, line.body, unit, vocabulary)
        except InputError as error:
            found[line.id] = str(error)
    return found


def _check_body(kind: str, body: Mapping[str, Any], unit: Any, vocabulary: Vocabulary) -> None:
    """Read one event as a call document of its own."""
    if unit is None or kind not in OF_THE_CALL_DOCUMENT:
        return
    events: list[Mapping[str, Any]] = [{"kind": kind, **body}]
    if kind == "release":
        events.insert(0, {"kind": "force", "at": body["at"], "item": body["item"], "to": "100 %"})
    text = json.dumps({"format": CALL_FORMAT, "unit": unit, "events": events}, ensure_ascii=False)
    try:
        call_from_tree(tree_of(text, "call"), "call", None, vocabulary)
    except InputError as error:
        words = _WHERE.sub("", error.message)
        field, _, rest = words.partition(": ")
        raise InputError(rest or words, field if rest else kind) from None
