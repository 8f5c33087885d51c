"""The last visit of a call as something to run: weather, machines, what was held, released and changed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from wringout.documents.call import Call, Change, Force, Reading, Release
from wringout.documents.states import VISIT_GAP
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.machine.acts import ACTS, variants
from wringout.machine.design import Design, design
from wringout.machine.known import KnownMachine, healthy
from wringout.machine.motion import Alter, Event, Hold, Loads, Weather
from wringout.machine.motion import Release as Freed
from wringout.machine.motion_storage import storage_spreads
from wringout.machine.parameters import Array, neutral, spreads
from wringout.physics.moist_air import dew_point, humidity_ratio

__all__ = ["Visit", "drawn_cause", "healthy_machines", "last_visit"]

BEFORE = 900.0  # s that the machine runs before the first event, so that something can be told of before it
T_UNDER, T_SPREAD = 4.0, 4.0  # K: outdoor air against the design day where nobody read it; judgement
DEW_UNDER, DEW_SPREAD = 3.0, 3.0  # K: likewise
READ_T_SPREAD, READ_DEW_SPREAD = 0.7, 1.0  # K: weather moves while a visit lasts; judgement
MOISTURE, MOISTURE_SPREAD = 0.8, 0.2  # of the design release; judgement
SENSIBLE, SENSIBLE_SPREAD = 0.6, 0.15  # of the design gain; judgement

Rows = NDArray[np.intp]
Acting = Force | Release | Change


@dataclass(frozen=True)
class Visit:
    """What to run. ``events`` are the visit's forces, releases and changes, ``last`` the latest of them, and
    ``schedule`` the same for motion.run, in seconds after ``start``; ``since`` [s] is when ``last`` was.
    ``values`` are the machines before the first of them. ``readings`` were taken after ``last``; ``seen`` is
    the time of the call's last event. ``unnamed`` says that the last change names no cause."""

    design: Design
    values: dict[str, Array]
    weather: Weather
    loads: Loads
    events: tuple[Acting, ...]
    last: Acting
    schedule: tuple[Event, ...]
    start: datetime
    since: float
    readings: tuple[Reading, ...]
    seen: datetime
    unnamed: bool


def last_visit(
    call: Call, samples: int, rng: np.random.Generator, known: KnownMachine | None = None
) -> Visit:
    """Take the last visit of a call on which something was held, released or changed.

    Parameters
    ----------
    call : Call
    samples : int
        How many healthy machines to draw.
    rng : numpy.random.Generator
    known : KnownMachine, optional
        What earlier visits told of this machine; without it, the machines are any of its kind.

    Returns
    -------
    Visit
        A change that names a cause was its cure: the machines have it before, at a severity of its span, and
        not after.

    Raises
    ------
    InputError
        For a call in which nothing was held, released or changed.
    """
    visits: list[list[object]] = []
    before: datetime | None = None
    for event in call.events:
        if before is None or event.at - before > VISIT_GAP:
            visits.append([])
        visits[-1].append(event)
        before = event.at
    for visit in reversed(visits):
        acting = [event for event in visit if isinstance(event, Force | Release | Change)]
        if acting:
            break
    else:
        raise InputError(
            "nothing was held, released or changed in this call, so there is nothing to wait for; write a "
            "force, a release or a change among its events",
            "events",
        )
    last = acting[-1]
    readings = [event for event in visit if isinstance(event, Reading)]
    d = design(call.unit)
    values = healthy_machines(d, samples, rng, known)
    start = acting[0].at
    since = BEFORE + (last.at - start).total_seconds()
    found, schedule = _schedule(call.unit, values, acting, rng)
    seen = call.events[-1].at
    return Visit(
        d,
        found,
        _weather(call.unit, readings, samples, rng),
        Loads.of(
            np.maximum(MOISTURE + MOISTURE_SPREAD * rng.standard_normal((samples, 1)), 0.1),
            SENSIBLE + SENSIBLE_SPREAD * rng.standard_normal((samples, 1)),
        ),
        tuple(acting),
        last,
        schedule,
        start,
        since,
        tuple(reading for reading in readings if reading.at >= last.at),
        seen,
        isinstance(last, Change) and last.cause is None,
    )


def healthy_machines(
    d: Design, samples: int, rng: np.random.Generator, known: KnownMachine | None = None
) -> dict[str, Array]:
    """Healthy machines with what they store; the first is the one at its estimates."""
    rows = spreads(d) + storage_spreads()
    z = rng.standard_normal((samples, len(rows)))
    z[0] = 0.0
    values = {**neutral(d), **healthy(rows, known).values(z)}
    values["hand_command"] = np.full(1, 0.5)
    return {name: np.array(np.broadcast_to(array, (samples,))) for name, array in values.items()}


def _weather(unit: Unit, readings: Sequence[Reading], samples: int, rng: np.random.Generator) -> Weather:
    """Outdoor air as it was read on the visit, or about the design day."""

    def read(point: str) -> float | None:
        found = [reading.value for reading in readings if reading.point == point]
        return float(np.mean(found)) if found else None

    day = unit.space.design_day
    t, rh, dew = read("outdoor.t"), read("outdoor.rh"), read("shown.outdoor_dew_point")
    spread_t = READ_T_SPREAD if t is not None else T_SPREAD
    spread_dew = READ_DEW_SPREAD
    if dew is None and t is not None and rh is not None:
        pressure = 101_325.0  # of no account for a dew point from dry bulb and relative humidity
        dew = float(dew_point(humidity_ratio(t, min(max(rh, 0.02), 1.0), pressure), pressure))
    if t is None:
        t = day.outdoor_t - T_UNDER if dew is None else max(day.outdoor_t - T_UNDER, dew + 2.0)
    if dew is None:
        dew, spread_dew = min(day.outdoor_dew_point - DEW_UNDER, t - 1.0), DEW_SPREAD
    dry = t + spread_t * rng.standard_normal((samples, 1))
    wet = np.minimum(dew + spread_dew * rng.standard_normal((samples, 1)), dry)
    return Weather.of(dry, wet)


def _schedule(
    unit: Unit, values: dict[str, Array], acting: Sequence[Acting], rng: np.random.Generator
) -> tuple[dict[str, Array], tuple[Event, ...]]:
    """Machines before the first event, and what happens to them; a cure takes its cause away."""
    changes = [event for event in acting if isinstance(event, Change) and event.cause is not None]
    drawn = {id(event): drawn_cause(unit, str(event.cause), values, rng) for event in changes}

    def machine(left: Sequence[Change]) -> dict[str, Array]:
        now = dict(values)
        for change in left:
            now.update(drawn[id(change)](now))
        return now

    start = acting[0].at
    schedule: list[Event] = []
    for event in acting:
        at = BEFORE + (event.at - start).total_seconds()
        if isinstance(event, Force):
            schedule.append(Hold(at, event.item, event.to))
        elif isinstance(event, Release):
            schedule.append(Freed(at, event.item))
        elif event.cause is not None:
            still = changes[changes.index(event) + 1 :]
            schedule.append(Alter(at, machine(still)))
        elif event is acting[-1]:
            # nothing says what was altered: the machines come from a held reheat, which moves most points
            schedule = [Hold(0.0, "reheat.command", 0.0), *schedule, Freed(at, "reheat.command")]
    return machine(changes), tuple(schedule)


def drawn_cause(
    unit: Unit, cause: str, values: dict[str, Array], rng: np.random.Generator
) -> Callable[[dict[str, Array]], dict[str, Array]]:
    """What a cause does to every machine, each at a severity of its own and in one of its ways."""
    samples = values["air_ratio"].shape[0]
    act = ACTS[cause]
    ways = variants(cause, unit)
    if not ways:
        raise InputError(f"{unit.name} cannot have {cause}", "events")
    way = rng.integers(len(ways), size=samples)
    severity = [np.asarray(rng.random(samples)) for _ in range(act.severities)]

    def move(now: dict[str, Array]) -> dict[str, Array]:
        moved: dict[str, Array] = {}
        for k, variant in enumerate(ways):
            rows = np.flatnonzero(way == k)
            if not rows.size:
                continue

            def read(name: str, rows: Rows = rows) -> Array:
                return np.asarray(now[name][rows])

            for name, array in act.move(read, variant, [u[rows] for u in severity]).items():
                whole = moved.setdefault(name, now[name].copy())
                whole[rows] = array
        return moved

    return move
