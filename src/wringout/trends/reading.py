"""Read a trend file, CSV as controllers write it or Parquet, into a time axis and columns of numbers.

polars does the reading (extra ``trends``); it is imported here and in `clock` only, when a file is read.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wringout.errors import DataError, InputError
from wringout.trends.cells import SENTINELS, is_blank, looks_time, number_in, state_of
from wringout.trends.clock import Clock, axis_of, parsed, recognised, told_in_words
from wringout.trends.layout import Layout, decoded, layout_of
from wringout.trends.table import Array, Dirt, RawColumn, RawTable

if TYPE_CHECKING:
    import polars as pl

__all__ = ["read_trend_file"]

Indices = NDArray[np.int64]

HEAD_BYTES = 262_144
LAYOUT_CHARACTERS = 65_536  # in which delimiter, header and decimal mark are looked for
MAX_BYTES = 2_000_000_000
SAMPLE = 2000  # rows in which times are recognised
SAMPLE_LINES = 200  # in which columns of plain numbers are recognised
PLAIN_NUMBER = re.compile(r"-?\d{1,4}\.\d+")
CLOCK_WORDS = re.compile(r"date|time|day|month|year|hour|minute|second|stamp|epoch", re.IGNORECASE)
MAX_ODD = 100_000  # different cells of a column that are looked at one by one


def read_trend_file(
    path: str | Path, time_column: str | None = None, time_format: str | None = None
) -> RawTable:
    """Read a trend file.

    Parameters
    ----------
    path : str or Path
        CSV with any delimiter, or Parquet.
    time_column, time_format : str, optional
        Where a mapping file says which column holds the time and how it is written (as for strptime). Where
        they do not fit the file, the reader falls back on looking for itself, and says so.

    Returns
    -------
    RawTable
        Time, columns in the file's own units, and what was dirty.

    Raises
    ------
    InputError
        For a file that is not there, or where polars is not installed.
    DataError
        For a file in which no time or no rows of numbers are found.
    """
    path = Path(path)
    _need_polars()
    import polars as pl

    if path.is_dir() or not path.is_file():
        raise InputError("there is no such file" if not path.is_dir() else "this is a folder", str(path))
    size = path.stat().st_size
    if size == 0:
        raise DataError(f"{path.name}: the file is empty")
    if size > MAX_BYTES:
        raise InputError(f"larger than {MAX_BYTES // 1_000_000_000} GB; cut it by time first", str(path))
    dirt: list[Dirt] = []
    units: dict[str, str] = {}
    try:
        if _is_parquet(path):
            frame, comma = pl.read_parquet(path), False
        else:
            frame, units, comma = _csv(path, dirt)
    except pl.exceptions.PolarsError as error:
        raise DataError(
            f"{path.name}: cannot be read as a table ({str(error).splitlines()[0][:120]})"
        ) from None
    except DataError as error:
        raise DataError(f"{path.name}: {error}") from None
    if frame.height == 0:
        raise DataError(f"{path.name}: no rows")
    return _assembled(path.name, frame, units, comma, (time_column, time_format), dirt)


def _need_polars() -> None:
    try:
        import polars  # noqa: F401
    except ImportError:
        raise InputError('trend files are read with polars: install "wringout[trends]"') from None


def _is_parquet(path: Path) -> bool:
    with path.open("rb") as stream:
        return stream.read(4) == b"PAR1"


def _csv(path: Path, dirt: list[Dirt]) -> tuple[pl.DataFrame, dict[str, str], bool]:
    import polars as pl

    with path.open("rb") as stream:
        head = stream.read(HEAD_BYTES)
    text, encoding = decoded(head)
    start = text[:LAYOUT_CHARACTERS]
    layout = layout_of(text if len(start) == len(text) < HEAD_BYTES else start.rsplit("\n", 1)[0])
    _say_layout(layout, encoding, dirt)
    data = path.read_bytes()
    lone_returns = "\n" not in text and "\r" in text
    if encoding not in {"utf-8", "utf-8-sig"} or layout.spaces or lone_returns:
        whole = data.decode(encoding, errors="replace")
        if layout.spaces:
            whole = "\n".join("\t".join(line.split()) for line in whole.splitlines())
        data = "\n".join(whole.splitlines()).encode()
    # a header line of our own in place of theirs: so short first rows and header lines of any kind do no harm
    names = [f"{k}" for k in range(len(layout.names))]
    body = data[_offset(data, layout.first_line) :]
    whole_text = layout.delimiter.join(names).encode() + b"\n" + body
    numeric = _plain_numbers(body, layout)

    def read(schema: dict[str, Any]) -> pl.DataFrame:
        return pl.read_csv(
            io.BytesIO(whole_text),
            separator=layout.delimiter,
            schema=schema,
            truncate_ragged_lines=True,
            encoding="utf8-lossy",
        )

    words = dict.fromkeys(names, pl.String)
    try:
        frame = read({**words, **{names[k]: pl.Float64 for k in numeric}})
    except pl.exceptions.PolarsError:
        frame = read(words)  # something among the numbers is none: every cell is looked at
    frame = frame.rename({f"{k}": name for k, name in enumerate(layout.names)})
    units = {name: unit for name, unit in zip(layout.names, layout.units, strict=True) if unit}
    return frame, units, layout.decimal_comma


def _plain_numbers(body: bytes, layout: Layout) -> list[int]:
    """Columns whose first cells are all plain decimal numbers: read as such, which is five times faster.

    Whole numbers stay text, since parts of dates and times are written so.
    """
    if layout.decimal_comma or layout.spaces:
        return []
    lines = body[:HEAD_BYTES].decode("utf-8", errors="replace").split("\n")[:SAMPLE_LINES]
    rows = [line.rstrip("\r").split(layout.delimiter) for line in lines[:-1]]
    found = []
    for k, name in enumerate(layout.names):
        cells = [row[k] for row in rows if k < len(row) and row[k]]
        if len(cells) < 10 or CLOCK_WORDS.search(name):
            continue
        if all(PLAIN_NUMBER.fullmatch(cell) for cell in cells):
            found.append(k)
    return found


def _offset(data: bytes, lines: int) -> int:
    """Where in the bytes the line begins that has so many before it."""
    at = 0
    for _ in range(lines):
        at = data.index(b"\n", at) + 1
    return at


def _say_layout(layout: Layout, encoding: str, dirt: list[Dirt]) -> None:
    if encoding == "utf-8-sig":
        dirt.append(Dirt("byte_order_mark", "a byte order mark stands before the first letter"))
    elif encoding != "utf-8":
        dirt.append(Dirt("encoding", f"the text is {encoding}, not UTF-8"))
    if layout.delimiter != "," or layout.spaces:
        mark = {"\t": "tabs", ";": "semicolons", "|": "bars"}.get(layout.delimiter, layout.delimiter)
        dirt.append(Dirt("delimiter", f"cells are parted by {'blanks' if layout.spaces else mark}"))
    if layout.decimal_comma:
        dirt.append(Dirt("decimal_comma", "numbers have a decimal comma"))
    if layout.header_lines == 0:
        dirt.append(Dirt("no_header", "no line of column names: columns are numbered"))
    if layout.header_lines > 1:
        dirt.append(Dirt("header_lines", f"{layout.header_lines} header lines", layout.header_lines))
    if layout.preamble_lines:
        lines = layout.preamble_lines
        dirt.append(Dirt("preamble", f"{lines} line{'s' * (lines > 1)} before the header left out", lines))


def _assembled(
    name: str,
    frame: pl.DataFrame,
    units: dict[str, str],
    comma: bool,
    told: tuple[str | None, str | None],
    dirt: list[Dirt],
) -> RawTable:
    stripped = {column: column.strip() for column in frame.columns if column.strip() != column}
    if stripped and len(set(stripped.values()) | set(frame.columns)) == len(set(frame.columns)) + len(
        stripped
    ):
        frame = frame.rename(stripped)
    time_names, clock = _time(frame, told, dirt)
    if clock is None:
        raise DataError(f"{name}: no column of dates and times was found (for example 2027-07-14 10:05)")
    series = _joined(frame, time_names)
    seconds = parsed(series, clock)
    there = np.isfinite(seconds)
    lost = int((~there).sum())
    if lost:
        dirt.append(Dirt("no_time", f"{lost} rows without a readable time left out", lost))
        frame, seconds = frame.filter(there), seconds[there]
    if frame.height == 0:
        raise DataError(f"{name}: no row has a readable time in column {time_names[0]!r}")
    time, rows, notes = axis_of(seconds)
    dirt.extend(notes)
    columns = [
        column
        for label in frame.columns
        if label not in time_names
        and (column := _column(frame[label], units.get(label), comma, dirt)) is not None
    ]
    time, keep = _without_repeats(time, rows, columns, dirt)
    picked = rows[keep]
    straight = len(picked) == frame.height and bool(np.all(np.diff(picked) == 1))
    columns = [
        RawColumn(c.name, c.values if straight else c.values[picked], c.unit, c.words) for c in columns
    ]
    _say_gaps(time, dirt)
    return RawTable(
        name=name,
        time=time,
        columns=tuple(columns),
        dirt=tuple(dirt),
        time_column=time_names[0],
        time_format=clock.for_document,
    )


def _joined(frame: pl.DataFrame, names: Sequence[str]) -> pl.Series:
    import polars as pl

    if len(names) == 1:
        return frame[names[0]]
    if len(names) > 2:  # year, month, day, hour, minute
        numbers = [pl.col(n).cast(pl.Float64, strict=False).cast(pl.Int64, strict=False) for n in names]
        year, month, day, hour = numbers[:4]
        minute = numbers[4] if len(numbers) > 4 else pl.lit(0)
        return frame.select(pl.datetime(year, month, day, hour, minute)).to_series()
    return frame.select(
        pl.concat_str([pl.col(n).str.strip_chars() for n in names], separator=" ")
    ).to_series()


def _time(
    frame: pl.DataFrame, told: tuple[str | None, str | None], dirt: list[Dirt]
) -> tuple[list[str], Clock | None]:
    """Which column (or two) holds the time, and how it is written."""
    column, words = told
    misfit = False
    if column is not None:
        if column.strip() not in frame.columns:
            raise InputError(f'the trend file has no column "{column[:60]}"; it has {_some(frame.columns)}')
        given = Clock(words or "")
        sample = frame[column.strip()].drop_nulls().head(SAMPLE)
        if words and not sample.dtype.is_temporal() and len(sample):
            if np.isfinite(parsed(sample, given)).mean() > 0.5:
                return [column.strip()], given
            misfit = True
    names, clock = _looked_for(frame, column, dirt)
    if misfit and clock is not None and clock.for_document != words:
        dirt.append(Dirt("time_format", f"times are not written as {words}; the format was found anew"))
    return names, clock


def _looked_for(frame: pl.DataFrame, column: str | None, dirt: list[Dirt]) -> tuple[list[str], Clock | None]:
    """The time as it is written, in the column that was named or in any."""
    if (parts := _calendar(frame)) and (column is None or column.strip() in parts):
        dirt.append(Dirt("two_time_columns", f"the time is spread over {', '.join(parts)}"))
        return parts, Clock("%Y-%m-%d %H:%M")
    # a column that is called time goes first, then they come as they stand
    hinted = [
        c for c in frame.columns if any(w in c.casefold() for w in ("time", "date", "zeit", "datum", "heure"))
    ]
    candidates = (
        [column.strip()] if column is not None else list(dict.fromkeys([*hinted, *frame.columns[:6]]))
    )
    for label in candidates:
        series = frame[label]
        if series.dtype.is_temporal() and str(series.dtype) != "Time":
            return [label], Clock("%Y-%m-%d %H:%M:%S")
        values = _sample(series)
        if not values:
            continue
        whole = [v for v in values if (looks_time(v) and ":" in v) or v.isdigit()]
        if len(whole) > 0.5 * len(values) and (clock := recognised(values)) and _runs(series, clock):
            return [label], clock
        dates = [v for v in values if looks_time(v) and ":" not in v]
        if len(dates) > 0.5 * len(values):
            for other in frame.columns:
                clocks = _sample(frame[other])
                if (
                    other != label
                    and clocks
                    and sum(looks_time(v) and ":" in v for v in clocks) > 0.5 * len(clocks)
                ):
                    pair = _joined(frame, [label, other])
                    if clock := recognised(_sample(pair)):
                        dirt.append(Dirt("two_time_columns", f"date in {label}, time in {other}"))
                        return [label, other], clock
    numeric = [c for c in candidates if (clock := recognised(_sample(frame[c]))) and clock.numeric]
    if numeric and (clock := recognised(_sample(frame[numeric[0]]))):
        return [numeric[0]], clock
    return [], None


def _calendar(frame: pl.DataFrame) -> list[str]:
    """Columns called year, month, day, hour and perhaps minute, where there are such."""
    named = {column.casefold(): column for column in frame.columns}
    parts = [named[word] for word in ("year", "month", "day", "hour", "minute") if word in named]
    return parts if (len(parts) >= 4 and "minute" in named) or len(parts) == 4 else []


def _runs(series: pl.Series, clock: Clock) -> bool:
    """A column of whole numbers may be counted as seconds only if they run on."""
    if clock.numeric is None:
        return True
    seconds = parsed(series.head(SAMPLE), clock)
    return bool(len(seconds) > 1 and np.nanmedian(np.abs(np.diff(seconds))) > 0)


def _sample(series: pl.Series) -> list[str]:
    """Some hundred cells from the whole length, in order."""
    import polars as pl

    filled = series.drop_nulls()
    stride = max(len(filled) // 300, 1)
    picked = pl.concat([filled.head(100), filled.gather_every(stride, 0)]) if stride > 1 else filled.head(400)
    return [str(value).strip() for value in picked.to_list() if str(value).strip()]


def _column(series: pl.Series, unit: str | None, comma: bool, dirt: list[Dirt]) -> RawColumn | None:
    """A column as numbers; None for one that holds none."""
    import polars as pl

    name = series.name
    if series.dtype == pl.Boolean:
        return RawColumn(
            name, series.cast(pl.Float64).fill_null(np.nan).to_numpy().astype(float), "yes/no", True
        )
    if series.dtype.is_temporal() or series.dtype in (pl.List, pl.Struct, pl.Binary):
        return None
    if series.dtype != pl.String:
        values = series.cast(pl.Float64, strict=False).fill_null(np.nan).to_numpy().astype(float)
        return _numbers(name, values, unit, dirt)
    text = series.str.replace_all(",", ".", literal=True) if comma else series
    numbers = text.cast(pl.Float64, strict=False)
    odd = series.filter(numbers.is_null() & series.is_not_null())
    if len(odd) == 0:
        return _numbers(name, numbers.fill_null(np.nan).to_numpy().astype(float), unit, dirt)
    kinds = odd.unique(maintain_order=True)
    if len(kinds) > MAX_ODD:
        return None  # free text
    meanings, found_unit, bad, words = _meanings(kinds.to_list(), comma)
    if not any(np.isfinite(v) for v in meanings.values()) and numbers.null_count() == len(numbers):
        return None
    if words and found_unit is None and numbers.null_count() < 0.5 * len(numbers):
        # a word among numbers is no state but something that was not had
        for word in words:
            meanings[word] = float("nan")
        bad, words = [*bad, *words], []
    mended = odd.replace_strict(list(meanings), list(meanings.values()), return_dtype=pl.Float64)
    values = numbers.fill_null(np.nan).to_numpy().astype(float).copy()
    values[(numbers.is_null() & series.is_not_null()).to_numpy()] = mended.fill_null(np.nan).to_numpy()
    if bad:
        count = int(odd.is_in(bad).sum())
        shown = ", ".join(repr(word.strip()) for word in bad[:3])
        dirt.append(Dirt("bad_cells", f"{name}: {count} cells such as {shown} are no numbers", count, name))
    if found_unit is not None:
        dirt.append(Dirt("units_in_cells", f"{name}: numbers carry their unit ({found_unit})", 1, name))
    if words:
        shown = ", ".join(repr(word.strip()) for word in words[:4])
        dirt.append(Dirt("words", f"{name}: words for states ({shown}) read as 1 and 0", 1, name))
    return _numbers(name, values, unit or found_unit or ("yes/no" if words else None), dirt, bool(words))


def _meanings(cells: Sequence[str], comma: bool) -> tuple[dict[str, float], str | None, list[str], list[str]]:
    """What each odd cell of a column means, the unit that most of them carry, those that mean nothing, those
    that are words for a state."""
    meanings: dict[str, float] = {}
    units: dict[str, int] = {}
    bad: list[str] = []
    words: list[str] = []
    for cell in cells:
        if is_blank(cell):
            meanings[cell] = float("nan")
            if cell.strip() not in {"", "-", "--", "---"}:
                bad.append(cell)
            continue
        state = state_of(cell)
        if np.isfinite(state):
            meanings[cell] = state
            words.append(cell)
            continue
        number, unit = number_in(cell, comma)
        meanings[cell] = number
        if unit is not None:
            units[unit] = units.get(unit, 0) + 1
        if not np.isfinite(number):
            bad.append(cell)
    return meanings, max(units, key=lambda u: units[u]) if units else None, bad, words


def _numbers(
    name: str, values: Array, unit: str | None, dirt: list[Dirt], words: bool = False
) -> RawColumn | None:
    finite = np.isfinite(values)
    if not finite.any():
        dirt.append(Dirt("empty_column", f"{name}: no values", 1, name))
        return None
    if not finite.all():
        values = np.where(finite, values, np.nan)
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    for sentinel in SENTINELS:
        if sentinel not in (low, high):
            continue
        hit = values == sentinel
        rest = values[finite & ~hit]
        if len(rest) and abs(sentinel) > 3.0 * max(float(np.abs(rest).max()), 30.0):
            values = np.where(hit, np.nan, values)
            count = int(hit.sum())
            dirt.append(
                Dirt("sentinels", f"{name}: {count} cells of {sentinel:g} stand for no value", count, name)
            )
            return _numbers(name, values, unit, dirt, words)
    return RawColumn(name, values, unit, words)


def _without_repeats(
    time: Array, rows: Indices, columns: Sequence[RawColumn], dirt: list[Dirt]
) -> tuple[Array, Indices]:
    """Indices into `rows` that stay: of several rows with the same time the last."""
    same = np.diff(time) == 0
    if not same.any():
        return time, np.arange(len(time))
    keep = np.append(~same, True)
    first, second = rows[:-1][same].astype(int), rows[1:][same].astype(int)
    alike = np.ones(len(first), dtype=bool)
    for column in columns:
        a, b = column.values[first], column.values[second]
        alike &= (a == b) | (np.isnan(a) & np.isnan(b))
    if alike.any():
        dirt.append(Dirt("repeated_rows", f"{int(alike.sum())} rows stand there twice", int(alike.sum())))
    if not alike.all():
        count = int((~alike).sum())
        dirt.append(
            Dirt(
                "repeated_times",
                f"{count} times stand there twice with other values: the later row counts",
                count,
            )
        )
    return time[keep], np.flatnonzero(keep)


def _say_gaps(time: Array, dirt: list[Dirt]) -> None:
    if len(time) < 3:
        return
    steps = np.diff(time)
    usual = float(np.median(steps))
    wide = steps > max(1.9 * usual, usual + 60.0)
    if not wide.any():
        return
    longest = int(np.argmax(steps))
    hours = steps[longest] / 3600.0
    length = f"{hours / 24:.0f} days" if hours > 48 else f"{hours:.1f} h"
    count = int(wide.sum())
    dirt.append(
        Dirt(
            "gaps",
            f"{count} gap{'s' * (count > 1)}; the longest, {length}, after {told_in_words(time[longest])}",
            count,
            at=float(time[longest]),
        )
    )


def _some(names: Sequence[str]) -> str:
    shown = ", ".join(f'"{name[:30]}"' for name in names[:6])
    return shown + (", ..." if len(names) > 6 else "")
