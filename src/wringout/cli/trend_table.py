"""The log of a trend in test points, as more than one command takes it."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.documents.unit import Unit
    from wringout.records.store import Store
    from wringout.trends.guessing import Guess
    from wringout.trends.table import RawTable, TrendTable

__all__ = ["MAPPING_NAME", "read_log", "table_of", "table_of_record"]

MAPPING_NAME = "trend.yaml"
Read = tuple["TrendTable", "RawTable", "tuple[Guess, ...] | None", str]


def read_log(path: Path, unit: Unit | None, mapping: str | None, folders: list[Path]) -> Read:
    """The log in points: by the mapping file given, by its own beside it or a trend.yaml in one of the
    folders, else guessed; and what to say about that."""
    from wringout.trends.mapping import load_table, mapping_beside

    if path.suffix.lower() in {".yaml", ".yml", ".json"}:
        return *load_table(None, path, unit), f"Columns as {path.name} says."
    if mapping is not None:
        return *load_table(path, mapping, unit), f"Columns as {Path(mapping).name} says."
    told = ""
    for beside in (mapping_beside(path), *(folder / MAPPING_NAME for folder in folders)):
        if not beside.is_file():
            continue
        try:
            return *load_table(path, beside, unit), f"Columns as {beside} says."
        except InputError as error:
            told = told or f"{beside} does not fit this file ({error.message}): columns were guessed."
    return *load_table(path, None, unit), told


def table_of(trend: str, mapping: str | None, unit: Unit, call: Path | None) -> TrendTable:
    """The log in points, with a trend.yaml beside log or call."""
    path = Path(trend)
    return read_log(path, unit, mapping, [path.parent, *([call.parent] if call is not None else [])])[0]


def table_of_record(record: Store, call_id: str, trend: str, unit: Unit) -> TrendTable:
    """The log in points: one that is attached to a call, by its name or as the same file on the disk, with
    the columns that were chosen for it; or any other file."""
    from wringout.records.attachments import sha256_of
    from wringout.records.logs import logs_of
    from wringout.trends.mapping import load_table

    path = Path(trend)
    sha256 = sha256_of(path.read_bytes()) if path.is_file() else None
    logs = [
        log
        for log in logs_of(record.call(call_id))
        if (log.sha256 if sha256 else log.name) == (sha256 or trend)
    ]
    if not logs:
        return table_of(trend, None, unit, None)
    log = logs[-1]
    with tempfile.TemporaryDirectory() as folder:
        names = [(path.name, log.sha256)]
        names += [("columns.yaml", log.mapping.body["sha256"])] if log.mapping is not None else []
        files = [Path(folder) / name for name, _ in names]
        for file, (_, content) in zip(files, names, strict=True):
            file.write_bytes(record.content(content).data)
        return load_table(files[0], files[1] if len(files) > 1 else None, unit)[0]
