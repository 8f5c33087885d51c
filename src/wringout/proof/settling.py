"""How long each point takes to settle after the last event of a call, and what it should then read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from wringout.documents.call import Call, Reading
from wringout.machine.known import KnownMachine
from wringout.machine.motion import run
from wringout.machine.parameters import Array
from wringout.machine.steady import Settled
from wringout.proof.visit import Visit, last_visit

__all__ = ["HORIZON", "PointWait", "Waiting", "settling_time", "waiting"]

HORIZON = 24.0 * 3600.0  # s after the last event to which the machines are run
FINE = 2.0 * 3600.0  # s after it during which they step finely
END = 6.0 * 3600.0  # s at the end of a run over which a settled value is the mean; stages may turn slowly
RECORD = 10.0
LATE = 0.9  # of the machines have settled by the late time
BAND = (0.05, 0.95)  # ends of the band that a reading should fall into
LEAST_MOVE = 0.5  # standard deviations of a reading; a point that moves less is settled at once

Sigma = Callable[[str, float], float]
Spread = Callable[[str, Array, Settled], Array]


@dataclass(frozen=True)
class PointWait:
    """One point: seconds after the last event until 63 % and 95 % of its way are done, for the middle machine
    and for nine in ten (infinite: not within the horizon); where it was, where it will be, and the band that
    a reading should fall into [SI]. ``moves`` says whether it moves by more than a reading can tell,
    ``swings`` whether it goes on swinging with the stages."""

    point: str
    to_63: float
    to_95: float
    late_63: float
    late_95: float
    before: float
    settled: float
    low: float
    high: float
    moves: bool
    swings: bool


@dataclass(frozen=True)
class Waiting:
    """The answer for a call. ``told`` are the points that nine machines in ten have settled to 95 % by
    ``at``; ``early`` the readings that were taken before their point had."""

    visit: Visit
    at: datetime
    passed: float
    points: tuple[PointWait, ...]
    told: tuple[str, ...]
    open: tuple[str, ...]
    early: tuple[Reading, ...]


def settling_time(
    time: Array, series: Array, end: Array, share: float, least: Array, for_good: bool = True
) -> Array:
    """Give when series have gone a share of their way.

    Parameters
    ----------
    time : array, (times,), [s]
        From the event on.
    series : array, (samples, times), [any]
    end : array, (samples,), [that of series]
        Where each settles.
    share : float, [-]
        Of the way from the first value to the end.
    least : array, (samples,), [that of series]
        A distance that counts as nothing.
    for_good : bool
        Whether it must stay there; if not, the first time counts.

    Returns
    -------
    array, (samples,), [s]
        0 where it never leaves what counts as nothing; infinite where it is not yet there at the last time;
        NaN where a value is NaN.

    Notes
    -----
    The time at which the distance to the end comes down to the rest of the way, linear between two values.
    """
    distance = np.abs(series - end[:, None])
    allowed = np.maximum((1.0 - share) * distance[:, 0], least)
    outside = distance > allowed[:, None]
    count = series.shape[1]
    rows = np.arange(len(series))
    if for_good:
        last = count - 1 - np.argmax(outside[:, ::-1], axis=1)
        never = np.asarray(outside[:, -1])
    else:
        # a series that begins inside and leaves has all its way still to go
        begun = np.maximum.accumulate(outside, axis=1)
        back = begun & ~outside
        last = np.argmax(back, axis=1) - 1
        never = np.asarray(~back.any(axis=1))
    after = np.minimum(last + 1, count - 1)
    over, under = distance[rows, last], distance[rows, after]
    step = over - under
    part = np.clip((over - allowed) / np.where(step > 0.0, step, np.inf), 0.0, 1.0)
    when = time[last] + part * (time[after] - time[last])
    when = np.where(outside.any(axis=1), np.where(never, np.inf, when), 0.0)
    return np.where(np.isnan(distance).any(axis=1), np.nan, when)


def waiting(
    call: Call,
    points: list[str],
    sigma: Sigma,
    spread: Spread,
    rng: np.random.Generator,
    at: datetime | None = None,
    samples: int = 48,
    known: KnownMachine | None = None,
) -> Waiting:
    """Say how long to wait after the last force, release or change of a call, and what to expect then.

    Parameters
    ----------
    call : Call
    points : list of str
        Ids of the unit's points.
    sigma : callable
        One standard deviation of a reading [SI], from point and value; the catalogue's.
    spread : callable
        The model's own standard deviation [SI], from point, predicted values and settled machine.
    rng : numpy.random.Generator
        Draws the machines and the weather.
    at : datetime, optional
        When to say what can be told; the call's last event if not given.
    samples : int
        How many machines.
    known : KnownMachine, optional
        What earlier visits told of this machine; without it, the machines are any of its kind.

    Returns
    -------
    Waiting

    Raises
    ------
    InputError
        For a call in which nothing was held, released or changed.

    Notes
    -----
    Machines with the spread of healthy ones run through the visit. A change that names a cause is a cure.
    """
    visit = last_visit(call, samples, rng, known)
    since = visit.since
    trace = run(
        visit.design,
        visit.values,
        visit.weather,
        visit.loads,
        visit.schedule,
        duration=since + HORIZON,
        step=10.0,
        record=RECORD,
        slower=(10.0 * np.ceil((since + FINE) / 10.0), 60.0),
    )
    seen = at if at is not None else visit.seen
    passed = (seen - visit.last.at).total_seconds()
    first = int(np.searchsorted(trace.time, since - 1e-6))
    series = trace.points(points, slice(max(first - 1, 0), None))
    time = trace.time[max(first - 1, 0) :] - since
    # the model's own error at each point, for the machines as they end
    end = trace.machine(trace.segments[-1], np.array([len(trace.time) - 1]))
    rows = []
    for name in points:
        model = np.ravel(spread(name, _mean(series[name], time)[None, :], end))
        rows.append(_point(name, time, series[name], sigma, model, rng))
    told = tuple(row.point for row in rows if row.late_95 <= passed)
    late = {row.point: row.late_95 for row in rows}
    early = tuple(
        reading
        for reading in visit.readings
        if (reading.at - visit.last.at).total_seconds() < late.get(reading.point, 0.0)
    )
    return Waiting(
        visit,
        seen,
        passed,
        tuple(rows),
        told,
        tuple(row.point for row in rows if row.point not in told),
        early,
    )


def _mean(series: Array, time: Array) -> Array:
    return np.asarray(series[:, time >= time[-1] - END].mean(axis=1))


def _point(
    name: str, time: Array, series: Array, sigma: Sigma, model: Array, rng: np.random.Generator
) -> PointWait:
    end = _mean(series, time)
    late = time >= time[-1] - END
    # stages that take turns leave a wave with one side larger than the other: its larger side is allowed
    swing = np.abs(series[:, late] - end[:, None]).max(axis=1)
    middle = float(np.median(end))
    reading = sigma(name, middle)
    least = np.maximum(1.2 * swing, LEAST_MOVE * reading)
    # values at the event itself: what was held still shows; the way starts there
    time = np.maximum(time, 0.0)
    t63 = settling_time(time, series, end, 0.63, least, for_good=False)
    t95 = settling_time(time, series, end, 0.95, least)
    spread = np.hypot(np.broadcast_to(model, end.shape), reading)
    noise = rng.standard_normal((20, len(end)))
    low, high = np.quantile(end + spread * noise + swing * rng.uniform(-1.0, 1.0, noise.shape), BAND)
    way = np.abs(series[:, 0] - end)
    return PointWait(
        point=name,
        to_63=_quantile(t63, 0.5),
        to_95=_quantile(t95, 0.5),
        late_63=_quantile(t63, LATE),
        late_95=_quantile(t95, LATE),
        before=float(np.median(series[:, 0])),
        settled=middle,
        low=float(low),
        high=float(high),
        moves=bool(np.median(way) > max(LEAST_MOVE * reading, 1e-9)),
        swings=bool(np.median(swing) > max(reading, 1e-9)),
    )


def _quantile(times: Array, share: float) -> float:
    """A quantile that is infinite where it falls among machines that have not settled."""
    ordered = np.sort(times)
    return float(ordered[min(int(np.ceil(share * len(ordered))) - 1, len(ordered) - 1)])
