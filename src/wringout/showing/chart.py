"""The moist-air chart at the site's altitude: the process as read, with its uncertainty, beside that of a
healthy machine."""

from __future__ import annotations

import itertools
import math
from html import escape
from typing import Any

from wringout.ledger.entries import Amount
from wringout.quantity import Dimension, UnitSystem, from_si
from wringout.showing.chart_states import moisture_at, saturation
from wringout.showing.sheet import Sheet
from wringout.showing.words import amount_words, pretty

__all__ = ["chart_svg"]

WIDTH, HEIGHT = 360, 330
LEFT, RIGHT, TOP, BOTTOM = 10, 320, 12, 292
NAMES = {
    "outdoor": "outdoor",
    "return": "return",
    "mixed": "mixed",
    "coil_leaving": "off coil",
    "supply": "supply",
    "space": "space",
}
WAY = ("mixed", "coil_leaving", "supply")
ONE_SIGMA = 1.0


def chart_svg(states: dict[str, Any], system: UnitSystem) -> tuple[str, list[dict[str, str]]]:
    """Draw one operating state.

    Parameters
    ----------
    states : dict
        One of the worker's charts.
    system : {'ip', 'si'}

    Returns
    -------
    tuple
        The SVG element, and a table of its states in words.
    """
    chart = _Chart(states, system)
    return chart.svg(), chart.table()


class _Chart:
    """Scales and layers of one chart."""

    def __init__(self, states: dict[str, Any], system: UnitSystem) -> None:
        self.states, self.system = states, system
        self.pressure = float(states["pressure"])
        both = [*states["read"].values(), *states["expected"].values()]
        temperatures = [s["t"] + sign * 2.0 * math.sqrt(s["tt"]) for s in both for sign in (-1, 1)]
        moistures = [s["w"] + 2.0 * math.sqrt(s["ww"]) for s in both]
        self.low = math.floor((min(temperatures) - 2.0) / 5.0) * 5.0
        self.high = math.ceil((max(temperatures) + 2.0) / 5.0) * 5.0
        self.most = max(math.ceil(max(moistures) * 1.12 / 2e-3) * 2e-3, 8e-3)
        self.sheet = Sheet(WIDTH)

    def x(self, t: float) -> float:
        return float(LEFT + (t - self.low) / (self.high - self.low) * (RIGHT - LEFT))

    def y(self, w: float) -> float:
        return float(BOTTOM - w / self.most * (BOTTOM - TOP))

    def svg(self) -> str:
        self._axes()
        self._lines_of_humidity()
        self._process(self.states["expected"], "should-way", named=False)
        self._process(self.states["read"], "read-way", named=True)
        told = "; ".join(
            f"{row['place']}: {row['read'] or 'not read'}, expected {row['expected'] or 'nothing'}"
            for row in self.table()
        )
        return self.sheet.svg(HEIGHT, "Moist-air chart: dry bulb across, moisture up", told, "chart")

    # ------------------------------------------------------------------------------------- the paper

    def _axes(self) -> None:
        s = self.sheet
        s.path(f"M{LEFT} {BOTTOM}H{RIGHT}V{TOP}", "axis")
        unit, step = ("degF", 10.0) if self.system == "ip" else ("degC", 5.0)
        first = from_si(self.low, unit, Dimension.TEMPERATURE)
        last = from_si(self.high, unit, Dimension.TEMPERATURE)
        value = math.ceil(first / step) * step
        while value <= last + 1e-9:
            t = (value - 32.0) / 1.8 if self.system == "ip" else value
            s.line(self.x(t), BOTTOM, self.x(t), BOTTOM + 4, "axis")
            s.text(self.x(t), BOTTOM + 17, f"{value:.0f}", "tag middle")
            value += step
        s.text(LEFT, BOTTOM + 33, f"dry bulb, {pretty(unit)}", "tag")
        factor, name, step = (7000.0, "gr/lb", 20.0) if self.system == "ip" else (1000.0, "g/kg", 2.0)
        value = 0.0
        while value / factor <= self.most + 1e-9:
            y = self.y(value / factor)
            s.line(RIGHT, y, RIGHT + 4, y, "axis")
            s.text(RIGHT + 7, y + 4, f"{value:.0f}", "tag")
            value += step
        s.text(WIDTH - 2, BOTTOM + 33, f"moisture, {name}", "tag end")

    def _lines_of_humidity(self) -> None:
        t, w = saturation(self.pressure, self.low, self.high)
        self._curve(t, w, "saturation")
        for share in (0.2, 0.4, 0.6, 0.8):
            curve = [moisture_at(x, share, self.pressure) for x in t]
            end = self._curve(t, curve, "humid")
            if end is not None:
                self.sheet.text(end[0] - 3, end[1] - 3, f"{share:.0%}".replace("%", " %"), "tag end faint")

    def _curve(self, ts: list[float], ws: list[float], kind: str) -> tuple[float, float] | None:
        inside = [(t, w) for t, w in zip(ts, ws, strict=True) if w <= self.most]
        # up to where it leaves the paper
        cut = next((k for k, w in enumerate(ws) if w > self.most), None)
        if cut:
            share = (self.most - ws[cut - 1]) / (ws[cut] - ws[cut - 1])
            inside.append((ts[cut - 1] + share * (ts[cut] - ts[cut - 1]), self.most))
        if len(inside) < 2:
            return None
        d = "".join(f"{'L' if k else 'M'}{self.x(t):.1f} {self.y(w):.1f}" for k, (t, w) in enumerate(inside))
        self.sheet.path(d, kind)
        t, w = inside[-1]
        return self.x(t), self.y(w)

    # ----------------------------------------------------------------------------------- the process

    def _process(self, states: dict[str, Any], kind: str, named: bool) -> None:
        s = self.sheet
        if "outdoor" in states and "return" in states:
            s.path(self._between(states["outdoor"], states["return"]), f"{kind} thin")
        way = [states[place] for place in WAY if place in states]
        if "mixed" not in states and "return" in states:
            way = [states["return"], *way]
        for one, other in itertools.pairwise(way):
            s.path(self._between(one, other), kind)
        for state in states.values():
            self._ellipse(state, f"{kind} spread")
            if named:
                s.circle(self.x(state["t"]), self.y(state["w"]), 3.2, "dot")
        if named:
            self._names(states)

    def _names(self, states: dict[str, Any]) -> None:
        taken: list[tuple[float, float]] = []
        for place, state in states.items():
            x, y = self.x(state["t"]), self.y(state["w"])
            after = x < RIGHT - 60
            px, py = (x + 8 if after else x - 8), y - 6
            while any(abs(px - a) < 56 and abs(py - b) < 12 for a, b in taken):
                py += 13
            taken.append((px, py))
            self.sheet.text(px, py, NAMES[place], "name" if after else "name end")

    def _between(self, one: dict[str, float], other: dict[str, float]) -> str:
        ends = [f"{self.x(s['t']):.1f} {self.y(s['w']):.1f}" for s in (one, other)]
        return f"M{ends[0]}L{ends[1]}"

    def _ellipse(self, state: dict[str, float], kind: str) -> None:
        """The ellipse of one standard deviation of dry bulb and moisture together."""
        ax = (RIGHT - LEFT) / (self.high - self.low)
        ay = -(BOTTOM - TOP) / self.most
        a, b, c = state["tt"] * ax * ax, state["tw"] * ax * ay, state["ww"] * ay * ay
        middle, apart = 0.5 * (a + c), math.hypot(0.5 * (a - c), b)
        long, short = math.sqrt(middle + apart), math.sqrt(max(middle - apart, 0.01))
        turned = math.degrees(0.5 * math.atan2(2.0 * b, a - c))
        x, y = self.x(state["t"]), self.y(state["w"])
        self.sheet.parts.append(
            f'<ellipse class="{escape(kind)}" rx="{ONE_SIGMA * long:.1f}" ry="{ONE_SIGMA * short:.1f}" '
            f'transform="translate({x:.1f} {y:.1f}) rotate({turned:.1f})"/>'
        )

    # ------------------------------------------------------------------------------------- the words

    def table(self) -> list[dict[str, str]]:
        """Every place in words: as read and as expected."""
        return [
            {
                "place": NAMES[place],
                "read": self._words(self.states["read"].get(place)),
                "expected": self._words(self.states["expected"].get(place)),
            }
            for place in NAMES
            if place in self.states["read"] or place in self.states["expected"]
        ]

    def _words(self, state: dict[str, float] | None) -> str:
        if state is None:
            return ""
        warm = amount_words(Amount(state["t"], math.sqrt(state["tt"]), "temperature"), self.system)
        damp = amount_words(Amount(state["w"], math.sqrt(state["ww"]), "humidity_ratio"), self.system)
        return f"{warm}; {damp}"
