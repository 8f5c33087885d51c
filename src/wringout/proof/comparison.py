"""Before against after, normalised for weather: mended and unmended machines run through the days since."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.machine.closed import closed
from wringout.machine.motion import Loads, Weather, run
from wringout.machine.parameters import Array
from wringout.proof.criteria import Criterion, fails, holds, untested
from wringout.proof.driving import Drive, drive_of, hourly, implied_loads, machines_with, parted
from wringout.proof.replay import Span90
from wringout.trends.moisture_balance import BLOCK
from wringout.trends.table import DAY, TrendTable

__all__ = ["Comparison", "compared"]

STEP = 30.0  # s
LONGEST = 3.0 * DAY  # of the days since, that are run
DRAWS = 160
POINTS = ("shown.dew_point", "shown.supply_t", "shown.reheat_command", "shown.space_t")
# what the machine itself misses of a mean over days, one standard deviation [K, K, share, K]; judgement
MODEL = np.array([0.35, 0.7, 0.08, 0.3])
CLEAR = np.log(10.0)  # ten to one
MOISTURE, MOISTURE_SIGMA = np.log(0.8), 0.35  # where there is no trend from before; judgement
SENSIBLE, SENSIBLE_SIGMA = 0.6, 0.2
STEPS = np.linspace(0.0, 1.0, 6)  # from set point to design day, at which weather is tried


@dataclass(frozen=True)
class Comparison:
    """The days since, as logged and as machines did in the same weather [SI].

    ``before`` and ``after`` are shares of the time over the limit, as logged (``before`` NaN without a trend
    from before); ``unmended`` and ``mended`` those of machines in the weather after. ``odds`` is the
    logarithm of how many times likelier the means logged are for mended machines than for unmended ones,
    ``expected`` what it would be on average for a mended one; both NaN where no cause is named. ``means``
    holds, by point, the mean logged and the spans of unmended and mended machines.
    """

    before: float
    after: float
    unmended: Span90
    mended: Span90
    odds: float
    expected: float
    means: dict[str, tuple[float, Span90, Span90]]
    loads_from_before: bool


def compared(
    before: TrendTable | None,
    after: TrendTable,
    unit: Unit,
    cause: str | None,
    limit: float,
    rng: np.random.Generator,
    machines: int = 32,
) -> tuple[Criterion, Comparison | None]:
    """Set the days after a repair against what mended and unmended machines would have done in them.

    Parameters
    ----------
    before : TrendTable or None
        The days before, from which the loads are taken.
    after : TrendTable
    unit : Unit
    cause : str or None
        What was mended; without it the days are set against healthy machines alone.
    limit : float, [degC]
        Set point plus band.
    rng : numpy.random.Generator
    machines : int, optional

    Returns
    -------
    tuple of Criterion, Comparison or None
        None where the trend cannot drive a machine.

    Notes
    -----
    Means over the days since of dew point, supply temperature, reheat command and space temperature are
    compared with those of two clouds of machines, each taken as normal with the machine's own error added.
    Weather that does not part the clouds proves nothing, whatever the log says.
    """
    name = "before and after"
    try:
        drive = drive_of(after, unit, LONGEST)
    except InputError:
        return Criterion(name, untested, "not_logged"), None
    mended, unmended, loads, known = _machines(before, drive, unit, cause, machines, rng)
    series = _run(drive, [unmended, mended] if cause is not None else [mended], loads, machines)
    there = np.isfinite(drive.get("shown.dew_point"))
    logged = {point: drive.get(point) for point in POINTS}
    used = [k for k, point in enumerate(POINTS) if np.isfinite(logged[point]).any()]
    if not there.any():
        return Criterion(name, untested, "not_logged"), None
    seen = np.array([float(np.nanmean(logged[POINTS[k]])) for k in used])
    clouds = [
        np.stack([row[POINTS[k]][:, np.isfinite(logged[POINTS[k]])].mean(axis=1) for k in used])
        for row in series
    ]
    over = [_span((row["shown.dew_point"][:, there] > limit).mean(axis=1)) for row in series]
    model = MODEL[used]
    odds = expected = float("nan")
    if cause is not None:
        good = _log_density(clouds[-1], model)
        bad = _log_density(clouds[0], model)
        odds = float(good(seen[:, None])[0] - bad(seen[:, None])[0])
        noisy = clouds[-1] + model[:, None] * rng.standard_normal(clouds[-1].shape)
        expected = float(np.mean(good(noisy) - bad(noisy)))
    comparison = Comparison(
        before=_over(before, limit),
        after=float((drive.get("shown.dew_point")[there] > limit).mean()),
        unmended=over[0],
        mended=over[-1],
        odds=odds,
        expected=expected,
        means={
            POINTS[k]: (float(seen[i]), _span(clouds[0][i]), _span(clouds[-1][i])) for i, k in enumerate(used)
        },
        loads_from_before=known,
    )
    figures = {"odds": odds, "expected": expected} if cause is not None else {}
    if cause is None:
        middle = clouds[-1].mean(axis=1)
        spread = np.hypot(clouds[-1].std(axis=1), model)
        furthest = float(np.max(np.abs(seen - middle) / spread))
        figures["furthest"] = furthest
        verdict = holds if furthest <= 2.0 else fails if furthest > 3.5 else untested
        return Criterion(name, verdict, f"no_cause_{verdict}", figures), comparison
    if odds <= -CLEAR:
        return Criterion(name, fails, "as_before", figures), comparison
    if expected < CLEAR:
        weather = _weather(drive, mended, unmended, model[:1], loads)
        return Criterion(name, untested, "same", figures, weather), comparison
    if odds >= CLEAR:
        return Criterion(name, holds, "mended", figures), comparison
    return Criterion(name, untested, "undecided", figures), comparison


def _machines(
    before: TrendTable | None,
    drive: Drive,
    unit: Unit,
    cause: str | None,
    machines: int,
    rng: np.random.Generator,
) -> tuple[dict[str, Array], dict[str, Array], Loads, bool]:
    """Mended and unmended machines and their loads: those of the days before where these can tell."""
    draws = DRAWS if before is not None else machines
    healthy, ill = machines_with(drive.design, cause, draws, rng)
    if before is not None and cause is not None:
        try:
            old = drive_of(before, unit, LONGEST)
            implied = implied_loads(old, ill)
        except InputError:
            before = None
        else:
            places = (rng.random() + np.arange(machines)) / machines
            rows = np.minimum(np.searchsorted(np.cumsum(implied.weight), places), draws - 1)
            day = Loads(implied.loads.time, implied.loads.moisture[rows], implied.loads.sensible[rows])
            loads = hourly(old, day, drive.start, drive.duration)
            # no day is like the one before
            loads = Loads(
                loads.time,
                loads.moisture * np.exp(0.15 * rng.standard_normal((machines, 1))),
                loads.sensible + 0.1 * rng.standard_normal((machines, 1)),
            )
            return parted(healthy, rows), parted(ill, rows), loads, True
    rows = np.arange(machines)
    hours = np.zeros(1)
    loads = Loads(
        hours,
        np.exp(MOISTURE + MOISTURE_SIGMA * rng.standard_normal((machines, 1))),
        SENSIBLE + SENSIBLE_SIGMA * rng.standard_normal((machines, 1)),
    )
    return parted(healthy, rows), parted(ill, rows), loads, False


def _run(drive: Drive, kinds: list[dict[str, Array]], loads: Loads, machines: int) -> list[dict[str, Array]]:
    count = len(kinds)
    values = {
        name: np.concatenate([np.broadcast_to(each[name], (machines,)) for each in kinds])
        for name in set().union(*kinds)
    }
    both = Loads(loads.time, np.vstack([loads.moisture] * count), np.vstack([loads.sensible] * count))
    trace = run(drive.design, values, drive.weather, both, duration=drive.duration, step=STEP, record=600.0)
    points = trace.points(POINTS)
    edge = np.round((trace.time - 1.0) // BLOCK)
    place = (drive.time // BLOCK).astype(int)
    means = {
        name: np.stack([series[:, edge == k].mean(axis=1) for k in place], axis=1)
        for name, series in points.items()
    }
    return [
        {name: series[k * machines : (k + 1) * machines] for name, series in means.items()}
        for k in range(count)
    ]


def _span(values: Array) -> Span90:
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95))
    return Span90(float(low), float(middle), float(high))


def _over(table: TrendTable | None, limit: float) -> float:
    if table is None or "shown.dew_point" not in table:
        return float("nan")
    dew = table["shown.dew_point"]
    dew = dew[np.isfinite(dew)]
    return float((dew > limit).mean()) if len(dew) else float("nan")


class _log_density:
    """Logarithm of a normal density fitted to a cloud (figures, machines), the machine's own error added."""

    def __init__(self, cloud: Array, model: Array) -> None:
        self.middle = cloud.mean(axis=1, keepdims=True)
        covariance = np.atleast_2d(np.cov(cloud)) + np.diag(np.square(model))
        self.inverse = np.linalg.inv(covariance)
        self.size = float(np.linalg.slogdet(covariance)[1])

    def __call__(self, at: Array) -> Array:
        apart = at - self.middle
        return np.asarray(-0.5 * (np.einsum("ik,ij,jk->k", apart, self.inverse, apart) + self.size))


def _weather(
    drive: Drive, mended: dict[str, Array], unmended: dict[str, Array], model: Array, loads: Loads
) -> float:
    """Outdoor dew point [degC] from which settled machines are told apart by the room's dew point."""
    day, low = drive.design.unit.space.design_day, drive.design.unit.control.dew_point
    moisture = loads.moisture.mean(axis=1, keepdims=True)
    sensible = loads.sensible.mean(axis=1, keepdims=True)
    rows = np.arange(min(len(moisture), 12))
    for share in STEPS:
        dew = low + share * (day.outdoor_dew_point - low)
        t = max(day.outdoor_t - 0.8 * (day.outdoor_dew_point - dew), dew + 1.0)
        both = []
        for kind in (unmended, mended):
            rest = closed(
                drive.design, parted(kind, rows), Weather.of(np.full((1, 1), t), np.full((1, 1), dew)),
                Loads.of(moisture[rows], sensible[rows]),
            )  # fmt: skip
            both.append(rest.points()["shown.dew_point"])
        spread = np.hypot(np.hypot(both[0].std(), both[1].std()), model[0])
        if abs(float(np.median(both[0]) - np.median(both[1]))) > 2.0 * float(spread):
            return float(dew)
    return float("nan")
