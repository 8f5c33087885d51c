"""The log of a trend in test points, as more than one command takes it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.documents.unit import Unit
    from wringout.trends.table import TrendTable

__all__ = ["table_of"]


def table_of(trend: str, mapping: str | None, unit: Unit, call: Path | None) -> TrendTable:
    """The log in points: by the mapping file given, by a trend.yaml beside log or call, else guessed."""
    from wringout.trends.mapping import load_table

    path = Path(trend)
    if path.suffix.lower() in {".yaml", ".yml", ".json"}:
        return load_table(None, path, unit)[0]
    beside = [path.parent / "trend.yaml", *([call.parent / "trend.yaml"] if call is not None else [])]
    if mapping is None:
        for place in beside:
            if place.is_file():
                try:
                    return load_table(path, place, unit)[0]
                except InputError:
                    continue  # made for another file: the columns are guessed instead
    return load_table(path, mapping, unit)[0]
