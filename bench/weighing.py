"""Seconds of a weighing, in parts: search, sampling, next checks; and what the command spends on imports.

A walk-up call of twelve readings, and one of twenty readings over three states; both made by the machine
itself. Wall seconds and processor seconds, the fastest of some runs. Run as ``python bench/weighing.py``.
"""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

import units
from weighing_tools import OPEN, SHUT, WALK_UP, Look, hypotheses_of, simulate, unit_of, usual
from wringout.documents.call import Call
from wringout.weighing import answer as weighing

__all__ = ["run"]

RUNS = 5
PARTS = {"search": "search", "sampling": "refined_posterior", "next checks": "next_checks"}


def calls() -> dict[str, Call]:
    """The two calls, on the invented unit with most to it."""
    unit = unit_of(units.RECLAIM_UPSTREAM)
    forced = usual(unit, ("supply.t", "coil_leaving.t", "reheat.water_flow", "reheat.stem"))
    looks = {
        "walk-up, 12 readings": [Look(WALK_UP)],
        "20 readings over three states": [Look(WALK_UP), Look(forced, SHUT), Look(forced, OPEN)],
    }
    ways = hypotheses_of(unit, "strainer-plugged")
    return {name: simulate(unit, ways, look, np.random.default_rng(3)).call for name, look in looks.items()}


def timed(call: Call) -> dict[str, tuple[float, float]]:
    """Wall and processor seconds of a whole weighing and of its parts, in its fastest run."""
    best: dict[str, tuple[float, float]] = {}
    for _ in range(RUNS):
        spent = {part: [0.0, 0.0] for part in PARTS}
        kept = {part: getattr(weighing, name) for part, name in PARTS.items()}

        def watched(part: str, kept: dict[str, Callable[..., Any]] = kept, spent: Any = spent) -> Any:
            def work(*args: Any, **kwargs: Any) -> Any:
                wall, cpu = time.perf_counter(), time.process_time()
                try:
                    return kept[part](*args, **kwargs)
                finally:
                    spent[part][0] += time.perf_counter() - wall
                    spent[part][1] += time.process_time() - cpu

            return work

        for part, name in PARTS.items():
            setattr(weighing, name, watched(part))
        try:
            wall, cpu = time.perf_counter(), time.process_time()
            weighing.weigh(call, np.random.default_rng(0))
            whole = (time.perf_counter() - wall, time.process_time() - cpu)
        finally:
            for part, name in PARTS.items():
                setattr(weighing, name, kept[part])
        if "whole" not in best or whole[1] < best["whole"][1]:
            best = {"whole": whole, **{part: (s[0], s[1]) for part, s in spent.items()}}
    return best


def imports() -> tuple[float, float, list[tuple[float, str]]]:
    """Seconds to start Python, to import the command, and what of it costs most."""
    bare = min(_started("pass") for _ in range(3))
    with_it = min(
        _started("import wringout.cli.main, wringout.cli.weigh, wringout.weighing.answer") for _ in range(3)
    )
    listed = subprocess.run(
        [sys.executable, "-X", "importtime", "-c", "import wringout.cli.weigh, wringout.weighing.answer"],
        capture_output=True,
        text=True,
        check=True,
    ).stderr
    own: dict[str, float] = {}
    for line in listed.splitlines():
        found = re.match(r"import time:\s+(\d+) \|\s+(\d+) \|\s+(\S+)", line)
        if found:
            package = found.group(3).split(".")[0]
            own[package] = own.get(package, 0.0) + int(found.group(1)) / 1e6
    top = sorted(((s, name) for name, s in own.items()), reverse=True)[:4]
    return bare, with_it - bare, top


def _started(code: str) -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", code], check=True)
    return time.perf_counter() - start


def run() -> list[tuple[str, str]]:
    """Time both calls and the imports.

    Returns
    -------
    list of (str, str)
        What was measured, and the result in words.
    """
    rows = []
    for name, call in calls().items():
        found = timed(call)
        wall, cpu = found.pop("whole")
        parts = ", ".join(f"{part} {seconds[1]:.2f}" for part, seconds in found.items())
        rows.append((name, f"{wall:.2f} s wall, {cpu:.2f} s of processor ({parts})"))
    bare, own, top = imports()
    most = ", ".join(f"{name} {seconds:.2f}" for seconds, name in top)
    rows.append(("imports of the command", f"{own:.2f} s beside Python's own {bare:.2f} s ({most})"))
    return rows


if __name__ == "__main__":
    for what, result in run():
        sys.stdout.write(f"{what:52} {result}\n")
