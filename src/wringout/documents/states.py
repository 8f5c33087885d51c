"""Which readings belong together: the same machine, the same visit, the same operating state."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from wringout.documents.call import Call, Change, Force, Reading, Release

__all__ = ["Snapshot", "operating_states", "state_left", "state_name", "forced"]

VISIT_GAP = timedelta(hours=6)


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Readings of one operating state of one machine on one visit.

    Later readings of a point stand beside earlier ones. ``machine_epoch`` counts the changes made before,
    ``visit`` the longer pauses between events before.
    """

    state: str
    machine_epoch: int
    visit: int
    first: datetime
    last: datetime
    readings: tuple[Reading, ...]


def state_name(item: str, to: float) -> str:
    """The name of the state in which an item is held: ``reheat.command=50 %``."""
    return f"{item}={100.0 * to:.6g} %"


def forced(state: str) -> tuple[str, float] | None:
    """Item and share [0..1] that a state holds; None for ``auto``."""
    if state == "auto":
        return None
    item, _, share = state.partition("=")
    return item, float(share.removesuffix("%")) / 100.0


def state_left(call: Call) -> tuple[str, datetime | None]:
    """Give the operating state in which a call leaves its unit.

    Parameters
    ----------
    call : Call

    Returns
    -------
    (str, datetime or None)
        Its name, and when the last hold or release made it so; None where nothing was ever held.
    """
    state = "auto"
    since: datetime | None = None
    for event in call.events:
        if isinstance(event, Force):
            state, since = state_name(event.item, event.to), event.at
        elif isinstance(event, Release):
            state, since = "auto", event.at
    return state, since


def operating_states(call: Call, visit_gap: timedelta = VISIT_GAP) -> list[Snapshot]:
    """Group the readings of a call by machine, visit and operating state, in order of first reading.

    Parameters
    ----------
    call : Call
        Its events stand in order of time.
    visit_gap : timedelta
        A longer pause between two events begins a new visit: weather and load are no longer the same.

    Returns
    -------
    list of Snapshot
        States without a reading are left out. Returning to a state within a visit continues its snapshot.
    """
    groups: dict[tuple[int, int, str], list[Reading]] = {}
    state, epoch, visit = "auto", 0, 0
    before: datetime | None = None
    for event in call.events:
        if before is not None and event.at - before > visit_gap:
            visit += 1
        before = event.at
        if isinstance(event, Force):
            state = state_name(event.item, event.to)
        elif isinstance(event, Release):
            state = "auto"
        elif isinstance(event, Change):
            epoch += 1
        elif isinstance(event, Reading):
            groups.setdefault((epoch, visit, state), []).append(event)
    return [
        Snapshot(state, epoch, visit, readings[0].at, readings[-1].at, tuple(readings))
        for (epoch, visit, state), readings in groups.items()
    ]
