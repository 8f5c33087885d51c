"""The record: one SQLite file that takes events and never alters them."""

from __future__ import annotations

import contextlib
import json
import sqlite3
import threading
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from wringout.documents.call import Call, Vocabulary, call_from_tree
from wringout.documents.load import unit_from_text
from wringout.documents.source import tree_of
from wringout.documents.unit import Unit
from wringout.errors import DataError, InputError
from wringout.records.events import Event, event_from, moment
from wringout.records.fold import Folded, fold_call, fold_names, newest_unit
from wringout.records.identifiers import Maker, checked
from wringout.records.migrations import migrate
from wringout.records.plain import plain_tree

__all__ = ["CallSummary", "Store", "UnitSummary", "open_store"]

BUSY_SECONDS = 5.0
_COLUMNS = "id, call_id, unit_id, author, device, recorded, version, kind, body"


@dataclass(frozen=True, slots=True)
class CallSummary:
    """A call in a list of calls."""

    call_id: str
    unit_id: str | None
    unit_name: str
    complaint: str
    opened: datetime
    last: datetime
    events: int
    authors: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class UnitSummary:
    """A unit in a list of units, with its newest document as it was written."""

    unit_id: str
    name: str
    site: str
    text: str
    described: Event


def open_store(path: str | Path, *, create: bool = True) -> Store:
    """Open the record in a file, made anew where there is none.

    Raises
    ------
    DataError
        When it cannot be opened: not a record, written by a newer version, locked, not writable, disk full.
    """
    return Store(Path(path), create=create)


class Store:
    """An open record. It may be used from several threads; ``with`` closes it.

    ``new_id`` makes identifiers that sort after everything seen here.
    """

    def __init__(self, path: Path, *, create: bool = True) -> None:
        self.path = path
        self.new_id = Maker()
        self._lock = threading.RLock()
        if not create and not path.is_file():
            raise DataError(f"{path}: there is no record here")
        with self._words():
            if create:
                path.parent.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(
                path, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False
            )
        try:
            with self._words():
                for pragma in ("journal_mode = WAL", "synchronous = FULL", "trusted_schema = OFF"):
                    self._db.execute(f"PRAGMA {pragma}")
                migrate(self._db, str(path))
                last = self._db.execute("SELECT max(id) FROM events").fetchone()[0]
        except BaseException:
            self._db.close()
            raise
        if last:
            self.new_id.after(last)

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    # ------------------------------------------------------------------------------------ writing

    def append(self, events: Event | Iterable[Event]) -> tuple[str, ...]:
        """Keep events, all or none; on the disk when this returns.

        An event that is there already, equal in everything, is left as it is.

        Returns
        -------
        tuple of str
            Identifiers of those that are new here, in the order given.

        Raises
        ------
        DataError
            When an event of the same identifier but another content is there, or nothing can be written.
        """
        many = (events,) if isinstance(events, Event) else tuple(events)
        many = tuple(event_from(event.as_json()) for event in many)
        with self._transaction():
            new = tuple(event.id for event in many if self._insert(event))
        for event in many:
            self.new_id.after(event.id)
        return new

    def write(
        self,
        kind: str,
        body: dict[str, Any],
        *,
        author: str,
        device: str,
        call_id: str | None = None,
        unit_id: str | None = None,
        recorded: datetime | None = None,
    ) -> Event:
        """Make an event here and now, and keep it."""
        event = event_from(
            {
                "id": self.new_id(),
                "call_id": call_id,
                "unit_id": unit_id,
                "author": author,
                "device": device,
                "recorded": recorded or datetime.now(UTC),
                "kind": kind,
                "body": body,
            }
        )
        self.append(event)
        return event

    def open_call(
        self, unit_id: str, complaint: str, *, author: str, device: str, call_id: str | None = None
    ) -> str:
        """Open a call on a unit; its identifier."""
        call_id = call_id or self.new_id()
        self.write(
            "opened", {"complaint": complaint}, author=author, device=device, call_id=call_id, unit_id=unit_id
        )
        return call_id

    def save_unit(self, text: str, *, author: str, device: str, unit_id: str | None = None) -> str:
        """Keep the text of a unit document, of a new unit or as the newest of a known one; the unit's
        identifier.

        Raises
        ------
        InputError
            When it is no unit document; the message names line and field.
        """
        unit_from_text(text)
        unit_id = unit_id or self.new_id()
        self.write("unit_described", {"document": text}, author=author, device=device, unit_id=unit_id)
        return unit_id

    def _insert(self, event: Event) -> bool:
        body = json.dumps(dict(event.body), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        row = self._db.execute(f"SELECT {_COLUMNS} FROM events WHERE id = ?", (event.id,)).fetchone()
        if row is not None:
            if _event(row).canonical() != event.canonical():
                raise DataError(
                    f"{self.path}: an event {event.id} is there with another content; nothing was kept"
                )
            return False
        self._db.execute(
            f"INSERT INTO events ({_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                event.id,
                event.call_id,
                event.unit_id,
                event.author,
                event.device,
                moment(event.recorded),
                event.version,
                event.kind,
                body,
            ),
        )
        return True

    # ------------------------------------------------------------------------------------ reading

    def events(self, call_id: str | None = None) -> tuple[Event, ...]:
        """The events of a call, or all there are, by identifier."""
        if call_id is None:
            return self._select("", ())
        return self._select("WHERE call_id = ?", (checked(call_id, "call"),))

    def call(self, call_id: str) -> Folded:
        """A call as it now stands.

        Raises
        ------
        InputError
            When there is no such call.
        """
        events = self.events(call_id)
        if not events:
            raise InputError("there is no such call here; `wringout calls` lists them", call_id)
        return fold_call(call_id, events)

    def call_tree(self, call_id: str) -> dict[str, Any]:
        """The call document with its unit document inside, values as they were typed."""
        folded = self.call(call_id)
        return folded.document(plain_tree(tree_of(self._unit_text(folded), "unit.yaml")))

    def call_document(self, call_id: str, vocabulary: Vocabulary) -> Call:
        """The call as all the rest reads it: checked, SI inside."""
        text = json.dumps(self.call_tree(call_id), ensure_ascii=False)
        return call_from_tree(tree_of(text, f"call {call_id}"), f"call {call_id}", None, vocabulary)

    def calls(self) -> tuple[CallSummary, ...]:
        """All calls, the one written to last first."""
        by_call: dict[str, list[Event]] = {}
        for event in self._select("WHERE call_id IS NOT NULL", ()):
            by_call.setdefault(event.call_id or "", []).append(event)
        units = {unit.unit_id: unit for unit in self.units()}
        found = []
        for call_id, events in by_call.items():
            folded = fold_call(call_id, events)
            unit = units.get(folded.unit_id or "")
            found.append(
                CallSummary(
                    call_id=call_id,
                    unit_id=folded.unit_id,
                    unit_name=unit.name if unit else "",
                    complaint=folded.complaint,
                    opened=min(e.recorded for e in events),
                    last=max(e.recorded for e in events),
                    events=len(folded.lines),
                    authors=folded.authors,
                )
            )
        return tuple(sorted(found, key=lambda c: (c.last, c.call_id), reverse=True))

    def units(self) -> tuple[UnitSummary, ...]:
        """All units with their newest documents, by name."""
        newest: dict[str, Event] = {}
        for event in self._select("WHERE kind = 'unit_described'", ()):
            newest[event.unit_id or ""] = event  # by identifier, so the last one is the newest
        found = []
        for unit_id, event in newest.items():
            text = event.body["document"]
            unit = unit_from_text(text)
            found.append(UnitSummary(unit_id, unit.name, _site(unit), text, event))
        return tuple(sorted(found, key=lambda u: (u.name, u.unit_id)))

    def unit_text(self, unit_id: str) -> str:
        """The newest document of a unit, as it was written."""
        event = newest_unit(self._select("WHERE unit_id = ?", (checked(unit_id, "unit"),)), unit_id)
        if event is None:
            raise InputError("there is no document of this unit here", unit_id)
        return str(event.body["document"])

    def names(self) -> dict[str, str]:
        """What people and devices are called."""
        return fold_names(self._select("WHERE kind IN ('person_named', 'device_named')", ()))

    def _unit_text(self, folded: Folded) -> str:
        if folded.unit_id is None:
            raise InputError("the event that opens this call has not arrived here", folded.call_id)
        return self.unit_text(folded.unit_id)

    def _select(self, where: str, values: tuple[str, ...]) -> tuple[Event, ...]:
        with self._lock, self._words():
            rows = self._db.execute(f"SELECT {_COLUMNS} FROM events {where} ORDER BY id", values).fetchall()
        return tuple(_event(row) for row in rows)

    # ------------------------------------------------------------------------------------ the file

    @contextlib.contextmanager
    def _transaction(self) -> Iterator[None]:
        with self._lock, self._words():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise

    @contextlib.contextmanager
    def _words(self) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, OSError) as error:
            raise DataError(f"{self.path}: {error}") from error


def _event(row: tuple[Any, ...]) -> Event:
    names = _COLUMNS.split(", ")
    tree = dict(zip(names, row, strict=True))
    tree["body"] = json.loads(tree["body"])
    return event_from(tree)


def _site(unit: Unit) -> str:
    site = getattr(unit, "site", None)
    return str(getattr(site, "name", "") or "")
