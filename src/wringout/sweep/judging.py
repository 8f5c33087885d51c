"""One unit of a sweep: its trend files and its documents in, one result out.

The same function runs in local processes and on a cluster. It reads files and nothing else: no clock, no
chance, no memory of the unit before it. Whatever is wrong with a file is said in the result.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from wringout.catalogue.calls import load_trend
from wringout.documents.load import load_unit
from wringout.documents.overview import system_of
from wringout.documents.trend import Trend
from wringout.documents.unit import Unit
from wringout.errors import DataError, InputError, WringoutError
from wringout.sweep.joining import joined, read
from wringout.sweep.moisture_control import control_of, since_when
from wringout.sweep.needless_heat import needless_heat
from wringout.sweep.places import Hand, at_hand
from wringout.sweep.result import result_of
from wringout.sweep.suspects import suspects_of, why_not
from wringout.sweep.task import Bad, Task
from wringout.trends.findings import findings_of
from wringout.trends.following import Following
from wringout.trends.mapping import USED_FROM, guesses_for, mapped, table_of
from wringout.trends.moisture_balance import blocks_of
from wringout.trends.table import RawTable, TrendTable

__all__ = ["failed", "judge"]


def judge(task: Task) -> dict[str, Any]:
    """Judge one unit by its trend.

    Parameters
    ----------
    task : Task

    Returns
    -------
    dict
        The result as it is stored: plain values, every number with its unit. A unit that cannot be judged
        has its one reason under ``error``; files that could not be used stand under ``bad_files``.
    """
    bad: list[Bad] = []
    try:
        with at_hand(task.root) as hand:
            return _judged(task, hand, bad)
    except MemoryError:
        return failed(task, "takes more memory than a worker may have; cut its files by month", bad)
    except WringoutError as error:
        return failed(task, _plain(str(error), task), bad)
    except Exception as error:  # noqa: BLE001 - one unit must not end the sweep, whatever its files bring about
        return failed(task, f"cannot be judged ({type(error).__name__}: {str(error)[:160]})", bad)


def failed(task: Task, reason: str, bad: list[Bad] | None = None) -> dict[str, Any]:
    """Give the result of a unit that could not be judged.

    Parameters
    ----------
    task : Task
    reason : str
    bad : list of Bad, optional
        Files that could not be used.

    Returns
    -------
    dict
    """
    return {
        "format": "wringout-sweep-unit/1",
        "unit": task.name,
        "files": list(task.trends),
        "error": reason,
        "bad_files": [{"file": b.file, "error": b.reason} for b in bad or []],
    }


def _plain(words: str, task: Task, hand: Hand | None = None) -> str:
    """An error's words with files named from where the sweep begins."""
    for folder in filter(None, (str(hand.folder) if hand is not None else "", task.root)):
        words = words.replace(f"{folder.rstrip('/')}/", "")
    return words


def _judged(task: Task, hand: Hand, bad: list[Bad]) -> dict[str, Any]:
    try:
        unit = load_unit(hand.path(task.unit))
    except WringoutError as error:
        return failed(task, _plain(str(error), task, hand))
    told, notes = _mapping(task, hand)
    tables = _tables(task, hand, told, bad)
    if not tables:
        reason = bad[0].reason if len(bad) == 1 else f"none of its {len(task.trends)} trend files can be read"
        return failed(task, reason, bad if len(bad) > 1 else [])
    table, guessed = _in_points(tables, told, unit, notes)
    del tables
    if not table.values:
        raise DataError(
            f"{task.trends[0]}: no column was recognised; name them in a mapping file (wringout trend "
            "--write-map writes one)"
        )
    if table.hours < 1.0:
        raise DataError(f"{task.trends[0]}: less than an hour of data")
    findings = findings_of(table, unit)
    blocks = blocks_of(table)
    control = control_of(blocks, findings, unit)
    outdoor = any(isinstance(f, Following) and f.points[0] == "shown.dew_point" for f in findings)
    heat = needless_heat(blocks, unit, not outdoor)
    reason = why_not(control, heat, task.choices.weigh)
    return result_of(
        task,
        unit,
        table,
        findings,
        control,
        heat,
        since_when(heat.mask, blocks, findings) if heat.least > 0.0 else None,
        suspects_of(table, unit, blocks, control, heat) if not reason else None,
        reason,
        guessed,
        notes,
        bad,
        task.choices.system or system_of(unit),
    )


def _mapping(task: Task, hand: Hand) -> tuple[Trend | None, list[str]]:
    """The mapping file, or a note on why columns are guessed in spite of one."""
    if task.mapping is None:
        return None, []
    try:
        return load_trend(hand.path(task.mapping)), []
    except (InputError, DataError) as error:
        return None, [f"Columns were guessed: {_plain(str(error), task, hand)}"]


def _tables(task: Task, hand: Hand, told: Trend | None, bad: list[Bad]) -> list[RawTable]:
    tables = []
    for name in task.trends:
        try:
            tables.append(_read(hand.path(name), told))
        except MemoryError:
            bad.append(Bad(name, f"{name}: takes more memory than a worker may have; cut it by month"))
        except WringoutError as error:
            words = _plain(str(error), task, hand)
            own = Path(name).name
            bad.append(Bad(name, name + words.removeprefix(own) if words.startswith(own) else words))
        except BaseException as error:  # the reader's own panics are no Exception
            if isinstance(error, KeyboardInterrupt | SystemExit | GeneratorExit):
                raise
            bad.append(Bad(name, f"{name}: cannot be read ({type(error).__name__}: {str(error)[:120]})"))
        finally:
            hand.done(name)
    return tables


def _read(path: Path, told: Trend | None) -> RawTable:
    if told is None:
        return read(path)
    try:
        return read(path, told.time_column, told.time_format)
    except InputError:  # a column of time that this file does not have: it is looked for
        return read(path)


def _in_points(
    tables: list[RawTable], told: Trend | None, unit: Unit, notes: list[str]
) -> tuple[TrendTable, bool]:
    raw = joined(tables)
    if told is not None:
        try:
            return mapped(raw, told), False
        except InputError as error:
            notes.append(f"Columns were guessed: the mapping file does not fit ({error.message})")
    guesses = guesses_for(raw, unit)
    return table_of(raw, [guess for guess in guesses if guess.confidence >= USED_FROM]), True
