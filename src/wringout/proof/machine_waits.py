"""How long the machine alone needs after something was held, in a room that stands: what a guided test waits
for before it looks at the numbers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from wringout.documents.states import forced
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.machine.design import Design, design
from wringout.machine.motion import ITEMS, Hold, Loads, Weather, run
from wringout.machine.parameters import Array
from wringout.proof.settling import LATE, LEAST_MOVE, settling_time
from wringout.proof.visit import MOISTURE, SENSIBLE, healthy_machines

__all__ = ["MachineWait", "machine_waits", "transit"]

BEFORE = 600.0  # s at rest before
HORIZON = 2700.0  # s after
STEP = 10.0
STANDING = 1e5  # times its own storage: a room that does not move while the machine does
LEAST_TAU = 60.0  # s; a faulty machine may be slower at a point that healthy ones do not move
FLOW_LEFT = 0.05  # of design, under which a loop stands and has no transit


@dataclass(frozen=True, slots=True)
class MachineWait:
    """One point: ``late`` [s] when nine healthy machines in ten have done 95 % of the way that is theirs, the
    room standing; ``dead`` [s] before which nothing of it arrives; ``tau`` [s] the longest time constant to
    reckon with; ``moves`` whether it moves by more than a reading can tell."""

    point: str
    late: float
    dead: float
    tau: float
    moves: bool


def machine_waits(
    unit: Unit,
    state: str,
    points: Sequence[str],
    sigma: Callable[[str, float], float],
    rng: np.random.Generator,
    samples: int = 24,
) -> dict[str, MachineWait]:
    """Say how long each point needs after a state is forced, as far as the machine goes.

    Parameters
    ----------
    unit : Unit
    state : str
        Such as ``reheat.command=100 %``.
    points : sequence of str
        Ids of points of the unit.
    sigma : callable
        One standard deviation of a reading [SI], from point and value; the catalogue's.
    rng : numpy.random.Generator
        Draws the machines and the weather.
    samples : int
        How many machines.

    Returns
    -------
    dict of MachineWait

    Raises
    ------
    InputError
        For a state that cannot be forced, ``auto`` among them.

    Notes
    -----
    A room needs hours and the machine minutes. Readings are compared with each other under the room as it is
    then, so the test waits for the machine; what the room still drifts is watched beside.
    """
    held = forced(state)
    if held is None or held[0] not in ITEMS:
        raise InputError(
            f'"{state[:60]}" is no forced state; write one like reheat.command=100 %, or cooling.call=0 %'
        )
    d = design(unit)
    values = healthy_machines(d, samples, rng)
    values["room_air_ratio"] = values["room_air_ratio"] * STANDING
    day = unit.space.design_day
    dry = day.outdoor_t - rng.uniform(0.0, 6.0, (samples, 1))
    wet = np.minimum(day.outdoor_dew_point - rng.uniform(0.0, 5.0, (samples, 1)), dry - 0.5)
    trace = run(
        d,
        values,
        Weather.of(dry, wet),
        Loads.of(
            MOISTURE * rng.uniform(0.8, 1.3, (samples, 1)), SENSIBLE * rng.uniform(0.8, 1.2, (samples, 1))
        ),
        [Hold(BEFORE, *held)],
        duration=BEFORE + HORIZON,
        step=STEP,
        record=STEP,
    )
    first = int(np.searchsorted(trace.time, BEFORE - 1e-6))
    series = trace.points(list(points), slice(first, None))
    time = trace.time[first:] - BEFORE
    return {name: _one(name, time, series[name], sigma) for name in points}


def _one(name: str, time: Array, series: Array, sigma: Callable[[str, float], float]) -> MachineWait:
    end = series[:, -1]
    way = np.abs(series[:, 0] - end)
    reading = sigma(name, float(np.median(end)))
    least = np.full(len(end), LEAST_MOVE * reading)
    late = settling_time(time, series, end, 0.95, least)
    # healthy machines whose control goes on moving are not told by a quantile of those that came to rest
    late = np.sort(np.where(np.isfinite(late), late, HORIZON))
    when = float(late[min(int(np.ceil(LATE * len(late))) - 1, len(late) - 1)])
    moving = way > np.maximum(least, 1e-9)
    begun = np.abs(series - series[:, :1]) > np.maximum(0.05 * way, 1e-9)[:, None]
    start = time[np.argmax(begun, axis=1)]
    dead = float(np.min(start[moving])) if moving.any() else 0.0
    return MachineWait(
        name, when, min(dead, when), max(when / 3.0, LEAST_TAU), bool(np.median(way) > least[0])
    )


def transit(design: Design, flow: float | None = None) -> float:
    """Time that water takes through the pipes of the loop, there and back.

    Parameters
    ----------
    design : Design
    flow : float, optional, [m3/s]
        In the main; design flow if not given.

    Returns
    -------
    float, [s]
        0 for a unit without a loop, and for one whose loop stands: nothing will arrive.

    Notes
    -----
    Plug flow: twice the volume of one pipe over the flow.
    """
    if design.loop is None:
        return 0.0
    main = float(design.loop.main_flow)
    now = main if flow is None else flow
    return 0.0 if now < FLOW_LEFT * main else 2.0 * float(design.loop.pipe_volume) / now
