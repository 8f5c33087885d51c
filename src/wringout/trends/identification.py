"""Which way an output acts, how strongly, and how fast: a first-order model identified from everyday running.

Steps are best, but the wandering of a closed loop does as well: what the command did before the temperature
did it is set against what came after, with the stages of cooling and slow drifts taken out. Where the data
cannot tell, that is the answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.trends.first_order import simulated
from wringout.trends.signals import Mask, block_means, correlation, filled, regular_pieces, settled
from wringout.trends.states import cooling_on
from wringout.trends.table import DAY, HOUR, Array, TrendTable

__all__ = ["Identified", "identify"]

TIME_CONSTANTS = np.array([30.0, 60.0, 120.0, 240.0, 480.0, 900.0])
DEAD_TIMES = (0.0, 60.0, 120.0, 180.0, 300.0, 480.0)
SLOW = 2.0 * HOUR  # what is slower than this is weather and load, not the output
LEAST_TRAVEL = 0.08  # a command that never moves further than this tells nothing
SURE_T = 8.0  # gain over its standard deviation from which the sign counts as known
WEAK = 3.0  # K for the whole travel: an output that does less moves nothing worth having
# Where a sound output may hardly move anything: a linear valve on a coil that needs little water, or a valve
# for hot gas, has given nearly all it has before the upper part of its travel (a tenth of the mean there). In
# the lower third any of them does at least half the mean, and over both together the whole.
LOWER, UPPER = 1.0 / 3.0, 2.0 / 3.0
LOWER_SHARE = 0.5
MOST_GAIN = 60.0  # K for the whole travel: no coil of an air handler does more
MOST_CHUNKS = 20  # days that are enough


@dataclass(frozen=True, slots=True)
class Identified:
    """An identified action.

    ``gain`` [K for the whole travel of the command], ``sigma`` its standard deviation, ``time_constant`` and
    ``dead_time`` [s], ``share`` of the movement explained [0..1], ``agreeing`` share of the days (weighed by
    what they tell) whose own gain has the same sign, ``low`` and ``high`` the command's span in the data
    [0..1], ``steps`` how many clear steps there were, ``days`` of data. ``confirmed`` says whether settled
    means tell the same sign, where the air before the coil is known (where a fast loop holds the very
    temperature, wandering alone can mislead); ``still`` whether they tell that nothing moves.
    """

    gain: float
    sigma: float
    time_constant: float
    dead_time: float
    share: float
    agreeing: float
    low: float
    high: float
    steps: int
    days: float
    confirmed: bool = True
    still: bool = True

    @property
    def t_value(self) -> float:
        """Gain in units of its standard deviation."""
        return self.gain / self.sigma if self.sigma > 0.0 else 0.0

    @property
    def known(self) -> bool:
        """Whether the sign is beyond doubt."""
        if not self.confirmed or abs(self.gain) > MOST_GAIN:
            return False
        return (
            abs(self.t_value) >= SURE_T
            and self.agreeing >= 0.75
            and abs(self.gain) * (self.high - self.low) >= 0.8
        )

    @property
    def nothing(self) -> bool:
        """Whether the output was seen to move, where a sound one acts, without moving anything."""
        if not self.still or self.low > LOWER or self.high - self.low < 0.25:
            return False
        weak = WEAK if self.high >= UPPER else LOWER_SHARE * WEAK
        return abs(self.gain) + 3.0 * self.sigma < weak


def identify(
    table: TrendTable, command: str, result: str, beside: tuple[str, ...] = (), before: str | None = None
) -> Identified | None:
    """Identify the action of a command on a temperature.

    Parameters
    ----------
    table : TrendTable
    command, result : str
        Points: the output, and the temperature it should move.
    beside : tuple of str, optional
        Points that move the temperature too (stages of cooling): their share is fitted along.
    before : str, optional
        Point whose temperature is taken off first (air before the coil).

    Returns
    -------
    Identified or None
        None where the command does not move enough to tell, or data are too few.
    """
    chunks = _chunks(table, command, result, beside, before)
    if chunks is None:
        return None
    u, y, others, there, step = chunks
    travel = np.nanpercentile(u[there], [0.5, 99.5])
    if travel[1] - travel[0] < LEAST_TRAVEL:
        return None
    width = max(int(SLOW / step), 3)
    y_fast = _fast(y, width)
    best: tuple[float, float, float, Array, Array] | None = None
    lagged = [simulated(signal, TIME_CONSTANTS, 0, step) for signal in (u, *others)]
    for k, tau in enumerate(TIME_CONSTANTS):
        fast = [_fast(signal[k], width) for signal in lagged]
        for dead in DEAD_TIMES:
            delay = round(dead / step)
            if delay * step != dead:
                continue
            columns = [_delayed(signal, delay) for signal in fast]
            loss, _ = _loss(columns, y_fast, there)
            if best is None or loss < best[0]:
                best = (loss, float(tau), dead, columns[0], np.array(columns[1:]))
    if best is None:
        return None
    _, tau, dead, x_fast, z_fast = best
    gain, sigma, share, agreeing = _regression(x_fast, z_fast, y_fast, there)
    if not np.isfinite(gain):
        return None
    confirmed, still = True, True
    if before is not None:
        slope, spread = _settled_slope(u, y, others, there, step)
        confirmed = bool(np.sign(slope) == np.sign(gain) and abs(slope) > 3.0 * spread)
        still = abs(slope) + 2.0 * spread < WEAK
    return Identified(
        confirmed=confirmed,
        still=still,
        gain=gain,
        sigma=sigma,
        time_constant=tau,
        dead_time=dead,
        share=share,
        agreeing=agreeing,
        low=float(travel[0]),
        high=float(travel[1]),
        steps=_steps(u, step),
        days=float(there.sum()) * step / DAY,
    )


def _delayed(rows: Array, delay: int) -> Array:
    """Rows later by so many samples; before there was anything, nothing moved."""
    if not delay:
        return rows
    return np.concatenate([np.zeros((len(rows), delay)), rows[:, :-delay]], axis=1)


def _settled_slope(u: Array, y: Array, others: list[Array], there: Mask, step: float) -> tuple[float, float]:
    """Slope of quarter-hour means within days, and its standard deviation (infinite where data are few)."""
    width = max(int(900.0 / step), 1)
    hidden = np.where(there, y, np.nan)

    def rows(values: Array) -> Array:
        return np.stack([block_means(row, width) for row in values])

    blocks = [rows(v) for v in (u, *others, hidden)]
    seen = np.isfinite(blocks[-1])
    if seen.sum() < 12:
        return 0.0, np.inf
    centred = [
        b - (np.where(seen, b, 0.0).sum(axis=1) / np.maximum(seen.sum(axis=1), 1))[:, None] for b in blocks
    ]
    a = np.stack([b[seen] for b in centred[:-1]], axis=1)
    target = centred[-1][seen]
    inverse = np.linalg.pinv(a.T @ a)
    slope = inverse @ (a.T @ target)
    rest = target - a @ slope
    phi = correlation(rest[1:], rest[:-1])
    inflation = (1.0 + max(phi, 0.0)) / max(1.0 - phi, 0.05)
    sigma = float(np.sqrt(inverse[0, 0] * (rest @ rest) / max(len(rest) - a.shape[1], 1) * inflation))
    return float(slope[0]), sigma


def _chunks(
    table: TrendTable, command: str, result: str, beside: tuple[str, ...], before: str | None
) -> tuple[Array, Array, list[Array], Mask, float] | None:
    """Days side by side: (days, samples) arrays without NaN, and where there really are data."""
    pieces = regular_pieces(table)
    if not pieces:
        return None
    step = pieces[0].step
    if not step <= 600.0:
        return None
    length = int(DAY / step)
    rows: list[tuple[float, tuple[Array, ...], Mask]] = []
    starts_and_stops = any(_drying(piece) is not None for piece in pieces)
    for piece in pieces:
        drying = _drying(piece)
        running = cooling_on(piece)
        on = np.ones(len(piece.time)) if running is None else running.astype(float)
        for start in range(0, len(piece.time), length):
            part = slice(start, start + length)
            u, y = piece[command][part], piece[result][part]
            if before is not None:
                y = y - piece[before][part]
            there = np.isfinite(u) & np.isfinite(y)
            if drying is not None:
                there &= drying[part]
            if there.sum() * step < 2.0 * HOUR:
                continue
            others = [piece[b][part] for b in beside] + ([on[part]] if starts_and_stops else [])
            signals = tuple(_padded(filled(v), length) for v in (u, y, *others))
            if not all(np.isfinite(s).all() for s in signals):
                continue
            full = np.zeros(length, dtype=bool)
            full[: len(there)] = there
            rows.append((float(np.nanstd(np.diff(u[there]))), signals, full))
    if not rows:
        return None
    if len(rows) > MOST_CHUNKS:  # the days on which the command moved most tell most
        rows = sorted(rows, key=lambda row: -row[0])[:MOST_CHUNKS]
    stacked = [np.stack([row[1][k] for row in rows]) for k in range(len(rows[0][1]))]
    return stacked[0], stacked[1], stacked[2:], np.stack([row[2] for row in rows]), step


def _drying(piece: TrendTable) -> Mask | None:
    """Where a drying unit has dried for half an hour.

    As it starts and stops, coil and command move together for reasons of their own. None where it never
    stops, where nothing tells, or where the unit is no drying one.
    """
    if "shown.stages_called" not in piece and "shown.dehumidifying" not in piece:
        return None
    on = cooling_on(piece)
    if on is None or on.all():
        return None
    return settled(on, max(int(0.5 * HOUR / piece.step), 1))


def _padded(values: Array, length: int) -> Array:
    return (
        np.concatenate([values, np.full(length - len(values), values[-1])])
        if len(values) < length
        else values
    )


def _fast(rows: Array, width: int) -> Array:
    """Rows without their slow part."""
    half = max(width // 2, 1)
    total = np.concatenate([np.zeros((len(rows), 1)), np.cumsum(rows, axis=1)], axis=1)
    index = np.arange(rows.shape[1])
    low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, rows.shape[1])
    return np.asarray(rows - (total[:, high] - total[:, low]) / (high - low), dtype=float)


def _loss(columns: list[Array], y: Array, there: Mask) -> tuple[float, Array]:
    """Least squares of differences: that takes slow drift out, and leaves the sensor's noise nearly white."""
    a = np.stack([c[there] for c in columns], axis=1)
    b = y[there]
    coefficients, *_ = np.linalg.lstsq(a.T @ a + 1e-9 * np.eye(a.shape[1]), a.T @ b, rcond=None)
    rest = b - a @ coefficients
    return float(rest @ rest), np.asarray(coefficients, dtype=float)


def _regression(x: Array, z: Array, y: Array, there: Mask) -> tuple[float, float, float, float]:
    """Gain with its standard deviation (residuals whitened once), share explained, and how many days
    agree."""
    columns = [x, *z]
    _, coefficients = _loss(columns, y, there)
    rest = y - sum(c * k for c, k in zip(columns, coefficients, strict=True))
    both = there[:, 1:] & there[:, :-1]
    variance = float((rest[there] ** 2).mean())
    phi = float((rest[:, 1:] * rest[:, :-1])[both].mean() / variance) if variance > 0.0 else 0.0
    phi = min(max(phi, 0.0), 0.98)
    whitened = [c[:, 1:] - phi * c[:, :-1] for c in (*columns, y)]
    a = np.stack([c[both] for c in whitened[:-1]], axis=1)
    b = whitened[-1][both]
    normal = a.T @ a
    if normal[0, 0] < 1e-10:
        return np.nan, np.nan, 0.0, 0.0
    inverse = np.linalg.pinv(normal)
    solution = inverse @ (a.T @ b)
    noise = b - a @ solution
    sigma = float(np.sqrt(inverse[0, 0] * (noise @ noise) / max(len(b) - a.shape[1], 1)))
    total = float((y[there] ** 2).sum())
    explained = 1.0 - float((rest[there] ** 2).sum()) / total if total > 0.0 else 0.0
    agreeing = _agreeing(whitened, both, solution)
    return float(solution[0]), sigma, max(explained, 0.0), agreeing


def _agreeing(whitened: list[Array], both: Mask, solution: Array) -> float:
    """Share of the days whose own gain has the sign of the whole, each weighed by how much the command
    moved."""
    x, *z, y = whitened
    rest = y - sum((c * k for c, k in zip(z, solution[1:], strict=True)), np.zeros_like(y))
    weight = np.where(both, x * x, 0.0).sum(axis=1)
    product = np.where(both, x * rest, 0.0).sum(axis=1)
    total = weight.sum()
    return float(weight[np.sign(product) == np.sign(solution[0])].sum() / total) if total > 0.0 else 0.0


def _steps(u: Array, step: float) -> int:
    """Jumps of the command by a fifth of its travel or more within three minutes, held for ten."""
    lag, hold = max(int(180.0 / step), 1), max(int(600.0 / step), 2)
    if u.shape[1] <= lag + hold:
        return 0
    jump = np.abs(u[:, lag:-hold] - u[:, : -hold - lag]) >= 0.2
    calm = np.abs(u[:, lag + hold :] - u[:, lag:-hold]) < 0.05
    hits = jump & calm
    return int(np.count_nonzero(hits[:, 1:] & ~hits[:, :-1]) + np.count_nonzero(hits[:, 0]))
