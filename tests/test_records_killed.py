"""A writer that is killed at any moment loses nothing that it had acknowledged, and nothing that others had.

Some hundreds of writers are killed with signal 9: while they open the file or make it, while they write,
one at a time and two at once, with a reader at work all the while. What a process leaves undone when it is
killed is what is tested here; that the disk itself keeps what it was told to keep when the power goes is
the promise of full synchronisation.
"""

from __future__ import annotations

import contextlib
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from killed_writers import CALL, expected_text
from wringout.errors import DataError
from wringout.records.store import Store, open_store

TURNS = 5  # records, one after the other
KILLS = 60  # in each of them
NEW_FILES = 60  # writers that begin with no file at all


class Writers:
    """Makes writers, kills them, and knows what they acknowledged."""

    def __init__(self) -> None:
        self.heard, told = os.pipe()
        os.set_blocking(self.heard, False)
        script = Path(__file__).with_name("killed_writers.py")
        self.maker = subprocess.Popen(
            [sys.executable, str(script), str(told)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            pass_fds=[told],
            text=True,
            bufsize=1,
        )
        os.close(told)
        self.unfinished = b""

    def run(self, path: Path, count: int, seed: int, first: bool, delay: float) -> tuple[list[str], int]:
        """Let so many write, kill them all, and give back what they acknowledged and how many died at
        work."""
        assert self.maker.stdin is not None
        assert self.maker.stdout is not None
        self.maker.stdin.write(f"{path} {count} {seed}\n")
        made = [int(word) for word in self.maker.stdout.readline().split()]
        acknowledged: list[str] = []
        until = time.monotonic() + 20.0
        while first and not acknowledged and time.monotonic() < until:
            acknowledged += self.said()
        time.sleep(delay)
        for process in made:
            with contextlib.suppress(ProcessLookupError):  # ended by itself: the next line tells
                os.kill(process, signal.SIGKILL)
        assert self.maker.stdout.readline() == "dead\n"
        return acknowledged + self.said(), len(made)

    def said(self) -> list[str]:
        """The identifiers that were acknowledged since the last time; a line that was cut off was never
        said."""
        try:
            while piece := os.read(self.heard, 1 << 16):
                self.unfinished += piece
        except BlockingIOError:
            pass
        *lines, self.unfinished = self.unfinished.split(b"\n")
        return [word for line in lines for word in line.decode().split()]

    def stop(self) -> None:
        assert self.maker.stdin is not None
        assert self.maker.stdout is not None
        self.maker.stdin.close()
        self.maker.wait(20)
        self.maker.stdout.close()
        os.close(self.heard)


@pytest.fixture(scope="module")
def writers() -> Iterator[Writers]:
    made = Writers()
    yield made
    made.stop()


def check(path: Path, acknowledged: list[str]) -> int:
    """Everything acknowledged is there, whole, and the file is sound; how many events it holds."""
    with open_store(path) as store:
        assert store.file.database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        events = store.events()
        there = {event.id for event in events} | store.contents()
    assert set(acknowledged) <= there
    assert all(event.body["text"] == expected_text(event.id) for event in events)
    batches = Counter((event.author, event.device) for event in events)
    assert set(batches.values()) <= {1, 3}, "a batch is kept whole or not at all"
    return len(events)


class Reader:
    """Reads a record all the while; nothing that was seen may go, and no event may be seen half written."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.reads = 0
        self.faults: list[str] = []
        self.done = threading.Event()
        self.thread = threading.Thread(target=self.read)
        self.thread.start()

    def read(self) -> None:
        seen: set[str] = set()
        while not self.done.wait(0.01):
            try:
                events = self.store.events(CALL)
            except DataError as fault:
                self.faults.append(str(fault))
                return
            now = {event.id for event in events}
            if not seen <= now:
                self.faults.append("an event was seen and is gone")
            if any(event.body["text"] != expected_text(event.id) for event in events):
                self.faults.append("an event was seen half written")
            seen = now
            self.reads += 1

    def stop(self) -> None:
        self.done.set()
        self.thread.join()


@pytest.mark.parametrize("turn", range(TURNS))
def test_killed_while_writing_one_or_two_at_once_with_a_reader(
    writers: Writers, tmp_path: Path, turn: int
) -> None:
    path = tmp_path / "record.sqlite"
    chance = random.Random(turn)
    acknowledged: list[str] = []
    killed = 0
    with open_store(path) as store:
        reader = Reader(store)
        try:
            while killed < KILLS:
                said, dead = writers.run(
                    path,
                    count=chance.choice((1, 1, 2)),
                    seed=killed,
                    first=chance.random() < 0.8,
                    delay=chance.uniform(0.0, 0.006),
                )
                acknowledged += said
                killed += dead
                if killed % 5 == 0:
                    check(path, acknowledged)
        finally:
            reader.stop()
    assert reader.faults == []
    assert reader.reads > 5
    check(path, acknowledged)
    assert len(acknowledged) > KILLS / 2, "writers were killed at work and not before it"


def test_killed_while_the_file_is_being_made(writers: Writers, tmp_path: Path) -> None:
    chance = random.Random(10)
    unfinished = 0
    longest = 0.01  # s, follows the machine so that about half of them get as far as their first event
    for number in range(NEW_FILES):
        path = tmp_path / str(number) / "record.sqlite"
        said, _ = writers.run(
            path, count=1 + number % 2, seed=number, first=False, delay=chance.uniform(0.0, longest)
        )
        unfinished += not said
        longest *= 0.8 if said else 1.25
        check(path, said)
    assert 0 < unfinished < NEW_FILES, "some were killed before their first event, some after"
