"""What bounds the answer: the same weighing on calls made by the machine, as read and with less unknown.

Weighing and these calls share every equation, so that whatever is missed here is missed for want of knowledge
and not by our model: by what was not asked, by the errors of instruments and equations that the calls are
drawn with, by slips, and by what differs from one healthy machine to the next. Each is taken away in turn.
What the practice calls miss beyond the first row is then our model's. Run as a program it writes the table of
docs/validation.md::

    python tests/study/bounds.py --calls 60
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import units
from weighing_tools import WALK_UP, Look, Simulated, prior_draw, simulate, unit_of
from wringout.catalogue.points import points_of
from wringout.documents.call import Call, Event, Force, Reading, Release
from wringout.machine.known import KnownMachine
from wringout.machine.steady import read_points
from wringout.weighing.answer import Answer, weigh
from wringout.weighing.batch import settled
from wringout.weighing.next_check import NOT_ASKED, STATES
from wringout.weighing.situation import BINARY

__all__ = ["KINDS", "VARIANTS", "Found", "Key", "found", "made", "noiseless", "some_of", "table"]

Key = tuple[str, str]  # state and point
CHECKS, SURE = 12, 0.9
KINDS = (1, 1, 0, 1, 2, 1, 3, 0, 1, 2)  # how many causes the calls have, in turn
NARROW = 1e-6  # variance of what is known, in the standard deviations of its kind


@dataclass(frozen=True)
class Found:
    """What one variant made of one call; ``kind`` its number of causes."""

    variant: str
    kind: int
    exact: bool
    recall: float | None
    accused: bool
    truth: float


def made(number: int) -> Simulated:
    """Every reading of every state of one call, with errors of instruments and equations, and slips; the same
    number gives the same call."""
    homes = [unit_of(text) for text in units.UNITS.values()]
    unit, rng = homes[number % len(homes)], np.random.default_rng(31_000 + number)
    wanted = KINDS[number % len(KINDS)]
    truths = [h for h in prior_draw(unit, 4000, rng) if len(h.causes) == wanted]
    names = tuple(name for name in points_of(unit))
    looks = [Look(names, state) for state in STATES]
    return simulate(unit, truths, looks, rng, model_error=True, slips=True, candidates=12_000)


def readings_of(call: Call) -> dict[Key, Reading]:
    """A call's readings by state and point."""
    read: dict[Key, Reading] = {}
    held = "auto"
    for event in call.events:
        if isinstance(event, Force):
            held = f"{event.item}={100.0 * event.to:g} %"
        elif isinstance(event, Release):
            held = "auto"
        elif isinstance(event, Reading):
            read[held, event.point] = event
    return read


def some_of(call: Call, wanted: Sequence[Key], instead: Mapping[Key, float] | None = None) -> Call:
    """The call with some of its readings, state by state, and other values for those that are given."""
    read = readings_of(call)
    events: list[Event] = []
    for state in dict.fromkeys(state for state, _ in wanted):
        here = [
            read[key].model_copy(update={"value": (instead or {}).get(key, read[key].value)})
            for key in wanted
            if key[0] == state
        ]
        item, _, share = state.partition("=")
        if state != "auto":
            to = float(share.removesuffix("%")) / 100.0
            events.append(Force(at=here[0].at, item=item, to=to))  # type: ignore[arg-type]
        events += sorted(here, key=lambda event: event.at)
        if state != "auto":
            events.append(Release(at=here[-1].at, item=item))  # type: ignore[arg-type]
    return Call(unit=call.unit, complaint=call.complaint, events=tuple(events))


def noiseless(one: Simulated) -> dict[Key, float]:
    """What exact instruments would show, were the equations exact."""
    exact: dict[Key, float] = {}
    for index, situation in enumerate(one.at.problem.situations):
        s = settled(one.at, index, [one.truth], np.zeros(1, dtype=np.intp), one.z[None])
        points = {name: float(np.broadcast_to(value, 1)[0]) for name, value in read_points(s).items()}
        exact |= {(situation.state, name): value for name, value in points.items() if name not in BINARY}
    shown = readings_of(one.call)
    return {key: value for key, value in exact.items() if key in shown and key[1] not in _DECIDED}


_DECIDED = frozenset(WALK_UP[:3])  # what the controller decides is no instrument's reading


def asked(call: Call, all_read: Mapping[Key, Reading]) -> list[Key]:
    """The walk-up and what the answer's own next checks ask for, until a set is sure or enough was asked."""
    taken = [("auto", name) for name in WALK_UP if ("auto", name) in all_read]
    for _ in range(CHECKS):
        answer = weigh(some_of(call, taken), np.random.default_rng(0))
        if answer.sets[0].probability >= SURE:
            break
        further = ((c.state, c.point) for c in answer.next if not c.again and (c.state, c.point) in all_read)
        following = next((key for key in further if key not in taken), None)
        if following is None:
            break
        taken.append(following)
    return taken


def walked_up(one: Simulated, taken: Sequence[Key]) -> Answer:
    """Walk-up readings alone."""
    first = [key for key in taken if key[0] == "auto" and key[1] in WALK_UP]
    return weigh(some_of(one.call, first), np.random.default_rng(0), checks=False)


def as_read(one: Simulated, taken: Sequence[Key]) -> Answer:
    """As a technician has it."""
    return weigh(some_of(one.call, taken), np.random.default_rng(0), checks=False)


def machine_known(one: Simulated, taken: Sequence[Key]) -> Answer:
    """With the machine's healthy parameters known."""
    names = tuple(row.name for row in one.at.rows)
    known = KnownMachine(names, one.z[: len(names)], NARROW * np.eye(len(names)))
    return weigh(some_of(one.call, taken), np.random.default_rng(0), checks=False, known=known)


def without_noise(one: Simulated, taken: Sequence[Key]) -> Answer:
    """With readings free of error, which weighing does not know."""
    return weigh(some_of(one.call, taken, noiseless(one)), np.random.default_rng(0), checks=False)


def all_answers(one: Simulated, taken: Sequence[Key]) -> Answer:
    """With every reading of every state."""
    every = [key for key in readings_of(one.call) if key[1] not in NOT_ASKED or key in taken]
    return weigh(some_of(one.call, every), np.random.default_rng(0), checks=False)


VARIANTS: Mapping[str, Callable[[Simulated, Sequence[Key]], Answer]] = {
    "walk-up": walked_up,
    "12 checks": as_read,
    "12 checks, machine's parameters known": machine_known,
    "12 checks, readings without error": without_noise,
    "all answers of all states": all_answers,
}


def found(number: int) -> list[Found]:
    """One call in every variant."""
    one = made(number)
    taken = asked(one.call, readings_of(one.call))
    truth = set(one.truth.causes)
    rows: list[Found] = []
    for variant, way in VARIANTS.items():
        answer = way(one, taken)
        ranked = sorted(answer.marginals, key=lambda cause: -answer.marginals[cause])[: len(truth)]
        chance = next((s.probability for s in answer.sets if set(s.causes) == truth), 0.0)
        rows.append(
            Found(
                variant,
                len(truth),
                set(answer.sets[0].causes) == truth,
                len(truth & set(ranked)) / len(truth) if truth else None,
                any(p >= 0.8 and cause not in truth for cause, p in answer.marginals.items()),
                chance,
            )
        )
    return rows


def table(rows: Sequence[Found]) -> list[str]:
    """The lines of a Markdown table."""
    lines = [
        "| weighed with | healthy called so | one cause exact | two: recall | three: recall "
        "| accused | log loss |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]

    def share(values: Sequence[float]) -> str:
        return f"{100.0 * float(np.mean(values)):.0f} % of {len(values)}" if values else "-"

    for variant in VARIANTS:
        these = [row for row in rows if row.variant == variant]
        loss = float(np.mean([-np.log(max(row.truth, 1e-6)) for row in these]))
        cells = [
            share([row.exact for row in these if row.kind == 0]),
            share([row.exact for row in these if row.kind == 1]),
            share([row.recall for row in these if row.kind == 2 and row.recall is not None]),
            share([row.recall for row in these if row.kind == 3 and row.recall is not None]),
            share([row.accused for row in these]),
            f"{loss:.2f}",
        ]
        lines.append(f"| {variant} | {' | '.join(cells)} |")
    return lines


def main(given: Sequence[str]) -> int:
    """Weigh and write the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--calls", type=int, default=60)
    parser.add_argument("--jobs", type=int, default=2)
    a = parser.parse_args(given)
    rows: list[Found] = []
    with multiprocessing.Pool(a.jobs) as pool:
        for done in pool.imap_unordered(found, range(a.calls)):
            rows += done
    sys.stdout.write("\n".join(table(rows)) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
