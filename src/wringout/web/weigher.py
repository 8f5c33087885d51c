"""Work that takes longer than a page may: done in other processes, its results kept for as long as the call
stays as it is."""

from __future__ import annotations

import asyncio
import concurrent.futures
import hashlib
import json
import multiprocessing
import os
import threading
import time
from collections import OrderedDict
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, field
from typing import Any

from wringout.quantity import UnitSystem
from wringout.web import jobs

__all__ = ["Job", "Weigher", "digest"]

KEPT = 120
WORKERS = 2
# logs have a process of their own, so that no reading waits behind a month of minutes
OF_LOGS = ("log", "trend", "columns", jobs.WITH_LOG)
THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def digest(document: str) -> str:
    """A name for the state of a call."""
    return hashlib.sha256(document.encode()).hexdigest()[:24]


@dataclass
class Job:
    """One piece of work: when it was begun, and its result once there."""

    key: str
    topic: str
    future: Future[dict[str, Any]]
    ahead: bool = False  # begun for a state that the call may come to
    begun: float = field(default_factory=time.monotonic)

    @property
    def result(self) -> dict[str, Any] | None:
        """What came out, or nothing yet; nor where it was let go because the call has moved on.

        Raises
        ------
        Failed
            When the work ended in an error.
        """
        return self.future.result() if self.future.done() and not self.future.cancelled() else None

    @property
    def seconds(self) -> float:
        """How long it has been under way."""
        return time.monotonic() - self.begun

    async def within(self, seconds: float) -> dict[str, Any] | None:
        """The result, waited for so long at most."""
        if not self.future.done():
            wrapped = asyncio.wrap_future(self.future)
            await asyncio.wait({wrapped}, timeout=seconds)
        return self.result


class Weigher:
    """Starts work, at most once for each state of a call, and lets go what nobody waits for any more."""

    def __init__(self, workers: int = WORKERS) -> None:
        self._workers = workers
        self._lock = threading.Lock()
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._former: dict[str, dict[str, float]] = {}
        self._pools: dict[bool, ProcessPoolExecutor] = {}  # that of logs is True

    def start(self) -> None:
        """Start the processes, so that the first answer finds them warm."""
        with self._lock:
            self._open()

    def stop(self) -> None:
        """End the processes."""
        with self._lock:
            for pool in self._pools.values():
                working = list((pool._processes or {}).values())  # the pool forgets them as it shuts
                pool.shutdown(wait=False, cancel_futures=True)
                for process in working:
                    process.terminate()
            self._pools.clear()

    def job(
        self,
        kind: str,
        call_id: str,
        document: str,
        system: UnitSystem,
        more: dict[str, Any] | None = None,
        *,
        ahead: bool = False,
    ) -> Job:
        """The work of a kind for a call as it is now, or ``ahead`` as it may be soon; begun if it was not."""
        document = jobs.essence(kind, document)
        key = f"{kind} {system} {digest(document + json.dumps(more or {}, sort_keys=True))}"
        topic = f"{kind} {system} {call_id}"
        with self._lock:
            known = self._jobs.get(key)
            if known is not None and not known.future.cancelled() and not self._broken(known):
                self._jobs.move_to_end(key)
                known.ahead = known.ahead and ahead
                return known
            for other in list(self._jobs.values()):
                if other.topic == topic:
                    self._leave(other)
            job = Job(key, topic, self._submit(kind, document, system, more), ahead)
            self._jobs[key] = job
            while len(self._jobs) > KEPT:
                self._jobs.popitem(last=False)
            return job

    def before(self, job: Job) -> dict[str, Any] | None:
        """The newest finished result of the same kind and call from before this one."""
        with self._lock:
            former = [
                j
                for j in self._jobs.values()
                if j.topic == job.topic and j.key != job.key and j.future.done() and not j.future.cancelled()
                if not j.ahead
            ]
        for one in sorted(former, key=lambda j: -j.begun):
            if one.begun < job.begun and one.future.exception() is None:
                return one.future.result()
        return None

    def _leave(self, job: Job) -> None:
        """Work that has not begun and that nobody will look at."""
        if not job.future.done() and job.future.cancel():
            self._jobs.pop(job.key, None)

    @staticmethod
    def _broken(job: Job) -> bool:
        return job.future.done() and isinstance(
            job.future.exception(), concurrent.futures.process.BrokenProcessPool
        )

    def _submit(
        self, kind: str, document: str, system: UnitSystem, more: dict[str, Any] | None
    ) -> Future[dict[str, Any]]:
        logs = kind in OF_LOGS
        try:
            return self._open(logs).submit(jobs.run, kind, document, system, more)
        except concurrent.futures.process.BrokenProcessPool:
            # a worker died, of hunger for memory as a rule: a new pool, once
            del self._pools[logs]
            return self._open(logs).submit(jobs.run, kind, document, system, more)

    def _open(self, logs: bool = False) -> ProcessPoolExecutor:
        if logs not in self._pools:
            # one thread a worker: for matrices this small more threads wait for each other, and for the pages
            before = {name: os.environ.get(name) for name in THREADS}
            os.environ.update(dict.fromkeys(THREADS, "1"))
            workers, warm = (1, jobs.warm_for_logs) if logs else (self._workers, jobs.warm)
            self._pools[logs] = ProcessPoolExecutor(
                workers, mp_context=multiprocessing.get_context("spawn"), initializer=warm
            )
            for _ in range(workers):
                # processes begin with the first work, in the present environment
                self._pools[logs].submit(len, ())
            for name, value in before.items():
                if value is None:
                    del os.environ[name]
                else:
                    os.environ[name] = value
        return self._pools[logs]
