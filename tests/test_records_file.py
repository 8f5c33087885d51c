"""The file of a record: what is told when it is not as it should be, and how older ones are brought up."""

from __future__ import annotations

import contextlib
import os
import resource
import sqlite3
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import pytest

from record_samples import CALL, UNIT, opened, reading
from wringout.errors import DataError
from wringout.records.events import Event
from wringout.records.migrations import STEPS, migrate
from wringout.records.store import Store, open_store


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "record.sqlite"


def refused(path: Path, *, create: bool = True) -> str:
    with pytest.raises(DataError) as told:
        open_store(path, create=create, busy_seconds=0.05)
    assert str(told.value).startswith(str(path))
    assert "\n" not in str(told.value)
    return str(told.value)


def test_no_record_where_one_was_named(path: Path) -> None:
    assert "there is no record here" in refused(path, create=False)
    assert not path.exists()


def test_a_text_file_is_told_and_left_alone(path: Path) -> None:
    path.write_text("format: wringout-call/1\n" * 100)
    before = path.read_bytes()
    assert "not a record, and no SQLite file" in refused(path)
    assert path.read_bytes() == before


def test_a_database_of_something_else_is_told_and_left_alone(path: Path) -> None:
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE songs (name TEXT)")
    other.commit()
    other.close()
    before = path.read_bytes()
    assert "a database of something else" in refused(path)
    assert path.read_bytes() == before


def test_a_record_of_a_newer_version_is_told_and_left_alone(path: Path) -> None:
    open_store(path).close()
    newer = sqlite3.connect(path)
    newer.execute(f"PRAGMA user_version = {len(STEPS) + 1}")
    newer.close()
    assert f"tables of version {len(STEPS) + 1}, known here is {len(STEPS)}" in refused(path)


def test_a_folder_in_place_of_the_file_is_told(tmp_path: Path) -> None:
    assert "cannot be opened" in refused(tmp_path)


def test_a_file_that_another_program_holds_is_told(path: Path) -> None:
    with open_store(path, busy_seconds=0.05) as store:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(DataError, match="another program has been writing"):
            store.append(opened())
        assert store.events() == ()  # reading goes on
        other.execute("ROLLBACK")
        other.close()
        assert store.append(opened()) == (opened().id,)


def test_too_old_a_library_is_told(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sqlite3, "sqlite_version_info", (3, 34, 1))
    assert "3.37 is needed" in refused(path)


def test_a_damaged_file_is_told(path: Path) -> None:
    with open_store(path) as store:
        store.append([opened(), *(reading(n) for n in range(1, 200))])
    data = bytearray(path.read_bytes())
    data[4096:] = b"\x55" * (len(data) - 4096)
    path.write_bytes(data)
    assert "damaged" in refused(path)


def fill(store: Store, kept: list[Event]) -> str:
    """Keep readings until that fails; what was kept is noted, and the complaint given back."""
    for number in range(1, 5000):
        try:
            store.append(reading(number))
        except DataError as fault:
            return str(fault)
        kept.append(reading(number))
    raise AssertionError("it never failed")


def test_a_full_disk_loses_nothing_that_was_kept(path: Path) -> None:
    with open_store(path) as store:
        store.append(opened())
        pages = store.file.database.execute("PRAGMA page_count").fetchone()[0]
        store.file.database.execute(f"PRAGMA max_page_count = {pages + 4}")
        kept = [opened()]
        told = fill(store, kept)
        assert "the disk is full" in told
        assert len(kept) > 1
        assert list(store.events()) == kept
    with open_store(path) as again:
        assert list(again.events()) == kept
        again.append(reading(2000))


def test_a_file_that_may_not_grow_loses_nothing_that_was_kept(path: Path) -> None:
    """The operating system refuses to write beyond a size: what a full quota looks like from inside."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    with open_store(path) as store:
        kept: list[Event] = []
        resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, hard))
        try:
            told = fill(store, kept)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert "did not read or write as it should" in told or "the disk is full" in told
        assert len(kept) > 1
        assert list(store.events()) == kept
        store.append(reading(9000))


READ_ONLY = """
import os, sys
from wringout.records.store import open_store
if os.geteuid() == 0:
    os.seteuid(65534)
open_store(sys.argv[1]).append([])
"""


@pytest.mark.parametrize("there", [True, False])
def test_a_file_or_folder_that_may_not_be_written_is_told(there: bool) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.sqlite"
        if there:
            open_store(path).close()
            path.chmod(0o444)
        os.chmod(folder, 0o555)
        try:
            done = subprocess.run(
                [sys.executable, "-c", READ_ONLY, str(path)], capture_output=True, text=True, check=False
            )
        finally:
            os.chmod(folder, 0o755)
    assert "DataError" in done.stderr
    assert "read-only" in done.stderr or "may its folder be written to" in done.stderr


# ------------------------------------------------------------------------------------------ migrations


@pytest.mark.parametrize("version", range(len(STEPS)))
def test_a_file_of_every_earlier_version_is_brought_up_with_all_it_holds(path: Path, version: int) -> None:
    from wringout.records import migrations

    old = sqlite3.connect(path, isolation_level=None)
    for number, step in enumerate(STEPS[:version], start=1):
        old.executescript(step)
        old.execute(f"PRAGMA user_version = {number}")
        old.execute(f"PRAGMA application_id = {migrations.APPLICATION}")
    if version:
        one = opened()
        old.execute(
            "INSERT INTO events (id, call_id, unit_id, author, device, recorded, version, kind, body) "
            "VALUES (?, ?, ?, ?, ?, ?, 1, 'opened', ?)",
            (
                one.id,
                CALL,
                UNIT,
                one.author,
                one.device,
                one.as_json()["recorded"],
                '{"complaint":"The cheese sweats."}',
            ),
        )
    old.close()
    with open_store(path) as store:
        assert store.events() == ((opened(),) if version else ())
        assert store.file.database.execute("PRAGMA user_version").fetchone() == (len(STEPS),)
        assert store.append(reading(1)) == (reading(1).id,)


@pytest.mark.parametrize("turn", range(12))
def test_several_that_make_the_same_new_file_at_once_all_succeed(path: Path, turn: int) -> None:
    faults: list[DataError] = []
    together = threading.Barrier(6)

    def make(number: int) -> None:
        together.wait()
        try:
            with open_store(path) as store:
                store.append(reading(number))
        except DataError as fault:
            faults.append(fault)

    threads = [threading.Thread(target=make, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    with open_store(path) as store:
        assert len(store.events()) == 6


class Meddled:
    """A connection beside which another process makes the file, just before one of its statements."""

    def __init__(self, database: sqlite3.Connection, before: str, path: Path) -> None:
        self.database, self.before, self.path, self.meddled = database, before, path, False

    def execute(self, statement: str) -> sqlite3.Cursor:
        if self.before in statement and not self.meddled:
            self.meddled = True
            with contextlib.suppress(DataError):  # where it has to wait, it gives up
                open_store(self.path, busy_seconds=0.01).close()
        return self.database.execute(statement)

    @property
    def in_transaction(self) -> bool:
        return self.database.in_transaction


@pytest.mark.parametrize(
    "before", ["user_version", "application_id", "sqlite_master", "BEGIN", "CREATE TABLE"]
)
def test_another_that_makes_the_file_between_two_looks_is_not_taken_for_something_else(
    path: Path, before: str
) -> None:
    database = sqlite3.connect(path, isolation_level=None, timeout=5.0)
    migrate(Meddled(database, before, path), "record")  # type: ignore[arg-type]
    database.close()
    with open_store(path) as store:
        assert store.append(opened()) == (opened().id,)
