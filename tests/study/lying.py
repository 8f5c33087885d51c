"""One lying instrument: what a gross slip at each reading in turn does to the answer, on the practice calls.

Each call is read as its own next checks say, as ``score.py`` lets it; then one reading after another is moved
by so many standard deviations of a careful reading, up and down by turns, and the call is weighed again. What
comes out is scored by ``score.py``. What is counted, or answered by yes or no, has no error and is left.
Run as a program it writes the table of docs/validation.md::

    python tests/study/lying.py --calls 4 --checks 12
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from policies import judged, mean, measured, options

from wringout.catalogue.calls import load_call
from wringout.catalogue.points import sigma
from wringout.documents.call import Call, Reading
from wringout.weighing.answer import weigh
from wringout.weighing.document import answer_document

__all__ = ["Lie", "lies", "table"]

OFF = 5.0  # standard deviations


@dataclass(frozen=True)
class Lie:
    """One reading of one call moved: what score.py makes of the answer, and of that without it."""

    call: str
    point: str
    exact: bool
    exact_before: bool
    accused: tuple[str, ...]
    accused_before: tuple[str, ...]
    log_loss: float
    log_loss_before: float


def moved(call: Call, index: int, by: float) -> Call:
    """The call with its event of that index, a reading, moved by so much [SI]."""
    event = call.events[index]
    assert isinstance(event, Reading)
    other = event.model_copy(update={"value": event.value + by})
    return call.model_copy(update={"events": (*call.events[:index], other, *call.events[index + 1 :])})


def lies(name: str, checks: int) -> list[Lie]:
    """Every reading of one practice call in turn."""
    read: list[Call] = []

    def asking(path: str) -> Mapping[str, Any]:
        read.append(load_call(path))
        return answer_document(weigh(read[-1], np.random.default_rng(0)), 0.0)

    before = judged(name, checks, asking)["checked"]
    call = max(read, key=lambda c: len(c.events))
    found: list[Lie] = []
    for index, event in enumerate(call.events):
        if not isinstance(event, Reading) or sigma(event.point, event.value) == 0.0:
            continue
        by = (-1.0) ** index * OFF * sigma(event.point, event.value)
        lying = weigh(moved(call, index, by), np.random.default_rng(0), checks=False)
        document = answer_document(lying, 0.0)
        after = judged(name, 0, lambda _, document=document: document)["checked"]
        found.append(
            Lie(
                name,
                event.point,
                bool(after["exact"]),
                bool(before["exact"]),
                tuple(after["accused"]),
                tuple(before["accused"]),
                after["logloss"],
                before["logloss"],
            )
        )
    return found


def table(found: Sequence[Lie]) -> list[str]:
    """The lines of a Markdown table: all slips, and those at the readings that do most harm."""
    lines = [
        "| slip at | slips | exact before | after | accused by the slip | log loss before | after |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    points = {lie.point for lie in found}
    worst = sorted(points, key=lambda p: -sum(r.log_loss - r.log_loss_before for r in found if r.point == p))
    for said, these in [
        ("any reading", list(found)),
        *((p, [lie for lie in found if lie.point == p]) for p in worst[:8]),
    ]:
        new = sum(bool(set(lie.accused) - set(lie.accused_before)) for lie in these)
        lines.append(
            f"| {said} | {len(these)} | {100 * mean(r.exact_before for r in these):.0f} % | "
            f"{100 * mean(r.exact for r in these):.0f} % | {new} | "
            f"{mean(r.log_loss_before for r in these):.2f} | {mean(r.log_loss for r in these):.2f} |"
        )
    return lines


def _one(job: tuple[str, int]) -> list[Lie]:
    return lies(*job)


def main(given: Sequence[str]) -> int:
    """Measure and write."""
    found = measured(_one, options(12).parse_args(given))
    sys.stdout.write("\n".join(table(found)) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
