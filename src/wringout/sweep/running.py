"""A sweep from beginning to end: find files, pair them, judge what is missing, keep it as it comes."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from wringout.errors import InputError, WringoutError
from wringout.sweep.cluster import run_on_cluster
from wringout.sweep.judging import failed, judge
from wringout.sweep.key import code_version, key_of
from wringout.sweep.local import Given, Limits, Lost, run_local
from wringout.sweep.pairing import paired
from wringout.sweep.places import found_at
from wringout.sweep.store import Store
from wringout.sweep.task import Bad, Choices, Task

__all__ = ["Engine", "Swept", "sweep"]

HASHED_AHEAD = 16  # units whose files are read for their keys before workers ask for them


@dataclass(frozen=True)
class Engine:
    """Where tasks run: ``local`` processes, or a ``dask`` cluster at ``scheduler``."""

    name: Literal["local", "dask"] = "local"
    workers: int = field(default_factory=lambda: max(os.cpu_count() or 1, 1))
    scheduler: str | None = None
    limits: Limits = field(default_factory=Limits)


@dataclass
class Swept:
    """What a sweep gave: results by unit, bad files, and how it went (which no result depends on)."""

    results: list[dict[str, Any]]
    bad: list[Bad]
    judged: int = 0
    kept: int = 0
    peak: int = 0


def sweep(
    place: str,
    out: str | Path,
    choices: Choices | None = None,
    engine: Engine | None = None,
    told: Callable[[int, int, str], None] | None = None,
    started: Callable[[int], None] | None = None,
) -> Swept:
    """Judge every unit of a place that has not been judged yet.

    Parameters
    ----------
    place : str
        Folder, pattern or address.
    out : str or Path
        Folder of results; each unit's is written there as it comes, and found there by the next run.
    choices : Choices, optional
    engine : Engine, optional
    told : callable, optional
        Told how many units are done, how many there are, and which one was done last.
    started : callable, optional
        Told the process id of every local worker.

    Returns
    -------
    Swept
        Results in the order of units' names.

    Raises
    ------
    InputError, DataError
        Where there is nothing to sweep, or no engine to do it.
    """
    engine = engine or Engine()
    if engine.name == "dask" and not engine.scheduler:
        raise InputError("needs the scheduler's address: --scheduler tcp://HOST:8786", "--engine dask")
    root, names = found_at(place)
    pairs = paired(root, names, choices)
    if not pairs.tasks:
        raise InputError(f"none of its trend files has a unit document ({pairs.bad[0].reason})", place)
    store = Store(Path(out))
    results: dict[str, dict[str, Any]] = {}
    keys: dict[str, str] = {}
    swept = Swept([], list(pairs.bad))

    def done(task: Task, result: dict[str, Any]) -> None:
        results[task.name] = result
        if told is not None:
            told(len(results), len(pairs.tasks), task.name)

    def missing() -> Iterator[Task]:
        """Units without a result; those with one are taken over on the way."""
        for task, key in _keyed(pairs.tasks):
            if isinstance(key, WringoutError):
                done(task, failed(task, str(key).replace(f"{root.rstrip('/')}/", "")))
                continue
            result = store.get(key)
            if result is not None:
                swept.kept += 1
                done(task, result)
                continue
            keys[task.name] = key
            yield task

    for outcome in _ran(engine, missing(), started):
        task = outcome.task
        if isinstance(outcome, Lost):  # perhaps not its own fault: the next run tries again
            done(task, failed(task, outcome.reason))
            continue
        swept.judged += 1
        swept.peak = max(swept.peak, outcome.peak)
        done(task, store.put(keys.pop(task.name), outcome.answer))
    swept.results = [results[task.name] for task in pairs.tasks]
    return swept


def _ran(
    engine: Engine, tasks: Iterator[Task], started: Callable[[int], None] | None
) -> Iterator[Given | Lost]:
    # no worker is started for nothing: a run with every result there is over in a moment
    first = next(tasks, None)
    if first is None:
        return

    def every() -> Iterator[Task]:
        yield first
        yield from tasks

    if engine.name == "dask":
        yield from run_on_cluster(judge, every(), engine.scheduler or "", code_version())
    else:
        yield from run_local(judge, every(), engine.workers, engine.limits, started)


def _keyed(tasks: tuple[Task, ...]) -> Iterator[tuple[Task, str | WringoutError]]:
    """Tasks with their keys, some read ahead: hashing waits for disk or network more than it works."""

    def key(task: Task) -> str | WringoutError:
        try:
            return key_of(task)
        except WringoutError as error:
            return error

    with ThreadPoolExecutor(max_workers=4) as threads:
        for start in range(0, len(tasks), HASHED_AHEAD):
            part = tasks[start : start + HASHED_AHEAD]
            yield from zip(part, threads.map(key, part), strict=True)
