"""The app with a real server and client: seconds from a reading sent to a page of suspects that knows it.

Two calls of an invented unit, of 12 readings and of 20 over three states. Each of the last readings is sent
as a thumb sends it, and the page of suspects asked for as a browser asks: the page, then its part until it is
there. Once with a server that has just started, then with one that is warm; beside it what the worker took.
Run as ``python bench/app.py``.
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from weighing import calls

import units
from web.client import Client
from web.server import served
from wringout.catalogue.points import shown
from wringout.documents.call import Call, Force, Reading, Release

__all__ = ["run"]

LAST = 6  # readings of each call that are timed


def steps(call: Call) -> list[tuple[str, dict[str, str]]]:
    """What is sent for each event: the end of its address, and its fields."""
    found = []
    for event in call.events:
        at = event.at.isoformat()
        if isinstance(event, Reading):
            found.append(
                ("tapped", {"at": at, "point": event.point, "value": shown(event.point, event.value, "ip")})
            )
        elif isinstance(event, Force):
            found.append(("force", {"at": at, "item": event.item, "hold": f"{100 * event.to:.0f} %"}))
        elif isinstance(event, Release):
            found.append(("force", {"at": at, "item": event.item, "hold": ""}))
    return found


def answered(client: Client, call: str, readings: int) -> None:
    """Ask for the suspects until they know all readings, as a page does that fills in what is worked out."""
    text = client.get(f"{call}/suspects")
    while f"From {readings} reading" not in text:
        text = client.part(f"{call}/suspects")


def send(client: Client, call: str, step: tuple[str, dict[str, str]]) -> None:
    """Send one form and be told where to go, without going there."""
    answer = client.http.post(f"{call}/{step[0]}", data={"csrf": client.token, **step[1]})
    if answer.status_code != 303:
        raise RuntimeError(f"{step}: {answer.status_code} {answer.text[:300]}")


def timed(client: Client, call: str, sent: list[tuple[str, dict[str, str]]], before: int) -> list[float]:
    """Seconds from each reading sent to its answer; held states among them are sent and not timed."""
    found = []
    for step in sent:
        began = time.perf_counter()
        send(client, call, step)
        if step[0] == "tapped":
            before += 1
            answered(client, call, before)
            found.append(time.perf_counter() - began)
    return found


def took(client: Client, call: str) -> float:
    """Seconds that the worker says the last answer took."""
    found = re.search(r"readings?, in ([0-9.]+) s", client.get(f"{call}/suspects"))
    return float(found[1]) if found else float("nan")


def run() -> list[tuple[str, str]]:
    """Time both calls, cold and warm.

    Returns
    -------
    list of (str, str)
        What was measured, and the result in words.
    """
    rows = []
    unit = {"document": ("unit.yaml", units.RECLAIM_UPSTREAM.encode())}
    for name, call in calls().items():
        sent = steps(call)
        cut = len(sent)
        while sum(step[0] == "tapped" for step in sent[cut:]) < LAST:
            cut -= 1
        first, last = sent[:cut], sent[cut:]
        count = sum(step[0] == "tapped" for step in first)
        with tempfile.TemporaryDirectory() as folder:
            with served(Path(folder)) as address, Client(address) as client:
                client.post("/calls/new", complaint="Fog.", unit="new", files=unit)
                path = client.seen[-1].removesuffix("/readings")
                for step in first:
                    send(client, path, step)
            with served(Path(folder)) as address, Client(address) as client:
                client.get("/")
                cold = timed(client, path, last[:1], count)[0]
                warm = timed(client, path, last[1:], count + 1)
                inside = took(client, path)
        rows.append((f"{name}: server just started", f"{cold:.2f} s"))
        rows.append(
            (
                f"{name}: warm",
                f"{min(warm):.2f} to {max(warm):.2f} s over {len(warm)} readings (worker: {inside:.1f} s)",
            )
        )
    return rows


if __name__ == "__main__":
    for what, result in run():
        sys.stdout.write(f"{what:52} {result}\n")
