"""Events and contents as rows of the tables, and back."""

from __future__ import annotations

import json
import sqlite3
from datetime import datetime
from types import MappingProxyType
from typing import Any

from wringout.errors import DataError, InputError
from wringout.records.attachments import Content, content_of
from wringout.records.events import Event, moment
from wringout.records.words import shown

__all__ = ["COLUMNS", "event_of", "insert_content", "insert_event", "is_here"]

COLUMNS = "id, call_id, unit_id, author, device, recorded, version, kind, body"
_INSERT = f"INSERT INTO events ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"


def is_here(database: sqlite3.Connection, event: Event) -> bool:
    """Whether an event is there, the same in everything; another content under its identifier is refused."""
    row = database.execute(f"SELECT {COLUMNS} FROM events WHERE id = ?", (event.id,)).fetchone()
    if row is not None and event_of(row).canonical() != event.canonical():
        raise InputError("an event of this id is here with another content; nothing was kept", event.id)
    return row is not None


def insert_event(database: sqlite3.Connection, event: Event) -> bool:
    """Keep an event; whether it is new."""
    if is_here(database, event):
        return False
    tree = event.as_json()
    body = json.dumps(tree["body"], sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    values = {**tree, "recorded": moment(event.recorded), "body": body}
    database.execute(_INSERT, tuple(values[name] for name in COLUMNS.split(", ")))
    return True


def insert_content(database: sqlite3.Connection, content: Content) -> None:
    """Keep what is attached, unless it is there; its type and name are told from the bytes once more."""
    content = content_of(content.data, content.sha256)
    if database.execute("SELECT 1 FROM attachments WHERE sha256 = ?", (content.sha256,)).fetchone() is None:
        database.execute(
            "INSERT INTO attachments (sha256, type, data) VALUES (?, ?, ?)",
            (content.sha256, content.type, content.data),
        )


def event_of(row: tuple[Any, ...]) -> Event:
    """An event as it was kept: checked when it came in, so not again."""
    identifier, call_id, unit_id, author, device, recorded, version, kind, body = row
    try:
        return Event(
            id=identifier,
            kind=kind,
            body=MappingProxyType(json.loads(body)),
            author=author,
            device=device,
            recorded=datetime.fromisoformat(recorded),
            call_id=call_id,
            unit_id=unit_id,
            version=version,
        )
    except (ValueError, TypeError) as error:
        raise DataError(f"event {shown(identifier)} in the record is damaged: {error}") from None
