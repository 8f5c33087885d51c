"""Machine evaluations per second: a settled state and all its test points, for each kind of unit.

Healthy machines with spreads of their own under any weather and call, drawn anew for each size. Run as
``python bench/machine.py``.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from units import UNITS, machine, random_conditions, random_machine
from wringout.machine.steady import read_points, settle

__all__ = ["run"]

SIZES = (1_000, 10_000, 100_000)
SECONDS = 0.6  # spent on each figure at least


def rate(text: str, samples: int) -> tuple[float, int]:
    """Evaluations per second in the fastest of several runs, and how many points each gives."""
    design = machine(text)
    rng = np.random.default_rng(1)
    values, conditions = random_machine(design, samples, rng), random_conditions(design, samples, rng)
    points = read_points(settle(design, values, conditions))
    best, spent = float("inf"), 0.0
    while spent < SECONDS:
        start = time.perf_counter()
        read_points(settle(design, values, conditions))
        took = time.perf_counter() - start
        best, spent = min(best, took), spent + took
    return samples / best, len(points)


def run() -> list[tuple[str, str]]:
    """Time every invented unit at every size.

    Returns
    -------
    list of (str, str)
        What was measured, and the result in words.
    """
    rows = []
    for name, text in UNITS.items():
        found = [rate(text, size) for size in SIZES]
        figures = ", ".join(f"{r:,.0f}/s at {n:,}" for (r, _), n in zip(found, SIZES, strict=True))
        rows.append((name, f"{figures} ({found[0][1]} points each)"))
    return rows


if __name__ == "__main__":
    for what, result in run():
        sys.stdout.write(f"{what:52} {result}\n")
