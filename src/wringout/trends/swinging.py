"""Swinging control: period, amplitude, which loop drives it, since when. And stages that cycle too fast."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from wringout.quantity import Dimension
from wringout.trends.finding import Finding, Show, measured, when
from wringout.trends.oscillation import Oscillation, oscillation_of, own_decay
from wringout.trends.signals import filled, high_pass, regular_pieces, spans_of
from wringout.trends.states import fan_on
from wringout.trends.table import HOUR, Array, Span, TrendTable

__all__ = ["ShortCycling", "Swinging", "short_cycling_findings", "swinging_findings"]

WINDOW = 6.0 * HOUR
SLOW = 2.5 * HOUR
LONGEST_PERIOD = 1.5 * HOUR
# amplitude (half of top to bottom) from which a swing matters: judgement
LEAST_COMMAND = 0.10
LEAST_TEMPERATURE = 1.5  # K, of the supply air
LEAST_SPACE = 0.4  # K
LEAST_SHARE = 0.15  # of the time
QUARTER_DECAY = 0.25  # of a swing left after a period: the mark of a tuned loop (Ziegler & Nichols 1942)
NEAR_SEAT = (
    0.35  # mean command under which a valve that touches its seat swings because the load is small; judgement
)

STARTS_PER_HOUR = 6.0  # more starts of a compressor in an hour are too many; common practice
SHORTEST_RUN = 180.0  # [s]


@dataclass(frozen=True, kw_only=True)
class Swinging(Finding):
    """A control loop that swings."""

    kind: ClassVar[str] = "swinging"
    title: ClassVar[str] = "Swinging control"

    driver: str  # reheat, cooling, elsewhere
    period: float = measured(Dimension.TIME)
    amplitude: float = measured(Dimension.FRACTION)
    supply_amplitude: float | None = measured(Dimension.TEMPERATURE_DIFFERENCE)
    space_amplitude: float | None = measured(Dimension.TEMPERATURE_DIFFERENCE)
    share: float = measured(Dimension.FRACTION)
    regularity: float = 0.0
    near_seat: bool = False

    def says(self, show: Show) -> str:
        t, f, d = Dimension.TIME, Dimension.FRACTION, Dimension.TEMPERATURE_DIFFERENCE
        what = {"reheat": "The reheat command", "cooling": "The cooling command"}.get(
            self.driver, "The supply air"
        )
        parts = [f"{what} swings with a period of {show(self.period, t)}"]
        if self.driver != "elsewhere":
            parts.append(f", {show(2.0 * self.amplitude, f)} from top to bottom")
        if self.supply_amplitude is not None:
            parts.append(f"; the supply air by {show(2.0 * self.supply_amplitude, d)}")
        if self.space_amplitude is not None:
            parts.append(f", the room by {show(2.0 * self.space_amplitude, d)}")
        return "".join(parts) + f". That is so for {show(self.share, f)} of the time: {when(self.spans)}."

    def means(self) -> str:
        if self.driver == "elsewhere":
            return (
                "No command swings with it: look at what brings heat and cold (source, chilled water, pump)."
            )
        if self.near_seat:
            return (
                "The valve swings near its seat: too large for so small a load. It wears, and does "
                "little other harm; a "
                "longer integral time or a smaller valve calms it."
            )
        return (
            f"The {self.driver} loop drives it: its gain is too high or its integral time too short for "
            "the time the "
            "coil and the pipes take. A gain halved until it stops is the usual first step."
        )


@dataclass(frozen=True, kw_only=True)
class ShortCycling(Finding):
    """Stages that start too often."""

    kind: ClassVar[str] = "short_cycling"
    title: ClassVar[str] = "Short cycling"

    starts_per_hour: float = measured(Dimension.COUNT)
    median_run: float = measured(Dimension.TIME)

    def says(self, show: Show) -> str:
        run = show(self.median_run, Dimension.TIME)
        return (
            f"Stages start {self.starts_per_hour:.0f} times an hour and run {run} each: {when(self.spans)}."
        )

    def means(self) -> str:
        return (
            "Compressors wear, oil does not come back, and a coil that stops before it drains gives "
            "its water back to "
            "the air. Look at least on and off times, the band, and whether the first stage is too large."
        )


@dataclass(eq=False)
class _Window:
    """Some hours of signals without their slow parts; what swings is worked out when asked for."""

    start: float
    stop: float
    step: float
    fast: dict[str, Array]
    plain: dict[str, Array]
    known: dict[str, Oscillation] = field(default_factory=dict)

    def amplitude(self, point: str) -> float:
        """Half of top to bottom of a sine of the same spread."""
        return math.sqrt(2.0 * float(np.dot(self.fast[point], self.fast[point])) / len(self.fast[point]))

    def swing(self, point: str) -> Oscillation:
        if point not in self.known:
            self.known[point] = oscillation_of(self.fast[point], self.step)
        return self.known[point]

    def fits(self, point: str, least: float) -> bool:
        """Whether a signal swings by so much, regularly, for itself, and faster than a load does."""
        if point not in self.fast or self.amplitude(point) < least:
            return False
        swing = self.swing(point)
        regular = swing.amplitude >= least and swing.swings and swing.period <= LONGEST_PERIOD
        return regular and not self.rings_out(point)

    def rings_out(self, point: str) -> bool:
        """Whether stages that come and go only kick a signal that comes to rest by itself.

        Stages change the supply air by kelvins at once. A tuned loop answers with a swing or two; where they
        cycle on, every start and stop renews them, at half or a third of the stages' own cycle.
        """
        stages = self.plain.get("shown.stages_called")
        if stages is None or not np.any(np.diff(filled(stages))):
            return False
        kicks = self.fast["shown.stages_called"]
        return own_decay(self.fast[point], kicks, self.step, self.swing(point).period) < QUARTER_DECAY

    def mean(self, point: str) -> float:
        return float(np.nanmean(self.plain[point]))

    def half_range(self, point: str) -> float:
        """Half of what lies between the fifth and the ninety-fifth percentile."""
        low, high = np.nanpercentile(self.plain[point], [5.0, 95.0])
        return 0.5 * float(high - low)

    def low(self, point: str) -> float:
        return float(np.nanpercentile(self.plain[point], 5.0))


_POINTS = (
    "shown.reheat_command",
    "cooling.command",
    "shown.stages_called",
    "shown.supply_t",
    "supply.t",
    "shown.space_t",
)


def swinging_findings(table: TrendTable) -> list[Swinging]:
    """Loops that swing for a good part of the time."""
    windows: list[_Window] = []
    for piece in regular_pieces(table):
        windows += _windows(piece)
    if not windows:
        return []
    found = []
    for driver, point in (("reheat", "shown.reheat_command"), ("cooling", "cooling.command")):
        hits = [w for w in windows if _drives(w, point)]
        if len(hits) >= max(2, LEAST_SHARE * len(windows)) or (hits and len(windows) < 3):
            found.append(_swinging(driver, point, hits, windows))
    if not found:
        hits = [w for w in windows if _elsewhere(w)]
        if len(hits) >= max(3, 2 * LEAST_SHARE * len(windows)):
            found.append(
                _swinging("elsewhere", table.first_of("shown.supply_t", "supply.t") or "", hits, windows)
            )
    return found


def _windows(piece: TrendTable) -> list[_Window]:
    step = piece.step
    if step > 600.0:
        return []
    length, width = int(WINDOW / step), max(int(SLOW / step), 5)
    on = fan_on(piece)
    fast = {}
    for point in _POINTS:
        if point in piece and np.isfinite(piece[point]).sum() > 0.5 * len(piece.time):
            fast[point] = high_pass(piece[point], width)
    out = []
    # half overlapping; over months every other window tells as much
    hop = length // 2 if len(piece.time) < 200 * length else length
    for start in range(0, max(len(piece.time) - length // 2, 1), hop):
        part = slice(start, min(start + length, len(piece.time)))
        if part.stop - part.start < length // 2 or on[part].mean() < 0.9:
            continue
        out.append(
            _Window(
                float(piece.time[part.start]),
                float(piece.time[part.stop - 1]) + step,
                step,
                {point: values[part] for point, values in fast.items()},
                {point: piece[point][part] for point in fast},
            )
        )
    return out


def _drives(window: _Window, point: str) -> bool:
    """Whether this command swings for itself, and not because stages come and go or another command leads."""
    if not window.fits(point, LEAST_COMMAND):
        return False
    mine = window.swing(point)
    if point == "shown.reheat_command" and "shown.stages_called" in window.fast:
        stages = window.swing("shown.stages_called")
        if _same_beat(stages, mine) and stages.amplitude > 0.2:
            return False
    other = "cooling.command" if point == "shown.reheat_command" else "shown.reheat_command"
    return not (window.fits(other, LEAST_COMMAND) and window.swing(other).amplitude > 1.5 * mine.amplitude)


def _same_beat(one: Oscillation, other: Oscillation) -> bool:
    return one.decay_ratio > 0.3 and 0.7 < one.period / other.period < 1.4


def _elsewhere(window: _Window) -> bool:
    supply = "shown.supply_t" if "shown.supply_t" in window.fast else "supply.t"
    if not window.fits(supply, LEAST_TEMPERATURE):
        return False
    rivals = [
        p for p in ("shown.reheat_command", "cooling.command", "shown.stages_called") if p in window.fast
    ]
    beat = window.swing(supply)
    return not any(window.amplitude(p) > 0.02 and _same_beat(window.swing(p), beat) for p in rivals)


def _swinging(driver: str, point: str, hits: list[_Window], windows: list[_Window]) -> Swinging:
    spans = _joined([Span(w.start, w.stop) for w in hits])
    swings = [w.swing(point) for w in hits]

    def amplitude(*points: str) -> float | None:
        values = [w.amplitude(p) for w in hits for p in points if p in w.fast]
        return float(np.median(values)) if values else None

    command = float(np.median([w.half_range(point) for w in hits])) if driver != "elsewhere" else float("nan")
    near_seat = (
        driver != "elsewhere"
        and command < 0.35
        and float(np.median([w.mean(point) for w in hits])) < NEAR_SEAT
        and float(np.median([w.low(point) for w in hits])) < 0.02
    )
    return Swinging(
        points=(point,),
        spans=spans,
        weight=0.3 if near_seat else 0.8 if driver != "elsewhere" else 0.55,
        wrong=not near_seat,
        near_seat=near_seat,
        driver=driver,
        period=float(np.median([s.period for s in swings])),
        amplitude=command,
        supply_amplitude=amplitude("shown.supply_t", "supply.t"),
        space_amplitude=amplitude("shown.space_t"),
        share=len(hits) / len(windows),
        regularity=float(min(np.median([s.regularity for s in swings]), 99.0)),
    )


def _joined(spans: list[Span]) -> tuple[Span, ...]:
    out: list[Span] = []
    for span in sorted(spans, key=lambda s: s.start):
        if out and span.start <= out[-1].end:
            out[-1] = Span(out[-1].start, max(out[-1].end, span.end))
        else:
            out.append(span)
    return tuple(out)


def short_cycling_findings(table: TrendTable) -> list[ShortCycling]:
    """Stages (or cooling switched on and off) that start more often than compressors stand."""
    point = table.first_of("shown.stages_called", "shown.dehumidifying")
    if point is None:
        return []
    spans: list[Span] = []
    rates: list[float] = []
    lengths: list[float] = []
    for piece in regular_pieces(table):
        values = filled(piece[point])
        if not np.isfinite(values).all() or piece.step > 300.0:
            continue
        starts = np.flatnonzero(np.diff(np.round(values)) > 0) + 1
        hour = int(2.0 * HOUR / piece.step)
        counts = _moving_count(starts, len(values), hour)
        busy = counts > STARTS_PER_HOUR * 2.0
        if not busy.any():
            continue
        found = spans_of(busy, piece.time, least=2.0 * HOUR, join=2.0 * HOUR)
        spans += found
        for span in found:
            inside = starts[(piece.time[starts] >= span.start) & (piece.time[starts] <= span.end)]
            rates.append(len(inside) / span.hours)
            lengths += _run_lengths(np.round(values), inside, piece.step)
    if not spans:
        return []
    return [
        ShortCycling(
            points=(point,),
            spans=tuple(spans),
            weight=0.7,
            starts_per_hour=float(np.max(rates)),
            median_run=float(np.median(lengths)) if lengths else float("nan"),
        )
    ]


def _moving_count(starts: np.ndarray, length: int, width: int) -> Array:
    marks = np.zeros(length)
    marks[starts] = 1.0
    total = np.concatenate([[0.0], np.cumsum(marks)])
    half = width // 2
    index = np.arange(length)
    return np.asarray(
        total[np.minimum(index + half, length)] - total[np.maximum(index - half, 0)], dtype=float
    )


def _run_lengths(values: Array, starts: np.ndarray, step: float) -> list[float]:
    out = []
    for start in starts:
        after = np.flatnonzero(values[start:] < values[start])
        if len(after):
            out.append(float(after[0]) * step)
    return out
