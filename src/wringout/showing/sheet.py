"""A sheet to draw on: shapes and words as SVG, styled by classes alone."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from wringout.showing.words import pretty

__all__ = ["Sheet", "reading"]


def reading(last: Mapping[str, str], point: str) -> str:
    """The last reading of a point for a drawing; empty where there is none."""
    return pretty(last[point]) if point in last else ""


class Sheet:
    """Collects shapes; `svg` gives the whole."""

    def __init__(self, width: float) -> None:
        self.width = width
        self.parts: list[str] = []

    def line(self, x1: float, y1: float, x2: float, y2: float, kind: str) -> None:
        """A straight line."""
        self.parts.append(f'<path class="{kind}" d="M{x1:g} {y1:.1f}L{x2:g} {y2:.1f}"/>')

    def path(self, d: str, kind: str) -> None:
        """A path as SVG writes it."""
        self.parts.append(f'<path class="{kind}" d="{d}"/>')

    def rect(self, x: float, y: float, width: float, height: float, kind: str) -> None:
        """A box."""
        self.parts.append(
            f'<rect class="{kind}" x="{x:g}" y="{y:.1f}" width="{width:g}" height="{height:g}" rx="2"/>'
        )

    def circle(self, x: float, y: float, r: float, kind: str) -> None:
        """A circle."""
        self.parts.append(f'<circle class="{kind}" cx="{x:g}" cy="{y:.1f}" r="{r:g}"/>')

    def text(self, x: float, y: float, words: str, kind: str) -> None:
        """Words, beginning at a place."""
        self.parts.append(f'<text class="{kind}" x="{x:g}" y="{y:.1f}">{escape(words)}</text>')

    def heading(self, x: float, y: float, words: str) -> None:
        """Words over a part of the drawing, with a line."""
        self.text(x, y, words, "over")
        self.line(x, y + 4, self.width - 4, y + 4, "rule")

    def svg(self, height: float, title: str, told: str, kind: str = "drawing") -> str:
        """The whole drawing, with a title and a description for those who cannot see it."""
        return (
            f'<svg class="{kind}" viewBox="0 0 {self.width:g} {height:.0f}" role="img" '
            f'aria-labelledby="{kind}-t {kind}-d"><title id="{kind}-t">{escape(title)}</title>'
            f'<desc id="{kind}-d">{escape(told)}</desc>{"".join(self.parts)}</svg>'
        )
