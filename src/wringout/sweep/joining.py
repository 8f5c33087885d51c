"""Several trend files of one unit, joined in time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from wringout.errors import DataError
from wringout.trends.reading import read_trend_file
from wringout.trends.table import Array, Dirt, RawColumn, RawTable

__all__ = ["MOST_CELLS", "joined", "read"]

MOST_CELLS = 30_000_000  # of one trend as numbers: 240 MB; a year of minutes has 526,000 rows


def read(path: Path, time_column: str | None = None, time_format: str | None = None) -> RawTable:
    """Read one file, where it is not too large to be read.

    Parameters
    ----------
    path : Path
    time_column, time_format : str, optional
        As a mapping file says.

    Returns
    -------
    RawTable

    Raises
    ------
    InputError, DataError
        For what cannot be read as a trend, or unfolds to more cells than a worker's memory is meant for.
    """
    cells = _cells_of_parquet(path)
    if cells is not None and cells > MOST_CELLS:
        raise DataError(
            f"{path.name}: {cells:,} cells; at most {MOST_CELLS:,} are taken: cut it by month, or leave out "
            "columns"
        )
    return read_trend_file(path, time_column, time_format)


def _cells_of_parquet(path: Path) -> int | None:
    """Rows times columns by the file's own foot, before anything is unpacked; None where it is no Parquet."""
    with path.open("rb") as stream:
        if stream.read(4) != b"PAR1":
            return None
    import polars as pl

    try:
        lazy = pl.scan_parquet(path)
        return int(lazy.select(pl.len()).collect().item()) * len(lazy.collect_schema())
    except pl.exceptions.PolarsError as error:
        reason = str(error).splitlines()[0][:120]
        raise DataError(f"{path.name}: cannot be read as a table ({reason})") from None


def joined(tables: Sequence[RawTable]) -> RawTable:
    """Join the files of a unit in time, column by column of the same name.

    Parameters
    ----------
    tables : sequence of RawTable
        At least one.

    Returns
    -------
    RawTable
        A column that a file lacks is empty there; of a moment that two files hold, the file that begins
        first counts.

    Raises
    ------
    DataError
        Where two files write a column in different units.
    """
    if len(tables) == 1:
        return tables[0]
    ordered = sorted(tables, key=lambda t: (float(t.time[0]), t.name))
    units: dict[str, tuple[str | None, bool, str]] = {}
    for table in ordered:
        for column in table.columns:
            unit, words, first = units.setdefault(column.name, (column.unit, column.words, table.name))
            if unit is None and column.unit is not None:
                units[column.name] = (column.unit, words, table.name)
            elif column.unit is not None and column.unit != unit:
                raise DataError(
                    f'{table.name}: column "{column.name[:60]}" is in {column.unit} here and in {unit} in '
                    f"{first}"
                )
    ordered, left = _last_ones(ordered, len(units))
    time = np.concatenate([table.time for table in ordered])
    order = np.argsort(time, kind="stable")
    kept = order[np.concatenate([[True], np.diff(time[order]) > 0.0])]
    columns = tuple(
        RawColumn(name, _column(ordered, name)[kept], unit, words) for name, (unit, words, _) in units.items()
    )
    head = ordered[0]
    dirt = [replace(d, text=f"{t.name}: {d.text}") for t in ordered for d in t.dirt]
    dirt.append(Dirt("joined", f"{len(ordered)} files joined in time", len(ordered)))
    if repeated := len(time) - len(kept):
        dirt.append(Dirt("repeated", f"{repeated} rows stand in two files and count once", repeated))
    if left:
        dirt.append(Dirt("left_out", f"{left} older files left out: too many rows for one look", left))
    return RawTable(head.name, time[kept], columns, tuple(dirt), head.time_column, head.time_format)


def _last_ones(tables: list[RawTable], columns: int) -> tuple[list[RawTable], int]:
    """The last files that together are no larger than a worker's memory is meant for, and how many are
    left."""
    rows, kept = 0, 0
    for table in reversed(tables):
        rows += len(table.time)
        if kept and rows * columns > MOST_CELLS:
            break
        kept += 1
    return tables[len(tables) - kept :], len(tables) - kept


def _column(tables: Sequence[RawTable], name: str) -> Array:
    parts = []
    for table in tables:
        column = table.column(name)
        parts.append(column.values if column is not None else np.full(len(table.time), np.nan))
    return np.concatenate(parts)
