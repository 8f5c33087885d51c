"""Writers for the test that kills them: made by forking one process that has imported everything already.

Lines on standard input: ``PATH COUNT SEED``. The answer is a line with the processes made, and, when all
of them have died, the line ``dead``. Each writer keeps events until it is killed, and after each `append`
that returned says so on the pipe whose number is the first argument, in one write: who, and the
identifiers that were kept.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import traceback
from datetime import UTC, datetime

from wringout.records.attachments import content_of
from wringout.records.events import Event
from wringout.records.store import Store, open_store

__all__ = ["expected_text"]

CALL = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


def expected_text(identifier: str) -> str:
    """What the note of an identifier says: known without having seen it."""
    return f"note {identifier} " * 20


def note(store: Store, writer: str, batch: int) -> Event:
    identifier = store.new_id()
    return Event(
        id=identifier,
        kind="note",
        body={"at": "2027-05-04T09:00:00", "text": expected_text(identifier)},
        author=writer,
        device=f"batch {batch}",
        recorded=datetime.now(UTC),
        call_id=CALL,
    )


def write(path: str, acknowledge: int, seed: int) -> None:
    chance = random.Random(f"{seed} {os.getpid()}")
    writer = f"writer {os.getpid()}"
    with open_store(path, busy_seconds=30.0) as store:
        for batch in range(1_000_000):
            events = [note(store, writer, batch) for _ in range(chance.choice((1, 1, 1, 3)))]
            contents = [content_of(f"file of {events[0].id}".encode())] if chance.random() < 0.2 else []
            kept = store.append(events, contents)
            words = [*kept, *(content.sha256 for content in contents)]
            os.write(acknowledge, (" ".join(words) + "\n").encode())


def tell(*words: object) -> None:
    sys.stdout.write(" ".join(map(str, words)) + "\n")
    sys.stdout.flush()


def main() -> None:
    acknowledge = int(sys.argv[1])
    for line in sys.stdin:
        path, count, seed = line.rsplit(" ", 2)
        made = []
        for number in range(int(count)):
            child = os.fork()
            if child == 0:
                try:
                    write(path, acknowledge, int(seed) + number)
                except BaseException:  # noqa: BLE001 - told, and seen from the exit code
                    traceback.print_exc()
                finally:
                    os._exit(1)
            made.append(child)
        tell(*made)
        ended = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in made]
        tell("dead" if set(ended) == {-signal.SIGKILL} else f"a writer ended by itself: {ended}")


if __name__ == "__main__":
    main()
