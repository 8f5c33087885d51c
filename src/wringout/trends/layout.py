"""How a text file is laid out: encoding, delimiter, decimal mark, header lines, a row of units, where data
begin.

Only the first lines are looked at. Nothing is known about who wrote the file; the test everywhere is which
reading makes the most cells look like numbers, times or states.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from wringout.errors import DataError
from wringout.trends.cells import is_blank, is_state, looks_number, looks_time, unit_of_word

__all__ = ["Layout", "decoded", "layout_of"]

HEAD_LINES = 400
DELIMITERS = (",", ";", "\t", "|")
BYTE_ORDER_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))


@dataclass(frozen=True, slots=True)
class Layout:
    """What the first lines told.

    ``first_line`` counts lines of the file before the first row of data. ``names`` has one entry a column,
    ``units`` what was written for each (None where nothing was). ``spaces`` says that runs of blanks part the
    cells.
    """

    delimiter: str
    decimal_comma: bool
    first_line: int
    names: tuple[str, ...]
    units: tuple[str | None, ...]
    header_lines: int
    preamble_lines: int
    spaces: bool = False


def decoded(head: bytes) -> tuple[str, str]:
    """The text of a file's first bytes, and its encoding.

    Raises
    ------
    DataError
        For bytes that are no text.
    """
    for mark, encoding in BYTE_ORDER_MARKS:
        if head.startswith(mark):
            even = head[: len(head) // 2 * 2] if encoding == "utf-16" else head
            return even.decode(encoding, errors="ignore"), encoding
    if b"\0" in head[:4096]:
        raise DataError("this is no text file; trends are read from CSV (any delimiter) and from Parquet")
    try:
        return head.decode("utf-8"), "utf-8"
    except UnicodeDecodeError as error:
        if error.start > len(head) - 4:  # a letter cut in two by the end of the head
            return head[: error.start].decode("utf-8"), "utf-8"
        return head.decode("cp1252", errors="replace"), "cp1252"


def layout_of(text: str) -> Layout:
    """Work out the layout from the first lines of a file.

    Raises
    ------
    DataError
        When no row of data is found.
    """
    lines = text.splitlines()[:HEAD_LINES]
    if not any(line.strip() for line in lines):
        raise DataError("the file is empty")
    told = re.fullmatch(r'"?sep=(.)"?', lines[0].strip(), flags=re.IGNORECASE)
    delimiter, spaces = (told.group(1), False) if told else _delimiter(lines)
    rows = _rows(lines, delimiter, spaces)
    width = _width(rows)
    start = _first_data(rows, width)
    if start is None:
        raise DataError("no rows of numbers were found in the first lines of the file")
    names, units, used = _header(rows, start, width)
    body = [row for row in rows[start:] if len(row) > 1]
    return Layout(
        delimiter=delimiter,
        decimal_comma=_decimal_comma(body, delimiter),
        first_line=start,
        names=names,
        units=units,
        header_lines=used,
        preamble_lines=sum(1 for row in rows[: start - used] if any(not is_blank(cell) for cell in row)),
        spaces=spaces,
    )


def _rows(lines: Sequence[str], delimiter: str, spaces: bool = False) -> list[list[str]]:
    """One list of cells a line; a quoted line break is not looked for, so line numbers stay those of the
    file."""
    if spaces:
        return [line.split() for line in lines]
    return [next(csv.reader([line], delimiter=delimiter), []) for line in lines]


def _delimiter(lines: Sequence[str]) -> tuple[str, bool]:
    best, chosen = 0.0, ","
    for delimiter in DELIMITERS:
        rows = [row for row in _rows(lines, delimiter) if len(row) > 1]
        if not rows:
            continue
        width = _width(rows)
        regular = [row for row in rows if len(row) == width]
        cells = [cell for row in regular[-100:] for cell in row]
        plain = sum(1 for cell in cells if looks_number(cell) or looks_time(cell) or is_state(cell)) / len(
            cells
        )
        score = plain * len(regular) / len(lines) * min(width, 20) ** 0.25
        if score > best:
            best, chosen = score, delimiter
    if best < 0.2 and _width([line.split() for line in lines]) > 1:
        return "\t", True
    return chosen, False


def _width(rows: Sequence[Sequence[str]]) -> int:
    """The usual number of cells in a row, counted where the data are (the later rows)."""
    counts = Counter(len(row) for row in rows[len(rows) // 4 :] if len(row) > 1)
    return max(counts, key=lambda n: (counts[n], n)) if counts else 1


def _is_data(row: Sequence[str], width: int) -> bool:
    filled = [cell for cell in row if not is_blank(cell)]
    if len(row) < max(0.6 * width, 1.0) or not filled:
        return False
    plain = [looks_number(cell) or looks_time(cell) for cell in filled]
    return sum(plain) >= max(0.3 * len(filled), 1) and (
        looks_time(row[0]) or looks_number(row[0]) or any(plain[:3])
    )


def _first_data(rows: Sequence[Sequence[str]], width: int) -> int | None:
    """The first row that looks like data and is followed by more of the same."""
    for index, row in enumerate(rows):
        if not _is_data(row, width):
            continue
        after = [r for r in rows[index + 1 : index + 8] if any(not is_blank(cell) for cell in r)]
        alike = sum(_is_data(r, width) for r in after)
        timed = any(looks_time(cell) for cell in row[:3])
        if (not after and timed) or (after and alike >= 0.6 * len(after) and (timed or not _any_time(after))):
            return index
    return None


def _any_time(rows: Sequence[Sequence[str]]) -> bool:
    return any(looks_time(cell) for row in rows for cell in row[:3])


def _header(
    rows: Sequence[Sequence[str]], start: int, width: int
) -> tuple[tuple[str, ...], tuple[str | None, ...], int]:
    """Names, units, and how many lines they took: the lines right before the data that are as wide as the
    data."""
    block: list[list[str]] = []
    index = start - 1
    while index >= 0 and len(block) < 5:
        row = [cell.strip() for cell in rows[index]]
        if not any(row):
            if block:
                break
            index -= 1
            continue
        filled = sum(bool(cell) for cell in row)
        if len(row) < width - 1 or filled < max(2, 0.4 * (width - 1)) or filled > width:
            break
        block.insert(0, row)
        index -= 1
    used = start - 1 - index if block else 0
    units: list[str | None] = [None] * width
    named: list[list[str]] = []
    full = [["row", *row] if len(row) == width - 1 else row for row in block]  # row numbers have no name
    full = [[*row, *[""] * (width - len(row))][:width] for row in full]
    # a lone header line holds names, even if they look like units (A, V)
    of_units = [_is_unit_row(row) and len(full) > 1 for row in full]
    if full and all(of_units):
        of_units = [False] * (len(full) - 1) + [True]
    for row, is_units in zip(full, of_units, strict=True):
        if is_units:
            units = [unit_of_word(cell) if cell else None for cell in row]
        else:
            named.append(row)
    names = [" ".join(dict.fromkeys(row[k] for row in _telling(named) if row[k])) for k in range(width)]
    return _unlike(names), tuple(units), used


def _telling(named: list[list[str]]) -> list[list[str]]:
    """Header rows that tell columns apart; one that says the same everywhere is left out if another does
    not."""
    telling = [row for row in named if len({cell for cell in row[1:] if cell}) > 1]
    return telling or named


def _is_unit_row(row: Sequence[str]) -> bool:
    filled = [cell for cell in row if cell]
    known = sum(unit_of_word(cell) is not None for cell in filled)
    return bool(filled) and known >= max(2, 0.6 * (len(filled) - 1))


def _unlike(names: Sequence[str]) -> tuple[str, ...]:
    """Every column gets a name of its own."""
    seen: Counter[str] = Counter()
    out = []
    for k, name in enumerate(names):
        name = " ".join(name.split()) or f"column {k + 1}"
        seen[name] += 1
        out.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return tuple(out)


_COMMA_NUMBER = re.compile(r"[-+]?(\d{1,3}(\.\d{3})+|\d+),\d+(?:[eE][-+]?\d+)?")
_THOUSANDS = re.compile(r"[-+]?\d{1,3}(,\d{3})+(\.\d+)?")


def _decimal_comma(rows: Sequence[Sequence[str]], delimiter: str) -> bool:
    """Whether numbers are written 12,5: more cells can only be that than can only be something else."""
    comma = point = 0
    for row in rows:
        for cell in row:
            word = cell.strip().split(" ")[0] if cell.strip() else ""
            if _COMMA_NUMBER.fullmatch(word) and not _THOUSANDS.fullmatch(word):
                comma += 1
            elif re.fullmatch(r"[-+]?\d*\.\d+", word) or (
                "," in word and "." in word and _THOUSANDS.fullmatch(word)
            ):
                point += 1
    return comma > point
