"""A small plot function: time series as SVG, one panel below the other, readable in black and white.

Lines differ by dash and weight, never by colour alone, and carry their name at their end. Stretches that
matter are hatched. The picture has a title and a description for readers that cannot see it, and no address
in it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape

import numpy as np

from wringout.trends.table import DAY, HOUR, Array, Span

__all__ = ["Line", "Panel", "plot"]

Scale = Callable[[Array | float], Array]

DASHES = ("", "7 3", "2 2.5", "9 3 2 3", "1 4")
WEIGHTS = (1.6, 1.6, 1.8, 1.4, 2.0)
WIDTH, PANEL, GAP = 720, 150, 26
LEFT, RIGHT, TOP, BOTTOM = 54, 128, 44, 34
MOST_POINTS = 900
_HOURS = (0.25, 0.5, 1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 48.0, 96.0, 168.0, 336.0, 730.0, 1460.0, 2920.0)


@dataclass(frozen=True)
class Line:
    """One signal: its name as shown, and its values in the reader's unit."""

    name: str
    values: Array
    steps: bool = False


@dataclass(frozen=True)
class Panel:
    """Signals that share a scale; ``unit`` as shown; ``low`` and ``high`` fix the scale where given."""

    unit: str
    lines: tuple[Line, ...]
    low: float | None = None
    high: float | None = None


def plot(
    time: Array, panels: Sequence[Panel], title: str, description: str, spans: Sequence[Span] = ()
) -> str:
    """Draw signals over time.

    Parameters
    ----------
    time : array, (samples,), [s since 1970]
    panels : sequence of Panel
        From top to bottom.
    title, description : str
        Said to those who cannot see the picture; the title is shown as well.
    spans : sequence of Span, optional
        Stretches to hatch.

    Returns
    -------
    str
        A whole SVG document of about 720 points across, without colour, script or address.
    """
    height = TOP + len(panels) * PANEL + (len(panels) - 1) * GAP + BOTTOM
    start, end = float(time[0]), float(time[-1])
    end = end if end > start else start + 60.0
    across = WIDTH - LEFT - RIGHT

    def x(at: Array | float) -> Array:
        return np.asarray(LEFT + (np.asarray(at, dtype=float) - start) / (end - start) * across)

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" '
        f'aria-labelledby="t d" font-family="sans-serif" font-size="12">',
        f'<title id="t">{escape(title)}</title>',
        f'<desc id="d">{escape(description)}</desc>',
        '<defs><pattern id="h" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><path d="M0 0V6" stroke="#000" stroke-width="0.8" opacity="0.35"/>'
        "</pattern></defs>",
        f'<rect width="{WIDTH}" height="{height}" fill="#fff"/>',
        f'<text x="{LEFT}" y="20" font-size="14" font-weight="bold">{escape(title)}</text>',
    ]
    ticks = _ticks(start, end)
    for index, panel in enumerate(panels):
        top = TOP + index * (PANEL + GAP)
        parts += _panel(panel, time, top, spans, (start, end), ticks)
    base = height - BOTTOM
    for at, label in ticks:
        place = float(x(at))
        parts.append(f'<text x="{place:.1f}" y="{base + 16}" text-anchor="middle">{label}</text>')
    parts.append(f'<text x="{LEFT}" y="{base + 30}" fill="#333">{_day(start, end)}</text>')
    parts.append("</svg>")
    return "\n".join(parts) + "\n"


def _panel(
    panel: Panel,
    time: Array,
    top: float,
    spans: Sequence[Span],
    window: tuple[float, float],
    ticks: list[tuple[float, str]],
) -> list[str]:
    across = WIDTH - LEFT - RIGHT
    low, high = _range(panel)

    def px(at: Array | float) -> Array:
        return np.asarray(LEFT + (np.asarray(at) - window[0]) / (window[1] - window[0]) * across)

    def py(value: Array | float) -> Array:
        return np.asarray(top + PANEL - (np.asarray(value) - low) / (high - low) * PANEL)

    parts = []
    for span in spans:
        left, right = max(span.start, window[0]), min(span.end, window[1])
        if right > left:
            a, b = float(px(left)), float(px(right))
            place = f'x="{a:.1f}" y="{top:.1f}" width="{max(b - a, 1.0):.1f}" height="{PANEL}"'
            parts.append(f'<rect {place} fill="url(#h)"/>')
    for value in _levels(low, high, whole=all(line.steps for line in panel.lines)):
        y = float(py(value))
        parts.append(
            f'<path d="M{LEFT} {y:.1f}H{LEFT + across}" stroke="#000" stroke-width="0.4" opacity="0.4"/>'
        )
        parts.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{_number(value)}</text>')
    for at, _ in ticks:
        parts.append(
            f'<path d="M{float(px(at)):.1f} {top + PANEL}v-5" stroke="#000" stroke-width="0.8" fill="none"/>'
        )
    parts.append(f'<text x="{LEFT}" y="{top - 6:.1f}" fill="#333">{escape(panel.unit)}</text>')
    parts.append(
        f'<rect x="{LEFT}" y="{top:.1f}" width="{across}" height="{PANEL}" fill="none" stroke="#000" '
        f'stroke-width="0.8"/>'
    )
    ends: list[tuple[float, str, int]] = []
    for number, line in enumerate(panel.lines):
        path, last = _path(line, time, px, py)
        if not path:
            continue
        dash = DASHES[number % len(DASHES)]
        style = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(
            f'<path d="{path}" fill="none" stroke="#000" stroke-width="{WEIGHTS[number % len(WEIGHTS)]}" '
            f'stroke-linejoin="round"{style}/>'
        )
        ends.append((last, line.name, number))
    parts += _names(ends, top)
    return parts


def _names(ends: list[tuple[float, str, int]], top: float) -> list[str]:
    """Names at the lines' ends, pushed apart where they would overlap, each with a sample of its dash."""
    parts = []
    edge = WIDTH - RIGHT
    floor = top - 4.0
    for place, name, number in sorted(ends):
        y = min(max(place, floor + 15.0, top + 6.0), top + PANEL)
        floor = y
        dash = DASHES[number % len(DASHES)]
        style = f' stroke-dasharray="{dash}"' if dash else ""
        weight = WEIGHTS[number % len(WEIGHTS)]
        parts.append(
            f'<path d="M{edge + 4} {y - 4:.1f}h20" stroke="#000" stroke-width="{weight}"{style}/>'
            f'<text x="{edge + 28}" y="{y:.1f}">{escape(name)}</text>'
        )
    return parts


def _path(line: Line, time: Array, px: Scale, py: Scale) -> tuple[str, float]:
    """The line as an SVG path (broken where values are missing), and where it ends."""
    t, v = _thinned(time, line.values)
    there = np.isfinite(v)
    if not there.any():
        return "", 0.0
    xs, ys = px(t), py(v)
    step = float(np.median(np.diff(t))) if len(t) > 1 else 1.0
    out: list[str] = []
    pen = False
    previous = 0.0
    for k in range(len(t)):
        if not there[k]:
            pen = pen and k + 1 < len(t) and bool(there[k + 1])  # one empty cell does not break a line
            continue
        if pen and t[k] - previous > 8.0 * step + 60.0:
            pen = False
        if pen and line.steps:
            out.append(f"H{xs[k]:.1f}V{ys[k]:.1f}")
        else:
            out.append(f"{'L' if pen else 'M'}{xs[k]:.1f} {ys[k]:.1f}")
        pen, previous = True, float(t[k])
    return "".join(out), float(ys[np.flatnonzero(there)[-1]])


def _thinned(time: Array, values: Array) -> tuple[Array, Array]:
    """At most so many points that a screen shows: lowest and highest of each bucket, in their order."""
    n = len(time)
    if n <= MOST_POINTS:
        return time, values
    width = math.ceil(n / (MOST_POINTS // 2))
    keep: list[int] = []
    for start in range(0, n, width):
        part = values[start : start + width]
        if not np.isfinite(part).any():
            keep.append(start)
            continue
        keep += sorted({start + int(np.nanargmin(part)), start + int(np.nanargmax(part))})
    return time[keep], values[keep]


def _range(panel: Panel) -> tuple[float, float]:
    values = np.concatenate([line.values[np.isfinite(line.values)] for line in panel.lines] or [np.zeros(1)])
    low = panel.low if panel.low is not None else float(values.min()) if len(values) else 0.0
    high = panel.high if panel.high is not None else float(values.max()) if len(values) else 1.0
    if high - low < 1e-9:
        low, high = low - 0.5, high + 0.5
    room = 0.06 * (high - low)
    return low - room, high + room


def _levels(low: float, high: float, whole: bool = False) -> list[float]:
    """Round values for four or five lines; whole numbers where things are counted."""
    raw = (high - low) / 4.0
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * power >= raw)
    step = max(step, 1.0) if whole else step
    first = math.ceil(low / step)
    return [k * step for k in range(first, math.floor(high / step) + 1)]


def _number(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def _ticks(start: float, end: float) -> list[tuple[float, str]]:
    wanted = (end - start) / HOUR / 6.0
    step = next((h for h in _HOURS if h >= wanted), 8760.0) * HOUR
    first = math.ceil(start / step) * step
    out = []
    at = first
    while at <= end:
        moment = datetime.fromtimestamp(at, UTC)
        out.append((at, moment.strftime("%m-%d") if step >= DAY else moment.strftime("%H:%M")))
        at += step
    return out


def _day(start: float, end: float) -> str:
    a, b = (datetime.fromtimestamp(at, UTC).strftime("%Y-%m-%d") for at in (start, end))
    return a if a == b else f"{a} to {b}"
