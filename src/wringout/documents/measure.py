"""What a field of a document takes: dimension and limits, written beside the field they belong to."""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import BaseModel, ConfigDict

from wringout.quantity import Dimension, UnitSystem, format

__all__ = ["Measure", "Part"]


@dataclass(frozen=True, slots=True)
class Measure:
    """A quantity: its dimension and the least and greatest value that a document may hold, in SI.

    The limits are far apart on purpose: they catch slips of unit or digit, not unusual machines. ``ip`` and
    ``si`` name the units in which the field is shown where they are not those usual for its dimension.
    """

    dimension: Dimension
    low: float = 0.0
    high: float = float("inf")
    bare: bool = False  # a count that may also be written without its unit
    ip: str | None = None
    si: str | None = None

    def shown(self, value: float, system: UnitSystem) -> str:
        """A value of the field, written for a reader."""
        return format(value, self.dimension, system, unit=self.ip if system == "ip" else self.si)


class Part(BaseModel):
    """A frozen piece of a document in which unknown fields are an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)
