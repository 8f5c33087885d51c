"""Events from the contract's documents: the same events wherever and however often a document is read.

A document names no people and no devices, so its events say that they come from a document. Identifiers
and times come from what the document says; times without a zone are taken as UTC where a moment is needed,
and stay as written in the call itself.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from wringout.documents.call import CALL_FORMAT, Vocabulary, call_from_tree
from wringout.documents.load import unit_from_text
from wringout.documents.source import Branch, Leaf, name_of, read_text, read_tree
from wringout.documents.unit import UNIT_FORMAT
from wringout.errors import InputError
from wringout.records.attachments import MAX_BYTES, Content, content_of
from wringout.records.events import Event, event_from, read_at
from wringout.records.identifiers import derived, milliseconds_of
from wringout.records.plain import plain_tree, yaml_of

__all__ = ["FROM_DOCUMENT", "Imported", "attached_files", "events_of_document"]

FROM_DOCUMENT = "document"  # author and device of what a document says
_NO_TIME = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Imported:
    """What a document holds, as events."""

    unit_id: str
    call_id: str | None
    events: tuple[Event, ...]


def events_of_document(path: str | Path, vocabulary: Vocabulary) -> Imported:
    """The events of a call document with its unit document, or of a unit document alone.

    Raises
    ------
    InputError
        For anything in the files that must be mended; the message names file, line and field.
    """
    path = Path(path)
    tree = read_tree(path)
    kind = tree.entries.get("format")
    if isinstance(kind, Leaf) and kind.text == UNIT_FORMAT:
        unit = _unit_event(_own_text(path, tree), name_of(path))
        return Imported(str(unit.unit_id), None, (unit,))
    call_from_tree(tree, name_of(path), path.parent, vocabulary)  # refuses what is no call document
    node = tree.entries["unit"]
    if isinstance(node, Leaf):
        beside = path.parent / node.text.strip()
        unit = _unit_event(_own_text(beside, read_tree(beside)), name_of(beside))
    else:
        unit = _unit_event(yaml_of(plain_tree(node)), name_of(path))
    events = _call_events(plain_tree(tree), str(unit.unit_id))
    return Imported(str(unit.unit_id), events[0].call_id, (unit, *events))


def _own_text(path: Path, tree: Branch) -> str:
    """The text as it was written; JSON writes some characters as YAML does not, so that is written anew."""
    return yaml_of(plain_tree(tree)) if path.suffix.lower() == ".json" else read_text(path)


def _unit_event(text: str, name: str) -> Event:
    unit_from_text(text, name)
    digest = _digest(text)
    return _event(
        derived(0, 1, "unit described", digest),
        "unit_described",
        {"document": text},
        _NO_TIME,
        unit_id=derived(0, 0, "unit", digest),
    )


def _call_events(tree: Mapping[str, Any], unit_id: str) -> list[Event]:
    complaint = tree.get("complaint", "").strip()
    bodies = [{name: text.strip() for name, text in item.items()} for item in tree.get("events", ())]
    digest = _digest(json.dumps([CALL_FORMAT, unit_id, complaint, bodies], sort_keys=True))
    start = _moment(bodies[0]["at"]) if bodies else _NO_TIME
    milliseconds = int(start.timestamp() * 1000)
    call_id = derived(milliseconds, 0, "call", digest)
    opening = _event(
        derived(milliseconds, 1, "event", call_id),
        "opened",
        {"complaint": complaint},
        start,
        call_id=call_id,
        unit_id=unit_id,
    )
    found = [opening]
    for place, body in enumerate(bodies, start=2):
        kind, at = body.pop("kind"), _moment(body["at"])
        found.append(_event(derived(milliseconds, place, "event", call_id), kind, body, at, call_id=call_id))
    return found


def _event(identifier: str, kind: str, body: Mapping[str, Any], at: datetime, **ids: str | None) -> Event:
    tree = {
        "id": identifier,
        "kind": kind,
        "body": body,
        "recorded": at,
        "author": FROM_DOCUMENT,
        "device": FROM_DOCUMENT,
        **ids,
    }
    try:
        return event_from(tree)
    except InputError as error:
        raise InputError(f"cannot be kept: {error}", kind) from None


def _moment(text: str) -> datetime:
    at = read_at(text)
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def attached_files(read: Imported, paths: Sequence[Path]) -> tuple[list[Event], list[Content]]:
    """Events that attach files to the call of a document, the same whenever they are made, and the files'
    bytes.

    Raises
    ------
    InputError
        When a file cannot be read, or is of no type that is taken.
    """
    events, contents = [], []
    opening = next(event for event in read.events if event.kind == "opened")
    milliseconds = milliseconds_of(opening.id)
    for path in paths:
        try:
            with path.open("rb") as stream:
                data = stream.read(MAX_BYTES + 1)
        except OSError as error:
            raise InputError(f"cannot be read: {error.strerror or error}", name_of(path)) from None
        content = content_of(data, name_of(path))
        body = {"sha256": content.sha256, "name": path.name, "type": content.type, "size": len(data)}
        identifier = derived(milliseconds, 0xFFFFFF, "attached", opening.id, content.sha256, path.name)
        events.append(_event(identifier, "attached", body, opening.recorded, call_id=read.call_id))
        contents.append(content)
    return events, contents
