"""What a trend says in a few numbers that causes would move: for weighing, beside readings.

Nothing here judges: it is the summary of a trend of a day or two (or of its last two days), each number with
what it is good for in its name. `TrendEvidence.moments` are settled pictures of what the controller showed,
in weather as different as the trend holds; each can serve as a set of readings in the state ``auto``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from wringout.documents.unit import Unit
from wringout.trends.following import follows
from wringout.trends.identification import identify
from wringout.trends.oscillation import oscillation_of
from wringout.trends.signals import Mask, filled, high_pass, moving_mean, regular_pieces
from wringout.trends.states import cooling_on
from wringout.trends.table import DAY, HOUR, Array, TrendTable

__all__ = ["Moment", "TrendEvidence", "trend_evidence"]

LAST = 2.0 * DAY
SLOW = 2.5 * HOUR  # what is slower is weather and load, not control
WINDOW = 600.0  # [s] of a settled moment
BEFORE = 900.0  # [s] for which stages must have stood before it
MOST_MOMENTS = 6
APART = 1.0 * HOUR
# how far things may move within a settled moment: command [0..1], supply [K]
STEADY_COMMAND, STEADY_SUPPLY = 0.05, 0.8
# what counts as "different" between two moments: judgement, the order of what shows in supply air
SCALES = {
    "outdoor.t": 3.0,
    "shown.outdoor_dew_point": 2.0,
    "shown.reheat_command": 0.2,
    "shown.stages_called": 0.7,
    "shown.supply_t": 3.0,
    "shown.dew_point": 0.7,
}


@dataclass(frozen=True, slots=True)
class Moment:
    """A settled picture: means over ten minutes at one time.

    ``at`` is the middle [s since 1970]; ``values`` by point in SI; ``spread`` the standard deviation of the
    samples within the moment, by point; ``dehumidifying`` whether cooling was called.
    """

    at: float
    values: Mapping[str, float]
    spread: Mapping[str, float]
    dehumidifying: bool


@dataclass(frozen=True)
class TrendEvidence:
    """A trend in numbers; NaN where it cannot tell.

    Attributes
    ----------
    start, end : float
        First and last row that was looked at [s since 1970, the log's own clock].
    hours : float
        Hours of data that were looked at (the last two days).
    share_on : float
        Share of the time in which the unit dehumidifies.
    swing_command, swing_space_t, swing_supply_t : float
        Standard deviation over the last day while dehumidifying, parts slower than 2.5 h taken off [0..1, K,
        K].
    swing_period : float
        Of the command [s]; NaN where it does not swing.
    swing_regularity, swing_decay : float
        Indices of the command's swing: above 1 and above 0.5 it counts as one.
    follows_on, follows_off : float
        Share of the time in which the shown dew point is the outdoor one, while dehumidifying and while not.
    gain, gain_sigma, gain_t : float
        Supply temperature for the whole travel of the reheat command [K], standard deviation, and their
        ratio.
    gain_agrees : float
        Share of what days tell that has the gain's sign.
    command_travel : float
        How far the command moved (0.5th to 99.5th percentile) [0..1].
    command_low, command_high : float
        Share of the time while dehumidifying with the command at 0 % and at 100 %.
    command_median : float
        While dehumidifying [0..1].
    over_set_point : float
        Share of the time in which the shown dew point is over the document's set point plus band.
    excess : float
        Mean of shown dew point less the document's set point, while dehumidifying [K].
    excess_off : float
        The same while not dehumidifying [K].
    stages_mean : float
        Mean number of stages called [count].
    starts_per_hour : float
        Starts of stages.
    cold_at_full : float
        Supply temperature less shown dew point at a command of 100 %, median while dehumidifying [K].
    warm_at_shut : float
        Supply temperature less shown space temperature at a command of 0 %, median while dehumidifying [K].
    space_error : float
        Shown space temperature less its set point, median while dehumidifying [K].
    outdoor_dew_point_high : float
        95th percentile of the outdoor dew point less that of the design day [K].
    moments : tuple of Moment
        Up to six settled pictures, in order of time.
    """

    start: float
    end: float
    hours: float
    share_on: float
    swing_command: float
    swing_space_t: float
    swing_supply_t: float
    swing_period: float
    swing_regularity: float
    swing_decay: float
    follows_on: float
    follows_off: float
    gain: float
    gain_sigma: float
    gain_t: float
    gain_agrees: float
    command_travel: float
    command_low: float
    command_high: float
    command_median: float
    over_set_point: float
    excess: float
    excess_off: float
    stages_mean: float
    starts_per_hour: float
    cold_at_full: float
    warm_at_shut: float
    space_error: float
    outdoor_dew_point_high: float
    moments: tuple[Moment, ...]


def trend_evidence(table: TrendTable, unit: Unit) -> TrendEvidence:
    """Summarise a trend for weighing.

    Parameters
    ----------
    table : TrendTable
        By test point, SI.
    unit : Unit
        For its set points and design day.

    Returns
    -------
    TrendEvidence
    """
    recent = table.between(float(table.time[-1]) - LAST, np.inf) if len(table.time) else table
    pieces = [piece for piece in regular_pieces(recent) if len(piece.time) >= 30]
    whole = _Joined(pieces)
    on = whole.on
    control = unit.control
    dew, space, supply = (whole.get(p) for p in ("shown.dew_point", "shown.space_t", "shown.supply_t"))
    command = whole.get("shown.reheat_command")
    swing = _swing(pieces)
    follow = _follow(pieces)
    seen = _identified(recent)
    excess = dew - control.dew_point
    outdoor = whole.get("shown.outdoor_dew_point")
    return TrendEvidence(
        start=float(recent.time[0]) if len(recent.time) else np.nan,
        end=float(recent.time[-1]) if len(recent.time) else np.nan,
        hours=recent.hours,
        share_on=_mean(on.astype(float)),
        **swing,
        follows_on=follow[0],
        follows_off=follow[1],
        gain=seen[0],
        gain_sigma=seen[1],
        gain_t=seen[0] / seen[1] if seen[1] > 0.0 else np.nan,
        gain_agrees=seen[2],
        command_travel=_percentile(command, 99.5) - _percentile(command, 0.5),
        command_low=_mean((command <= 0.005).astype(float), on & np.isfinite(command)),
        command_high=_mean((command >= 0.995).astype(float), on & np.isfinite(command)),
        command_median=_median(command, on),
        over_set_point=_mean((excess > control.dew_point_band).astype(float), np.isfinite(excess)),
        excess=_mean(excess, on),
        excess_off=_mean(excess, ~on),
        stages_mean=_mean(whole.get("shown.stages_called")),
        starts_per_hour=_starts(pieces),
        cold_at_full=_median(supply - dew, on & (command >= 0.995)),
        warm_at_shut=_median(supply - space, on & (command <= 0.005)),
        space_error=_median(space - control.space_t, on),
        outdoor_dew_point_high=_percentile(outdoor, 95.0) - unit.space.design_day.outdoor_dew_point,
        moments=_moments(pieces),
    )


class _Joined:
    """Pieces one behind the other, with NaN for what is not logged."""

    def __init__(self, pieces: list[TrendTable]) -> None:
        self.pieces = pieces
        self.length = sum(len(piece.time) for piece in pieces)
        states = [cooling_on(piece) for piece in pieces]
        parts = [
            s if s is not None else np.ones(len(p.time), dtype=bool)
            for s, p in zip(states, pieces, strict=True)
        ]
        self.on: Mask = np.concatenate(parts) if parts else np.zeros(0, dtype=bool)

    def get(self, point: str) -> Array:
        if not self.pieces or point not in self.pieces[0]:
            return np.full(self.length, np.nan)
        return np.concatenate([piece[point] for piece in self.pieces])


def _mean(values: Array, where: Mask | None = None) -> float:
    chosen = values if where is None else values[where]
    chosen = chosen[np.isfinite(chosen)]
    return float(chosen.mean()) if len(chosen) else np.nan


def _median(values: Array, where: Mask) -> float:
    chosen = values[where & np.isfinite(values)]
    return float(np.median(chosen)) if len(chosen) >= 15 else np.nan


def _percentile(values: Array, share: float) -> float:
    chosen = values[np.isfinite(values)]
    return float(np.percentile(chosen, share)) if len(chosen) else np.nan


def _swing(pieces: list[TrendTable]) -> dict[str, float]:
    """How command, room and supply move faster than a load does, over the last day while dehumidifying."""
    out = dict.fromkeys(
        (
            "swing_command",
            "swing_space_t",
            "swing_supply_t",
            "swing_period",
            "swing_regularity",
            "swing_decay",
        ),
        np.nan,
    )
    if not pieces:
        return out
    last = pieces[-1].time[-1] - DAY
    points = {
        "swing_command": "shown.reheat_command",
        "swing_space_t": "shown.space_t",
        "swing_supply_t": "shown.supply_t",
    }
    for name, point in points.items():
        squares, count = 0.0, 0
        for piece in pieces:
            if point not in piece or not np.isfinite(piece[point]).any():
                continue
            on = cooling_on(piece)
            chosen = (piece.time >= last) & np.isfinite(piece[point])
            chosen = chosen & on if on is not None else chosen
            fast = high_pass(piece[point], max(int(SLOW / piece.step), 5))
            squares += float((fast[chosen] ** 2).sum())
            count += int(chosen.sum())
            if name == "swing_command" and chosen.sum() * piece.step > 3.0 * HOUR:
                beat = oscillation_of(fast[chosen], piece.step)
                out |= {
                    "swing_period": beat.period,
                    "swing_regularity": min(beat.regularity, 99.0),
                    "swing_decay": beat.decay_ratio,
                }
        if count:
            out[name] = float(np.sqrt(squares / count))
    return out


def _follow(pieces: list[TrendTable]) -> tuple[float, float]:
    hits = {True: 0, False: 0}
    counts = {True: 0, False: 0}
    for piece in pieces:
        if "shown.dew_point" not in piece or "shown.outdoor_dew_point" not in piece:
            return np.nan, np.nan
        mask = follows(piece["shown.dew_point"], piece["shown.outdoor_dew_point"], piece.step)
        on = cooling_on(piece)
        on = np.ones(len(mask), dtype=bool) if on is None else on
        for state in (True, False):
            hits[state] += int((mask & (on == state)).sum())
            counts[state] += int((on == state).sum())
    return (
        hits[True] / counts[True] if counts[True] >= 15 else np.nan,
        hits[False] / counts[False] if counts[False] >= 15 else np.nan,
    )


def _identified(table: TrendTable) -> tuple[float, float, float]:
    if "shown.reheat_command" not in table or "shown.supply_t" not in table:
        return np.nan, np.nan, np.nan
    stages = table.get("shown.stages_called")
    moved = stages is not None and len(np.unique(stages[np.isfinite(stages)])) > 1
    beside = ("shown.stages_called",) if moved else ()
    seen = identify(table, "shown.reheat_command", "shown.supply_t", beside)
    return (np.nan, np.nan, np.nan) if seen is None else (seen.gain, seen.sigma, seen.agreeing)


def _starts(pieces: list[TrendTable]) -> float:
    starts = hours = 0.0
    for piece in pieces:
        stages = piece.get("shown.stages_called")
        if stages is None:
            return np.nan
        finite = np.round(stages[np.isfinite(stages)])
        starts += float(np.count_nonzero(np.diff(finite) > 0))
        hours += len(finite) * piece.step / HOUR
    return starts / hours if hours > 0.0 else np.nan


def _moments(pieces: list[TrendTable]) -> tuple[Moment, ...]:
    """Settled moments, as different from each other as can be had."""
    candidates: list[tuple[float, Array, TrendTable, slice]] = []
    for piece in pieces:
        candidates += _candidates(piece)
    if not candidates:
        return ()
    features = np.stack([c[1] for c in candidates])
    steadiness = np.array([c[0] for c in candidates])
    times = np.array([c[2].time[c[3].start] for c in candidates])
    # the last one first: it is nearest to the visit; then always the one that differs most from those chosen
    chosen = [len(candidates) - 1]
    distance = np.full(len(candidates), np.inf)
    while len(chosen) < MOST_MOMENTS:
        distance = np.minimum(distance, np.abs(features - features[chosen[-1]]).sum(axis=1))
        far = np.abs(times[:, None] - times[chosen][None, :]).min(axis=1) >= APART
        worth = np.where(far, distance + 0.3 - 0.5 * steadiness, -np.inf)
        best = int(np.argmax(worth))
        if not np.isfinite(worth[best]):
            break
        chosen.append(best)
    return tuple(_moment(candidates[k][2], candidates[k][3]) for k in sorted(chosen, key=lambda k: times[k]))


def _candidates(piece: TrendTable) -> list[tuple[float, Array, TrendTable, slice]]:
    step = piece.step
    width, before = max(int(WINDOW / step), 1), max(int(BEFORE / step), 1)
    if (
        not {"shown.supply_t", "shown.reheat_command"} <= piece.values.keys()
        or len(piece.time) < before + width
    ):
        return []
    smooth = moving_mean(filled(piece["shown.supply_t"]), max(width // 2, 1))
    command = filled(piece["shown.reheat_command"])
    stages = piece.get("shown.stages_called")
    levels = {
        p: moving_mean(filled(piece[p]), width) for p in SCALES if p in piece and np.isfinite(piece[p]).any()
    }
    out = []
    for start in range(before, len(piece.time) - width + 1, max(width // 2, 1)):
        part, ahead = slice(start, start + width), slice(start - before, start + width)
        if np.isfinite(piece["shown.supply_t"][part]).mean() < 0.7:
            continue
        if stages is not None:
            called = stages[ahead][np.isfinite(stages[ahead])]
            if len(called) < 0.7 * (ahead.stop - ahead.start) or np.ptp(called) > 1e-6:
                continue
        moved = float(np.ptp(command[ahead])), float(np.ptp(smooth[part]))
        if not (moved[0] <= STEADY_COMMAND and moved[1] <= STEADY_SUPPLY):
            continue
        middle = start + width // 2
        feature = np.array([levels[p][middle] / SCALES[p] if p in levels else 0.0 for p in SCALES])
        if np.isfinite(feature).all():
            out.append((moved[0] / STEADY_COMMAND + moved[1] / STEADY_SUPPLY, feature, piece, part))
    return out


def _moment(piece: TrendTable, part: slice) -> Moment:
    values: dict[str, float] = {}
    spread: dict[str, float] = {}
    for point, samples in piece.values.items():
        finite = samples[part][np.isfinite(samples[part])]
        if len(finite):
            values[point] = float(finite.mean())
            spread[point] = float(finite.std())
    on = cooling_on(piece)
    return Moment(
        at=float(0.5 * (piece.time[part.start] + piece.time[part.stop - 1])),
        values=values,
        spread=spread,
        dehumidifying=bool(on[part].mean() > 0.5) if on is not None else True,
    )
