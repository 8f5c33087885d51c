"""The record: one SQLite file that takes events and never alters them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from wringout.documents.call import Call, Vocabulary, call_from_tree
from wringout.documents.load import unit_from_text
from wringout.documents.source import tree_of
from wringout.errors import InputError
from wringout.records.attachments import Content, content_of
from wringout.records.checking import STANDS_ALONE, check_event, unreadable
from wringout.records.database import BUSY_SECONDS
from wringout.records.events import Event, event_from
from wringout.records.file import RecordFile
from wringout.records.fold import Folded, fold_call, fold_names, newest_unit
from wringout.records.identifiers import Maker, checked
from wringout.records.plain import plain_tree
from wringout.records.rows import COLUMNS, event_of, insert_content, insert_event, is_here
from wringout.records.summaries import CallSummary, UnitSummary, summary, unit_summary
from wringout.records.words import shown

__all__ = ["CallSummary", "Store", "UnitSummary", "open_store"]


def open_store(path: str | Path, *, create: bool = True, busy_seconds: float = BUSY_SECONDS) -> Store:
    """Open the record in a file, made anew where there is none.

    Raises
    ------
    DataError
        When it cannot be opened: not a record, written by a newer version, locked, not writable, disk full.
    """
    return Store(RecordFile(Path(path), create=create, busy_seconds=busy_seconds))


class Store:
    """An open record. It may be used from several threads; ``with`` closes it.

    ``new_id`` makes identifiers that sort after everything seen here.
    """

    def __init__(self, file: RecordFile) -> None:
        self.file = file
        self.new_id = Maker()
        self._summaries: dict[str, tuple[int, CallSummary]] = {}
        self._units: dict[str, UnitSummary] = {}
        with file.reading() as database:
            self.name = str(database.execute("SELECT name FROM record").fetchone()[0])
            last = database.execute("SELECT max(id) FROM events").fetchone()[0]
        if last:
            self.new_id.after(last)

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self.file.close()

    # ------------------------------------------------------------------------------------ writing

    def append(self, events: Event | Iterable[Event], contents: Iterable[Content] = ()) -> tuple[str, ...]:
        """Keep events and attached contents, all or none; they are on the disk when this returns.

        An event that is there already, equal in everything, is left as it is.

        Returns
        -------
        tuple of str
            Identifiers of those that are new here, in the order given.

        Raises
        ------
        InputError
            When an event of the same identifier but another content is there, or one is no event at all.
        DataError
            When nothing can be written.
        """
        many = (events,) if isinstance(events, Event) else tuple(events)
        many = tuple(event_from(event.as_json()) for event in many)
        for event in many:
            if event.kind == "unit_described":
                unit_from_text(event.body["document"], f"unit document in event {event.id}")
        with self.file.transaction() as database:
            for content in contents:
                insert_content(database, content)
            new = tuple(event.id for event in many if insert_event(database, event))
        for event in many:
            self.new_id.after(event.id)
        return new

    def write(
        self,
        kind: str,
        body: Mapping[str, Any],
        *,
        author: str,
        device: str,
        call_id: str | None = None,
        unit_id: str | None = None,
        event_id: str | None = None,
        contents: Iterable[Content] = (),
        vocabulary: Vocabulary | None = None,
    ) -> Event:
        """Make an event here and now, and keep it.

        With a vocabulary, it is checked first as the call document would check it, see `check`. With an
        identifier made elsewhere, writing the same twice gives the event that was kept the first time.
        """
        event = event_from(
            {
                "id": event_id or self.new_id(),
                "call_id": call_id,
                "unit_id": unit_id,
                "author": author,
                "device": device,
                "recorded": datetime.now(UTC),
                "kind": kind,
                "body": body,
            }
        )
        kept = self._kept(event) if event_id else None
        if kept is not None:
            return kept
        if vocabulary is not None:
            self.check(event, vocabulary)
        try:
            self.append(event, contents)
        except InputError:
            kept = self._kept(event)  # two that came at once
            if kept is None:
                raise
            return kept
        return event

    def _kept(self, event: Event) -> Event | None:
        """The event that was kept under an identifier, if it says the same and differs in its moment
        alone."""
        found = self._select("WHERE id = ?", (event.id,))
        return found[0] if found and replace(event, recorded=found[0].recorded) == found[0] else None

    def check(self, event: Event, vocabulary: Vocabulary) -> None:
        """Refuse an event that the call document would not take; nothing is written.

        Raises
        ------
        InputError
            Naming the field, what was found and what is taken.
        """
        before: tuple[Event, ...] = ()
        if event.call_id is not None and event.kind in STANDS_ALONE:
            where = "WHERE call_id = ? AND kind IN ('opened', 'corrected', 'withdrawn')"
            before = self._select(where, (event.call_id,))
        elif event.call_id is not None:
            before = self.events(event.call_id)
        check_event(event, before, self._unit_tree(before, event), vocabulary)

    def save_unit(
        self,
        text: str,
        *,
        author: str,
        device: str,
        unit_id: str | None = None,
        event_id: str | None = None,
    ) -> str:
        """Keep a unit document: of a new unit, or as the newest of the unit named; the unit's identifier.

        With an identifier made elsewhere, saving the same twice keeps it once.

        Raises
        ------
        InputError
            When it is no unit document; the message names line and field.
        """
        unit_from_text(text)
        unit_id = unit_id or self.new_id()
        self.write(
            "unit_described",
            {"document": text},
            author=author,
            device=device,
            unit_id=unit_id,
            event_id=event_id,
        )
        return unit_id

    def open_call(
        self, unit_id: str, complaint: str, *, author: str, device: str, call_id: str | None = None
    ) -> str:
        """Open a call on a unit; its identifier. One that was opened already is left as it is."""
        call_id = checked(call_id, "call") if call_id else self.new_id()
        with self.file.transaction():
            if not self.is_open(call_id):
                body = {"complaint": complaint}
                self.write("opened", body, author=author, device=device, call_id=call_id, unit_id=unit_id)
        return call_id

    def correct(
        self,
        event_id: str,
        body: Mapping[str, Any] | None,
        *,
        author: str,
        device: str,
        reason: str = "",
        vocabulary: Vocabulary | None = None,
    ) -> Event:
        """Say what an event should have been, its whole body; without a body, withdraw it.

        The event itself stays as it was written. A correction or a withdrawal may itself be withdrawn.
        """
        found = self._select("WHERE id = ?", (checked(event_id),))
        if not found:
            raise InputError("there is no such event here", event_id)
        said: dict[str, Any] = {"of": event_id}
        if body is not None:
            said["body"] = body
        if reason:
            said["reason"] = reason
        return self.write(
            "withdrawn" if body is None else "corrected",
            said,
            author=author,
            device=device,
            call_id=found[0].call_id,
            vocabulary=vocabulary,
        )

    def attach(
        self,
        data: bytes,
        *,
        name: str,
        call_id: str,
        author: str,
        device: str,
        to: str | None = None,
        at: str | None = None,
        text: str = "",
        event_id: str | None = None,
    ) -> Event:
        """Attach a photo or a file to a call, or to one event of it (``to``); both are kept together.

        With an identifier made elsewhere, the same twice gives the event kept the first time.
        """
        content = content_of(data, name)
        body: dict[str, Any] = {
            "sha256": content.sha256,
            "name": name,
            "type": content.type,
            "size": len(data),
        }
        body |= {key: value for key, value in (("to", to), ("at", at), ("text", text)) if value}
        return self.write(
            "attached",
            body,
            author=author,
            device=device,
            call_id=call_id,
            event_id=event_id,
            contents=[content],
        )

    # ------------------------------------------------------------------------------------ reading

    def events(self, call_id: str | None = None) -> tuple[Event, ...]:
        """The events of a call, or all there are, by identifier."""
        if call_id is None:
            return self._select("", ())
        return self._select("WHERE call_id = ?", (checked(call_id, "call"),))

    def events_outside_calls(self) -> tuple[Event, ...]:
        """Descriptions of units and names of people and devices, by identifier."""
        return self._select("WHERE call_id IS NULL", ())

    def has(self, event: Event) -> bool:
        """Whether an event is here, the same in everything.

        Raises
        ------
        InputError
            When another content is here under its identifier.
        """
        with self.file.reading() as database:
            return is_here(database, event)

    def events_since(self, sequence: int, limit: int) -> tuple[tuple[int, Event], ...]:
        """Events in the order in which this file took them, after a place in it."""
        where = "WHERE sequence > ? ORDER BY sequence LIMIT ?"
        with self.file.reading() as database:
            rows = database.execute(f"SELECT {COLUMNS}, sequence FROM events {where}", (sequence, limit))
            return tuple((row[-1], event_of(row[:-1])) for row in rows)

    def is_open(self, call_id: str) -> bool:
        """Whether the event that opens a call is here."""
        return bool(self._select("WHERE call_id = ? AND kind = 'opened'", (checked(call_id, "call"),)))

    def last_sequence(self) -> int:
        """The place of the event that this file took last, 0 before the first."""
        with self.file.reading() as database:
            return int(database.execute("SELECT coalesce(max(sequence), 0) FROM events").fetchone()[0])

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
        return self._tree(self.call(call_id))

    def call_document(self, call_id: str, vocabulary: Vocabulary) -> Call:
        """The call as all the rest reads it: checked, SI inside.

        Lines that the document would not take are left out; `set_aside` tells which, and why.
        """
        return self.standing(call_id, vocabulary)[2]

    def standing(self, call_id: str, vocabulary: Vocabulary) -> tuple[Folded, dict[str, Any], Call]:
        """A call as it now stands, its document as it was typed, and the checked call, all of one moment.

        Lines that the document would not take are among those set aside.
        """
        with self.file.reading():
            folded = self.call(call_id)
            tree = self._tree(folded)
        name = f"call {call_id}"
        try:
            return folded, tree, call_from_tree(_as_source(tree, name), name, None, vocabulary)
        except InputError:
            folded = folded.without(unreadable(folded, tree["unit"], vocabulary))
            tree = folded.document(tree["unit"])
            return folded, tree, call_from_tree(_as_source(tree, name), name, None, vocabulary)

    def set_aside(self, call_id: str, vocabulary: Vocabulary) -> dict[str, str]:
        """Events that are kept but do not stand in the document of the call, and why."""
        return {line.id: line.why for line in self.standing(call_id, vocabulary)[0].set_aside}

    def calls(self) -> tuple[CallSummary, ...]:
        """All calls, the one written to last first."""
        with self.file.reading() as database:
            rows = database.execute(
                "SELECT call_id, max(sequence) FROM events WHERE call_id IS NOT NULL GROUP BY call_id"
            ).fetchall()
        units = {unit.unit_id: unit for unit in self.units()}
        found = []
        for call_id, last in rows:
            known = self._summaries.get(call_id)
            if known is None or known[0] != last:
                known = last, replace(summary(call_id, self.events(call_id)), sequence=last)
                self._summaries[call_id] = known
            unit = units.get(known[1].unit_id or "")
            found.append(replace(known[1], unit_name=unit.name, site=unit.site) if unit else known[1])
        return tuple(sorted(found, key=lambda c: (c.last, c.newest), reverse=True))

    def units(self) -> tuple[UnitSummary, ...]:
        """All units with their newest documents, by name."""
        newest: dict[str, Event] = {}
        for event in self._select("WHERE kind = 'unit_described'", ()):
            newest[event.unit_id or ""] = event  # they come by identifier, so the last one is the newest
        for unit_id, event in newest.items():
            known = self._units.get(unit_id)
            if known is None or known.described.id != event.id:
                self._units[unit_id] = unit_summary(unit_id, event)
        return tuple(sorted((self._units[u] for u in newest), key=lambda u: (u.name, u.unit_id)))

    def unit_text(self, unit_id: str) -> str:
        """The newest document of a unit, as it was written."""
        event = newest_unit(self._select("WHERE unit_id = ?", (checked(unit_id, "unit"),)), unit_id)
        if event is None:
            raise InputError("the document of this unit has not arrived here", f"unit {unit_id}")
        return str(event.body["document"])

    def names(self) -> dict[str, str]:
        """What people and devices are called."""
        return fold_names(self._select("WHERE kind IN ('person_named', 'device_named')", ()))

    def content(self, sha256: str) -> Content:
        """What was attached, by its SHA-256.

        Raises
        ------
        InputError
            When it is not here (yet).
        """
        with self.file.reading() as database:
            row = database.execute(
                "SELECT type, data FROM attachments WHERE sha256 = ?", (sha256,)
            ).fetchone()
        if row is None:
            raise InputError("there is no such attachment here", shown(sha256, 64))
        return Content(sha256, row[0], row[1])

    def contents(self) -> frozenset[str]:
        """The SHA-256 of everything attached that is here."""
        with self.file.reading() as database:
            return frozenset(row[0] for row in database.execute("SELECT sha256 FROM attachments"))

    def _tree(self, folded: Folded) -> dict[str, Any]:
        if folded.unit_id is None:
            raise InputError(
                "the event that opens this call has not arrived here, or was withdrawn", folded.call_id
            )
        return folded.document(plain_tree(tree_of(self.unit_text(folded.unit_id), "unit document")))

    def _unit_tree(self, before: Iterable[Event], event: Event) -> Any:
        """The unit document of the call that an event belongs to, or None where it has not arrived."""
        if event.call_id is None:
            return None
        unit_id = fold_call(event.call_id, [*before, event]).unit_id
        if unit_id is None or newest_unit(self._select("WHERE unit_id = ?", (unit_id,)), unit_id) is None:
            return None
        return plain_tree(tree_of(self.unit_text(unit_id), "unit document"))

    def _select(self, where: str, values: tuple[str, ...]) -> tuple[Event, ...]:
        with self.file.reading() as database:
            rows = database.execute(f"SELECT {COLUMNS} FROM events {where} ORDER BY id", values).fetchall()
        return tuple(event_of(row) for row in rows)


def _as_source(tree: Mapping[str, Any], name: str) -> Any:
    return tree_of(json.dumps(tree, ensure_ascii=False), name)
