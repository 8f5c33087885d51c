"""The record as pages use it: a call as it stands, and events kept exactly once, checked before they are
kept."""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from wringout.catalogue.calls import vocabulary
from wringout.documents.call import Call
from wringout.documents.states import state_left
from wringout.errors import InputError
from wringout.records.attachments import Content, content_of
from wringout.records.events import Event, event_from
from wringout.records.fold import Folded, newest_unit
from wringout.records.identifiers import checked
from wringout.records.store import Store
from wringout.web import jobs

__all__ = ["SAID", "UNREADABLE", "Desk", "Here", "Writer", "following_id", "now_text"]

# notes that the app itself reads again
UNREADABLE = "not readable: "
SAID = "said, to be sorted: "
REPLACED = "another is kept in its place"


@dataclass(frozen=True, slots=True)
class Writer:
    """Who writes, with which device."""

    author: str
    device: str


@dataclass(frozen=True)
class Here:
    """A call as it stands: folded events, its document as JSON text, and the checked call."""

    id: str
    folded: Folded
    document: str
    call: Call

    @property
    def state(self) -> str:
        """The operating state that the unit was left in."""
        return state_left(self.call)[0]

    @property
    def unreadable(self) -> tuple[str, ...]:
        """Points noted as not readable."""
        notes = [line.body["text"] for line in self.folded.lines if line.event.kind == "note"]
        return tuple(note.removeprefix(UNREADABLE) for note in notes if note.startswith(UNREADABLE))

    @property
    def to_sort(self) -> tuple[Any, ...]:
        """Lines that were said without a connection and are not understood yet."""
        return tuple(
            line
            for line in self.folded.lines
            if line.event.kind == "note" and line.body["text"].startswith(SAID)
        )


class Desk:
    """Reads calls from a store and keeps events in it."""

    def __init__(self, store: Store) -> None:
        self.store = store

    def here(self, call_id: str) -> Here:
        """A call as it stands.

        Raises
        ------
        InputError
            When there is no such call.
        """
        folded, tree, call = self.store.standing(checked(call_id, "call"), vocabulary())
        return Here(call_id, folded, json.dumps(tree, ensure_ascii=False, sort_keys=True), call)

    def is_open(self, call_id: str, complaint: str | None = None) -> bool:
        """Whether a call was opened, with this complaint where one is named, whatever it says by now."""
        found = [event for event in self.store.events(call_id) if event.kind == "opened"]
        return bool(found) and complaint in (None, found[0].body["complaint"])

    def open_call(
        self,
        complaint: str,
        writer: Writer,
        *,
        unit_id: str = "",
        document: str = "",
        id: str | None = None,
    ) -> tuple[str, bool]:
        """Open a call on a known unit, or on a new one by its document.

        Parameters
        ----------
        complaint : str
        writer : Writer
        unit_id, document : str
            One of the two.
        id : str, optional
            Made on the device: the same call sent twice is opened once.

        Returns
        -------
        (str, bool)
            The call's identifier, and whether it was open already.

        Raises
        ------
        InputError
            When another call has this identifier, or the document is none.
        """
        made = checked(id, "id") if id else self.store.new_id()
        if self.is_open(made):
            if not self.is_open(made, complaint):
                raise InputError("another call was opened under this identifier; make a new one", "id")
            return made, True
        names = {"author": writer.author, "device": writer.device}
        if document:
            # both made of the call's identifier, so that a call sent twice at once has one unit too
            unit_id = self.store.save_unit(
                document, **names, unit_id=following_id(made, 1), event_id=following_id(made, 2)
            )
        return self.store.open_call(unit_id, complaint, **names, call_id=made), False

    def described(self, unit_id: str) -> Event | None:
        """The event with the newest document of a unit."""
        return newest_unit(self.store.events_outside_calls(), unit_id)

    def describe(self, unit_id: str, sent: str, merged: str, writer: Writer, id: str | None = None) -> None:
        """Keep a unit's document that was changed on a device, perhaps long ago, exactly once.

        Parameters
        ----------
        unit_id : str
        sent, merged : str
            The document as the device saw it, and with what others have changed meanwhile.
        writer : Writer
        id : str, optional
            Made on the device. Where a newer document has come since, what was sent is kept under it and what
            counts under a later one.
        """
        made = checked(id) if id else self.store.new_id()
        if any(event.id == made for event in self.store.events_outside_calls()):
            return
        now = self.described(unit_id)
        texts = {made: merged} if now is None or made > now.id else {made: sent, self.store.new_id(): merged}
        self.store.append(
            [
                self._event(one, "unit_described", {"document": text}, None, writer, unit_id)
                for one, text in texts.items()
            ]
        )

    def keep(
        self,
        call_id: str,
        events: list[tuple[str, dict[str, Any]]],
        writer: Writer,
        id: str | None = None,
    ) -> tuple[str, ...]:
        """Keep events of a call, all or none; those that came before are left as they are.

        ``id`` is that of the first; the others count on from it. Sent again they are known by it.

        Raises
        ------
        InputError
            When one of them is not as a call document takes it; the message says what would be right.
        """
        first = checked(id) if id else self.store.new_id()
        known = {event.id: event for event in self.store.events(call_id)}
        if not known:
            raise InputError("there is no such call here", call_id)
        made: list[Event] = []
        for place, (kind, body) in enumerate(events):
            made_id = following_id(first, place)
            before = known.get(made_id)
            if before is not None and before.kind == kind:
                continue  # sent twice: what was kept first stays
            made.append(self._event(made_id, kind, body, call_id, writer))
        self._check(call_id, [event for event in made if event.kind in _CHECKED])
        self.store.append(made)
        return tuple(event.id for event in made)

    def attach(
        self,
        call_id: str,
        data: bytes,
        name: str,
        writer: Writer,
        *,
        text: str = "",
        at: str = "",
        id: str = "",
        to: str = "",
        instead_of: Sequence[str] = (),
    ) -> str:
        """Keep a photo or file; its SHA-256. Sent again under the same identifier it is the same.

        ``to`` is the event it belongs to; attachments that it comes ``instead_of`` are withdrawn with it.
        """
        name = "".join(c for c in name.replace("\\", "/").rpartition("/")[2] if c.isprintable())[:120]
        content = content_of(data, "file")
        made = checked(id) if id else self.store.new_id()
        if any(event.id == made for event in self.store.events(call_id)):
            return content.sha256
        body = {"sha256": content.sha256, "name": name or "file", "type": content.type, "size": len(data)}
        body |= {key: value for key, value in (("to", to), ("at", at), ("text", text)) if value}
        gone = [
            self._event(
                following_id(made, place), "withdrawn", {"of": of, "reason": REPLACED}, call_id, writer
            )
            for place, of in enumerate(instead_of, 1)
        ]
        self.store.append([self._event(made, "attached", body, call_id, writer), *gone], [content])
        return content.sha256

    def content(self, sha256: str) -> Content:
        """The bytes of an attachment.

        Raises
        ------
        InputError
            When there is none of that name.
        """
        if not re.fullmatch("[0-9a-f]{64}", sha256):
            raise InputError("there is nothing of that name here", "attachment")
        return self.store.content(sha256)

    def _event(
        self,
        id: str,
        kind: str,
        body: Mapping[str, Any],
        call_id: str | None,
        writer: Writer,
        unit_id: str | None = None,
    ) -> Event:
        return event_from(
            {
                "id": id,
                "call_id": call_id,
                "unit_id": unit_id,
                "author": writer.author,
                "device": writer.device,
                "recorded": datetime.now(UTC).isoformat(),
                "version": 1,
                "kind": kind,
                "body": dict(body),
            }
        )

    def _check(self, call_id: str, events: list[Event]) -> None:
        """Each event alone against the unit: what was held before is a matter of the fold."""
        if not events:
            return
        tree = self.store.call_tree(call_id)
        for event in events:
            before = []
            if event.kind == "release":
                before = [
                    {"at": event.body["at"], "kind": "force", "item": event.body["item"], "to": "100 %"}
                ]
            alone = {**tree, "events": [*before, {"kind": event.kind, **event.body}]}
            try:
                jobs.read_document(json.dumps(alone, ensure_ascii=False))
            except InputError as error:
                raise InputError(_plain(error), "value") from None


_CHECKED = ("reading", "force", "release", "change", "note")


def _plain(error: InputError) -> str:
    """The message without the place of a document that the person never saw."""
    place = error.place or ""
    inside = place[place.rfind("(") + 1 : place.rfind(")")] if place.endswith(")") else ""
    return f"{inside}: {error.message}" if inside else error.message


def following_id(first: str, place: int) -> str:
    """The identifier so many places after another: its last bits counted on."""
    if not place:
        return first
    number = uuid.UUID(first).int
    last = 1 << 62
    return str(uuid.UUID(int=number - number % last + (number % last + place) % last))


def now_text() -> str:
    """The clock of the place, to the second."""
    return datetime.now().replace(microsecond=0).isoformat()
