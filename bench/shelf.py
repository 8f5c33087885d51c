"""The shelf: a manual of a thousand pages indexed, searched, and a page of it drawn.

The manual is made here, by ``scripts/make_manual.py``. Run as ``python bench/shelf.py``.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "scripts"))

from make_manual import manual_pdf

from wringout.shelf.picture import marked, png
from wringout.shelf.search import search
from wringout.shelf.shelf import open_shelf

__all__ = ["run"]

PAGES = 1000
QUERIES = (
    "W37",
    "TB1-7",
    "TB 1-7",
    "AH-003-012",
    "drive locked out",
    "torque",
    "condens",
    "W1O7",
    "37",
    "nothing9",
    "check the wiring of the reheat valve actuator at terminal TB1-7",
)


def processor() -> float:
    """Seconds of the processor, those of ended processes that were started here among them [s]."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def run() -> list[tuple[str, str]]:
    """Make, add, search and draw.

    Returns
    -------
    list of (str, str)
        What was measured, and the result in words.
    """
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "manual.pdf"
        path.write_bytes(manual_pdf(PAGES))
        with open_shelf(Path(folder) / "shelf.sqlite") as shelf:
            clock, spent = time.perf_counter(), processor()
            document = shelf.add(path, "Unit").document
            clock, spent = time.perf_counter() - clock, processor() - spent
            rows.append((f"{document.pages} pages added", f"{clock:.1f} s, {spent:.1f} s processor"))
            every = []
            for query in QUERIES:
                search(shelf, query)
                clock, spent, times = time.perf_counter(), time.process_time(), 5
                for _ in range(times):
                    found = search(shelf, query)
                clock, spent = time.perf_counter() - clock, time.process_time() - spent
                every.append(1e3 * spent / times)
                rows.append(
                    (
                        f'search "{query}", {found.pages} pages',
                        f"{1e3 * clock / times:.0f} ms, {1e3 * spent / times:.1f} ms processor",
                    )
                )
            rows.append(
                (
                    "all of them",
                    f"median {statistics.median(every):.0f} ms, slowest {max(every):.0f} ms processor",
                )
            )
            hit = search(shelf, "W37").hits[0].place
            spent = processor()
            png(marked(shelf.picture(hit)))
            rows.append(("a page drawn and marked", f"{processor() - spent:.2f} s processor"))
    return rows


if __name__ == "__main__":
    for what, result in run():
        sys.stdout.write(f"{what:52} {result}\n")
