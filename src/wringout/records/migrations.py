"""The tables of the record, and how an older file becomes one of today; forward only."""

from __future__ import annotations

import sqlite3

from wringout.records.database import all_or_nothing, version_of

__all__ = ["APPLICATION", "STEPS", "migrate"]

APPLICATION = 0x57524F31  # written into the file's header: "WRO1"

# INSERT OR REPLACE removes a row without asking the triggers for DELETE, so a second insert is refused
# before it happens.
_EVENTS = """
CREATE TABLE events (
    sequence INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    call_id TEXT,
    unit_id TEXT,
    author TEXT NOT NULL,
    device TEXT NOT NULL,
    recorded TEXT NOT NULL,
    version INTEGER NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE INDEX events_by_call ON events (call_id, id);
CREATE INDEX events_by_unit ON events (unit_id, id);
CREATE TRIGGER events_once BEFORE INSERT ON events
    WHEN EXISTS (SELECT 1 FROM events WHERE id = NEW.id OR sequence = NEW.sequence)
    BEGIN SELECT RAISE(ABORT, 'an event is written once'); END;
CREATE TRIGGER events_unaltered BEFORE UPDATE ON events
    BEGIN SELECT RAISE(ABORT, 'an event is never altered'); END;
CREATE TRIGGER events_kept BEFORE DELETE ON events
    BEGIN SELECT RAISE(ABORT, 'an event is never removed'); END;
"""

# Attachments by content, and a name for this file, so that a device knows when its place in it no longer
# counts.
_ATTACHMENTS = """
CREATE TABLE attachments (
    sha256 TEXT PRIMARY KEY NOT NULL,
    type TEXT NOT NULL,
    data BLOB NOT NULL
) STRICT;
CREATE TRIGGER attachments_once BEFORE INSERT ON attachments
    WHEN EXISTS (SELECT 1 FROM attachments WHERE sha256 = NEW.sha256 OR rowid = NEW.rowid)
    BEGIN SELECT RAISE(ABORT, 'an attachment is written once'); END;
CREATE TRIGGER attachments_unaltered BEFORE UPDATE ON attachments
    BEGIN SELECT RAISE(ABORT, 'an attachment is never altered'); END;
CREATE TRIGGER attachments_kept BEFORE DELETE ON attachments
    BEGIN SELECT RAISE(ABORT, 'an attachment is never removed'); END;
CREATE TABLE record (name TEXT NOT NULL) STRICT;
INSERT INTO record (name) VALUES (lower(hex(randomblob(8))));
CREATE TRIGGER record_once BEFORE INSERT ON record
    BEGIN SELECT RAISE(ABORT, 'the record has its name'); END;
CREATE TRIGGER record_unaltered BEFORE UPDATE ON record
    BEGIN SELECT RAISE(ABORT, 'the record keeps its name'); END;
CREATE TRIGGER record_kept BEFORE DELETE ON record
    BEGIN SELECT RAISE(ABORT, 'the record keeps its name'); END;
"""

STEPS = (_EVENTS, _ATTACHMENTS)


def migrate(database: sqlite3.Connection, name: str) -> None:
    """Bring a file up to this version, one transaction a step; ``name`` is what complaints call it.

    Raises
    ------
    DataError
        When the file holds something else, or was written by a newer version.
    """
    version = _version_of_one_moment(database, name)
    while version < len(STEPS):
        with all_or_nothing(database):
            version = _version(database, name)  # another process may have been quicker
            if version < len(STEPS):
                for statement in _statements(STEPS[version]):
                    database.execute(statement)
                version += 1
                database.execute(f"PRAGMA user_version = {version}")
                database.execute(f"PRAGMA application_id = {APPLICATION}")


def _version_of_one_moment(database: sqlite3.Connection, name: str) -> int:
    """Another process may be making the file just now: what is read must belong together."""
    database.execute("BEGIN")
    try:
        return _version(database, name)
    finally:
        database.execute("ROLLBACK")


def _version(database: sqlite3.Connection, name: str) -> int:
    return version_of(database, name, "record", APPLICATION, len(STEPS))


def _statements(script: str) -> list[str]:
    found, part = [], ""
    for line in script.strip().splitlines(keepends=True):
        part += line
        if sqlite3.complete_statement(part):
            found.append(part)
            part = ""
    return found
