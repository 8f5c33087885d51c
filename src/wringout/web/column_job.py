"""The columns of a log, what each was taken for and why, and a few of its values: done in the worker."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

from wringout.quantity import UnitSystem

if TYPE_CHECKING:
    from collections.abc import Sequence

    from wringout.documents.trend import Trend
    from wringout.trends.guessing import Guess
    from wringout.trends.table import Array, RawColumn, RawTable

__all__ = ["STATES", "column_rows", "columns", "point_words"]

# given by hand or left out by hand; guessed, guessed but not used, nothing known
STATES = ("given", "left", "guessed", "unsure", "unknown")

SAMPLES = 5
DOUBTFUL = 0.8  # a guess less sure than this names the next best


def columns(document: str, system: UnitSystem, more: dict[str, Any]) -> dict[str, Any]:
    """Every column of a log; ``document`` is the unit's, ``more`` names the files on the disk."""
    from wringout.catalogue.calls import load_trend
    from wringout.documents.load import unit_from_text
    from wringout.trends.finding import iso
    from wringout.trends.mapping import guesses_for
    from wringout.trends.reading import read_trend_file

    raw = read_trend_file(more["path"])
    told = load_trend(more["map"]) if "map" in more else None
    rows = column_rows(raw, guesses_for(raw, unit_from_text(document)), told)
    for row, column in zip(rows, raw.columns, strict=True):
        row |= {"values": _values(column), "range": _range(column.values), "of_words": column.words}
        row["unit"] = row["unit"] or _unit_told(column)
    names = "\n".join(row["column"] for row in rows)
    return {
        "columns": rows,
        "of": hashlib.sha256(names.encode()).hexdigest()[:16],
        "time_column": raw.time_column,
        "time_format": raw.time_format,
        "rows": len(raw.time),
        "from": iso(float(raw.time[0])),
        "to": iso(float(raw.time[-1])),
        "empty": [d.column for d in raw.dirt if d.kind == "empty_column"],
    }


def column_rows(raw: RawTable, guesses: Sequence[Guess], told: Trend | None) -> list[dict[str, Any]]:
    """What each column counts as and how that is known.

    ``state`` is one of `STATES`. ``point`` and ``unit`` are what counts, empty where nothing does; the guess
    stands beside them in words.
    """
    from wringout.trends.mapping import USED_FROM

    given = {c.column.strip(): c for c in told.columns} if told is not None else {}
    guessed = {guess.column: guess for guess in guesses}
    rows = []
    for column in raw.columns:
        guess = guessed.get(column.name)
        row: dict[str, Any] = {"column": column.name, "point": "", "unit": "", **_guess_words(guess)}
        if told is not None:
            one = given.get(column.name)
            row["state"] = "given" if one is not None else "left"
            row |= {"point": one.point, "unit": one.unit} if one is not None else {}
        elif guess is not None and guess.confidence >= USED_FROM:
            row |= {"state": "guessed", "point": guess.point, "unit": guess.unit}
        else:
            row["state"] = "unknown" if guess is None else "unsure"
        row["words"] = point_words(row["point"])
        rows.append(row)
    return rows


def _guess_words(guess: Guess | None) -> dict[str, str]:
    if guess is None:
        return {"perhaps": "", "sure": "", "because": "", "rival": ""}
    return {
        "perhaps": point_words(guess.point),
        "sure": f"{guess.confidence:.0%}",
        "because": guess.because,
        "rival": point_words(guess.rival or "") if guess.confidence < DOUBTFUL else "",
    }


def point_words(name: str) -> str:
    """A point of a trend in words of the trade; empty for none."""
    from wringout.catalogue.trend_points import TREND_POINTS
    from wringout.weighing.evidence_words import plain

    if not name:
        return ""
    return TREND_POINTS[name].what.partition(" (")[0] if name in TREND_POINTS else plain(name)


def _unit_told(column: RawColumn) -> str:
    """The unit that the log itself names for a column."""
    from wringout.trends.roles import unit_in_name

    return column.unit or unit_in_name(column.name) or ""


def _values(column: RawColumn) -> list[str]:
    """A few values from the whole length, as they stand in the log."""
    import numpy as np

    there = column.values[np.isfinite(column.values)]
    picked = there[np.linspace(0, len(there) - 1, min(SAMPLES, len(there))).astype(int)]
    return [f"{value:.6g}" for value in picked]


def _range(values: Array) -> list[str]:
    import numpy as np

    return [f"{np.nanmin(values):.6g}", f"{np.nanmax(values):.6g}"]
