"""Events of invented calls for the tests of the record, and ways to draw many of them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import strategies as st

from wringout.catalogue.calls import vocabulary
from wringout.records.events import Event, event_from
from wringout.records.identifiers import uuid7

VOCABULARY = vocabulary()
START = datetime(2027, 5, 4, 9, 0, tzinfo=UTC)
CALL = uuid7(1, 1)
OTHER_CALL = uuid7(1, 2)
UNIT = uuid7(1, 3)
ANN = {"author": "Ann Sample", "device": "phone of Ann"}
BO = {"author": "Bo Sample", "device": "tablet"}


def identifier(number: int) -> str:
    """The identifier of an event made ``number`` seconds after the start."""
    return uuid7(int(START.timestamp() * 1000) + number * 1000, number)


def at(minutes: float) -> str:
    """So many minutes after nine, as the clock of the place shows it."""
    return (START + timedelta(minutes=minutes)).strftime("%Y-%m-%dT%H:%M:%S")


def event(number: int, kind: str, body: Mapping[str, Any], **envelope: Any) -> Event:
    """An event with the number as its place in time; by Ann where nothing else is said."""
    tree = {
        "id": identifier(number),
        "kind": kind,
        "body": body,
        "recorded": START + timedelta(seconds=number),
        "call_id": CALL,
        **ANN,
        **envelope,
    }
    return event_from(tree)


def opened(number: int = 0, complaint: str = "The cheese sweats.", **envelope: Any) -> Event:
    return event(number, "opened", {"complaint": complaint}, **{"unit_id": UNIT, **envelope})


def reading(number: int, value: str = "61.5 degF", point: str = "supply.t", **more: Any) -> Event:
    body = {"at": more.pop("at", at(number)), "point": point, "value": value}
    return event(number, "reading", body, **more)


def corrected(number: int, of: Event, **changes: Any) -> Event:
    envelope = {name: changes.pop(name) for name in ("author", "device") if name in changes}
    return event(number, "corrected", {"of": of.id, "body": {**of.body, **changes}}, **envelope)


def withdrawn(number: int, of: Event, reason: str = "wrong unit", **envelope: Any) -> Event:
    return event(number, "withdrawn", {"of": of.id, "reason": reason}, **envelope)


@st.composite
def histories(draw: st.DrawFn) -> tuple[Event, ...]:
    """Everything that several hands may do to one call, nonsense between devices included, by identifier."""
    made: list[Event] = []
    for number in range(draw(st.integers(1, 14))):
        hand = draw(st.sampled_from((ANN, BO)))
        minutes = draw(st.integers(0, 20))
        zone = draw(st.sampled_from(("", "", "", "+00:00", "-05:00")))
        when = {"at": at(minutes) + zone}
        choice = draw(
            st.sampled_from(("opened", "reading", "force", "release", "note", "change", "act", "act"))
        )
        if choice == "act" and made:
            target = draw(st.sampled_from(made))
            if target.kind in ("corrected", "withdrawn") or draw(st.booleans()):
                made.append(withdrawn(number, target, **hand))
            else:
                changes = {"text": "said better"} if target.kind == "note" else {}
                made.append(corrected(number, target, **changes, **hand))
        elif choice == "opened":
            made.append(opened(number, **hand))
        elif choice == "reading":
            made.append(reading(number, draw(st.sampled_from(("60 degF", "15 degC"))), **when, **hand))
        elif choice in ("force", "release"):
            item = draw(st.sampled_from(("reheat.command", "cooling.call")))
            to = {"to": "100 %"} if choice == "force" else {}
            made.append(event(number, choice, {**when, "item": item, **to}, **hand))
        elif choice == "change":
            made.append(event(number, "change", {**when, "cause": "strainer-plugged"}, **hand))
        else:
            made.append(event(number, "note", {**when, "text": "a word"}, **hand))
    return tuple(made)
