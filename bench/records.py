"""The record: events kept a second, each on the disk; a long call folded; a queue received; calls listed.

On the file system of TMPDIR; what a durable event costs is what that disk takes to synchronise. Run as
``python bench/records.py``.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from sample_documents import RECLAIM
from wringout.catalogue.calls import vocabulary
from wringout.records.events import Event, event_from
from wringout.records.fold import fold_call
from wringout.records.store import Store, open_store
from wringout.records.sync import receive

__all__ = ["run"]

EVENTS = 500
BEGIN = datetime(2027, 5, 4, 9, 0, tzinfo=UTC)


def readings(store: Store, call_id: str, count: int) -> list[Event]:
    """Readings of one call, a second apart, every tenth of them corrected."""
    made: list[Event] = []
    for number in range(count):
        at = BEGIN + timedelta(seconds=number)
        body: dict[str, object] = {
            "at": at.strftime("%Y-%m-%dT%H:%M:%S"),
            "point": "supply.t",
            "value": "61.5 degF",
        }
        kind = "reading"
        if number % 10 == 9:
            kind, body = "corrected", {"of": made[-1].id, "body": {**made[-1].body, "value": "62.5 degF"}}
        made.append(
            event_from(
                {
                    "id": store.new_id(),
                    "call_id": call_id,
                    "kind": kind,
                    "body": body,
                    "author": "Ann Sample",
                    "device": "phone",
                    "recorded": at,
                }
            )
        )
    return made


def timed(act: Callable[[], object], times: int = 1) -> tuple[float, float]:
    """Seconds by the clock and of the processor, the least of several runs."""
    best, least = float("inf"), float("inf")
    for _ in range(times):
        clock, processor = time.perf_counter(), time.process_time()
        act()
        best, least = (
            min(best, time.perf_counter() - clock),
            min(least, time.process_time() - processor),
        )
    return best, least


def run() -> list[tuple[str, str]]:
    """Keep, fold, read and receive.

    Returns
    -------
    list of (str, str)
        What was measured, and the result in words.
    """
    rows = []
    known = vocabulary()
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "record.sqlite") as store:
        names = {"author": "Ann Sample", "device": "phone"}
        unit = store.save_unit(RECLAIM, **names)

        def call() -> str:
            return store.open_call(unit, "The cheese sweats.", **names)

        one = call()
        single = readings(store, one, EVENTS)
        clock, processor = timed(lambda: [store.append(event) for event in single])
        rows.append(
            (
                "one event a transaction",
                f"{EVENTS / clock:,.0f}/s, {1e3 * processor / EVENTS:.2f} ms processor each",
            )
        )
        many = readings(store, call(), EVENTS)
        clock, processor = timed(lambda: store.append(many))
        rows.append((f"{EVENTS} events in one transaction", f"{EVENTS / clock:,.0f}/s"))
        events = store.events(one)
        clock, processor = timed(lambda: fold_call(one, events), 5)
        rows.append((f"fold of a call of {len(events)} events", f"{1e3 * processor:.1f} ms"))
        clock, processor = timed(lambda: store.call_document(one, known), 5)
        rows.append(("the same from the file to a checked document", f"{1e3 * processor:.1f} ms"))
        queue = [event.as_json() for event in readings(store, call(), 50)]
        clock, processor = timed(lambda: receive(store, queue, known))
        rows.append(
            ("queue of 50 events, each checked and durable", f"{clock:.2f} s, {processor:.2f} s processor")
        )
        again, _ = timed(lambda: receive(store, queue, known))
        rows.append(("the same queue sent again", f"{again:.3f} s"))
        for _ in range(200):
            call()
        clock, processor = timed(store.calls)
        later, _ = timed(store.calls, 5)
        rows.append(("list of 203 calls, first and later", f"{1e3 * clock:.0f} ms, {1e3 * later:.0f} ms"))
    return rows


if __name__ == "__main__":
    for what, result in run():
        sys.stdout.write(f"{what:52} {result}\n")
