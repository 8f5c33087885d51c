"""What a device that was away has to say, and what it has missed: the meaning of both, without any network.

A device makes its events by itself, identifiers and all, queues them, and sends them in order until each
has an answer. Sending the same again changes nothing, so that an answer lost on the way costs only a
second try. What the device lacks it asks for from the place that it was told the last time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from wringout.documents.call import Vocabulary
from wringout.errors import InputError
from wringout.records.checking import OutOfPlace
from wringout.records.events import Event, event_from
from wringout.records.store import Store
from wringout.records.words import shown

__all__ = ["MAX_BATCH", "Answer", "Missed", "receive", "since"]

MAX_BATCH = 500
TOGETHER = 20  # events put on the disk in one go; nobody else waits longer than for these
Fate = Literal["kept", "known", "refused"]


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of one event.

    ``kept``: it is on the disk, new. ``known``: it was there already, the same. ``refused``: it was not
    kept and never will be as it is; ``why`` says what to mend, ``field`` where. A kept event with a
    ``why`` is safe but does not stand in the call document beside the others, for example a release of
    what another device had released.
    """

    id: str
    fate: Fate
    why: str = ""
    field: str = ""

    def as_json(self) -> dict[str, str]:
        """The answer as it is sent."""
        return {"id": self.id, "fate": self.fate, "why": self.why, "field": self.field}


@dataclass(frozen=True, slots=True)
class Missed:
    """Events since a place, the place to ask from the next time, and whether there is more."""

    events: tuple[Event, ...]
    cursor: str
    more: bool

    def as_json(self) -> dict[str, Any]:
        """As it is sent."""
        return {
            "events": [event.as_json() for event in self.events],
            "cursor": self.cursor,
            "more": self.more,
        }


def receive(
    store: Store,
    queue: Sequence[object],
    vocabulary: Vocabulary,
    *,
    author: str | None = None,
    device: str | None = None,
) -> tuple[Answer, ...]:
    """Take a queue of events from a device, in its order; all that is answered is on the disk.

    Parameters
    ----------
    store : Store
        The record that keeps them.
    queue : sequence of object
        Events as they were sent, at most `MAX_BATCH`.
    vocabulary : Vocabulary
        Points, instruments and causes that there are.
    author, device : str, optional
        Who may speak here: an event that names another is refused. Without them, anyone.

    Returns
    -------
    tuple of Answer
        One for each, in the same order. Of those answered ``kept`` or ``known`` the device may forget its
        copy.

    Raises
    ------
    InputError
        When the queue is too long; nothing was kept.
    DataError
        When the record cannot be written. Events before were kept: sending all of them again is safe.
    """
    if len(queue) > MAX_BATCH:
        raise InputError(f"{len(queue)} events at once; at most {MAX_BATCH} are taken", "queue")
    answers: list[Answer] = []
    for begin in range(0, len(queue), TOGETHER):
        with store.file.transaction():
            for tree in queue[begin : begin + TOGETHER]:
                answers.append(_take(store, tree, vocabulary, author, device))
    return tuple(answers)


def _take(
    store: Store, tree: object, vocabulary: Vocabulary, author: str | None, device: str | None
) -> Answer:
    named = tree.get("id") if isinstance(tree, dict) else None
    identifier = shown(named, 64) if isinstance(named, str) else ""
    try:
        event = event_from(tree)
        for name, wanted, found in (("author", author, event.author), ("device", device, event.device)):
            if wanted is not None and found != wanted:
                raise InputError(
                    f'written by "{shown(found)}", and only "{shown(wanted)}" may write here', name
                )
        if store.has(event):
            return Answer(event.id, "known")
    except InputError as error:
        return Answer(identifier, "refused", error.message, error.place or "")
    why, field = "", ""
    try:
        store.check(event, vocabulary)
    except OutOfPlace as error:  # order between devices is nobody's fault, and the event a fact
        why, field = error.message, error.place or ""
    except InputError as error:
        return Answer(event.id, "refused", error.message, error.place or "")
    return Answer(event.id, "kept" if store.append(event) else "known", why, field)


def since(store: Store, cursor: str | None, limit: int = MAX_BATCH) -> Missed:
    """What a device has missed.

    Parameters
    ----------
    store : Store
        The record to read.
    cursor : str or None
        As it was given the last time; None, or the cursor of another file, begins at the beginning.
    limit : int
        How many events to give at most.

    Returns
    -------
    Missed
        Events in the order in which they were taken here, and the cursor to ask with the next time.
    """
    place = _place(store, cursor)
    rows = store.events_since(place, limit + 1)
    given = rows[:limit]
    last = given[-1][0] if given else place
    return Missed(tuple(event for _, event in given), f"{store.name}.{last}", len(rows) > limit)


def _place(store: Store, cursor: str | None) -> int:
    name, _, place = (cursor or "").partition(".")
    if name != store.name or not (place.isascii() and place.isdecimal() and len(place) < 19):
        return 0
    # more than there is: an older copy of the file was put back
    return int(place) if int(place) <= store.last_sequence() else 0
