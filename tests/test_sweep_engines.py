"""Engines of the sweep: whatever happens to a worker, every task comes back, once, with the same answer."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from motion_cases import UNITS
from sweep_tasks import die_always, die_once, greedy, slow
from sweep_units import fleet, write
from wringout.errors import InputError
from wringout.sweep.cluster import run_on_cluster
from wringout.sweep.key import code_version
from wringout.sweep.local import Given, Limits, Lost, run_local
from wringout.sweep.running import Engine, sweep
from wringout.sweep.task import Choices

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals of a POSIX system")

CLUSTER = """
import sys
from distributed import LocalCluster
if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])
    with LocalCluster(n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None,
                      local_directory=sys.argv[2], silence_logs=50) as cluster:
        print(cluster.scheduler_address, *(w.pid for w in cluster.workers.values()), flush=True)
        sys.stdin.read()
"""


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, list[int]]]:
    """A scheduler and two workers in processes of their own: its address, and their process ids."""
    folder = tmp_path_factory.mktemp("cluster")
    script = folder / "cluster.py"
    script.write_text(CLUSTER)
    with subprocess.Popen(
        [sys.executable, str(script), str(Path(__file__).parent), str(folder)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stdin is not None
        address, *ids = process.stdout.readline().split()
        yield address, [int(one) for one in ids]
        process.stdin.close()
        try:
            process.wait(60)
        except subprocess.TimeoutExpired:
            process.kill()


def test_every_task_comes_back_once() -> None:
    found = list(run_local(slow, iter(range(6)), 2))
    assert sorted(f.task for f in found) == list(range(6))
    assert all(isinstance(f, Given) and f.answer[0] == f.task**2 for f in found)


def test_a_worker_killed_from_outside_loses_no_task_and_no_answer() -> None:
    workers: list[int] = []
    found = []
    for outcome in run_local(slow, iter(range(10)), 2, started=workers.append):
        found.append(outcome)
        if len(found) == 3:
            os.kill(workers[0], signal.SIGKILL)
    assert sorted(f.task for f in found) == list(range(10))
    assert all(isinstance(f, Given) and f.answer[0] == f.task**2 for f in found)
    late = {f.answer[1] for f in found[5:] if isinstance(f, Given)}  # two answers may have been on their way
    assert workers[0] not in late


def test_a_task_that_kills_its_worker_once_is_done_by_another(tmp_path: Path) -> None:
    found = list(run_local(die_once, ((str(tmp_path), n) for n in range(6)), 2))
    assert sorted(f.answer for f in found if isinstance(f, Given)) == list(range(6))


def test_a_task_that_kills_its_worker_twice_is_given_up_and_the_others_are_done() -> None:
    found = list(run_local(die_always, iter(range(6)), 2))
    (lost,) = (f for f in found if isinstance(f, Lost))
    assert lost.task == 3
    assert "died twice" in lost.reason
    assert "SIGKILL" in lost.reason
    assert sorted(f.task for f in found if isinstance(f, Given)) == [0, 1, 2, 4, 5]


def test_a_task_that_takes_too_long_is_given_up() -> None:
    found = list(run_local(slow, iter([1]), 1, Limits(seconds=0.05)))
    assert isinstance(found[0], Lost)
    assert "took longer" in found[0].reason


@pytest.mark.skipif(sys.platform != "linux", reason="other systems bound memory otherwise")
def test_a_worker_may_not_take_more_memory_than_it_is_given() -> None:
    found = {f.task: f for f in run_local(greedy, iter([50, 900]), 1, Limits(memory=400_000_000))}
    assert isinstance(found[50], Given)
    assert found[50].answer == "6250000"
    assert isinstance(found[900], Given)
    assert found[900].answer == "refused"


def test_what_is_not_asked_for_any_more_leaves_no_worker_behind() -> None:
    workers: list[int] = []
    running = run_local(slow, iter(range(100)), 2, started=workers.append)
    next(running)
    running.close()  # type: ignore[attr-defined]
    for one in workers:
        with pytest.raises(ProcessLookupError):
            os.kill(one, 0)


def test_a_cluster_gives_the_answers_of_local_processes(cluster: tuple[str, list[int]]) -> None:
    there = {f.task: f for f in run_on_cluster(slow, iter(range(6)), cluster[0], code_version())}
    assert {task: f.answer[0] for task, f in there.items() if isinstance(f, Given)} == {
        n: n * n for n in range(6)
    }


def test_a_worker_of_a_cluster_that_is_killed_loses_no_task(cluster: tuple[str, list[int]]) -> None:
    found = []
    for outcome in run_on_cluster(slow, iter(range(20)), cluster[0], code_version()):
        found.append(outcome)
        if len(found) == 3:
            os.kill(cluster[1][0], signal.SIGKILL)
    assert sorted(f.task for f in found) == list(range(20))
    assert all(isinstance(f, Given) and f.answer[0] == f.task**2 for f in found)


def test_both_engines_keep_the_same_results(cluster: tuple[str, list[int]], tmp_path: Path) -> None:
    """Two units of a day, swept by a local process and by the cluster."""
    kind = "modulating reclaim"
    for place, one in enumerate(fleet(kind, [[], ["locked-out"]], days=1.0, step=40.0)):
        write(tmp_path / "fleet" / f"hall-{place}", one, kind)
    (tmp_path / "fleet" / "hall-2").mkdir()
    (tmp_path / "fleet" / "hall-2" / "unit.yaml").write_text(UNITS[kind])
    (tmp_path / "fleet" / "hall-2" / "log.csv").write_bytes(b"")
    folder, asked = str(tmp_path / "fleet"), Choices(weigh="none")
    here = sweep(folder, tmp_path / "here", asked, Engine(workers=1))
    there = sweep(folder, tmp_path / "there", asked, Engine("dask", scheduler=cluster[0]))
    assert here.judged == there.judged == 3
    assert here.results == there.results
    kept = {path.name: path.read_bytes() for path in (tmp_path / "here" / "units").iterdir()}
    assert {path.name: path.read_bytes() for path in (tmp_path / "there" / "units").iterdir()} == kept


def test_workers_with_other_code_are_refused(cluster: tuple[str, list[int]]) -> None:
    with pytest.raises(InputError, match=r"runs wringout .* and here it is 0\.0: install the same"):
        next(run_on_cluster(slow, iter([1]), cluster[0], "0.0"))


def test_an_address_where_nobody_answers_is_said_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wringout.sweep.cluster.PATIENCE", "1s")
    with pytest.raises(InputError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9"):
        next(run_on_cluster(slow, iter([1]), "tcp://127.0.0.1:9", code_version()))
