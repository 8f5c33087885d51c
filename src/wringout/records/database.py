"""What every SQLite file of ours has in common: a transaction, whose file it is, and its errors in words."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from wringout.errors import DataError, WringoutError

__all__ = ["BUSY_SECONDS", "all_or_nothing", "version_of", "words"]

BUSY_SECONDS = 5.0

# Beginnings of SQLite's names of errors -> what to tell a person; {what} is what the file should be.
_WORDS = {
    "SQLITE_BUSY": "another program has been writing for more than {busy:g} s; try again when it is done",
    "SQLITE_LOCKED": "another part of this program holds the {what}; try again",
    "SQLITE_FULL": "the disk is full: nothing of this was kept, all that was kept before is; make room",
    "SQLITE_READONLY": "cannot be written: the file or its folder is read-only",
    "SQLITE_NOTADB": "this is not a {what}, and no SQLite file at all",
    "SQLITE_CORRUPT": "the file is damaged; take a copy of it, {instead}",
    "SQLITE_CANTOPEN": "cannot be opened: is it a file, and may its folder be written to?",
    "SQLITE_IOERR": "the disk did not read or write as it should: nothing of this was kept",
    "SQLITE_PERM": "cannot be opened: permission denied",
    "SQLITE_AUTH": "cannot be opened: permission denied",
    "SQLITE_TOOBIG": "this is larger than the file can hold",
}


@contextlib.contextmanager
def words(path: Path, *, busy: float = BUSY_SECONDS, **told: str) -> Iterator[None]:
    """Turn what SQLite and the system complain about into words.

    Parameters
    ----------
    path
        The file, which every complaint names.
    busy
        How long another program was waited for [s].
    told
        ``what`` the file should be, and what one may do ``instead`` where it is damaged ("or ...").

    Raises
    ------
    DataError
        In place of an error of SQLite or of the system.
    """
    try:
        yield
    except WringoutError:
        raise
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", None) or ""
        said = next((text for begin, text in _WORDS.items() if name.startswith(begin)), None)
        said = str(error) if said is None else said.format(busy=busy, **told)
        raise DataError(f"{path}: {said}") from error
    except OSError as error:
        raise DataError(f"{path}: {error.strerror or error}") from error


@contextlib.contextmanager
def all_or_nothing(database: sqlite3.Connection) -> Iterator[None]:
    """A transaction that writes: on the disk when it ends, undone where anything fails."""
    database.execute("BEGIN IMMEDIATE")
    try:
        yield
        database.execute("COMMIT")
    except BaseException:
        if database.in_transaction:
            database.execute("ROLLBACK")
        raise


def version_of(database: sqlite3.Connection, name: str, what: str, application: int, newest: int) -> int:
    """The version of a file's tables, 0 where it has none yet.

    Parameters
    ----------
    database
        The open file.
    name
        What complaints call it.
    what
        What it should be: "record".
    application, newest
        The mark of such files, and the newest version known here.

    Raises
    ------
    DataError
        When the file holds something else, or was written by a newer version.
    """
    version = int(database.execute("PRAGMA user_version").fetchone()[0])
    marked = int(database.execute("PRAGMA application_id").fetchone()[0])
    tables = int(database.execute("SELECT count(*) FROM sqlite_master").fetchone()[0])
    if marked != application and (tables or version or marked):
        raise DataError(f"{name}: this is a database of something else, not a {what}")
    if version > newest:
        raise DataError(
            f"{name}: written by a newer wringout (tables of version {version}, known here is {newest}); "
            "update wringout on this machine"
        )
    return version
