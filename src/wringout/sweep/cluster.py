"""The same tasks on a Dask cluster, whose scheduler gives a dead worker's tasks to another."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterator
from typing import Any

from wringout.errors import DataError, InputError
from wringout.sweep.local import Given, Lost

__all__ = ["run_on_cluster"]

AHEAD = 4  # tasks in the scheduler's hands for each thread of a worker
PATIENCE = "30s"


def run_on_cluster(
    function: Callable[[Any], Any], tasks: Iterator[Any], address: str, version: str
) -> Iterator[Given | Lost]:
    """Run a function over tasks on a cluster.

    Parameters
    ----------
    function : callable
        Of one task; importable on every worker.
    tasks : iterator
        Taken as answers come back, a few ahead of the workers.
    address : str
        Of the scheduler, as ``tcp://10.0.0.5:8786``.
    version : str
        Of the code here: workers must run the same.

    Yields
    ------
    Given or Lost
        One for each task, as they come.

    Raises
    ------
    InputError, DataError
        Where Dask is not installed, nobody answers at the address, or workers run other code.
    """
    try:
        distributed = importlib.import_module("distributed")
    except ImportError:
        raise InputError('a cluster is reached with Dask: install "wringout[sweep]"', "--engine") from None
    try:
        client = distributed.Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        reason = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        raise InputError(f"no scheduler answers at {address} ({reason})", "--scheduler") from None
    try:
        _same_code(client, version)
        waiting = distributed.as_completed(loop=client.loop)
        source = iter(tasks)
        held: dict[str, Any] = {}

        def feed(count: int) -> None:
            for _, task in zip(range(count), source, strict=False):
                future = client.submit(function, task, pure=False)
                held[future.key] = task
                waiting.add(future)

        threads = sum(client.nthreads().values()) or 1
        feed(AHEAD * threads)
        for future in waiting:
            task = held.pop(future.key)
            try:
                outcome: Given | Lost = Given(task, future.result())
            except distributed.KilledWorker:
                outcome = Lost(task, "its worker died again and again: left out")
            except (OSError, distributed.CancelledError, distributed.TimeoutError) as error:
                raise DataError(f"the cluster was lost ({type(error).__name__}); run it again") from None
            except Exception as error:  # noqa: BLE001 - whatever a task brings about there, the others go on
                outcome = Lost(task, f"failed on the cluster ({type(error).__name__}: {str(error)[:120]})")
            future.release()
            feed(1)
            yield outcome
    finally:
        client.close(timeout=2)


def _same_code(client: Any, version: str) -> None:
    from wringout.sweep.key import code_version

    try:
        client.wait_for_workers(1, timeout=PATIENCE)
    except Exception as error:  # noqa: BLE001 - Dask's own timeout, by whatever name
        raise InputError(
            f"no worker has joined the scheduler ({type(error).__name__})", "--scheduler"
        ) from None
    try:
        told = client.run(code_version)
    except Exception as error:  # noqa: BLE001 - a worker without the package fails as it likes
        reason = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
        raise InputError(f"a worker cannot run wringout ({reason})", "--scheduler") from None
    for worker, theirs in told.items():
        if theirs != version:
            raise InputError(
                f"worker {worker} runs wringout {theirs}, and here it is {version}: install the same",
                "--scheduler",
            )
