"""The mapping file: which column is which point, read, applied, and written so that a person can correct
it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from wringout.catalogue.calls import load_trend
from wringout.catalogue.trend_points import measure_of, what_of
from wringout.documents.trend import TREND_FORMAT, Trend
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.quantity import Dimension, to_si
from wringout.trends.guessing import Guess, guess_columns
from wringout.trends.reading import read_trend_file
from wringout.trends.table import Array, Dirt, RawTable, TrendTable

__all__ = [
    "USED_FROM",
    "guesses_for",
    "load_table",
    "mapping_beside",
    "mapping_head",
    "mapping_line",
    "mapping_text",
    "mapped",
    "quoted",
    "table_of",
]

USED_FROM = 0.5  # guesses less sure than this are shown but not used


def load_table(
    path: str | Path | None, mapping: str | Path | None = None, unit: Unit | None = None
) -> tuple[TrendTable, RawTable, tuple[Guess, ...] | None]:
    """Read a trend file into points: by its mapping file where there is one, else by guessing.

    Parameters
    ----------
    path : str or Path or None
        The trend file; None for the one that the mapping file names.
    mapping : str or Path, optional
        A trend document.
    unit : Unit, optional
        Its set points help to guess.

    Returns
    -------
    table : TrendTable
    raw : RawTable
        As read.
    guesses : tuple of Guess or None
        None where a mapping file was followed.

    Raises
    ------
    InputError, DataError
        For files that cannot be read as what they are given for.
    """
    if mapping is not None:
        told = load_trend(mapping)
        raw = read_trend_file(path if path is not None else told.file, told.time_column, told.time_format)
        return mapped(raw, told), raw, None
    if path is None:
        raise InputError("a trend file or a mapping file is needed")
    raw = read_trend_file(path)
    guesses = guesses_for(raw, unit)
    return table_of(raw, [guess for guess in guesses if guess.confidence >= USED_FROM]), raw, guesses


def mapping_beside(path: str | Path) -> Path:
    """Where the mapping file of one log lies: beside it, by its name (``log.trend.yaml`` for ``log.csv``)."""
    return Path(path).with_name(f"{Path(path).stem}.trend.yaml")


def guesses_for(raw: RawTable, unit: Unit | None) -> tuple[Guess, ...]:
    """Guess the columns, with what the unit's document knows."""
    if unit is None:
        return guess_columns(raw)
    lacks = [] if unit.loop is not None else ["loop.flow", "reheat.water_in", "reheat.water_out"]
    if unit.cooling.kind == "dx":
        lacks += ["chilled.water_in", "chilled.water_out"]
    usual = {
        "shown.space_t": unit.control.space_t,
        "return.t": unit.control.space_t,
        "shown.dew_point": unit.control.dew_point,
    }
    return guess_columns(raw, lacks, usual)


def mapped(raw: RawTable, told: Trend) -> TrendTable:
    """A trend in points, as a mapping file says.

    Raises
    ------
    InputError
        For a column that the file does not have.
    """
    picked: list[tuple[str, str, str, bool]] = []
    dirt: list[Dirt] = []
    shares = [
        c
        for c in told.columns
        if c.dimension is Dimension.FRACTION and (_r := raw.column(c.column)) is not None
    ]
    of_one = _counts_of_one([raw.column(c.column).values for c in shares])  # type: ignore[union-attr]
    for column in told.columns:
        if raw.column(column.column) is None:
            empty = any(d.kind == "empty_column" and d.column == column.column.strip() for d in raw.dirt)
            if empty:
                continue
            names = ", ".join(f'"{c.name[:30]}"' for c in raw.columns[:8])
            raise InputError(
                f'the trend file has no column "{column.column[:60]}" of numbers; it has {names}', raw.name
            )
        picked.append(
            (column.column, column.point, column.unit, of_one and column.dimension is Dimension.FRACTION)
        )
    return _table(raw, picked, dirt)


def table_of(raw: RawTable, guesses: Sequence[Guess]) -> TrendTable:
    """A trend in points, as guessed."""
    return _table(raw, [(g.column, g.point, g.unit, g.share) for g in guesses], [])


def _counts_of_one(columns: Sequence[Array]) -> bool:
    """Whether shares are written 0..1: none is over one, and some are over nothing."""
    highs = [float(np.nanmax(values)) for values in columns if np.isfinite(values).any()]
    return bool(highs) and 0.0 < max(highs) <= 1.0


def _table(raw: RawTable, picked: Sequence[tuple[str, str, str, bool]], dirt: list[Dirt]) -> TrendTable:
    values: dict[str, Array] = {}
    names: dict[str, str] = {}
    for name, point, unit, share in picked:
        column = raw.column(name)
        if column is None:
            continue
        measure = measure_of(point)
        si = column.values if share else to_si(column.values, unit, measure.dimension)
        if share:
            dirt.append(Dirt("shares", f"{column.name}: written as shares of one", 1, column.name))
        values[point] = _within(column.name, np.asarray(si, dtype=float), measure.low, measure.high, dirt)
        names[point] = column.name
    return TrendTable(raw.time, values, names, (*raw.dirt, *dirt))


def _within(name: str, values: Array, low: float, high: float, dirt: list[Dirt]) -> Array:
    """Values that such a point cannot have are left out; a command a hair over its end is the end."""
    slack = 0.02 if (low, high) == (0.0, 1.0) else 0.0
    with np.errstate(invalid="ignore"):
        out = (values < low - slack) | (values > high + slack)
        over = ~out & ((values < low) | (values > high))
    if over.any():
        dirt.append(
            Dirt(
                "over_the_end",
                f"{name}: {int(over.sum())} values a little over their end",
                int(over.sum()),
                name,
            )
        )
        values = np.where(over, np.minimum(np.maximum(values, low), high), values)
    if out.any():
        count = int(out.sum())
        dirt.append(
            Dirt("out_of_range", f"{name}: {count} values that this point cannot have left out", count, name)
        )
        values = np.where(out, np.nan, values)
    return values


def mapping_text(raw: RawTable, guesses: Sequence[Guess], file: str | None = None) -> str:
    """A mapping file for the trend, to be read and corrected by a person.

    Parameters
    ----------
    raw : RawTable
    guesses : sequence of Guess
        All of them; those too unsure to be used stand there as comments.
    file : str, optional
        Where the trend lies, seen from the mapping file; without it, beside it.

    Returns
    -------
    str
        YAML, with the confidence of each guess as a comment.
    """
    lines = [
        "# Which column of the trend is what: guessed, so read it through. A wrong line is corrected "
        "by writing",
        "# another point; a column that is none of these is left out.",
        *mapping_head(file or raw.name, raw.time_column, raw.time_format),
    ]
    sure = [guess for guess in guesses if guess.confidence >= USED_FROM]
    unsure = [guess for guess in guesses if guess.confidence < USED_FROM]
    for guess in sure:
        line = mapping_line(guess.column, guess.point, guess.unit)
        lines.append(f"  {line}  # {what_of(guess.point)}; {guess.confidence:.0%} sure")
    if not sure:
        lines[-1] = "columns: {}"
    for guess in unsure:
        line = mapping_line(guess.column, guess.point, guess.unit)
        lines.append(f"  # {line}  # perhaps: {guess.confidence:.0%} sure")
    left = [c.name for c in raw.columns if c.name not in {guess.column for guess in guesses}]
    if left:
        lines.append("  # not recognised: " + ", ".join(quoted(name) for name in left))
    return "\n".join(lines) + "\n"


def mapping_head(file: str, time_column: str, time_format: str) -> list[str]:
    """The first lines of a mapping file, down to where the columns begin."""
    return [
        f"format: {TREND_FORMAT}",
        f"file: {quoted(file)}",
        f"time: {{column: {quoted(time_column)}, format: {quoted(time_format)}}}",
        "columns:",
    ]


def mapping_line(column: str, point: str, unit: str) -> str:
    """What a mapping file says of one column."""
    return f"{quoted(column)}: {{point: {point}, unit: {quoted(unit)}}}"


def quoted(word: str) -> str:
    """A word as YAML and JSON quote it."""
    return json.dumps(word, ensure_ascii=False)
