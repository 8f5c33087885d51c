"""A value that follows another one, always or for part of the time: a display whose source changes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wringout.quantity import Dimension
from wringout.trends.finding import Finding, Show, measured, when
from wringout.trends.signals import Mask, correlation, filled, moving_mean, noise_of, regular_pieces, spans_of
from wringout.trends.states import cooling_on
from wringout.trends.table import HOUR, Array, Span, TrendTable

__all__ = ["Following", "follows", "following_findings"]

# pairs of which neither has a reason to equal the other: (the one that should be its own, the one it may
# take)
PAIRS = (
    ("shown.dew_point", "shown.outdoor_dew_point"),
    ("shown.space_t", "outdoor.t"),
    ("return.t", "outdoor.t"),
    ("return.rh", "outdoor.rh"),
    ("space.rh", "outdoor.rh"),
)
WINDOW = 1800.0  # [s] over which two values must stay together
LEAST_HOURS = 2.0
LEAST_TRAVEL = {
    Dimension.TEMPERATURE: 1.0,
    Dimension.FRACTION: 0.04,
}  # between the levels at which the two were equal
LEAST_TOLERANCE = {Dimension.TEMPERATURE: 0.1, Dimension.FRACTION: 0.005}
MOST_TOLERANCE = {Dimension.TEMPERATURE: 0.6, Dimension.FRACTION: 0.03}


@dataclass(frozen=True, kw_only=True)
class Following(Finding):
    """A display that is another one's for all or part of the time."""

    kind: ClassVar[str] = "following"
    title: ClassVar[str] = "A value that follows another"

    pattern: str  # always, while_off, while_on, at_times
    hours: float = measured(Dimension.TIME)
    share: float = measured(Dimension.FRACTION)
    share_on: float | None = measured(Dimension.FRACTION)
    share_off: float | None = measured(Dimension.FRACTION)
    difference: float = measured(Dimension.TEMPERATURE_DIFFERENCE)

    def says(self, show: Show) -> str:
        one, other = _NAMES.get(self.points[0], self.points[0]), _NAMES.get(self.points[1], self.points[1])
        condition = {
            "always": "all the time",
            "while_off": "whenever the unit does not dehumidify, and not while it does",
            "while_on": "while the unit dehumidifies, and not otherwise",
            "at_times": f"for {show(self.share, Dimension.FRACTION)} of the time ({when(self.spans)})",
        }[self.pattern]
        return f"The {one} equals the {other} {condition}, and moves with it."

    def means(self) -> str:
        other = _NAMES.get(self.points[1], self.points[1])
        return (
            f"What is shown (and acted on) then is the {other}, not a sensor of its own. Find in the "
            "program where the "
            "value comes from, and compare with an instrument beside the sensor."
        )


_NAMES = {
    "shown.dew_point": "shown dew point of the space",
    "shown.outdoor_dew_point": "outdoor dew point",
    "shown.space_t": "shown space temperature",
    "outdoor.t": "outdoor temperature",
    "return.t": "return temperature",
    "shown.supply_t": "supply temperature",
    "return.rh": "return humidity",
    "space.rh": "space humidity",
    "outdoor.rh": "outdoor humidity",
}


def follows(one: Array, other: Array, step: float, dimension: Dimension = Dimension.TEMPERATURE) -> Mask:
    """Where one signal is the other one.

    Parameters
    ----------
    one, other : array, (samples,)
        On even steps; NaN where empty.
    step : float, [s]
    dimension : Dimension, optional
        What they measure.

    Returns
    -------
    array of bool, (samples,)
        True within half-hour windows in which the two differ by no more than their noise.
    """
    a, b = filled(one), filled(other)
    if not (np.isfinite(a).all() and np.isfinite(b).all()):
        return np.zeros(len(one), dtype=bool)
    noise = float(np.hypot(noise_of(one), noise_of(other)))
    tolerance = min(max(3.0 * noise, LEAST_TOLERANCE[dimension]), MOST_TOLERANCE[dimension])
    apart = (np.abs(a - b) > tolerance).astype(float)
    if apart.mean() > 0.98:
        return np.zeros(len(one), dtype=bool)
    width = max(int(WINDOW / step), 3)
    mean_apart = moving_mean(apart, width)
    bias = np.abs(moving_mean(a - b, width))
    core = (mean_apart < 0.1) & (bias < max(0.5 * tolerance, 0.5 * LEAST_TOLERANCE[dimension]))
    # a window that fits is all of it: grow by half a window, but never over cells that differ
    grown = moving_mean(core.astype(float), width) > 0.0
    return np.asarray(grown & (apart < 0.5) & (moving_mean(apart, 5) < 0.5))


def following_findings(table: TrendTable) -> list[Following]:
    """Values that take another one's for long enough to be no chance."""
    found = []
    for one, other in PAIRS:
        if one in table and other in table and (finding := _pair(table, one, other)) is not None:
            found.append(finding)
    return found


def _pair(table: TrendTable, one: str, other: str) -> Following | None:
    dimension = Dimension.FRACTION if one.endswith(".rh") else Dimension.TEMPERATURE
    spans: list[Span] = []
    samples = together = 0
    on_samples = on_together = 0
    differences: list[float] = []
    moves: list[tuple[Array, Array]] = []
    states = False
    step = 60.0
    for piece in regular_pieces(table):
        step = piece.step
        mask = follows(piece[one], piece[other], step, dimension)
        samples += len(mask)
        together += int(mask.sum())
        on = cooling_on(piece)
        if on is not None:
            states = True
            on_samples += int(on.sum())
            on_together += int((mask & on).sum())
        if not mask.any():
            continue
        long = spans_of(mask, piece.time, least=0.5 * HOUR, join=300.0)
        spans += long
        smooth_one, smooth_other = (
            moving_mean(filled(piece[p]), max(int(600.0 / step), 3)) for p in (one, other)
        )
        for span in long:
            inside = slice(*np.searchsorted(piece.time, [span.start, span.end]))
            moves.append((smooth_one[inside], smooth_other[inside]))
        apart = np.abs(piece[one] - piece[other])[mask]
        differences.append(float(apart[np.isfinite(apart)].mean()))
    hours = sum(span.hours for span in spans)
    if hours < LEAST_HOURS:
        return None
    levels = [np.concatenate([move[k] for move in moves]) for k in (0, 1)]
    # equal around the clock for a day is less of a chance, and weather may be calm
    calm = 0.5 if hours >= 24.0 and together > 0.9 * samples else 1.0
    if min(float(np.ptp(level)) for level in levels) < calm * LEAST_TRAVEL[dimension]:
        return None  # two values may meet by chance, but hardly at levels that differ
    # air indoors may take the outdoor state for an hour by chance, as doors stand open; a display does so for
    # long
    if one != "shown.dew_point" and hours < 4.0 * LEAST_HOURS:
        return None
    if correlation(levels[0], levels[1]) < (0.95 if calm == 1.0 else 0.9):
        return None
    off_samples = samples - on_samples
    share_on = on_together / on_samples if states and on_samples * step > HOUR else None
    share_off = (together - on_together) / off_samples if states and off_samples * step > HOUR else None
    return Following(
        points=(one, other),
        spans=tuple(spans),
        weight=0.92,
        pattern=_pattern(together / max(samples, 1), share_on, share_off),
        hours=hours * HOUR,
        share=together / max(samples, 1),
        share_on=share_on,
        share_off=share_off,
        difference=float(np.mean(differences)),
    )


def _pattern(share: float, on: float | None, off: float | None) -> str:
    if share > 0.9:
        return "always"
    if on is not None and off is not None:
        if off > 0.7 and on < 0.2:
            return "while_off"
        if on > 0.7 and off < 0.2:
            return "while_on"
    return "at_times"
