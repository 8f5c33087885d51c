"""How fast a sweep goes: unit-months of one-minute samples from text to the ranked list.

Run as `make bench ARGS=sweep`, or `python bench/sweep.py 100` for so many unit-months instead of a thousand.
Twenty different unit-months of invented units are made with the machine in time and stand in the list under
fifty names each: nothing of one is kept for another. Seconds by the clock tell of a quiet machine only, so
processor seconds of the workers stand beside them.
"""

from __future__ import annotations

import os
import signal
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import polars as pl

from wringout.documents.load import unit_from_text
from wringout.machine.acts import ACTS, variants
from wringout.machine.design import Design, design
from wringout.machine.motion import Loads, Weather
from wringout.machine.motion import run as run_machine
from wringout.machine.motion_storage import storage_spreads
from wringout.machine.parameters import Array, healthy_values, neutral, spreads
from wringout.sweep.running import Engine, Swept, sweep
from wringout.sweep.task import Choices

DAY = 86_400.0
START = 1_814_400_000.0  # 2027-07-01
UNIT_MONTHS = 1000
FEW = 40  # unit-months for one worker against two, a killed worker, and a cluster
UNIT = (
    "format: wringout-unit/1\nname: Bench unit (invented)\nair: {supply_airflow: 9000 cfm}\n"
    "cooling: {kind: dx, stages: [{id: c1, modulating: yes}, {id: c2}, {id: c3}]}\n"
    "reheat: {kind: hot_water, valve: {ways: three}}\nsource: {kind: reclaim}\n"
)
# twenty unit-months: ten sound ones, and ten with something in them
WRONG = (
    *[""] * 10, "valve-stuck", "valve-leaks", "compressor-out", "doors-open", "locked-out", "control-hunting",
    "strainer-plugged", "setpoint-wrong", "moisture-added", "output-in-hand",
)  # fmt: skip
COLUMNS = {
    "shown.dew_point": "Space Dew Point (degF)",
    "shown.space_t": "Space Temp (degF)",
    "shown.supply_t": "Supply Air Temp (degF)",
    "shown.outdoor_dew_point": "Outdoor Dew Point (degF)",
    "outdoor.t": "Outdoor Temp (degF)",
    "shown.reheat_command": "Reheat Valve Cmd (%)",
    "shown.stages_called": "Cooling Stages",
}


def machines(d: Design, rng: np.random.Generator) -> dict[str, Array]:
    """Machines as they are built, each with its cause in it."""
    rows = spreads(d) + storage_spreads()
    values = neutral(d) | healthy_values(rows, rng.standard_normal((len(WRONG), len(rows))))
    values = {name: np.array(np.broadcast_to(array, (len(WRONG),))) for name, array in values.items()}
    values["hand_command"] = np.full(len(WRONG), 0.6)
    for i, cause in enumerate(WRONG):
        if cause:
            act = ACTS[cause]
            drawn = [np.full(1, 0.6)] * act.severities
            for name, array in act.move(
                lambda n, i=i: values[n][i : i + 1], variants(cause, d.unit)[0], drawn
            ).items():
                values[name][i] = array[0]
    return values


def months(days: float = 30.0) -> list[pl.DataFrame]:
    """The twenty logs."""
    rng = np.random.default_rng(7)
    d = design(unit_from_text(UNIT, "unit"))
    hour = np.arange(0.0, 24.0 * days + 1.0)
    wave, slow = np.sin(2.0 * np.pi * (hour - 9.0) / 24.0), rng.normal(0.0, 0.4, len(hour))
    day = d.unit.space.design_day
    outdoor = day.outdoor_t - 5.0 + 4.0 * wave + slow
    dew = np.minimum(day.outdoor_dew_point - 3.5 + wave + slow, outdoor - 0.5)
    trace = run_machine(
        d, machines(d, rng), Weather.of(outdoor, dew, 3600.0 * hour),
        Loads.of(0.6 + 0.25 * wave, 0.65 + 0.2 * wave, 3600.0 * hour),
        duration=days * DAY, step=30.0, rng=rng, record=60.0,
    )  # fmt: skip
    points = trace.points(list(COLUMNS))
    moments = pl.Series(((START + trace.time) * 1e6).astype(np.int64)).cast(pl.Datetime("us"))
    logs = []
    for i in range(len(WRONG)):
        columns: dict[str, object] = {"Date/Time": moments.dt.strftime("%m/%d/%Y %H:%M")}
        for point, name in COLUMNS.items():
            line = points[point][i]
            if "degF" in name:
                line = np.round(1.8 * (line + rng.normal(0.0, 0.05, len(line))) + 32.0, 1)
            columns[name] = np.round(100.0 * line) if "%" in name else line
        logs.append(pl.DataFrame(columns))
    return logs


def fleet(folder: Path, sources: list[Path], count: int) -> str:
    """A folder of so many units."""
    for k in range(count):
        place = folder / f"unit-{k:04d}"
        place.mkdir(parents=True)
        (place / "unit.yaml").write_text(UNIT)
        os.link(sources[k % len(sources)], place / "2027-07.csv")
    return str(folder)


def timed(
    place: str, out: Path, engine: Engine, choices: Choices, kill: bool = False
) -> tuple[float, float, Swept]:
    """Seconds by the clock, processor seconds of the workers, and what came of it."""
    workers: list[int] = []

    def told(done: int, count: int, _name: str) -> None:
        if kill and done == count // 2:
            os.kill(workers[-1], signal.SIGKILL)

    start, before = time.perf_counter(), os.times()
    found = sweep(place, out, choices, engine, told, workers.append)
    after = os.times()
    spent = after.children_user + after.children_system - before.children_user - before.children_system
    return time.perf_counter() - start, spent, found


def same(one: Swept, other: Swept) -> str:
    return "same results" if one.results == other.results else "OTHER RESULTS"


def run(count: int = UNIT_MONTHS) -> list[tuple[str, str]]:
    """Rows of (what, result)."""
    rows = []
    few = min(FEW, count)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sources = []
        for k, log in enumerate(months()):
            sources.append(folder / f"month-{k}.csv")
            log.write_csv(sources[-1])
        large, small = fleet(folder / "large", sources, count), fleet(folder / "small", sources, few)
        bare, usual = Choices(weigh="none"), Choices()

        def told(what: str, clock: float, spent: float, number: int, found: Swept, beside: str = "") -> None:
            peak = f", peak {found.peak / 1e6:.0f} MB a worker" if found.peak else ""
            rows.append(
                (what, f"{clock / number:.2f} s of clock, {spent / number:.2f} s of processor a unit-month"
                       f"{peak}{beside}")
            )  # fmt: skip

        one_clock, one_spent, one = timed(small, folder / "one", Engine(workers=1), bare)
        told(f"{few} unit-months, one worker, not weighed", one_clock, one_spent, few, one)
        two_clock, two_spent, two = timed(small, folder / "two", Engine(workers=2), bare)
        gain = f", {one_clock / two_clock / 2.0:.0%} efficient, {same(one, two)}"
        told("  two workers", two_clock, two_spent, few, two, gain)
        clock, spent, found = timed(small, folder / "killed", Engine(workers=2), bare, kill=True)
        told("  two, one killed half-way", clock, spent, few, found, f", {same(one, found)}")
        clock, spent, found = on_cluster(small, folder, bare)
        rows.append(
            ("  a Dask cluster of two", f"{clock / few:.2f} s of clock a unit-month, {same(one, found)}")
        )
        clock, _, found = timed(small, folder / "two", Engine(workers=2), bare)
        rows.append(("  again, nothing changed", f"{clock:.2f} s for all {few}, {same(one, found)}"))
        clock, spent, found = timed(small, folder / "weighed", Engine(workers=2), usual)
        weighed = sum(1 for r in found.results if r.get("weighed"))
        told(f"  candidates weighed ({weighed} of {few})", clock, spent, few, found)
        if count > few:
            clock, spent, found = timed(large, folder / "all", Engine(workers=2), usual)
            weighed = sum(1 for r in found.results if r.get("weighed"))
            told(f"{count:,} unit-months, two workers ({weighed} weighed)", clock, spent, count, found)
            rows.append(("  in all", f"{clock / 60.0:.1f} min"))
    return rows


def on_cluster(place: str, folder: Path, choices: Choices) -> tuple[float, float, Swept]:
    """The same on Dask, its start not counted."""
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None,
        local_directory=str(folder / "dask"), silence_logs=50,
    ) as cluster:  # fmt: skip
        engine = Engine("dask", scheduler=cluster.scheduler_address)
        return timed(place, folder / "cluster", engine, choices)


def main() -> None:
    for what, result in run(int(sys.argv[1]) if len(sys.argv) > 1 else UNIT_MONTHS):
        sys.stdout.write(f"{what:52} {result}\n")


if __name__ == "__main__":
    main()
