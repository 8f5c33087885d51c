"""What a trend file becomes: a time axis, columns of numbers, and a list of what was dirty on the way."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Dirt", "RawColumn", "RawTable", "Span", "TrendTable", "DAY", "HOUR"]

CUT = 3.0 * 3600.0  # [s]; a gap longer than this ends a piece: what came before tells nothing about after
LEAST_STEP = 60.0  # [s]; faster logs are averaged: nothing in a building's air moves faster

Array = NDArray[np.float64]

HOUR = 3600.0
DAY = 86400.0


@dataclass(frozen=True, slots=True)
class Dirt:
    """Something that had to be mended or left out while reading.

    ``kind`` is a short id (``bad_cells``, ``gaps``, ``clock_change`` ...), ``text`` a sentence for people,
    ``count`` how often, ``column`` where if it is one column's, ``at`` when it was first seen [s since 1970].
    """

    kind: str
    text: str
    count: int = 1
    column: str | None = None
    at: float | None = None


@dataclass(frozen=True, slots=True)
class RawColumn:
    """One column as read: numbers in the file's own unit; ``unit`` as it was written somewhere, if it was.

    ``words`` says that the cells were words such as on and off, read as 1 and 0.
    """

    name: str
    values: Array
    unit: str | None = None
    words: bool = False


@dataclass(frozen=True)
class RawTable:
    """A trend file as read, before anybody knows what its columns are.

    ``time`` [s since 1970-01-01 of the file's own clock, increasing], ``time_column`` and ``time_format`` as
    a mapping file would write them.
    """

    name: str
    time: Array
    columns: tuple[RawColumn, ...]
    dirt: tuple[Dirt, ...]
    time_column: str
    time_format: str

    def column(self, name: str) -> RawColumn | None:
        """The column of that name, blanks at its ends aside."""
        wanted = name.strip()
        return next((column for column in self.columns if column.name == wanted), None)


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time [s since 1970, the file's own clock]."""

    start: float
    end: float

    @property
    def hours(self) -> float:
        """Its length [h]."""
        return (self.end - self.start) / HOUR


@dataclass(frozen=True)
class TrendTable:
    """A trend in SI, by test point.

    Attributes
    ----------
    time : array, (rows,), [s]
        Seconds since 1970-01-01 of the file's own clock, increasing.
    values : mapping of array, (rows,)
        Test point to its values in SI; NaN where the cell was empty or unreadable.
    columns : mapping
        Test point to the name of its column in the file.
    dirt : tuple of Dirt
        What had to be mended or left out.
    """

    time: Array
    values: Mapping[str, Array]
    columns: Mapping[str, str] = field(default_factory=dict)
    dirt: tuple[Dirt, ...] = ()

    def __contains__(self, point: str) -> bool:
        return point in self.values

    def __getitem__(self, point: str) -> Array:
        return self.values[point]

    def get(self, point: str) -> Array | None:
        """Values of a point, or None where the trend does not hold it."""
        return self.values.get(point)

    def first_of(self, *points: str) -> str | None:
        """The first of several points that the trend holds."""
        return next((point for point in points if point in self.values), None)

    @cached_property
    def step(self) -> float:
        """Usual time between rows [s]; NaN for fewer than two rows."""
        return float(np.median(np.diff(self.time))) if len(self.time) > 1 else float("nan")

    @cached_property
    def hours(self) -> float:
        """Time that rows stand for [h]: gaps count for one step."""
        if len(self.time) < 2:
            return 0.0
        return float(np.minimum(np.diff(self.time), 3.0 * self.step).sum()) / HOUR

    def between(self, start: float, end: float) -> TrendTable:
        """The rows from ``start`` up to but without ``end`` [s]."""
        low, high = np.searchsorted(self.time, [start, end])
        return replace(
            self,
            time=self.time[low:high],
            values={point: values[low:high] for point, values in self.values.items()},
        )

    @cached_property
    def even_pieces(self) -> tuple[TrendTable, ...]:
        """The table on even steps (a minute at least), cut at gaps of three hours; empty slots hold NaN."""
        if len(self.time) < 2:
            return ()
        step = max(LEAST_STEP, round(self.step / 5.0) * 5.0)
        pieces = []
        for piece in self.pieces(max(CUT, 5.0 * step)):
            if len(piece.time) < 2:
                continue
            start = np.floor(piece.time[0] / step) * step
            slot = np.floor((piece.time - start) / step + 1e-6).astype(np.int64)
            count = int(slot[-1]) + 1
            even = len(slot) == count and bool(np.all(np.diff(slot) == 1))
            values = piece.values if even else {p: _on_slots(v, slot, count) for p, v in piece.values.items()}
            pieces.append(replace(piece, time=start + step * np.arange(count), values=values))
        return tuple(pieces)

    def pieces(self, longest_gap: float) -> list[TrendTable]:
        """The table cut where rows are missing for longer than ``longest_gap`` [s]."""
        if len(self.time) == 0:
            return []
        cuts = np.flatnonzero(np.diff(self.time) > longest_gap) + 1
        edges = [0, *cuts.tolist(), len(self.time)]
        return [
            replace(
                self,
                time=self.time[low:high],
                values={point: values[low:high] for point, values in self.values.items()},
            )
            for low, high in itertools.pairwise(edges)
        ]


def _on_slots(values: Array, slot: NDArray[np.int64], count: int) -> Array:
    """The mean of what falls into each slot; NaN where nothing does."""
    there = np.isfinite(values)
    number = np.bincount(slot[there], minlength=count)
    total = np.bincount(slot[there], weights=values[there], minlength=count)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)
