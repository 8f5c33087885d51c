"""Every benchmark in bench/, one table: what was measured, and the result.

Run as `make bench`; ARGS="machine weighing" runs some of them. Each module of bench/ has a `run()` that gives
rows of (what, result); a new module is found by itself. Ratios count, not seconds: everything runs in one
process, on one machine, one after the other.
"""

from __future__ import annotations

import importlib
import os
import platform
import sys
import time
from pathlib import Path

FOLDER = Path(__file__).resolve().parent.parent / "bench"
WHAT = 52  # width of the first column


def say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main(wanted: list[str]) -> int:
    """Run the benchmarks named, or all; 1 where one of them failed or does not exist."""
    sys.path.insert(0, str(FOLDER))
    names = sorted(path.stem for path in FOLDER.glob("*.py"))
    unknown = set(wanted) - set(names)
    if unknown:
        say(f"no such benchmark: {', '.join(sorted(unknown))}; there are {', '.join(names)}")
        return 1
    load = f"{os.getloadavg()[0]:.1f} busy" if hasattr(os, "getloadavg") else "load unknown"
    say(f"Python {platform.python_version()}, {os.cpu_count()} cores, {load}")
    failed = False
    for name in wanted or names:
        say(f"\n{name.replace('_', ' ')}")
        start = time.perf_counter()
        try:
            rows = importlib.import_module(name).run()
        except Exception as error:  # noqa: BLE001 - one benchmark that fails must not hide the others
            failed = True
            say(f"  {'failed':{WHAT}} {type(error).__name__}: {error}")
            continue
        for what, result in rows:
            say(f"  {what:{WHAT}} {result}")
        say(f"  {'(took)':{WHAT}} {time.perf_counter() - start:.0f} s")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
