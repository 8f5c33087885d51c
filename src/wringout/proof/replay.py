"""How the unit would have done without a cause: machines run once more through a trend's own weather."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.machine.motion import Loads, run
from wringout.machine.parameters import Array
from wringout.proof.driving import Drive, drive_of, implied_loads, machines_with, parted
from wringout.trends.moisture_balance import BLOCK
from wringout.trends.table import HOUR, TrendTable

__all__ = ["Replay", "Span90", "replay"]

STEP = 30.0  # s; valve and loop move faster, hours do not care
POINTS = ("shown.dew_point", "shown.space_t", "shown.supply_t", "shown.reheat_command")
SEEN_AS_OUTDOOR = 0.3  # K between display and outdoor dew point under which a display may show the latter


@dataclass(frozen=True)
class Span90:
    """Middle, and the ends between which nine machines in ten lie."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class Replay:
    """What was logged, and what the machines did with the cause and without it.

    ``time`` [s since 1970] are half hours; ``logged`` by point (blocks,); ``with_cause`` and ``without`` by
    point (machines, blocks) [degC, 0..1]. ``limit`` [degC] is set point plus band. ``apart`` [K] is how far
    the middle machine with the cause is from the log in dew point, root mean square: a replay that does not
    follow its own log is worth little. ``effective`` is the number of machines the answer rests on.
    """

    cause: str
    limit: float
    time: Array
    outdoor_dew_point: Array
    logged: dict[str, Array]
    with_cause: dict[str, Array]
    without: dict[str, Array]
    apart: float
    effective: float

    def hours_over(self) -> tuple[float, Span90, Span90]:
        """Hours over the limit [h]: logged, with the cause, without it."""
        dew = self.logged["shown.dew_point"]
        there = np.isfinite(dew)
        block = BLOCK / HOUR

        def over(series: Array) -> Span90:
            return _span((series[:, there] > self.limit).sum(axis=1) * block)

        logged = float((dew[there] > self.limit).sum()) * block
        return logged, over(self.with_cause["shown.dew_point"]), over(self.without["shown.dew_point"])

    def mean(self, point: str) -> tuple[float, Span90, Span90]:
        """Mean of a point over the trend: logged, with the cause, without it."""
        series = self.logged[point]
        there = np.isfinite(series)
        if not there.any():
            nothing = Span90(np.nan, np.nan, np.nan)
            return np.nan, nothing, nothing
        return (
            float(series[there].mean()),
            _span(self.with_cause[point][:, there].mean(axis=1)),
            _span(self.without[point][:, there].mean(axis=1)),
        )

    def band(self, point: str) -> tuple[Array, Array, Array]:
        """Fifth, fiftieth and ninety-fifth percentile of the machines without the cause, (blocks,)."""
        low, middle, high = np.quantile(self.without[point], (0.05, 0.5, 0.95), axis=0)
        return low, middle, high


def _span(values: Array) -> Span90:
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95))
    return Span90(float(low), float(middle), float(high))


def replay(
    table: TrendTable, unit: Unit, cause: str, rng: np.random.Generator, machines: int = 24, draws: int = 240
) -> Replay:
    """Run machines through a trend's weather, with a cause and with it removed.

    Parameters
    ----------
    table : TrendTable
        Its last four days are taken.
    unit : Unit
    cause : str
        What is taken to have been wrong over the whole trend.
    rng : numpy.random.Generator
    machines : int, optional
        How many are run.
    draws : int, optional
        How many are drawn, of which those that fit the log are run.

    Returns
    -------
    Replay

    Raises
    ------
    InputError
        For a cause that the unit cannot have, or a trend that lacks what it takes.

    Notes
    -----
    Each machine brings the loads with it that the log implies for it (`driving.implied_loads`), so that what
    differs between its two runs is the cause alone. Machines are drawn by how well they fit.
    """
    drive = drive_of(table, unit)
    dew, outdoor = drive.get("shown.dew_point"), drive.get("shown.outdoor_dew_point")
    same = np.abs(dew - outdoor) < SEEN_AS_OUTDOOR
    if np.isfinite(dew + outdoor).any() and float(same[np.isfinite(dew + outdoor)].mean()) > 0.5:
        raise InputError(
            "the shown dew point is the outdoor one for most of the trend: what the room did is lost"
        )
    healthy, ill = machines_with(drive.design, cause, draws, rng)
    implied = implied_loads(drive, ill)
    effective = 1.0 / float(np.square(implied.weight).sum())
    rows = _drawn(implied.weight, machines, rng)
    loads = Loads(
        implied.loads.time,
        np.vstack([implied.loads.moisture[rows]] * 2),
        np.vstack([implied.loads.sensible[rows]] * 2),
    )
    both = _stacked(parted(ill, rows), parted(healthy, rows), machines)
    points = _run(drive, both, loads)
    ran = {name: series[:machines] for name, series in points.items()}
    cured = {name: series[machines:] for name, series in points.items()}
    there = np.isfinite(dew)
    middle = np.median(ran["shown.dew_point"], axis=0)
    apart = float(np.sqrt(np.mean(np.square((middle - dew)[there])))) if there.any() else np.nan
    # what the replay misses of its own log, it may miss of the other as well
    if np.isfinite(apart):
        cured["shown.dew_point"] = cured["shown.dew_point"] + apart * rng.standard_normal((machines, 1))
    return Replay(
        cause,
        unit.control.dew_point + unit.control.dew_point_band,
        drive.start + drive.time,
        outdoor,
        {point: drive.get(point) for point in POINTS},
        ran,
        cured,
        apart,
        min(effective, float(machines)),
    )


def _drawn(weight: Array, count: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Systematic resampling: every machine about as often as it weighs."""
    places = (rng.random() + np.arange(count)) / count
    return np.minimum(np.searchsorted(np.cumsum(weight), places), len(weight) - 1)


def _stacked(first: dict[str, Array], second: dict[str, Array], count: int) -> dict[str, Array]:
    out = {}
    for name in first.keys() | second.keys():
        parts = [np.broadcast_to(each[name], (count,)) for each in (first, second)]
        out[name] = np.concatenate(parts)
    return out


def _run(drive: Drive, values: dict[str, Array], loads: Loads) -> dict[str, Array]:
    trace = run(
        drive.design, values, drive.weather, loads, duration=drive.duration, step=STEP, record=BLOCK / 3.0
    )
    points = trace.points(POINTS)
    edge = np.round((trace.time - 1.0) // BLOCK)
    out = {}
    for name, series in points.items():
        # means over the half hours of the log, the start aside
        out[name] = np.stack(
            [series[:, edge == k].mean(axis=1) for k in (drive.time // BLOCK).astype(int)], axis=1
        )
    return out
