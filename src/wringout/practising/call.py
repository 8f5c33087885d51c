"""A practice session as a call: what the other commands weigh, book and report."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from wringout.catalogue.calls import vocabulary
from wringout.catalogue.points import point
from wringout.documents.call import CALL_FORMAT, Call, call_from_tree
from wringout.documents.source import Branch, Items, Leaf, Node
from wringout.documents.states import state_name
from wringout.practising.hidden import Hidden
from wringout.practising.session import NOT_HAD, Act, Session, held, minutes_of

__all__ = ["INVENTED", "call_of", "call_tree", "complaint", "state_of"]

INVENTED = "Invented, for learning"
FIRST = datetime(2030, 7, 1, 9, 0)  # an invented day
FELT = 1.0  # K off the set point that people notice; judgement


def complaint(hidden: Hidden) -> str:
    """What the people of the place would say of the machine as it is found.

    Parameters
    ----------
    hidden : Hidden

    Returns
    -------
    str
    """
    rest = hidden.rest
    control = hidden.design.unit.control
    damp = float(rest.space_dew_point[0]) - control.dew_point
    warm = float(rest.space_t[0]) - control.space_t
    felt = []
    if damp > FELT:
        felt.append("it does not dry out")
    elif damp < -FELT:
        felt.append("the air is very dry")
    if warm < -FELT:
        felt.append("it is cold")
    elif warm > FELT:
        felt.append("it is too warm")
    if not felt:
        return "They say that the unit is not right; nobody says how."
    return f"They say that {' and '.join(felt)}."


def state_of(session: Session) -> str:
    """The operating state at the end of a session, as documents name it.

    Parameters
    ----------
    session : Session

    Returns
    -------
    str
    """
    now = held(session)
    return state_name(*now) if now is not None else "auto"


def call_tree(session: Session, hidden: Hidden) -> dict[str, Any]:
    """The call document of a session so far, unit document inside.

    Parameters
    ----------
    session : Session
    hidden : Hidden

    Returns
    -------
    dict
        As a plain tree; what it says does not tell what is hidden.
    """
    note = f"{INVENTED}: no such building, unit or visit; the readings were computed."
    events: list[dict[str, str]] = [{"at": FIRST.isoformat(), "kind": "note", "text": note}]
    at = FIRST
    item = ""
    for one in session.acts:
        end = at + timedelta(minutes=minutes_of(one))
        if one.kind == "read":
            events.append({"at": end.isoformat(), **_reading(one)})
        elif one.kind == "force":
            item = one.what
            share = f"{100.0 * one.to:.6g} %"
            events.append({"at": at.isoformat(), "kind": "force", "item": item, "to": share})
        elif one.kind == "release":
            events.append({"at": at.isoformat(), "kind": "release", "item": item})
        elif one.kind == "mend":
            events.append({"at": end.isoformat(), "kind": "change", "cause": one.what})
        at = end
    return {
        "format": CALL_FORMAT,
        "unit": session.unit_document,
        "complaint": f"{INVENTED}. {complaint(hidden)}",
        "events": events,
    }


def _reading(one: Act) -> dict[str, str]:
    if one.shown == NOT_HAD:
        return {"kind": "note", "text": f"{one.what} was {NOT_HAD}: the stage stands still."}
    return {"kind": "reading", "point": one.what, "value": one.shown, "by": point(one.what).by}


def call_of(session: Session, hidden: Hidden) -> Call:
    """The call of a session so far, read as from its document.

    Parameters
    ----------
    session : Session
    hidden : Hidden

    Returns
    -------
    Call
    """
    tree = _node(call_tree(session, hidden))
    assert isinstance(tree, Branch)
    return call_from_tree(tree, "practice", None, vocabulary())


def _node(plain: Any) -> Node:
    """A plain tree as documents are read from."""
    if isinstance(plain, Mapping):
        return Branch(1, {key: _node(part) for key, part in plain.items()}, dict.fromkeys(plain, 1))
    if isinstance(plain, list):
        return Items(1, [_node(part) for part in plain])
    return Leaf(plain, 1)
