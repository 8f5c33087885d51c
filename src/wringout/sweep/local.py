"""Tasks on processes of this machine: each worker holds one task at a time, so that a worker that dies takes
no other task with it, and the parent knows which one it was.

A task whose worker dies is given to another one; a task that has taken two workers with it is given up, and
said to be. The standard library's pool loses every task with the first worker that is killed.
"""

from __future__ import annotations

import os
import signal
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from wringout.errors import DataError, InputError

__all__ = ["Given", "Limits", "Lost", "peak_memory", "run_local"]

MOST_DEATHS = 2
MOST_STARTS = 4  # workers that die before they are ready, one after the other
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "POLARS_MAX_THREADS")


@dataclass(frozen=True)
class Limits:
    """Bounds of one worker: ``memory`` of its own [bytes], ``seconds`` a task may take, ``tasks`` after
    which a fresh worker takes over."""

    memory: int = 1_500_000_000
    seconds: float = 900.0
    tasks: int = 500


@dataclass(frozen=True)
class Given:
    """A task's answer; ``peak`` is the most memory that its worker has held so far [bytes]."""

    task: Any
    answer: Any
    peak: int = 0


@dataclass(frozen=True)
class Lost:
    """A task that was given up, and why."""

    task: Any
    reason: str


def peak_memory() -> int:
    """Most memory that this process has held [bytes]; 0 where the system does not tell."""
    try:
        import resource
    except ImportError:
        return 0
    try:
        # the kernel's other count, below, begins with what the process that started this one held
        status = Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
        return int(status.partition("VmHWM:")[2].split()[0]) * 1024
    except (OSError, IndexError, ValueError):
        pass
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return int(peak) * (1 if os.uname().sysname == "Darwin" else 1024)


def _bounded(memory: int) -> None:
    try:
        import resource
    except ImportError:  # this system has no such bounds
        return
    kind = resource.RLIMIT_DATA  # memory of its own: what is merely mapped does not count
    _, hard = resource.getrlimit(kind)
    most = memory if hard == resource.RLIM_INFINITY else min(memory, hard)
    resource.setrlimit(kind, (most, hard))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _work(function: Callable[[Any], Any], pipe: Connection, memory: int) -> None:
    """What a worker does: tasks in, answers out, until the pipe is shut."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent ends its workers
    _bounded(memory)
    try:
        pipe.send(None)
        while True:
            task = pipe.recv()
            pipe.send((function(task), peak_memory()))
    except (EOFError, BrokenPipeError, ConnectionResetError):
        return


class _Worker:
    """One process, its pipe, and the task it holds."""

    def __init__(self, function: Callable[[Any], Any], limits: Limits) -> None:
        context = get_context("spawn")  # a forked child of a process with threads may hang
        self.pipe, theirs = context.Pipe()
        self.process: BaseProcess = context.Process(
            target=_work, args=(function, theirs, limits.memory), daemon=True
        )
        with _one_thread():
            self.process.start()
        theirs.close()
        self.ready = False
        self.task: Any = None
        self.busy = False
        self.since = 0.0
        self.done = 0

    def give(self, task: Any) -> None:
        self.task, self.busy, self.since = task, True, time.monotonic()
        self.pipe.send(task)

    def end(self, at_once: bool = False) -> None:
        self.pipe.close()
        if at_once:
            self.process.kill()
        self.process.join(5.0)
        if self.process.is_alive():
            self.process.kill()
            self.process.join()

    def died_of(self) -> str:
        self.process.join(5.0)
        code = self.process.exitcode or 0
        if code >= 0:
            return f"exit code {code}"
        try:
            name = signal.Signals(-code).name
        except ValueError:
            name = f"signal {-code}"
        return {"SIGKILL": "SIGKILL, as for want of memory", "SIGABRT": "SIGABRT, as for want of memory"}.get(
            name, name
        )


@contextmanager
def _one_thread() -> Iterator[None]:
    """Workers share the cores among themselves: one thread each for whatever they start."""
    before = {name: os.environ.get(name) for name in THREADS}
    os.environ.update(dict.fromkeys(THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def run_local(
    function: Callable[[Any], Any],
    tasks: Iterator[Any],
    workers: int,
    limits: Limits | None = None,
    started: Callable[[int], None] | None = None,
) -> Iterator[Given | Lost]:
    """Run a function over tasks in processes.

    Parameters
    ----------
    function : callable
        Of one task; at the top of a module, so that a worker can import it. Should not raise.
    tasks : iterator
        Taken as workers come free.
    workers : int
    limits : Limits, optional
    started : callable, optional
        Told the process id of every worker when it is ready.

    Yields
    ------
    Given or Lost
        One for each task, as they come.

    Raises
    ------
    DataError
        Where workers die before they begin.
    """
    if workers < 1:
        raise InputError("at least one worker is needed", "--workers")
    limits = limits or Limits()
    pool: list[_Worker] = []
    again: deque[Any] = deque()
    deaths: dict[int, int] = {}
    unready = 0
    source = iter(tasks)
    dry = False

    def following() -> tuple[bool, Any]:
        nonlocal dry
        if again:
            return True, again.popleft()
        if not dry:
            for task in source:
                return True, task
            dry = True
        return False, None

    try:
        pool = [_Worker(function, limits) for _ in range(workers)]
        while True:
            for worker in pool:
                if worker.ready and not worker.busy:
                    there, task = following()
                    if not there:
                        break
                    try:
                        worker.give(task)
                    except (BrokenPipeError, OSError):  # it has just died: seen below
                        continue
            if dry and not again and not any(worker.busy for worker in pool):
                return
            _heard(pool, limits)
            for place, worker in enumerate(pool):
                answer = _answer_of(worker)
                if answer is _NOTHING:
                    pass
                elif not worker.ready:
                    worker.ready, unready = True, 0
                    if started is not None and worker.process.pid is not None:
                        started(worker.process.pid)
                elif worker.busy:
                    task, worker.busy, worker.done = worker.task, False, worker.done + 1
                    deaths.pop(id(task), None)
                    if worker.done >= limits.tasks or answer[1] > 0.8 * limits.memory:
                        worker.end()
                        pool[place] = _Worker(function, limits)
                    yield Given(task, answer[0], answer[1])
                    continue
                late = worker.busy and time.monotonic() - worker.since > limits.seconds
                if worker.process.is_alive() and not late:
                    continue
                if late:
                    worker.process.kill()
                if not worker.ready:
                    unready += 1
                    if unready >= MOST_STARTS:
                        raise DataError(f"workers die before they begin ({worker.died_of()})")
                reason = f"took longer than {limits.seconds:.0f} s" if late else worker.died_of()
                task, busy = worker.task, worker.busy
                worker.end(at_once=True)
                pool[place] = _Worker(function, limits)
                if busy:
                    deaths[id(task)] = deaths.get(id(task), 0) + 1
                    if deaths[id(task)] < MOST_DEATHS:
                        again.append(task)
                    else:
                        del deaths[id(task)]
                        yield Lost(task, f"its worker died twice ({reason}): left out")
    finally:
        for worker in pool:
            worker.end(at_once=True)


_NOTHING = object()


def _heard(pool: list[_Worker], limits: Limits) -> None:
    """Wait until a worker says something, dies, or is late."""
    late = [w.since + limits.seconds - time.monotonic() for w in pool if w.busy]
    wait(
        [thing for w in pool for thing in (w.pipe, w.process.sentinel)],
        timeout=max(min([*late, 5.0]), 0.0) + 0.01,
    )


def _answer_of(worker: _Worker) -> Any:
    """What a worker has sent, if anything; what it could not finish sending counts as nothing."""
    try:
        if worker.pipe.poll():
            return worker.pipe.recv()
    except (EOFError, OSError):
        pass
    return _NOTHING
