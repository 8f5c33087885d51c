"""In what order to check: our next check against three other orders, on the practice calls.

Every order is scored by the practice calls' own ``score.py``: the walk-up readings, then one further reading
after another, of those that the order names the first that can be had. Asking stops where a set of causes
reaches 0.9. Only the order differs; the weighing between two readings is the same. Run as a program it
writes the table and the picture of docs/next-check.md::

    python tests/study/policies.py --calls 4 --checks 8 --picture docs/pictures/next-check-orders.svg
"""

from __future__ import annotations

import argparse
import hashlib
import importlib.util
import json
import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar

import numpy as np

from wringout.catalogue.calls import load_call
from wringout.catalogue.points import point, points_of
from wringout.documents.call import Call
from wringout.weighing.answer import weigh
from wringout.weighing.document import answer_document
from wringout.weighing.next_check import NOT_ASKED, SETTLE_MINUTES, STATES
from wringout.weighing.situation import problem

__all__ = [
    "ORDERS",
    "PRACTICE",
    "Scored",
    "drawn",
    "judged",
    "mean",
    "measured",
    "options",
    "picture",
    "scored",
    "table",
]

PRACTICE = Path(__file__).resolve().parents[3] / "shared" / "practice"
SHUT, OPEN = "reheat.command=0 %", "reheat.command=100 %"
# what a careful technician reads, in order, where the walk-up did not: displays and drops first, then the
# water, then the unit with its reheat held open and shut, then what takes a lift or gauges
BY_HAND: tuple[tuple[str, str], ...] = (
    ("auto", "shown.reheat_in_hand"),
    ("auto", "shown.supply_t"),
    ("auto", "shown.outdoor_dew_point"),
    ("auto", "filter.drop"),
    ("auto", "coil_leaving.t"),
    ("auto", "reheat.stem"),
    ("auto", "reheat.water_in"),
    ("auto", "fan.speed"),
    ("auto", "chilled.water_in"),
    ("auto", "stage.<id>.current"),
    (OPEN, "supply.t"),
    (OPEN, "reheat.stem"),
    (OPEN, "reheat.water_in"),
    (OPEN, "reheat.water_out"),
    (SHUT, "supply.t"),
    (SHUT, "coil_leaving.t"),
    ("auto", "strainer.drop"),
    ("auto", "pump.head"),
    ("auto", "source.water_out"),
    ("auto", "reheat.signal"),
    ("auto", "fan.current"),
    ("auto", "mixed.t"),
    ("auto", "loop.flow"),
    ("cooling.call=100 %", "stage.<id>.current"),
    ("cooling.call=100 %", "coil_leaving.t"),
    ("cooling.call=100 %", "stage.<id>.superheat"),
    ("auto", "supply.airflow"),
    ("auto", "outdoor.airflow"),
)
Asked = list[tuple[str, str]]
T = TypeVar("T")


def readable(call: Call) -> Asked:
    """Every reading of every state that the call does not hold yet, in the contract's order."""
    taken = {(s.state, o.point) for s in problem(call, lambda *_: 1.0).situations for o in s.observations}
    names = [name for name in points_of(call.unit) if name not in NOT_ASKED]
    return [(state, name) for state in STATES for name in names if (state, name) not in taken]


def at_random(call: Call) -> Asked:
    """Any reading next, the same one at every run for the same call."""
    told = "|".join(str(event) for event in call.events)
    rng = np.random.default_rng(int.from_bytes(hashlib.sha256(told.encode()).digest()[:8], "big"))
    found = readable(call)
    return [found[k] for k in rng.permutation(len(found))]


def cheapest_first(call: Call) -> Asked:
    """The reading of fewest minutes next, a wait for a state not entered yet included."""
    entered = {"auto", *(s.state for s in problem(call, lambda *_: 1.0).situations)}

    def minutes(one: tuple[str, str]) -> float:
        return point(one[1]).minutes + (0.0 if one[0] in entered else SETTLE_MINUTES)

    return sorted(readable(call), key=minutes)


def by_hand(call: Call) -> Asked:
    """The list of a careful technician, whatever was read before."""
    left = readable(call)
    names: Asked = []
    for state, name in BY_HAND:
        ids = call.unit.stage_ids if "<id>" in name else ("",)
        names += [(state, name.replace("<id>", id)) for id in ids]
    return [one for one in names if one in left]


ORDERS: Mapping[str, Callable[[Call], Asked] | None] = {
    "next check": None,  # the answer's own
    "technician's list": by_hand,
    "cheapest first": cheapest_first,
    "random": at_random,
}


@dataclass(frozen=True)
class Scored:
    """One call after up to so many checks in one order: what score.py makes of it."""

    call: str
    order: str
    checks: int
    minutes: float
    exact: bool
    recall: float | None
    healthy: bool | None
    log_loss: float
    accused: bool


def scorer() -> ModuleType:
    """The practice calls' own score.py."""
    spec = importlib.util.spec_from_file_location("practice_score", PRACTICE / "score.py")
    if spec is None or spec.loader is None:
        raise ImportError("score.py cannot be loaded")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def judged(name: str, checks: int, answer: Callable[[str], Mapping[str, Any]]) -> Mapping[str, Any]:
    """The row that score.py makes of one practice call, where ``answer`` weighs a call's file."""
    score = scorer()

    def answered(command: str, path: str, timeout: float, env: object) -> tuple[dict[str, Any], float]:
        document = score.check(json.loads(json.dumps(answer(path))))
        return document, document["seconds"]

    score.weigh = answered  # type: ignore[attr-defined]
    given = argparse.Namespace(command="{call}", checks=checks, timeout=600, selftest=False)
    row: Mapping[str, Any] = score.one_call(str(PRACTICE / "calls" / name), given, os.environ)
    if row["failures"]:
        raise RuntimeError(f"{name}: {row['failures']}")
    return row


def drawn(each: int, seed: int = 0) -> list[str]:
    """So many practice calls of each unit, by lot; the units are told by their documents."""
    by_unit: dict[str, list[str]] = {}
    for folder in sorted((PRACTICE / "calls").iterdir()):
        if (folder / "unit.yaml").is_file():
            key = hashlib.sha256((folder / "unit.yaml").read_bytes()).hexdigest()
            by_unit.setdefault(key, []).append(folder.name)
    rng = np.random.default_rng(seed)
    picked = [sorted(rng.choice(ids, min(each, len(ids)), replace=False)) for ids in by_unit.values()]
    # one of each unit after another, so that a part of the list is a fair sample too
    return [str(ids[k]) for k in range(each) for ids in picked if k < len(ids)]


def scored(name: str, most: int) -> list[Scored]:
    """One practice call in every order, after 0 to so many checks.

    Answers are kept by what was read, so that a run with one check more repeats nothing.
    """
    kept: dict[str, dict[str, Any]] = {}
    found: list[Scored] = []
    for order, ask in ORDERS.items():

        def answered(path: str, ask: Any = ask) -> Mapping[str, Any]:
            text = Path(path).read_text(encoding="utf-8")
            call = load_call(path)
            if text not in kept or (ask is None and not kept[text]["next"]):
                started = time.process_time()
                answer = weigh(call, np.random.default_rng(0), checks=ask is None)
                kept[text] = answer_document(answer, time.process_time() - started)
            document = dict(kept[text])
            if ask is not None:
                document["next"] = [{"state": state, "point": one} for state, one in ask(call)]
            return document

        for checks in range(most + 1):
            row = judged(name, checks, answered)
            f = row["checked"]
            found.append(
                Scored(
                    name,
                    order,
                    checks,
                    row["minutes"],
                    f["exact"],
                    f["recall"],
                    f["healthy"],
                    f["logloss"],
                    bool(f["accused"]),
                )
            )
    return found


def mean(values: Iterator[float | bool | None]) -> float:
    """Mean of what is there."""
    known = [float(value) for value in values if value is not None]
    return float(np.mean(known)) if known else float("nan")


def table(rows: Sequence[Scored]) -> list[str]:
    """The lines of a Markdown table: every order after every number of checks."""
    lines = [
        "| order | checks at most | minutes, mean | exact | recall@k | accused | log loss |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for order in ORDERS:
        for checks in sorted({row.checks for row in rows}):
            these = [row for row in rows if (row.order, row.checks) == (order, checks)]
            lines.append(
                f"| {order} | {checks} | {mean(r.minutes for r in these):.0f} | "
                f"{100 * mean(r.exact for r in these):.0f} % | {100 * mean(r.recall for r in these):.0f} % | "
                f"{100 * mean(r.accused for r in these):.0f} % | {mean(r.log_loss for r in these):.2f} |"
            )
    return lines


def curve(rows: Sequence[Scored], order: str, what: str) -> list[tuple[float, float]]:
    """Mean minutes against the mean of a figure, after each number of checks."""
    points = []
    for checks in sorted({row.checks for row in rows}):
        these = [row for row in rows if (row.order, row.checks) == (order, checks)]
        points.append((mean(r.minutes for r in these), mean(getattr(r, what) for r in these)))
    return points


# drawn in ink of one colour, told apart by dash and mark, so that it prints and nobody needs colours
DASHES = ("", "9 4", "2 4", "1 0 6 3")
WIDTH, HEIGHT, LEFT, BOTTOM = 640, 380, 64, 56
NAME = 110  # wide


def _along(path: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Points along a drawn curve, close to each other."""
    x, y = np.array(path).T
    steps = np.arange(x[0], x[-1], 3.0)
    return list(zip(steps.tolist(), np.interp(steps, x, y).tolist(), strict=True))


def picture(rows: Sequence[Scored], what: str = "exact", said: str = "calls exactly named") -> str:
    """Accuracy against minutes as SVG."""
    curves = {order: curve(rows, order, what) for order in ORDERS}
    most = max(x for points in curves.values() for x, _ in points)
    step = next(s for s in (5, 10, 20, 25, 50, 100) if most / s <= 8)
    end = step * (int(most / step) + 1)
    right = WIDTH - 150

    def x_of(minutes: float) -> float:
        return LEFT + (right - LEFT) * minutes / end

    def y_of(share: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - BOTTOM - 24) * share

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'font-family="sans-serif" font-size="13" aria-label="Share of {said} against minutes, by order">',
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
    ]
    for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
        y = y_of(share)
        parts.append(f'<path d="M{LEFT} {y:.1f}H{right}" stroke="#ddd"/>')
        parts.append(f'<text x="{LEFT - 8}" y="{y + 4:.1f}" text-anchor="end">{100 * share:.0f} %</text>')
    for minutes in range(0, end + 1, step):
        x = x_of(minutes)
        parts.append(f'<path d="M{x:.1f} {y_of(0.0):.1f}v5" stroke="#222"/>')
        parts.append(f'<text x="{x:.1f}" y="{y_of(0.0) + 20:.1f}" text-anchor="middle">{minutes}</text>')
    parts.append(
        f'<text x="{(LEFT + right) / 2:.0f}" y="{HEIGHT - 14}" text-anchor="middle">'
        "minutes of checks, mean over the calls</text>"
    )
    parts.append(f'<text x="{LEFT}" y="16">{said}</text>')
    drawn_at: dict[str, list[tuple[float, float]]] = {}
    names: list[tuple[float, float]] = []
    for (order, points), dash in zip(curves.items(), DASHES, strict=True):
        path = " ".join(f"{x_of(x):.1f},{y_of(y):.1f}" for x, y in points)
        wide = 2.6 if not dash else 1.6
        parts.append(
            f'<polyline points="{path}" fill="none" stroke="#222" stroke-width="{wide}" '
            f'stroke-dasharray="{dash}"/>'
        )
        parts += [f'<circle cx="{x_of(x):.1f}" cy="{y_of(y):.1f}" r="2.4" fill="#222"/>' for x, y in points]
        drawn_at[order] = [(x_of(x), y_of(y)) for x, y in points]
    for order, points in drawn_at.items():
        x, y = points[-1][0] + 8, points[-1][1]
        others = [at for other, path in drawn_at.items() if other != order for at in _along(path)] + names
        while any(x - 4 <= u <= x + NAME and abs(y - v) < 11 for u, v in others):
            y += 3
        names += [(x + k, y) for k in range(0, NAME, 10)]
        parts.append(f'<text x="{x:.1f}" y="{y + 4:.1f}">{order}</text>')
    return "\n".join([*parts, "</svg>", ""])


def _one(job: tuple[str, int]) -> list[Scored]:
    return scored(*job)


def measured(work: Callable[[tuple[str, int]], list[T]], a: argparse.Namespace) -> list[T]:
    """What is found on calls drawn by lot, some at a time; written as it comes where --rows names a file."""
    found: list[T] = []
    with multiprocessing.Pool(a.jobs) as pool:
        for done in pool.imap_unordered(work, [(name, a.checks) for name in drawn(a.calls)]):
            found += done
            if a.rows:
                a.rows.write_text("\n".join(json.dumps(vars(one)) for one in found), encoding="utf-8")
    return found


def options(checks: int) -> argparse.ArgumentParser:
    """How many calls and checks, on how many processes, and where the rows go."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--calls", type=int, default=4, help="of each unit")
    parser.add_argument("--checks", type=int, default=checks)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--rows", type=Path)
    return parser


def main(given: Sequence[str]) -> int:
    """Score and write; the rows too, where --rows names a file."""
    parser = options(8)
    parser.add_argument("--picture", type=Path)
    a = parser.parse_args(given)
    rows = measured(_one, a)
    sys.stdout.write("\n".join(table(rows)) + "\n")
    if a.picture:
        a.picture.write_text(picture(rows), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
