"""A guided test in words, and what it takes as events of a call."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from datetime import UTC, datetime
from typing import Any

from wringout.catalogue.points import dimension_of, point, points_of, shown
from wringout.documents.call import Call, Reading
from wringout.documents.states import forced, state_left
from wringout.documents.unit import Unit
from wringout.proof.guided import Guidance, PointNow, taken_at_all
from wringout.quantity import Dimension, UnitSystem, format
from wringout.showing.plain import span
from wringout.showing.words import pretty

__all__ = [
    "UNSETTLED",
    "call_seconds",
    "call_time",
    "exact_points",
    "live_points",
    "phase_words",
    "point_words",
    "readings_of",
    "state_events",
    "state_of",
    "taken_since",
]

UNSETTLED = "taken before it had settled: "


def live_points(unit: Unit, names: Collection[str], state: str) -> list[str]:
    """The live points that may be read into a call in a state, in the order of the catalogue."""
    return list(taken_at_all(state, [name for name in points_of(unit) if name in names]))


def exact_points(names: Sequence[str]) -> list[str]:
    """Those of some points that are counts, or yes and no."""
    return [name for name in names if dimension_of(name) in (Dimension.COUNT, Dimension.YES_NO)]


def call_time(seconds: float) -> str:
    """A time of a recording [s since 1970 of the clock of the place] as a call document writes it."""
    return datetime.fromtimestamp(round(seconds), UTC).replace(tzinfo=None).isoformat()


def call_seconds(at: datetime) -> float:
    """A time of a call as a recording counts it [s since 1970 of the clock of the place]."""
    local = at if at.tzinfo is None else at.astimezone().replace(tzinfo=None)
    return local.replace(tzinfo=UTC).timestamp()


def state_of(call: Call) -> tuple[str, float | None]:
    """The state in which a call leaves its unit, and since when [s]; None where nothing was ever held."""
    state, since = state_left(call)
    return state, None if since is None else call_seconds(since)


def taken_since(call: Call, since: float) -> dict[str, Reading]:
    """Readings of a call from a time on [s], by point."""
    return {
        event.point: event
        for event in call.events
        if isinstance(event, Reading) and call_seconds(event.at) >= since - 1.0
    }


def state_events(call: Call, state: str, at: float) -> list[tuple[str, dict[str, Any]]]:
    """The events that bring a call into a state, none where it is in it; never before its last hold or
    release."""
    now, since = state_of(call)
    if now == state:
        return []
    when = call_time(at if since is None else max(at, since))
    found: list[tuple[str, dict[str, Any]]] = []
    held, wanted = forced(now), forced(state)
    if held is not None and (wanted is None or wanted[0] != held[0]):
        found.append(("release", {"at": when, "item": held[0]}))
    if wanted is not None:
        found.append(("force", {"at": when, "item": wanted[0], "to": f"{100.0 * wanted[1]:.6g} %"}))
    return found


def readings_of(
    rows: Sequence[PointNow], at: float, system: UnitSystem, early: bool = False
) -> list[tuple[str, dict[str, Any]]]:
    """Readings of a call, each with its accuracy from instrument, scatter and drift.

    Parameters
    ----------
    rows : sequence of PointNow
    at : float, [s]
        By the clock of the recording.
    system : {'ip', 'si'}
        Units in which they are written.
    early : bool
        Take them as they stand, settled or not; a note then says which had not.

    Returns
    -------
    list of (str, dict)
        Kind and body of each event.
    """
    when = call_time(at)
    found: list[tuple[str, dict[str, Any]]] = []
    waiting = []
    for row in rows:
        settled = row.kind == "settled"
        value = row.value if settled else row.last
        if row.kind == "missing" or not math.isfinite(value) or not (settled or early):
            continue
        body = {"at": when, "point": row.point, "value": _value(row.point, value, system), "by": "display"}
        spread = row.uncertainty if math.isfinite(row.uncertainty) else 0.0
        if spread > 0.0:
            body["accuracy"] = _accuracy(row.point, spread, system)
        found.append(("reading", body))
        if not settled:
            waiting.append(row.point)
    if waiting:
        found.append(("note", {"at": when, "text": UNSETTLED + ", ".join(waiting)}))
    return found


def _value(name: str, value: float, system: UnitSystem) -> str:
    entry = point(name)
    if entry.dimension is Dimension.COUNT:
        value = float(round(value))
    return shown(name, value, system)


def _accuracy(name: str, spread: float, system: UnitSystem) -> str:
    entry = point(name)
    if entry.dimension is Dimension.TEMPERATURE:
        return format(spread, Dimension.TEMPERATURE_DIFFERENCE, system, decimals=2)
    measure = entry.measure
    unit = measure.ip if system == "ip" else measure.si
    coarse = format(spread, entry.dimension, system, unit=unit, decimals=6)
    number, _, name_of_unit = coarse.partition(" ")
    return f"{float(number):.2g} {name_of_unit}" if float(number) > 0.0 else f"0.000001 {name_of_unit}"


def point_words(row: PointNow, system: UnitSystem) -> str:
    """Where a point stands, in a few words."""
    if row.kind == "missing":
        return "no value" if not math.isfinite(row.age) else f"no value for {span(max(row.age, 60.0))}"
    if row.kind == "settled":
        told = _spread_words(row, system)
        return f"settled{told}"
    if row.kind == "swings":
        return f"swings, {span(row.period)} a turn: it does not settle"
    if row.kind == "overdue":
        return "still moving, long after it should have settled"
    return "settling" if row.left > 1e6 else f"settling, about {span(max(row.left, 30.0))}"


def _spread_words(row: PointNow, system: UnitSystem) -> str:
    if not row.uncertainty > 0.0:
        return ""
    return pretty(f", ± {_accuracy(row.point, row.uncertainty, system)}")


def phase_words(now: Guidance) -> str:
    """What a guided test says now, in one sentence."""
    shown_now = now.shown
    if now.phase == "unseen":
        return "No live point shows whether it is held."
    if now.wanted == "auto" and now.phase in ("force", "changing", "doubt", "not_reached"):
        return "Something is still held." if shown_now.kind == "held" else "Something is moving."
    if now.phase == "force":
        return "Not held yet."
    if now.phase == "changing":
        return "On its way; it must stand for a minute."
    if now.phase == "doubt":
        return "It stands there already. Control may have done that by itself: hold it, then say so."
    if now.phase == "not_reached":
        return f"Held, but not the wanted state: {'; '.join(shown_now.against)}."
    if now.phase == "settling":
        begun = "Nothing held" if now.wanted == "auto" else "Recognised"
        return f"{begun}. Settling, about {span(max(now.left, 30.0))}."
    if now.phase == "stuck":
        return "It does not settle. Take it by hand as it is, or find out why it moves."
    return "Settled."
