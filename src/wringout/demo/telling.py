"""Tells a demo story in words, 80 columns wide."""

from __future__ import annotations

import os
import subprocess
import sys
import textwrap
from collections.abc import Generator, Iterable, Iterator
from pathlib import Path

import numpy as np

from wringout.demo.story import STORIES, Step, Story, story
from wringout.documents.call import Change, Event, Force, Reading, Release
from wringout.documents.overview import kind_in_words
from wringout.weighing.answer import Answer, weigh
from wringout.weighing.evidence import still_wrong
from wringout.weighing.evidence_words import plain, set_title, state_words

__all__ = ["tell", "told"]

WIDTH = 79
MOST_SETS = 3
SEED = 0  # the one of `wringout weigh`: the demo shows what the command answers
HELD = {"reheat.command": "the reheat command", "cooling.call": "the cooling call"}
PREFACE = """\
Two invented buildings. The readings were computed once by this package's own machine with causes planted
in it, and carry instrument error; so it is known what was wrong, and at the end the answer stands beside
it. Which reading comes next is what the tool advised on the readings before. What follows is weighed now,
on this computer."""


def _wrapped(text: str, indent: int = 0, hang: int = 0) -> str:
    return textwrap.fill(
        " ".join(text.split()),
        WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + hang),
        break_on_hyphens=False,
    )


def told(names: Iterable[str] = STORIES) -> Iterator[str]:
    """Every line of the demo, one story after the other."""
    yield _wrapped(PREFACE)
    verdicts = []
    for name in names:
        one = story(name)
        yield ""
        yield "=" * WIDTH
        last = yield from _story(one)
        verdicts.append(_verdict(one, last))
    yield ""
    yield "=" * WIDTH
    yield "The answers against what was planted"
    for words in verdicts:
        yield _wrapped(words, 2, 2)


def _story(one: Story) -> Generator[str, None, Answer]:
    unit = one.steps[0].call.unit
    yield _wrapped(f"{unit.site.name}, {unit.name}")
    yield _wrapped(kind_in_words(unit))
    yield _wrapped(f"Complaint: {one.steps[0].call.complaint}")
    answer = None
    for number, step in enumerate(one.steps, 1):
        yield ""
        yield "-- The walk-up readings" if number == 1 else f"-- Step {number}: the advice followed"
        yield from _events(step.new)
        answer = _weighed(step)
        last = number == len(one.steps)
        yield from _sets(answer)
        if not last:
            yield from _advice(answer)
    assert answer is not None
    yield ""
    yield "-- The answer, as the commands print it"
    yield from _command("ledger", one.steps[-1].path, 18)
    yield from _command("weigh", one.steps[-1].path)
    yield ""
    yield "-- The repair, and the readings after it"
    yield from _events(one.final.new, one.steps[-1].call.events[-1])
    after = _weighed(one.final)
    yield "   Still wrong now:"
    for causes, probability in still_wrong(after)[:2]:
        yield _wrapped(f"{100 * probability:3.0f} % {set_title(causes)}", 5, 6)
    return answer


def _weighed(step: Step) -> Answer:
    return weigh(step.call, np.random.default_rng(SEED))


def _events(new: Iterable[Event], before: Event | None = None) -> Iterator[str]:
    day = before.at.date() if before else None
    for event in new:
        if day is not None and event.at.date() != day:
            yield f"   -- {event.at:%Y-%m-%d}"
        day = event.at.date()
        yield _wrapped(f"{event.at:%H:%M} {_event(event)}", 3, 6)


def _event(event: Event) -> str:
    if isinstance(event, Reading):
        return f"read {plain(event.point)}: {event.text.removesuffix(' count')}"
    if isinstance(event, Force):
        return f"held {HELD[event.item]} at {100.0 * event.to:.3g} % and waited"
    if isinstance(event, Release):
        return f"released {HELD[event.item]} to control"
    if isinstance(event, Change):
        return f"mended: {event.text} ({event.cause})"
    return event.text


def _sets(answer: Answer) -> Iterator[str]:
    yield "   Most probable:"
    for one in answer.sets[:MOST_SETS]:
        yield _wrapped(f"{100 * one.probability:3.0f} % {set_title(one.causes)}", 5, 6)


def _advice(answer: Answer) -> Iterator[str]:
    check = answer.next[0]
    yield _wrapped(
        f"Next, says the tool: {plain(check.point)}, {state_words(check.state)} ({check.minutes:.3g} min)",
        3,
        2,
    )


def _command(name: str, path: Path, most: int | None = None) -> Iterator[str]:
    """What a command of ours prints on a call, run as anybody runs it; nothing where it is not there."""
    run = subprocess.run(
        [sys.executable, "-c", "from wringout.cli.main import main; main()", name, path.name],
        cwd=path.parent,
        env={**os.environ, "COLUMNS": str(WIDTH + 1), "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    if run.returncode != 0:
        raise RuntimeError(f"wringout {name} {path}: {run.stderr.strip()}")
    lines = run.stdout.rstrip("\n").split("\n")
    yield ""
    yield f"$ wringout {name} {path.name}"
    yield from lines[:most]
    if most is not None and len(lines) > most:
        yield f"   ({len(lines) - most} more lines)"


def _verdict(one: Story, answer: Answer) -> str:
    best = answer.sets[0]
    right = set(best.causes) == set(one.planted)
    return (
        f"{one.steps[0].call.unit.site.name}: planted {set_title(sorted(one.planted))}; named "
        f"{set_title(best.causes)} with {100 * best.probability:.0f} %: {'right' if right else 'WRONG'}."
    )


def tell() -> None:
    """Write the demo to the terminal."""
    import click

    for line in told():
        click.echo(line)
