"""What happened, as frozen events: the call document's kinds and the few that a record of many hands needs
besides.

An event is never altered. Whether one may be kept depends on that event alone and never on what came
before it, so that two records merge to the same whatever the order; what makes no sense beside the others
is set aside when they are folded.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any

from wringout.errors import InputError
from wringout.records.identifiers import checked
from wringout.records.words import shown

__all__ = [
    "KINDS",
    "OF_THE_CALL_DOCUMENT",
    "VERSION",
    "Event",
    "Kind",
    "body_from",
    "event_from",
    "moment",
    "read_at",
]

VERSION = 1
MAX_TEXT = 4000
MAX_NAME = 200
MAX_UNIT_TEXT = 200_000
MAX_FIELDS = 20
_TIME_EXAMPLE = "2026-07-14T10:05:00"


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of event: what it belongs to (call, unit or nothing), and the fields of its body with their
    checks."""

    of: str
    required: tuple[str, ...] = ()
    optional: tuple[str, ...] = ()


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        # the call document's own
        "reading": Kind("call", ("at", "point", "value"), ("by", "accuracy")),
        "force": Kind("call", ("at", "item", "to")),
        "release": Kind("call", ("at", "item")),
        "change": Kind("call", ("at",), ("cause", "text")),
        "note": Kind("call", ("at", "text")),
        # the record's
        "opened": Kind("call", ("complaint",)),
        "attached": Kind("call", ("sha256", "name", "type", "size"), ("at", "to", "text")),
        "corrected": Kind("call", ("of", "body"), ("reason",)),
        "withdrawn": Kind("call", ("of",), ("reason",)),
        "unit_described": Kind("unit", ("document",)),
        "person_named": Kind("", ("person", "name")),
        "device_named": Kind("", ("device", "name")),
    }
)
OF_THE_CALL_DOCUMENT = ("reading", "force", "release", "change", "note")


@dataclass(frozen=True, slots=True)
class Event:
    """One event: who wrote what, with which device, and when it was written down (UTC, whole milliseconds).

    ``body`` holds text as it was typed, units included; ``body["at"]`` is when it happened, by the clock
    of the place.
    """

    id: str
    kind: str
    body: Mapping[str, Any] = field(hash=False)
    author: str
    device: str
    recorded: datetime
    call_id: str | None = None
    unit_id: str | None = None
    version: int = VERSION

    def as_json(self) -> dict[str, Any]:
        """The event as it is sent and exported."""
        return {
            "id": self.id,
            "call_id": self.call_id,
            "unit_id": self.unit_id,
            "author": self.author,
            "device": self.device,
            "recorded": moment(self.recorded),
            "version": self.version,
            "kind": self.kind,
            "body": {k: dict(v) if isinstance(v, Mapping) else v for k, v in self.body.items()},
        }

    def canonical(self) -> str:
        """The event as one text that is equal only for equal events."""
        return json.dumps(self.as_json(), sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def moment(at: datetime) -> str:
    """A moment in UTC with milliseconds, as text that sorts by time."""
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def event_from(tree: object) -> Event:
    """An event from what was sent or exported; every field is checked.

    Raises
    ------
    InputError
        For anything that is not an event as this version writes them; the message names the field.
    """
    if not isinstance(tree, Mapping):
        raise InputError(f"found {type(tree).__name__}, wanted a mapping of fields", "event")
    fields = set(Event.__dataclass_fields__)
    for name in tree:
        if name not in fields:
            raise InputError(f"unknown field; an event has {', '.join(sorted(fields))}", shown(name))
    for name in ("id", "kind", "body", "author", "device", "recorded"):
        if name not in tree:
            raise InputError("missing; every event needs it", name)
    version = tree.get("version", VERSION)
    if version != VERSION or isinstance(version, bool):
        raise InputError(
            f"found {shown(version, 20)}; this wringout knows version {VERSION}: update it on this device",
            "version",
        )
    kind = tree["kind"]
    if not isinstance(kind, str) or kind not in KINDS:
        raise InputError(f'"{shown(kind)}" is no kind of event; known are {", ".join(KINDS)}', "kind")
    of = KINDS[kind].of
    call_id, unit_id = (_id_or_none(tree.get(name), name) for name in ("call_id", "unit_id"))
    if (call_id is not None) != (of == "call"):
        raise InputError(f"{kind} {'needs' if of == 'call' else 'takes no'} call_id", "call_id")
    if of == "unit" or kind == "opened":
        checked(unit_id, "unit_id")
    return Event(
        id=checked(tree["id"]),
        kind=kind,
        body=body_from(kind, tree["body"]),
        author=_words(tree["author"], "author", MAX_NAME),
        device=_words(tree["device"], "device", MAX_NAME),
        recorded=_recorded(tree["recorded"]),
        call_id=call_id,
        unit_id=unit_id,
        version=VERSION,
    )


def body_from(kind: str, tree: object) -> Mapping[str, Any]:
    """The body of an event of a kind, every field checked."""
    if not isinstance(tree, Mapping):
        raise InputError(f"found {type(tree).__name__}, wanted a mapping of fields", "body")
    wanted = KINDS[kind]
    for name in wanted.required:
        if name not in tree:
            raise InputError(f"missing; {kind} needs it", f"body.{name}")
    body = {}
    for name, value in tree.items():
        if name not in wanted.required + wanted.optional:
            taken = ", ".join(wanted.required + wanted.optional)
            raise InputError(f"unknown field; {kind} takes {taken}", f"body.{shown(name)}")
        body[name] = _CHECKS.get(name, _line)(value, f"body.{name}")
    if kind == "change" and not body.get("cause") and not body.get("text"):
        raise InputError("needs a cause or a text: what was altered?", "body")
    return MappingProxyType(body)


def read_at(text: str) -> datetime:
    """When something happened, as it was written: with a time zone or without."""
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        at = None
    if at is None or ":" not in text or not 2000 <= at.year < 2100:
        raise InputError(f'"{shown(text)}" is no date with time; write it like {_TIME_EXAMPLE}', "at")
    return at


def _id_or_none(value: object, name: str) -> str | None:
    return None if value is None else checked(value, name)


def _words(value: object, name: str, limit: int, *, empty: bool = False) -> str:
    if not isinstance(value, str):
        raise InputError(f"found {type(value).__name__}, wanted words", name)
    if len(value) > limit:
        raise InputError(f"{len(value)} characters long; at most {limit} are taken", name)
    if not value.isprintable() and any(not (c.isprintable() or c in "\n\t") for c in value):
        raise InputError("holds a character that cannot be printed", name)
    if not value.strip() and not empty:
        raise InputError("empty", name)
    return value


def _line(value: object, name: str) -> str:
    return _words(value, name, MAX_NAME)


def _text(value: object, name: str) -> str:
    return _words(value, name, MAX_TEXT, empty=True)


def _document(value: object, name: str) -> str:
    if not isinstance(value, str) or len(value) > MAX_UNIT_TEXT:
        raise InputError(f"wanted the text of a unit document, at most {MAX_UNIT_TEXT} characters", name)
    if not value.isascii() and any("\ud800" <= c <= "\udfff" for c in value):
        raise InputError("holds half of a character", name)
    return value


def _at(value: object, name: str) -> str:
    text = _words(value, name, 40)
    try:
        read_at(text)
    except InputError as error:
        raise InputError(error.message, name) from None
    return text


def _sha256(value: object, name: str) -> str:
    if not isinstance(value, str) or not re.fullmatch("[0-9a-f]{64}", value):
        raise InputError("wanted a SHA-256, 64 digits and letters a to f", name)
    return value


def _size(value: object, name: str) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise InputError("wanted a whole number of bytes", name)
    return value


def _corrected_body(value: object, name: str) -> Mapping[str, Any]:
    if not isinstance(value, Mapping) or len(value) > MAX_FIELDS:
        raise InputError("wanted a mapping: the whole body as it should have been", name)
    for field_name, entry in value.items():
        if isinstance(entry, str):
            _words(entry, f"{name}.{shown(field_name)}", MAX_TEXT, empty=True)
        elif not isinstance(entry, int) or isinstance(entry, bool):
            raise InputError("wanted words", f"{name}.{shown(field_name)}")
    return MappingProxyType(dict(value))


_CHECKS: dict[str, Callable[[object, str], Any]] = {
    "at": _at,
    "of": checked,
    "to": _line,
    "sha256": _sha256,
    "size": _size,
    "text": _text,
    "complaint": _text,
    "reason": _text,
    "document": _document,
    "body": _corrected_body,
}


def _recorded(value: object) -> datetime:
    example = f"{_TIME_EXAMPLE}.000Z"
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            raise InputError(f'"{shown(value)}" is no moment; write it like {example}', "recorded") from None
    if not isinstance(value, datetime) or value.tzinfo is None:
        raise InputError(f"wanted a moment in UTC, for example {example}", "recorded")
    try:
        value = value.astimezone(UTC)
    except OverflowError:
        raise InputError(f"out of range; write it like {example}", "recorded") from None
    return value.replace(microsecond=value.microsecond // 1000 * 1000)
