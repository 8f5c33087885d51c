"""A recording: one CSV file that only grows, with its mapping file beside it.

It is a trend file like any other: ``wringout trend`` and ``weigh --trend`` read it by its mapping. Each row
is on the disk before the next is taken. After a loss of power the last line may be cut: readers here leave it
out, and whoever goes on with the recording takes it off first. Times are whole seconds of the clock of the
place; how far that is from UTC stands in the heading of the time column, so that a recording goes on by the
clock it was begun with, whatever summer time does.
"""

from __future__ import annotations

import csv
import io
import math
import os
import re
import time
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from wringout.catalogue.calls import load_trend
from wringout.documents.trend import Trend
from wringout.errors import DataError, InputError
from wringout.quantity import from_si, to_si

__all__ = [
    "TIME_FORMAT",
    "Recording",
    "append",
    "append_cells",
    "begin",
    "follow",
    "go_on",
    "mapping_path",
    "read",
    "time_heading",
    "usual_offset",
]

Array = NDArray[np.float64]
Row = tuple[float, dict[str, float]]

TIME_FORMAT = "%Y-%m-%d %H:%M:%S"
_HEADING = re.compile(r"time \(UTC([+-])(\d\d):(\d\d)\)")
_BLOCK = 65_536  # bytes that are looked at from the end of a file at first


class Recording:
    """An open recording; ``with`` closes it. Use `begin` or `go_on` to have one.

    Attributes
    ----------
    path : Path
        The CSV file.
    columns : tuple of str
        Headings of its columns, the time aside.
    mapping : mapping
        Test point to (column, unit), as the mapping file says.
    offset : float, [s]
        How far the clock of the place is ahead of UTC.
    last : float or None, [s]
        Time of the last row, in seconds since 1970 of the clock of the place.
    """

    def __init__(self, path: Path, columns: tuple[str, ...], offset: float, last: float | None) -> None:
        self.path, self.columns, self.offset, self.last = path, columns, offset, last
        self.mapping: Mapping[str, tuple[str, str]] = {}
        self._dimensions: dict[str, str] = {}
        self._places = {name: k for k, name in enumerate(columns)}
        self.follow_mapping()
        self._stream: BinaryIO | None = _opened(path)

    def __enter__(self) -> Recording:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        if self._stream is not None:
            self._stream.close()
            self._stream = None

    def follow_mapping(self) -> None:
        """Read the mapping file anew: a person may have corrected it."""
        told = _told(self.path)
        self.mapping = {column.point: (column.column, column.unit) for column in told.columns}
        self._dimensions = {column.point: column.dimension for column in told.columns}

    def now(self, utc: float | None = None) -> float:
        """The time by the clock of the place [s since 1970].

        Parameters
        ----------
        utc : float, optional, [s]
            A moment as `time.time` gives it; the present one if not given.
        """
        return (time.time() if utc is None else utc) + self.offset

    def write(self, at: float, cells: Sequence[str]) -> bool:
        """Put a row at the end and on the disk; False where it would not be later than the last one."""
        if self._stream is None:
            raise DataError(f"{self.path}: the recording is closed")
        second = math.floor(at)
        if self.last is not None and second <= self.last:
            return False
        line = io.StringIO()
        csv.writer(line, lineterminator="\n").writerow([_clock(second), *cells])
        try:
            self._stream.write(line.getvalue().encode())
            os.fsync(self._stream.fileno())
        except OSError as error:
            raise DataError(f"{self.path}: cannot be written on ({error.strerror or error})") from None
        self.last = float(second)
        return True

    def place(self, column: str) -> int:
        """Which cell of a row a column is."""
        try:
            return self._places[column]
        except KeyError:
            raise InputError(f'the recording has no column "{column[:60]}"', str(self.path)) from None

    def cell(self, point: str, value: float) -> tuple[int, str]:
        """Which cell of a row a point is, and what a value in SI reads there."""
        if point not in self.mapping:
            raise InputError(f"the recording has no column for {point}", str(mapping_path(self.path)))
        column, unit = self.mapping[point]
        return self.place(column), _number(float(from_si(value, unit, self._dimensions[point])))


def mapping_path(path: str | Path) -> Path:
    """Where the mapping file of a recording lies: beside it, with the same name ending in .yaml."""
    return Path(path).with_suffix(".yaml")


def time_heading(offset: float) -> str:
    """The heading of the time column for a clock that is so far ahead of UTC [s]."""
    minutes = round(abs(offset) / 60.0)
    return f"time (UTC{'-' if offset < 0 else '+'}{minutes // 60:02d}:{minutes % 60:02d})"


def begin(path: str | Path, columns: Sequence[str], mapping: str, offset: float | None = None) -> Recording:
    """Begin a recording in a new file, with its mapping file.

    Parameters
    ----------
    path : str or Path
        The CSV file; its mapping file goes beside it.
    columns : sequence of str
        Headings, each once, the time aside.
    mapping : str
        Text of the mapping file: a trend document that names this file, `time_heading` and `TIME_FORMAT`.
        Not used where a mapping file is there already: a person's word counts.
    offset : float, optional, [s]
        How far the clock of the place is ahead of UTC; this machine's, if not given.

    Returns
    -------
    Recording

    Raises
    ------
    InputError
        When the file is there already, or cannot be written.
    """
    path = Path(path)
    if len(set(columns)) != len(columns) or not columns:
        raise InputError("a recording needs columns, each with a heading of its own", str(path))
    known = usual_offset() if offset is None else offset
    line = io.StringIO()
    csv.writer(line, lineterminator="\n").writerow([time_heading(known), *columns])
    beside = mapping_path(path)
    try:
        if not beside.exists():
            beside.write_text(mapping, encoding="utf-8")
        with path.open("xb") as stream:
            stream.write(line.getvalue().encode())
            stream.flush()
            os.fsync(stream.fileno())
    except FileExistsError:
        raise InputError("is there already; go on with it, or name another file", str(path)) from None
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", str(path)) from None
    return Recording(path, tuple(columns), known, None)


def go_on(path: str | Path) -> Recording:
    """Go on with a recording: a line that was cut at the end is taken off first.

    Parameters
    ----------
    path : str or Path
        The CSV file.

    Returns
    -------
    Recording

    Raises
    ------
    InputError
        When it is not there, or no recording.
    """
    path = Path(path)
    offset, columns = _heading(path)
    with path.open("r+b") as stream:
        _lock(stream, path)
        whole = _whole_lines(stream)
        stream.truncate(whole)
        os.fsync(stream.fileno())
    rows = _last_rows(path, len(columns), math.inf)
    return Recording(path, columns, offset, rows[-1][0] if rows else None)


def append(recording: Recording, time: float, values: Mapping[str, float]) -> bool:
    """Put a row of test points at the end of a recording; it is on the disk when this returns.

    Parameters
    ----------
    recording : Recording
    time : float, [s]
        Seconds since 1970 of the clock of the place (`Recording.now`); fractions are cut off.
    values : mapping of float
        Test point to its value in SI; NaN for what was not had. Points not named are left empty.

    Returns
    -------
    bool
        False where the row is not later than the last one and was left out.

    Raises
    ------
    InputError
        For a point that the mapping does not have.
    DataError
        When the disk does not take it.
    """
    cells = [""] * len(recording.columns)
    for point, value in values.items():
        place, text = recording.cell(point, value)
        cells[place] = text
    return recording.write(time, cells)


def append_cells(recording: Recording, time: float, values: Mapping[str, float]) -> bool:
    """Put a row at the end as `append` does, with columns and the units of the file instead of points and SI.

    Parameters
    ----------
    recording : Recording
    time : float, [s]
    values : mapping of float
        Column to its number in the unit of the file; NaN for what was not had.

    Returns
    -------
    bool
        False where the row is not later than the last one and was left out.
    """
    cells = [""] * len(recording.columns)
    for column, value in values.items():
        cells[recording.place(column)] = _number(value)
    return recording.write(time, cells)


def read(path: str | Path) -> tuple[Array, dict[str, Array]]:
    """Read a recording by its mapping file.

    Parameters
    ----------
    path : str or Path
        The CSV file; somebody may be writing on it.

    Returns
    -------
    time : array, (rows,), [s]
        Seconds since 1970 of the clock of the place, rising.
    values : dict of array, (rows,)
        Test point to its values in SI; NaN where there was none.

    Raises
    ------
    InputError
        When the file is no recording, or its mapping file must be mended.
    """
    path = Path(path)
    _, columns = _heading(path)
    return _in_points(path, columns, _last_rows(path, len(columns), None))


def follow(path: str | Path, since: float) -> list[Row]:
    """Read what has come since a time: looks at the end of the file alone.

    Parameters
    ----------
    path : str or Path
        The CSV file; somebody may be writing on it.
    since : float, [s]
        Rows later than this, in seconds since 1970 of the clock of the place.

    Returns
    -------
    list of (float, dict)
        Time, and test point to its value in SI; a point without a value in that row is left out.

    Raises
    ------
    InputError
        As `read`.
    """
    path = Path(path)
    _, columns = _heading(path)
    late = [row for row in _last_rows(path, len(columns), since) if row[0] > since]
    time, values = _in_points(path, columns, late)
    rows = []
    for k, at in enumerate(time):
        row = {point: float(series[k]) for point, series in values.items() if np.isfinite(series[k])}
        rows.append((float(at), row))
    return rows


# ---------------------------------------------------------------------------------------------- within


def usual_offset() -> float:
    """How far the clock of this machine is ahead of UTC [s]."""
    return float(time.localtime().tm_gmtoff)


def _told(path: Path) -> Trend:
    return load_trend(mapping_path(path))


def _opened(path: Path) -> BinaryIO:
    try:
        stream = path.open("ab", buffering=0)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", str(path)) from None
    _lock(stream, path)
    return stream


def _lock(stream: BinaryIO, path: Path) -> None:
    """One writer at a time: the lock ends with its process, however that ends."""
    try:
        import fcntl
    except ImportError:  # not on this system
        return
    try:
        fcntl.flock(stream.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        stream.close()
        raise InputError("is being recorded on by another process", str(path)) from None


def _heading(path: Path) -> tuple[float, tuple[str, ...]]:
    """How far the recording's clock is ahead of UTC [s], and its columns."""
    try:
        with path.open("rb") as stream:
            first = stream.readline()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", str(path)) from None
    cells = next(csv.reader([first.decode("utf-8", errors="replace")]), [])
    told = _HEADING.fullmatch(cells[0]) if len(cells) > 1 and first.endswith(b"\n") else None
    if told is None:
        raise InputError(f'is no recording: its first heading is not like "{time_heading(0.0)}"', str(path))
    sign = -1.0 if told[1] == "-" else 1.0
    return sign * 60.0 * (60 * int(told[2]) + int(told[3])), tuple(cells[1:])


def _whole_lines(stream: BinaryIO) -> int:
    """Bytes up to the end of the last whole line."""
    at = stream.seek(0, os.SEEK_END)
    while at > 0:
        start = max(at - _BLOCK, 0)
        stream.seek(start)
        found = stream.read(at - start).rfind(b"\n")
        if found >= 0:
            return start + found + 1
        at = start
    return 0


def _last_rows(path: Path, columns: int, since: float | None) -> list[tuple[float, list[str]]]:
    """Rows of a recording: all of them, or at least the last and those later than a time."""
    with path.open("rb") as stream:
        stream.readline()
        first, end = stream.tell(), stream.seek(0, os.SEEK_END)
        size = _BLOCK
        while True:
            start = first if since is None else max(end - size, first)
            stream.seek(start)
            data = stream.read(end - start)
            if start == first:
                return _rows(data, columns)
            rows = _rows(data[data.find(b"\n") + 1 :], columns)
            if rows and since is not None and rows[0][0] <= since:
                return rows
            size *= 8


def _rows(data: bytes, columns: int) -> list[tuple[float, list[str]]]:
    """Whole lines with a readable time that is later than the one before."""
    whole = data[: data.rfind(b"\n") + 1].decode("utf-8", errors="replace")
    rows: list[tuple[float, list[str]]] = []
    for cells in csv.reader(io.StringIO(whole)):
        at = _second(cells[0]) if len(cells) == columns + 1 else None
        if at is not None and (not rows or at > rows[-1][0]):
            rows.append((at, cells[1:]))
    return rows


def _in_points(
    path: Path, columns: tuple[str, ...], rows: list[tuple[float, list[str]]]
) -> tuple[Array, dict[str, Array]]:
    places = {name: k for k, name in enumerate(columns)}
    time_axis = np.array([at for at, _ in rows], dtype=float)
    values: dict[str, Array] = {}
    for column in _told(path).columns:
        if column.column not in places:
            raise InputError(f'{path.name} has no column "{column.column[:60]}"', str(mapping_path(path)))
        place = places[column.column]
        numbers = np.array([_read_number(cells[place]) for _, cells in rows], dtype=float)
        values[column.point] = np.asarray(to_si(numbers, column.unit, column.dimension), dtype=float)
    return time_axis, values


def _clock(second: float) -> str:
    return datetime.fromtimestamp(second, UTC).strftime(TIME_FORMAT)


def _second(cell: str) -> float | None:
    try:
        return datetime.strptime(cell, TIME_FORMAT).replace(tzinfo=UTC).timestamp()
    except ValueError:
        return None


def _number(value: float) -> str:
    return f"{value:.7g}" if math.isfinite(value) else ""


def _read_number(cell: str) -> float:
    try:
        return float(cell) if cell else math.nan
    except ValueError:
        return math.nan
