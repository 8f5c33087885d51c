"""Functions for workers of tests: they wait, die or take memory, and judge nothing."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import numpy as np

__all__ = ["die_always", "die_once", "greedy", "slow"]


def slow(task: int) -> tuple[int, int]:
    """Its square, after a while, and who worked it out."""
    time.sleep(0.15)
    return task * task, os.getpid()


def die_once(task: tuple[str, int]) -> int:
    """Kills its worker the first time that it is asked for task 3."""
    folder, number = task
    mark = Path(folder) / "died"
    if number == 3 and not mark.exists():
        mark.write_text("once")
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def die_always(task: int) -> int:
    """Kills its worker whenever it is asked for task 3."""
    if task == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return task


def greedy(megabytes: int) -> str:
    """Takes so much memory, if it may."""
    try:
        return f"{np.ones(megabytes * 125_000).sum():.0f}"
    except MemoryError:
        return "refused"
