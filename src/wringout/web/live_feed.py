"""Recordings that grow while pages look at them: the end of each is kept in memory."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wringout.capture.recording import follow, mapping_path, read
from wringout.errors import DataError, InputError

__all__ = ["Feed", "Rows", "Test"]

Array = NDArray[np.float64]
KEPT = 3.0 * 3600.0  # s of a recording that a guided test looks back on
MOST_ROWS = 12_000


@dataclass(frozen=True)
class Rows:
    """The end of a recording: time [s], points in SI, and what its clock shows now [s]."""

    time: Array
    values: dict[str, Array]
    now: float


@dataclass
class Test:
    """What a guided test of one call waits for: the state, the point that the next check asks for, when the
    state was asked for [s of the recording], and whether it goes on though the state did not get through."""

    state: str
    point: str = ""
    asked: float | None = None
    insist: bool = False


@dataclass
class _Kept:
    time: Array
    values: dict[str, Array]
    seen: float


@dataclass
class Feed:
    """The recordings of a folder, and the guided tests under way."""

    folder: Path
    tests: dict[str, Test] = field(default_factory=dict)
    chosen: dict[str, str] = field(default_factory=dict)
    _kept: dict[str, _Kept] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def names(self) -> tuple[str, ...]:
        """Recordings that are there, the one written to last first."""
        found = [path for path in self.folder.glob("*.csv") if mapping_path(path).is_file()]
        return tuple(path.name for path in sorted(found, key=lambda path: -path.stat().st_mtime))

    def rows(self, name: str) -> Rows:
        """The end of a recording as it is now.

        Raises
        ------
        InputError
            When there is none of that name, or it cannot be read.
        """
        if name not in self.names():
            raise InputError("there is no such recording here", name[:60])
        path = self.folder / name
        with self._lock:
            kept = self._kept.get(name)
            if kept is None or not len(kept.time):
                at, values = read(path)
                kept = _Kept(at, values, time.monotonic())
            else:
                late = follow(path, float(kept.time[-1]))
                if late:
                    kept = _longer(kept, late)
            if not len(kept.time):
                raise DataError(f"{name} has no rows yet; it begins with the first answer of a device")
            first = max(int(np.searchsorted(kept.time, kept.time[-1] - KEPT)), len(kept.time) - MOST_ROWS)
            kept = _Kept(kept.time[first:], {p: v[first:] for p, v in kept.values.items()}, kept.seen)
            self._kept[name] = kept
        return Rows(kept.time, kept.values, float(kept.time[-1]) + time.monotonic() - kept.seen)


def _longer(kept: _Kept, late: list[tuple[float, dict[str, float]]]) -> _Kept:
    names = {*kept.values, *(name for _, row in late for name in row)}
    rows = len(kept.time)
    values = {
        name: np.concatenate(
            [
                kept.values.get(name, np.full(rows, np.nan)),
                np.array([row.get(name, np.nan) for _, row in late]),
            ]
        )
        for name in names
    }
    return _Kept(np.concatenate([kept.time, np.array([at for at, _ in late])]), values, time.monotonic())
