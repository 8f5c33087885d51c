"""The SQLite file under a record: how it is opened, how a transaction runs, and its errors in words."""

from __future__ import annotations

import contextlib
import sqlite3
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from wringout.errors import DataError
from wringout.records.database import BUSY_SECONDS, all_or_nothing, words
from wringout.records.migrations import migrate

__all__ = ["RecordFile"]

LEAST_SQLITE = (3, 37)  # strict tables


class RecordFile:
    """One open file, safe to use from several threads: they take turns.

    A write-ahead log with full synchronisation: a transaction is on the disk when it ends, and readers
    never wait for a writer.
    """

    def __init__(self, path: Path, *, create: bool, busy_seconds: float = BUSY_SECONDS) -> None:
        self.path = path
        self.busy_seconds = busy_seconds
        self.lock = threading.RLock()
        if not create and not path.is_file():
            raise DataError(f"{path}: there is no record here; `wringout import` makes one")
        with self.words():
            if create:
                path.parent.mkdir(parents=True, exist_ok=True)
            self.database = sqlite3.connect(
                path, timeout=busy_seconds, isolation_level=None, check_same_thread=False
            )
        try:
            with self.words():
                self._prepare()
        except BaseException:
            self.database.close()
            raise

    def _prepare(self) -> None:
        if sqlite3.sqlite_version_info < LEAST_SQLITE:
            wanted = ".".join(map(str, LEAST_SQLITE))
            raise DataError(
                f"{self.path}: Python here was built with SQLite {sqlite3.sqlite_version}; {wanted} is needed"
            )
        self.database.execute("PRAGMA trusted_schema = OFF")
        self.database.execute(
            "PRAGMA user_version"
        )  # is it a database at all, and ours? before anything is altered
        migrate(self.database, str(self.path))
        mode = self._write_ahead()
        if mode != "wal":
            raise DataError(
                f"{self.path}: this file system cannot hold a write-ahead log; keep the record on a disk of "
                "this machine (--store, WRINGOUT_STORE)"
            )
        self.database.execute("PRAGMA synchronous = FULL")

    def _write_ahead(self) -> str:
        """Two that open a new file at once may be in each other's way here, and SQLite does not wait by
        itself."""
        until = time.monotonic() + self.busy_seconds
        while True:
            try:
                return str(self.database.execute("PRAGMA journal_mode = WAL").fetchone()[0])
            except sqlite3.OperationalError as error:
                if not error.sqlite_errorname.startswith("SQLITE_BUSY") or time.monotonic() > until:
                    raise
                time.sleep(0.01)

    def close(self) -> None:
        """Close the file."""
        with self.lock:
            self.database.close()

    @contextlib.contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All or nothing, on the disk when it ends; inside another one, a part of that."""
        with self.lock, self.words():
            if self.database.in_transaction:
                yield self.database
                return
            with all_or_nothing(self.database):
                yield self.database

    @contextlib.contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """The database as it is at one moment, or as the transaction around it has made it."""
        with self.lock, self.words():
            if self.database.in_transaction:
                yield self.database
                return
            self.database.execute("BEGIN")
            try:
                yield self.database
            finally:
                if self.database.in_transaction:
                    self.database.execute("ROLLBACK")

    def words(self) -> contextlib.AbstractContextManager[None]:
        """Turn what SQLite and the system complain about into words."""
        return words(self.path, busy=self.busy_seconds, what="record", instead="or import what was exported")
