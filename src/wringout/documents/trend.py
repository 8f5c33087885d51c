"""The trend document: which column of a controller's export is which test point, in which unit."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from wringout.documents.call import Vocabulary
from wringout.documents.fields import Reader
from wringout.documents.load import require_format
from wringout.documents.measure import Part
from wringout.documents.source import Branch, Leaf, name_of, read_tree
from wringout.errors import InputError
from wringout.quantity import Dimension, unit_named

__all__ = ["TREND_FORMAT", "Trend", "TrendColumn", "read_trend", "trend_from_tree"]

TREND_FORMAT = "wringout-trend/1"
MAX_COLUMNS = 500


class TrendColumn(Part):
    """One column: its name in the file, its test point, and the unit its numbers are in."""

    column: str
    point: str
    unit: str
    dimension: Dimension


class Trend(Part):
    """A trend file and how to read it; ``time_format`` is written as for strptime."""

    file: Path
    time_column: str
    time_format: str
    columns: tuple[TrendColumn, ...]


def read_trend(path: str | Path, vocabulary: Vocabulary) -> Trend:
    """Read a trend document; the file it names is not opened.

    Raises
    ------
    InputError
        For anything in the document that must be mended.
    """
    path = Path(path)
    return trend_from_tree(read_tree(path), name_of(path), path.parent, vocabulary)


def trend_from_tree(tree: Branch, name: str, folder: Path, vocabulary: Vocabulary) -> Trend:
    """Read a trend document from its tree; ``folder`` is where the trend file lies."""
    reader = Reader(name)
    require_format(reader, tree, TREND_FORMAT)
    reader.known(tree, ("format", "file", "time", "columns"), "")
    for field in ("file", "time", "columns"):
        if field not in tree.entries:
            raise reader.error("missing", None, field)
    file = reader.text(tree.entries["file"], "file")
    if not file or Path(file).is_absolute() or ".." in Path(file).parts:
        raise reader.error(
            f'"{file}" must be a path beside this document, for example trend.csv',
            tree.entries["file"].line,
            "file",
        )
    time = reader.branch(tree.entries["time"], "time", '{column: "Date/Time", format: "%m/%d/%Y %H:%M"}')
    reader.known(time, ("column", "format"), "time")
    for field in ("column", "format"):
        if field not in time.entries:
            raise reader.error("missing", time.line, f"time.{field}")
    return Trend(
        file=folder / file,
        time_column=reader.text(time.entries["column"], "time.column"),
        time_format=_time_format(reader, time),
        columns=_columns(reader, tree, vocabulary),
    )


def _time_format(reader: Reader, time: Branch) -> str:
    node = time.entries["format"]
    words = reader.text(node, "time.format")
    moment = datetime(2027, 11, 22, 13, 54)
    try:
        read = datetime.strptime(moment.strftime(words), words).replace(tzinfo=None)
    except ValueError:
        read = None
    if read is None or read != moment:
        raise reader.error(
            f'"{words[:60]}" does not tell a date and time apart; for 11/22/2027 13:54 write %m/%d/%Y %H:%M',
            node.line,
            "time.format",
        )
    return words


def _columns(reader: Reader, tree: Branch, vocabulary: Vocabulary) -> tuple[TrendColumn, ...]:
    branch = reader.branch(tree.entries["columns"], "columns", '"TT-103": {point: shown.space_t, unit: degC}')
    if not branch.entries:
        raise reader.error("empty; name at least one column", branch.line, "columns")
    if len(branch.entries) > MAX_COLUMNS:
        raise reader.error(
            f"{len(branch.entries)} columns; at most {MAX_COLUMNS} are taken", branch.line, "columns"
        )
    columns: list[TrendColumn] = []
    seen: dict[str, str] = {}
    for name, node in branch.entries.items():
        path = f'columns."{name[:60]}"'
        column = reader.branch(node, path, "{point: shown.space_t, unit: degC}")
        reader.known(column, ("point", "unit"), path)
        for field in ("point", "unit"):
            if field not in column.entries:
                raise reader.error("missing", column.line, f"{path}.{field}")
        point = reader.text(column.entries["point"], f"{path}.point")
        unit = column.entries["unit"]
        try:
            dimension = vocabulary.measure(point, None).dimension
        except InputError as error:
            raise reader.error(error.message, column.entries["point"].line, f"{path}.point") from None
        if point in seen:
            raise reader.error(f'"{seen[point][:60]}" is {point} already', column.line, f"{path}.point")
        seen[point] = name
        if not isinstance(unit, Leaf):
            raise reader.error("wanted a unit", unit.line, f"{path}.unit")
        try:
            known = unit_named(unit.text.strip(), dimension).name
        except InputError as error:
            raise reader.error(error.message, unit.line, f"{path}.unit") from None
        columns.append(TrendColumn(column=name, point=point, unit=known, dimension=dimension))
    return tuple(columns)
