"""A unit's earlier calls, and work on a call that uses what they told of its machine."""

from __future__ import annotations

import contextlib
import json
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from wringout.history.proofs import PROOF_FORMAT
from wringout.quantity import UnitSystem
from wringout.records.attached_json import attached_json
from wringout.web.jobs import Failed
from wringout.web.weigher import Job

if TYPE_CHECKING:
    from wringout.web.desk import Desk, Here
    from wringout.web.pages import Shared

__all__ = ["EarlierCall", "EarlierCalls", "begun", "known_job", "learning"]

MOST_EARLIER = 20  # calls of one unit, the latest, that are looked at


@dataclass(frozen=True, slots=True)
class EarlierCall:
    """When a call began, its document, and the proofs of its repair that are attached to it, as JSON text."""

    began: datetime
    document: str
    proofs: tuple[str, ...]


class EarlierCalls:
    """Finds them; a call in which nothing has changed is not read again."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._read: dict[str, tuple[object, EarlierCall | None]] = {}

    def of(self, here: Here) -> tuple[EarlierCall, ...]:
        """The calls of this unit that began before this one, the earliest first."""
        unit = here.folded.unit_id
        now = _began(here)
        if unit is None:
            return ()
        store = self._desk.store
        described = next((one.described.id for one in store.units() if one.unit_id == unit), "")
        found = []
        for call in store.calls():
            if call.unit_id != unit or call.call_id == here.id or call.withdrawn:
                continue
            state = (call.sequence, described)
            known = self._read.get(call.call_id)
            if known is None or known[0] != state:
                known = state, self._earlier(call.call_id)
                self._read[call.call_id] = known
            one = known[1]
            if one is not None and (now is None or one.began <= now):
                found.append(one)
        return tuple(sorted(found, key=lambda one: (one.began, one.document))[-MOST_EARLIER:])

    def _earlier(self, call_id: str) -> EarlierCall | None:
        """A call as it stands; None where nothing has happened in it."""
        here = self._desk.here(call_id)
        began = _began(here)
        if began is None:
            return None
        proofs = attached_json(self._desk.store, here.folded, PROOF_FORMAT)
        return EarlierCall(began, here.document, tuple(json.dumps(one, sort_keys=True) for one in proofs))


def _began(here: Here) -> datetime | None:
    """When its first event was, by the clock of the place."""
    return here.call.events[0].at.replace(tzinfo=None) if here.call.events else None


def learning(everything: Shared, here: Here) -> Job | None:
    """The work of learning from earlier calls, begun if it was not; None where there are none.

    It goes by their content alone, so that nothing in the call itself begins it anew.
    """
    earlier = everything.earlier.of(here)
    if not earlier:
        return None
    more = {
        "earlier": [one.document for one in earlier],
        "proofs": [proof for one in earlier for proof in one.proofs],
    }
    return everything.weigher.job("learn", here.id, earlier[-1].document, "si", more)


async def known_job(
    everything: Shared,
    kind: str,
    here: Here,
    system: UnitSystem,
    more: dict[str, Any] | None = None,
    *,
    seconds: float,
) -> Job | None:
    """`begun`, after earlier visits have been learned from, for which it waits so many seconds."""
    learn = learning(everything, here)
    if learn is not None:
        with contextlib.suppress(Failed):  # told by the job itself, which goes on without
            await learn.within(seconds)
    return begun(everything, kind, here, system, more)


def begun(
    everything: Shared,
    kind: str,
    here: Here,
    system: UnitSystem,
    more: dict[str, Any] | None = None,
    *,
    document: str = "",
    ahead: bool = False,
) -> Job | None:
    """The work of a kind with what earlier visits told of the machine; None while that is being learned.

    ``document`` is the call as it may be soon, if it is not as it stands.
    """
    learn = learning(everything, here)
    told = dict(more or {})
    if learn is not None:
        try:
            found = learn.result
        except Failed as error:
            told["not_known"] = error.message
        else:
            if found is None:
                return None
            told |= {"fingerprint": found["fingerprint"]} if found["fingerprint"] else {}
    return everything.weigher.job(kind, here.id, document or here.document, system, told, ahead=ahead)
