"""What a finding is: figures with their units, the stretches of time they hold for, and a sentence on what it
means."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar

from wringout.quantity import PREFERRED, Dimension, UnitSystem, format, from_si
from wringout.trends.clock import told_in_words
from wringout.trends.table import HOUR, Span

__all__ = ["Finding", "Show", "hours_in_words", "iso", "measured", "shower", "when"]

Show = Callable[[float, Dimension], str]


def measured(dimension: Dimension) -> Any:
    """A field that is one of the finding's figures, in SI of this dimension."""
    return dataclasses.field(metadata={"measures": dimension})


def shower(system: UnitSystem) -> Show:
    """Writes SI values for a reader; times in the unit that reads best."""

    def show(value: float, dimension: Dimension) -> str:
        if dimension is Dimension.TIME and math.isfinite(value):
            if value >= 2.0 * HOUR:
                return f"{value / HOUR:.1f} h"
            return f"{value / 60.0:.0f} min" if value >= 90.0 else f"{value:.0f} s"
        if dimension is Dimension.FRACTION and math.isfinite(value):
            return f"{100.0 * value:.0f} %"
        text = format(value, dimension, system)
        return text.replace("delta_deg", "deg")  # in a sentence the words say that it is a difference

    return show


@dataclass(frozen=True, kw_only=True)
class Finding:
    """Something that a trend shows.

    Attributes
    ----------
    points : tuple of str
        The points it is about, the first one foremost.
    spans : tuple of Span
        When it holds; empty where it is about the whole trend.
    weight : float
        How much it matters, 0..1: findings are shown in its order.
    wrong : bool
        Whether something is amiss; False for what is only worth knowing.
    """

    kind: ClassVar[str] = "finding"
    title: ClassVar[str] = "Finding"

    points: tuple[str, ...]
    spans: tuple[Span, ...] = ()
    weight: float = 0.5
    wrong: bool = True

    def says(self, show: Show) -> str:
        """The finding in a sentence or two, figures written for the reader."""
        raise NotImplementedError

    def heading(self) -> str:
        """The finding in a few words."""
        return self.title

    def means(self) -> str:
        """What it means for the machine, and what to look at."""
        raise NotImplementedError

    def figures(self) -> dict[str, tuple[float, Dimension]]:
        """The figures by name, in SI, with what they measure."""
        return {
            field.name: (getattr(self, field.name), field.metadata["measures"])
            for field in dataclasses.fields(self)
            if "measures" in field.metadata and getattr(self, field.name) is not None
        }

    def as_document(self, system: UnitSystem) -> dict[str, Any]:
        """The finding as it goes into JSON; every number with its unit."""
        show = shower(system)
        return {
            "kind": self.kind,
            "title": self.heading(),
            "wrong": self.wrong,
            "weight": round(self.weight, 3),
            "points": list(self.points),
            "spans": [{"from": iso(span.start), "to": iso(span.end)} for span in self.spans],
            "figures": {
                name: _figure(value, measures, system) for name, (value, measures) in self.figures().items()
            },
            "says": self.says(show),
            "means": self.means(),
        }


def _figure(value: float, dimension: Dimension, system: UnitSystem) -> dict[str, Any] | None:
    if not math.isfinite(value):
        return None
    unit = "s" if dimension is Dimension.TIME else PREFERRED[dimension][system]
    return {"value": float(f"{from_si(value, unit, dimension):.5g}"), "unit": unit}


def iso(at: float) -> str:
    """A moment as ISO 8601 without a zone: the file's own clock."""
    return told_in_words(at).replace(" ", "T")


def when(spans: tuple[Span, ...], most: int = 3) -> str:
    """Spans in words: days where they are many."""
    if not spans:
        return ""
    shown = [_span(span) for span in spans[:most]]
    rest = len(spans) - most
    return "; ".join(shown) + (f"; and {rest} more" if rest > 0 else "")


def _span(span: Span) -> str:
    start, end = told_in_words(span.start), told_in_words(span.end)
    return f"{start} to {end[11:] if start[:10] == end[:10] else end}"


def hours_in_words(hours: float) -> str:
    """A length of time in words."""
    if hours < 1.5:
        return f"{60.0 * hours:.0f} min"
    return f"{hours:.0f} h" if hours < 72.0 else f"{hours / 24.0:.0f} days"
