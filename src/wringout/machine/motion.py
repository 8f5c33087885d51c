"""The machine in time: the settled machine's components with what they store, the room and the controller."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wringout.errors import InputError
from wringout.machine.closed import Closed, closed
from wringout.machine.design import Design
from wringout.machine.motion_assembly import Assembly, prepared
from wringout.machine.motion_room import Loads, Weather
from wringout.machine.motion_trace import Segment, Trace
from wringout.machine.parameters import Array, Values
from wringout.physics.moist_air import saturated_humidity_ratio

__all__ = ["Alter", "Event", "Hold", "Loads", "Release", "Trace", "Weather", "run"]

WANDER_TIME = 1200.0  # s over which people and doors come and go; judgement
WANDER = 0.15  # of the load, one standard deviation; judgement


@dataclass(frozen=True)
class Hold:
    """From ``at`` [s] on an item (``reheat.command``, ``cooling.call``) is held at ``to`` [0..1]."""

    at: float
    item: str
    to: float


@dataclass(frozen=True)
class Release:
    """From ``at`` [s] on a held item goes back to control."""

    at: float
    item: str


@dataclass(frozen=True)
class Alter:
    """From ``at`` [s] on the machine has other parameters: a cause that came or was mended."""

    at: float
    values: Values


Event = Hold | Release | Alter
ITEMS = {"reheat.command": "held_command", "cooling.call": "held_cooling"}


def run(
    design: Design,
    values: Values,
    weather: Weather,
    loads: Loads,
    schedule: Sequence[Event] = (),
    start: Closed | None = None,
    duration: float = 3600.0,
    step: float = 10.0,
    rng: np.random.Generator | None = None,
    record: float | None = None,
    slower: tuple[float, float] | None = None,
) -> Trace:
    """Let machine, room and control run.

    Parameters
    ----------
    design : Design
    values : Values
        Parameters by name, (samples,) or one entry: those of the settled machine, and where they are there
        the ratios of motion_storage.storage_spreads and ``hand_command`` [0..1], at which an output in hand
        is held.
    weather : Weather
    loads : Loads
    schedule : sequence of Event
        What is held, released and altered, at seconds after the start; events at 0 or earlier hold from the
        start, and the machine starts settled with them.
    start : Closed, optional
        The settled state to start from; without it, that of the first weather and loads.
    duration : float, [s]
    step : float, [s]
        At most 60 s; 10 s follows valve and loop closely.
    rng : numpy.random.Generator, optional
        Lets the loads wander about what is given; without it they do not.
    record : float, optional, [s]
        Every how many seconds a state is kept; every step if not given.
    slower : (float, float), optional, [s], [s]
        From when on longer steps do, and how long they are: once valve and loop have come to rest, only the
        room still moves.

    Returns
    -------
    Trace
        NaN in every point of a sample that has NaN among its parameters, weather or loads.

    Raises
    ------
    InputError
        A step or duration out of range, or a schedule that names an unknown item.
    NotConverged
        A state left every range a machine can have.

    Notes
    -----
    First order in time. The surface of the cooling coil and the room air step implicitly, lags by their
    exponential, the loop's pipes by the volume that passed.
    """
    grid = _grid(duration, step, slower)
    events = sorted(schedule, key=lambda event: event.at)
    for event in events:
        if not isinstance(event, Alter) and event.item not in ITEMS:
            raise InputError(f'"{event.item}" cannot be held; {" and ".join(ITEMS)} can')
    early = [event for event in events if event.at <= 0.0]
    later = [event for event in events if event.at > 0.0]
    held: dict[str, float] = {}
    for event in early:
        if isinstance(event, Alter):
            values = event.values
        elif isinstance(event, Hold):
            held[event.item] = event.to
        else:
            held.pop(event.item, None)
    everything = [values, *(event.values for event in later if isinstance(event, Alter))]
    samples = _samples(everything, weather, loads, start)
    time, lengths = grid
    steps = len(lengths)
    inputs = _Inputs.of(design, weather, loads, time, samples, rng)
    machine, missing = prepared(design, values, samples, float(lengths[0]), steps)
    missing = missing | inputs.missing
    if start is None:
        start = closed(
            design,
            machine.fields,
            Weather.of(inputs.outdoor_t[:, :1], inputs.dew[:, :1]),
            Loads.of(inputs.moisture[:, :1], inputs.sensible[:, :1]),
            held,
            least=np.inf,
        )
    machine.start(start, held, inputs.at(0))
    keeps = _kept(time, record)
    diary = _Diary(machine.names, int(keeps.sum()), samples)
    segments = [Segment(0, machine.fields)]
    diary.keep(machine)
    upcoming = iter(later)
    event_next: Event | None = next(upcoming, None)
    for k in range(1, steps + 1):
        length = float(lengths[k - 1])
        while event_next is not None and event_next.at <= time[k - 1] + 1e-9:
            if isinstance(event_next, Alter):
                values = event_next.values
                machine, lost = _altered(machine, values, length, steps)
                missing = missing | lost
                segments.append(Segment(diary.count, machine.fields))
            else:
                to = event_next.to if isinstance(event_next, Hold) else None
                setattr(machine.control, ITEMS[event_next.item], to)
            event_next = next(upcoming, None)
        if length != machine.step:
            machine, _ = _altered(machine, values, length, steps)
        machine.advance(float(time[k]), inputs.at(k))
        if keeps[k]:
            diary.keep(machine)
    return Trace(
        design,
        tuple(segments),
        time[keeps],
        diary.read(missing),
        np.where(missing[:, None], np.nan, inputs.outdoor_t[:, keeps]).T,
        np.where(missing[:, None], np.nan, inputs.dew[:, keeps]).T,
    )


def _grid(duration: float, step: float, slower: tuple[float, float] | None) -> tuple[Array, Array]:
    """Times of all states and lengths of all steps [s]."""
    for length in (step, *(slower[1:] if slower else ())):
        if not 0.1 <= length <= 60.0:
            raise InputError(f"the step is {length:g} s: it must lie from 0.1 to 60 s")
    first = min(duration, slower[0]) if slower is not None else duration
    count = round(first / step)
    lengths = np.full(count, step)
    if slower is not None:
        lengths = np.concatenate([lengths, np.full(round((duration - first) / slower[1]), slower[1])])
    if not 1 <= len(lengths) <= 2_000_000:
        raise InputError(f"{duration:g} s in steps of {step:g} s: 1 to 2,000,000 steps can be run")
    return np.concatenate([[0.0], np.cumsum(lengths)]), lengths


def _kept(time: Array, record: float | None) -> NDArray[np.bool_]:
    """Which states are kept: the first, and then one in every so many seconds."""
    if record is None:
        return np.ones(len(time), dtype=bool)
    place = np.floor(time / record + 1e-9)
    return np.concatenate([[True], np.diff(place) > 0.0])


def _altered(old: Assembly, values: Values, step: float, steps: int) -> tuple[Assembly, NDArray[np.bool_]]:
    """The machine with other parameters or another step, holding what it held."""
    machine, missing = prepared(old.design, values, old.samples, step, steps)
    machine.remember(old)
    return machine, missing


def _samples(values: Sequence[Values], weather: Weather, loads: Loads, start: Closed | None) -> int:
    sizes = {array.shape[0] for each in values for array in each.values()}
    for series in (weather.outdoor_t, weather.outdoor_dew_point, loads.moisture, loads.sensible):
        sizes.add(series.shape[0] if series.ndim == 2 else 1)
    if start is not None:
        sizes.add(start.samples)
    sizes.discard(1)
    if len(sizes) > 1:
        raise InputError(f"parameters, weather and loads come for {sorted(sizes)} samples; wanted one number")
    return sizes.pop() if sizes else 1


@dataclass(frozen=True)
class _Inputs:
    """Weather and loads at every step, (samples, times)."""

    outdoor_t: Array
    outdoor_w: Array
    dew: Array
    moisture: Array
    sensible: Array
    missing: NDArray[np.bool_]
    rows: Any

    @classmethod
    def of(
        cls,
        design: Design,
        weather: Weather,
        loads: Loads,
        time: Array,
        samples: int,
        rng: np.random.Generator | None,
    ) -> _Inputs:
        def on(given_time: Array, series: Array) -> Array:
            if series.ndim == 1:
                line = np.interp(time, given_time, series)
                return np.broadcast_to(line, (samples, time.size))
            lines = np.stack([np.interp(time, given_time, row) for row in series])
            return np.broadcast_to(lines, (samples, time.size))

        outdoor_t, dew = on(weather.time, weather.outdoor_t), on(weather.time, weather.outdoor_dew_point)
        moisture, sensible = on(loads.time, loads.moisture), on(loads.time, loads.sensible)
        rows = (outdoor_t, dew, moisture, sensible)
        missing = np.isnan(np.stack([row.sum(axis=1) for row in rows])).any(axis=0)
        outdoor_t = np.where(missing[:, None], design.unit.space.design_day.outdoor_t, outdoor_t)
        dew = np.where(missing[:, None], design.unit.space.design_day.outdoor_dew_point, dew)
        moisture, sensible = (np.where(missing[:, None], 0.5, row) for row in (moisture, sensible))
        if rng is not None:
            moisture = moisture * (1.0 + WANDER * _wander(rng, samples, time))
            sensible = sensible * (1.0 + WANDER * _wander(rng, samples, time))
        if samples == 1 or np.ptp(dew - dew[:1]) == np.ptp(outdoor_t - outdoor_t[:1]) == 0.0:
            line = saturated_humidity_ratio(np.minimum(dew[0], outdoor_t[0]), design.pressure)
            w = np.broadcast_to(line, dew.shape)
        else:
            w = saturated_humidity_ratio(np.minimum(dew, outdoor_t), design.pressure)
        every = (outdoor_t, w, dew, moisture, sensible)
        table: Any
        if samples == 1:
            table = np.stack([row[0] for row in every], axis=1).tolist()
        else:
            table = [np.ascontiguousarray(row.T) for row in every]
        return cls(outdoor_t, w, dew, moisture, sensible, missing, table)

    def at(self, k: int) -> Any:
        """Outdoor temperature, humidity ratio and dew point, moisture and sensible share at one step."""
        if self.outdoor_t.shape[0] == 1:
            return self.rows[k]
        return [row[k] for row in self.rows]


def _wander(rng: np.random.Generator, samples: int, time: Array) -> Array:
    """Standard normal noise that keeps its value for about WANDER_TIME (Ornstein and Uhlenbeck)."""
    kept = np.exp(-np.diff(time) / WANDER_TIME)
    noise = rng.standard_normal((time.size, samples))
    noise[1:] *= np.sqrt(1.0 - kept * kept)[:, None]
    for k in range(1, time.size):
        noise[k] += kept[k - 1] * noise[k - 1]
    return noise.T


class _Diary:
    """The states that are kept: rows of floats for one machine, arrays for many."""

    def __init__(self, names: tuple[str, ...], kept: int, samples: int) -> None:
        self.names, self.one = names, samples == 1
        self.rows: list[list[float]] = []
        self.arrays = [] if self.one else [np.empty((kept, samples)) for _ in names]
        self.count = 0

    def keep(self, machine: Assembly) -> None:
        """Keep the present state."""
        if self.one:
            self.rows.append(machine.state())
        else:
            for array, value in zip(self.arrays, machine.state(), strict=True):
                array[self.count] = value
        self.count += 1

    def read(self, missing: NDArray[np.bool_]) -> dict[str, Array]:
        """Everything kept, by name, (times, samples)."""
        arrays = [column[:, None] for column in np.array(self.rows).T] if self.one else self.arrays
        for array in arrays:
            array[:, missing] = np.nan
        return dict(zip(self.names, arrays, strict=True))
