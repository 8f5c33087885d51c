"""How a column behaves, alone and beside others: what guessing needs beyond names and units."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wringout.trends.table import DAY, HOUR, Array

__all__ = ["Traits", "pair_scores", "traits_of"]

SAMPLES = 1500  # rows that are looked at: enough for ranges and for correlations


@dataclass(frozen=True)
class Traits:
    """A column in figures; temperatures in degC as if it were one, shares as if it were one.

    ``samples`` are some evenly taken values, ``changes`` their differences over about an hour.
    """

    fahrenheit: bool
    hours: float
    low: float
    high: float
    whole: bool
    distinct: int
    changes_per_day: float
    celsius_low: float
    celsius_middle: float
    celsius_high: float
    share_low: float
    share_middle: float
    share_high: float
    at_ends: float
    celsius: Array
    changes: Array


def traits_of(time: Array, values: Array, fahrenheit: bool, percent: bool) -> Traits:
    """Figures of one column.

    Parameters
    ----------
    time, values : array, (rows,)
        As read.
    fahrenheit, percent : bool
        How temperatures and shares are counted, if it is one.

    Returns
    -------
    Traits
    """
    stride = max(len(values) // SAMPLES, 1)
    picked = values[::stride]
    finite = picked[np.isfinite(picked)]
    if len(finite) < 2:
        finite = values[np.isfinite(values)]
    low, middle, high = (float(q) for q in np.percentile(finite, [0.5, 50.0, 99.5]))
    distinct = len(np.unique(finite[:800]))
    days = max((time[-1] - time[0]) / DAY, 0.5) if len(time) > 1 else 1.0
    # counted on the full rows, gaps aside: a set point moves a few times a day, a sensor all the time
    head = values[: min(len(values), 20_000)]
    moved = int(np.count_nonzero(np.diff(head[np.isfinite(head)])))
    span = min(days, days * len(head) / max(len(values), 1))
    scale = 0.01 if percent else 1.0
    celsius = (picked - 32.0) / 1.8 if fahrenheit else picked
    shares = finite * scale
    lag = max(round(len(picked) * 3600.0 / max(time[-1] - time[0], 3600.0)), 1) if len(time) > 1 else 1
    return Traits(
        fahrenheit=fahrenheit,
        hours=float(time[-1] - time[0]) / HOUR if len(time) > 1 else 0.0,
        low=float(finite.min()),
        high=float(finite.max()),
        whole=bool(np.all(finite == np.round(finite))),
        distinct=distinct,
        changes_per_day=moved / max(span, 0.1),
        celsius_low=(low - 32.0) / 1.8 if fahrenheit else low,
        celsius_middle=(middle - 32.0) / 1.8 if fahrenheit else middle,
        celsius_high=(high - 32.0) / 1.8 if fahrenheit else high,
        share_low=low * scale,
        share_middle=float(np.median(shares)),
        share_high=high * scale,
        at_ends=float(np.mean((shares <= 0.001) | (shares >= 0.999))),
        celsius=np.asarray(celsius, dtype=float),
        changes=np.asarray(celsius[lag:] - celsius[:-lag], dtype=float),
    )


def pair_scores(traits: Sequence[Traits]) -> Mapping[tuple[str, str], Array]:
    """For pairs of points, how well every pair of columns fits them.

    Returns
    -------
    mapping of (point, point) to array, (columns, columns), [-]
        Natural logarithm of odds; entry [i, j] for column i as the first point and j as the second.
    """
    below = _table(traits, _share_below)
    near = _table(traits, _distance)
    moves = _table(traits, _together)
    follows = _table(traits, _correlated)
    spread = np.array([_spread(t.celsius) for t in traits])
    hourly = np.array([_spread(t.changes) for t in traits])
    under = np.clip(4.0 * (below - 0.9) / 0.1, -5.0, 0.6)
    ratio = np.log(np.maximum(spread, 0.05))
    wider = np.clip(
        1.2 * (ratio[:, None] - ratio[None, :]), -2.0, 1.5
    )  # the first varies more than the second
    pace = np.log(np.maximum(hourly, 0.02))
    livelier = np.clip(1.2 * (pace[:, None] - pace[None, :]), -2.0, 1.5)
    # two sensors of the same air move at the same pace
    unlike_pace = np.clip(-1.5 * (np.abs(pace[:, None] - pace[None, :]) - np.log(2.5)), -3.0, 0.0)
    like = np.clip(2.0 - near / 1.5, -2.5, 1.5)
    tied = np.clip(3.0 * np.abs(moves) - 0.6, -0.6, 2.0)
    same = np.clip(2.5 * follows - 0.7, -1.5, 1.5)
    scores: dict[tuple[str, str], Array] = {
        # dew points lie under their dry bulbs
        ("shown.dew_point", "shown.space_t"): under,
        ("shown.outdoor_dew_point", "outdoor.t"): under + 0.5 * np.clip(follows, -0.3, 1.0),
        ("shown.dew_point", "return.t"): under,
        ("supply.dew_point", "shown.supply_t"): under,
        # the room is kept: outdoors and supply vary more
        ("outdoor.t", "shown.space_t"): wider,
        ("outdoor.t", "return.t"): wider,
        ("shown.supply_t", "shown.space_t"): livelier,
        ("shown.supply_t", "return.t"): livelier,
        ("shown.outdoor_dew_point", "shown.dew_point"): 0.7 * wider,
        # return air is room air
        ("return.t", "shown.space_t"): like + 0.5 * same + unlike_pace,
        # supply lies between coil and reheat; the coil is the coldest place
        ("coil_leaving.t", "shown.supply_t"): under,
        ("coil_leaving.t", "shown.space_t"): under,
        ("coil_leaving.t", "mixed.t"): under,
        # mixed air is return and outdoor air
        ("mixed.t", "return.t"): np.clip(like, -1.0, 0.7),
        # reheat moves the supply and hardly anything else
        ("shown.reheat_command", "shown.supply_t"): tied,
        ("shown.reheat_command", "outdoor.t"): -0.5 * tied,
        # outdoor air ignores the unit
        ("shown.stages_called", "shown.outdoor_dew_point"): -0.7 * tied,
        ("shown.stages_called", "shown.dew_point"): 0.5 * tied,
        ("shown.stages_called", "shown.supply_t"): 0.3 * tied,
    }
    return scores


def _table(traits: Sequence[Traits], measure: Callable[[Traits, Traits], float]) -> Array:
    count = len(traits)
    out = np.zeros((count, count))
    for i in range(count):
        for j in range(count):
            if i != j:
                out[i, j] = measure(traits[i], traits[j])
    return out


def _both(a: Array, b: Array) -> tuple[Array, Array]:
    there = np.isfinite(a) & np.isfinite(b)
    return a[there], b[there]


def _share_below(first: Traits, second: Traits) -> float:
    a, b = _both(first.celsius, second.celsius)
    return float(np.mean(a <= b + 0.7)) if len(a) else 0.9


def _distance(first: Traits, second: Traits) -> float:
    a, b = _both(first.celsius, second.celsius)
    return float(np.median(np.abs(a - b))) if len(a) else 5.0


def _spread(values: Array) -> float:
    finite = values[np.isfinite(values)]
    return float(finite.std()) if len(finite) > 1 else 0.0


def _corr(a: Array, b: Array) -> float:
    a, b = _both(a, b)
    if len(a) < 10:
        return 0.0
    da, db = a - a.mean(), b - b.mean()
    scale = float(np.sqrt((da * da).sum() * (db * db).sum()))
    return float((da * db).sum() / scale) if scale > 1e-12 else 0.0


def _together(first: Traits, second: Traits) -> float:
    return _corr(first.changes, second.changes)


def _correlated(first: Traits, second: Traits) -> float:
    return _corr(first.celsius, second.celsius)
