"""The picture that goes with a finding: which signals, over which hours."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wringout.catalogue.trend_points import measure_of
from wringout.quantity import PREFERRED, Dimension, UnitSystem, from_si
from wringout.trends.action import Action
from wringout.trends.finding import Finding, shower
from wringout.trends.moisture import TooWet
from wringout.trends.moisture_days import MoistureDays
from wringout.trends.plot import Line, Panel, plot
from wringout.trends.signals import regular_pieces
from wringout.trends.swinging import Swinging
from wringout.trends.table import DAY, HOUR, Array, Span, TrendTable

__all__ = ["NAMES", "picture_of"]

LONGEST, SHORTEST = 4.0 * DAY, 6.0 * HOUR

NAMES = {
    "shown.dew_point": "space dew point",
    "shown.outdoor_dew_point": "outdoor dew pt",
    "shown.setpoint_dew_point": "dew pt setting",
    "shown.space_t": "space",
    "shown.supply_t": "supply",
    "supply.t": "supply",
    "outdoor.t": "outdoor",
    "return.t": "return",
    "mixed.t": "mixed",
    "coil_leaving.t": "between coils",
    "shown.reheat_command": "reheat",
    "cooling.command": "cooling",
    "shown.stages_called": "stages",
    "shown.dehumidifying": "drying",
    "outdoor.damper": "damper",
}

# what is drawn for each kind, beside the finding's own points
_WITH = {
    "action": ("shown.reheat_command", "cooling.command", "shown.supply_t", "supply.t"),
    "at_stop": ("shown.supply_t", "supply.t", "shown.space_t", "shown.dew_point"),
    "coil_against_command": (
        "shown.reheat_command", "cooling.command", "shown.stages_called", "shown.supply_t", "supply.t",
        "mixed.t", "coil_leaving.t", "shown.dew_point", "shown.space_t", "outdoor.t", ), "swinging":
        ("shown.reheat_command", "cooling.command", "shown.supply_t", "shown.space_t"), "short_cycling":
        ("shown.stages_called", "shown.dehumidifying", "shown.dew_point"), "following":
        ("shown.stages_called", "shown.dehumidifying"), "fighting": ("shown.reheat_command",
        "cooling.command", "shown.supply_t"), "too_wet": ("shown.dew_point", "shown.outdoor_dew_point",
        "shown.stages_called"), "changed": ("shown.stages_called",),
}  # fmt: skip
_ORDER = (Dimension.TEMPERATURE, Dimension.FRACTION, Dimension.COUNT, Dimension.YES_NO)
_MOST_LINES = 5


def picture_of(finding: Finding, table: TrendTable, system: UnitSystem = "ip") -> str:
    """Draw what a finding is about.

    Parameters
    ----------
    finding : Finding
    table : TrendTable
        The one it was found in.
    system : {'ip', 'si'}, optional
        Units of the scales.

    Returns
    -------
    str
        SVG; the empty string where the trend holds nothing to draw.
    """
    if isinstance(finding, MoistureDays):
        return _flows(finding, system)
    window = _window(finding, table)
    part = table.between(window.start, window.end)
    if len(part.time) < 2:
        return ""
    wanted = dict.fromkeys((*finding.points, *_WITH.get(finding.kind, ())))
    points = [p for p in wanted if p in part and np.isfinite(part[p]).any()]
    panels = _panels(points, part, system, finding)
    if not panels:
        return ""
    hatched = [s for s in finding.spans if s.hours > 0.0]
    seen = sum(max(min(s.end, window.end) - max(s.start, window.start), 0.0) for s in hatched)
    if seen > 0.97 * (window.end - window.start):
        hatched = []  # all of it is meant
    return plot(part.time, panels, finding.heading(), finding.says(shower(system)), hatched)


def _panels(points: Sequence[str], part: TrendTable, system: UnitSystem, finding: Finding) -> list[Panel]:
    by_dimension: dict[Dimension, list[Line]] = {}
    for point in points:
        dimension = measure_of(point).dimension
        lines = by_dimension.setdefault(dimension, [])
        if len(lines) < _MOST_LINES:
            stepped = dimension in {Dimension.COUNT, Dimension.YES_NO}
            lines.append(Line(NAMES.get(point, point), _for_reader(part[point], dimension, system), stepped))
    if isinstance(finding, TooWet):
        level = np.full(len(part.time), finding.limit)
        by_dimension[Dimension.TEMPERATURE].append(
            Line("limit", _for_reader(level, Dimension.TEMPERATURE, system))
        )
    panels = []
    for dimension in sorted(by_dimension, key=lambda d: _ORDER.index(d) if d in _ORDER else 9):
        unit = PREFERRED[dimension][system]
        share = dimension in {Dimension.FRACTION, Dimension.YES_NO}
        high = (100.0 if dimension is Dimension.FRACTION else 1.0) if share else None
        panels.append(Panel(unit, tuple(by_dimension[dimension]), 0.0 if share else None, high))
    return panels


def _flows(finding: MoistureDays, system: UnitSystem) -> str:
    """What comes in and goes out, half hour by half hour; the last days of a long trend."""
    late = finding.time >= finding.time[-1] - LONGEST
    flow = Dimension.MASS_FLOW
    lines = tuple(
        Line(name, _for_reader(values[late], flow, system)) for name, values in finding.flows.items()
    )
    panel = Panel(PREFERRED[flow][system], lines)
    return plot(finding.time[late], [panel], finding.heading(), finding.says(shower(system)))


def _for_reader(values: Array, dimension: Dimension, system: UnitSystem) -> Array:
    return np.asarray(from_si(values, PREFERRED[dimension][system], dimension), dtype=float)


def _window(finding: Finding, table: TrendTable) -> Span:
    """The hours to draw: the longest span with some room around it, or where there is most to see."""
    first, last = float(table.time[0]), float(table.time[-1]) + 1.0
    if isinstance(finding, Swinging):
        span = max(finding.spans, key=lambda s: s.hours)
        length = min(max(10.0 * finding.period, 2.0 * HOUR), span.end - span.start)
        middle = 0.5 * (span.start + span.end)
        return Span(middle - 0.5 * length, middle + 0.5 * length)
    if isinstance(finding, Action):
        return _liveliest(table, finding.points[0])
    if not finding.spans:
        return Span(max(first, last - LONGEST), last)
    span = max(finding.spans, key=lambda s: s.hours)
    room = max(0.15 * (span.end - span.start), 0.5 * (SHORTEST - (span.end - span.start)), HOUR)
    start, end = max(span.start - room, first), min(span.end + room, last)
    return Span(start, min(end, start + LONGEST))


def _liveliest(table: TrendTable, point: str) -> Span:
    """Six hours in which a signal moves most."""
    best, window = -1.0, Span(float(table.time[0]), float(table.time[0]) + 6.0 * HOUR)
    for piece in regular_pieces(table):
        length = int(6.0 * HOUR / piece.step)
        for start in range(0, max(len(piece.time) - length // 2, 1), max(length // 2, 1)):
            part = piece[point][start : start + length]
            part = part[np.isfinite(part)]
            moved = float(np.abs(np.diff(part)).sum()) if len(part) > 1 else 0.0
            if moved > best:
                best = moved
                window = Span(
                    float(piece.time[start]),
                    float(piece.time[min(start + length, len(piece.time)) - 1]) + piece.step,
                )
    return window
