"""The SQLite file of the shelf: its tables, how it is opened, and its errors in words.

Documents stand in it by the SHA-256 of their bytes, whole, so that the shelf is one file and works offline.
What is on the shelf, and what is pinned where, are rows that are only ever added: the last one counts.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from wringout.errors import DataError
from wringout.records import database as files

__all__ = ["APPLICATION", "VERSION", "open_tables", "transaction", "words"]

APPLICATION = 0x57524F53  # written into the file's header: "WROS"
VERSION = 1

_TABLES = (
    """CREATE TABLE documents (
        id INTEGER PRIMARY KEY,
        sha256 TEXT NOT NULL UNIQUE,
        name TEXT NOT NULL,
        pages INTEGER NOT NULL,
        added TEXT NOT NULL,
        data BLOB NOT NULL
    ) STRICT""",
    """CREATE TABLE standing (
        sequence INTEGER PRIMARY KEY,
        document INTEGER NOT NULL REFERENCES documents (id),
        unit TEXT NOT NULL,
        present INTEGER NOT NULL,
        at TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE pages (
        id INTEGER PRIMARY KEY,
        document INTEGER NOT NULL REFERENCES documents (id),
        number INTEGER NOT NULL,
        width REAL NOT NULL,
        height REAL NOT NULL,
        source TEXT NOT NULL,
        text TEXT NOT NULL,
        words BLOB NOT NULL,
        mended TEXT NOT NULL DEFAULT '{}',
        UNIQUE (document, number)
    ) STRICT""",
    "CREATE INDEX pages_short ON pages (document, number, source)",
    """CREATE VIRTUAL TABLE page_words USING fts5(
        whole, parts, content='', tokenize="unicode61 tokenchars '-/.'"
    )""",
    """CREATE TABLE labels (
        id INTEGER PRIMARY KEY,
        label TEXT NOT NULL UNIQUE,
        compact TEXT NOT NULL,
        look_alike TEXT NOT NULL,
        letters TEXT NOT NULL,
        digits TEXT NOT NULL
    ) STRICT""",
    "CREATE INDEX labels_by_compact ON labels (compact)",
    "CREATE INDEX labels_by_look ON labels (look_alike)",
    "CREATE INDEX labels_by_letters ON labels (letters)",
    """CREATE TABLE label_places (
        label INTEGER NOT NULL REFERENCES labels (id),
        page INTEGER NOT NULL REFERENCES pages (id),
        times INTEGER NOT NULL,
        PRIMARY KEY (label, page)
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE pins (
        sequence INTEGER PRIMARY KEY,
        hit TEXT NOT NULL,
        unit TEXT NOT NULL,
        kind TEXT NOT NULL,
        target TEXT NOT NULL,
        present INTEGER NOT NULL,
        at TEXT NOT NULL
    ) STRICT""",
    *(
        f"CREATE TRIGGER {table}_{what} BEFORE {act} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, 'a new state is a new row'); END"
        for table in ("standing", "pins")
        for what, act in (("unaltered", "UPDATE"), ("kept", "DELETE"))
    ),
)


def words(path: Path) -> contextlib.AbstractContextManager[None]:
    """Turn what SQLite and the system complain about into words."""
    return files.words(path, what="shelf", instead="or add the manuals to a new one")


def open_tables(path: Path, *, create: bool) -> sqlite3.Connection:
    """The database in a file, made anew where there is none.

    Raises
    ------
    DataError
        Where it cannot be opened, holds something else, or was written by a newer version.
    """
    if not create and not path.is_file():
        raise DataError(
            f"{path}: there is no shelf here; `wringout shelf add manual.pdf --unit UNIT` makes one"
        )
    with words(path):
        if create:
            path.parent.mkdir(parents=True, exist_ok=True)
        database = sqlite3.connect(path, timeout=files.BUSY_SECONDS, isolation_level=None)
    try:
        with words(path):
            database.execute("PRAGMA trusted_schema = OFF")
            _prepare(database, path)
    except BaseException:
        database.close()
        raise
    return database


def _prepare(database: sqlite3.Connection, path: Path) -> None:
    if _version(database, path) < VERSION:
        with files.all_or_nothing(database):
            if _version(database, path) < VERSION:  # another process may have been quicker
                for statement in _TABLES:
                    database.execute(statement)
                database.execute(f"PRAGMA user_version = {VERSION}")
                database.execute(f"PRAGMA application_id = {APPLICATION}")


def _version(database: sqlite3.Connection, path: Path) -> int:
    return files.version_of(database, str(path), "shelf", APPLICATION, VERSION)


@contextlib.contextmanager
def transaction(database: sqlite3.Connection, path: Path) -> Iterator[None]:
    """All or nothing, on the disk when it ends."""
    with words(path), files.all_or_nothing(database):
        yield
