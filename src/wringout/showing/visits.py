"""What an earlier visit left, and what differs from it, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from wringout.catalogue.points import point, shown
from wringout.documents.call import Call
from wringout.history.differences import Difference, differences
from wringout.history.visits import LeftReading, Visit, left_readings, visits_of
from wringout.quantity import UnitSystem
from wringout.showing.words import pretty
from wringout.weighing.evidence_words import difference, plain, state_words, title, with_spread

__all__ = ["History", "difference_words", "history_in_words", "history_of", "settings_left"]

SEED = 0
# what a visit leaves set, in the order in which it is told
SET = (
    "shown.setpoint_dew_point",
    "shown.reheat_in_hand",
    "shown.reheat_command",
    "reheat.signal",
    "reheat.stem",
    "chilled.stem",
    "shown.stages_called",
    "fan.speed",
    "filter.drop",
    "strainer.drop",
    "loop.flow",
)


@dataclass(frozen=True)
class History:
    """Visits in order of time; ``left`` the last before the latest that shows how it left the unit, and what
    the latest ``found`` against it, the clearest first."""

    visits: tuple[Visit, ...]
    left: Visit | None
    found: tuple[Difference, ...]


def history_of(calls: Sequence[Call]) -> History:
    """The visits of one unit's calls, and what the latest found otherwise.

    Raises
    ------
    InputError
        For calls of different units.
    """
    visits = visits_of(calls)
    left = next((visit for visit in reversed(visits[:-1]) if left_readings(visit)), None)
    found = differences(left, visits[-1], np.random.default_rng(SEED)) if left is not None else ()
    return History(visits, left, found)


def history_in_words(calls: Sequence[Call], system: UnitSystem) -> dict[str, Any]:
    """Visits, the latest first, and what the latest found otherwise, ready for a page."""
    history = history_of(calls)
    clear = [one for one in history.found if one.differs]
    return {
        "visits": [
            {
                "first": visit.first.isoformat(),
                "day": f"{visit.first:%Y-%m-%d}",
                "from": f"{visit.first:%H:%M}",
                "to": f"{visit.last:%H:%M}",
                "complaint": visit.complaint,
                "readings": len(visit.readings),
                "changes": [
                    ", ".join(part for part in (title(c.cause) if c.cause else "", c.text) if part)
                    for c in visit.changes
                ],
                "left": [
                    {
                        "what": plain(one.reading.point),
                        "value": pretty(shown(one.reading.point, one.reading.value, system)),
                    }
                    for one in settings_left(visit)
                ],
                "held": ""
                if visit.left_held is None
                else f"{visit.left_held.item} at {100.0 * visit.left_held.to:.3g} %",
            }
            for visit in reversed(history.visits)
        ],
        "since": f"{history.left.last:%Y-%m-%d}" if history.left is not None else "",
        "compared": len(history.found),
        "differs": [pretty(difference_words(one, system)) for one in clear],
    }


def settings_left(visit: Visit) -> list[LeftReading]:
    """What a visit left set, as far as it was read in automatic operation."""
    there = {one.reading.point: one for one in left_readings(visit) if one.state == "auto"}
    return [there[name] for name in SET if name in there]


def difference_words(one: Difference, system: UnitSystem) -> str:
    """One difference as a sentence without its full stop."""
    where = plain(one.point) + ("" if one.state == "auto" else f" {state_words(one.state)}")
    now = shown(one.point, one.now, system)
    if one.kind == "setting":
        return f"{where}: {now}, was left at {shown(one.point, float(one.left or 0.0), system)}"
    expected = with_spread(one.point, float(one.expected or 0.0), one.spread, system)
    if str(point(one.point).dimension) == "temperature":
        off = difference(one.off, system)
    else:
        off = shown(one.point, abs(one.off), system)
    way = "over" if one.off > 0.0 else "under"
    before = "" if one.left is None else f"; it read {shown(one.point, one.left, system)} then"
    return f"{where}: {now}, {off} {way} what the machine as left would read now, {expected}{before}"
