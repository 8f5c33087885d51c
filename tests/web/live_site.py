"""A simulated site that is recorded while a test looks on: devices on loopback, a fast clock, a technician at
the control file."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Iterator
from pathlib import Path

from wringout.capture.bacnet_client import BacnetClient
from wringout.capture.clock import Clock
from wringout.capture.polling import pollers_of
from wringout.capture.recorder import record
from wringout.capture.registers import read_registers
from wringout.capture.session import Meter, find, map_columns, open_recording
from wringout.capture.simulated_process import SimulatedProcess, start
from wringout.documents.load import load_unit

EVERY = 10.0  # s of the site's clock from row to row


@contextlib.contextmanager
def recorded(
    folder: Path, unit: Path, causes: tuple[str, ...] = (), speed: float = 60.0, seed: int = 1
) -> Iterator[SimulatedProcess]:
    """Run the devices of an invented unit, and record what they show into ``live.csv``."""
    clock = Clock.faster(speed)
    site = start(unit, causes, clock, seed)
    failed: list[Exception] = []
    ending = threading.Event()

    def listen() -> None:
        try:
            asyncio.run(_listen(site, folder, unit, clock, ending))
        except Exception as error:  # noqa: BLE001 - told to the test below
            failed.append(error)

    thread = threading.Thread(target=listen)
    thread.start()
    try:
        yield site
    finally:
        ending.set()
        thread.join(20.0)
        site.stop()
    assert not failed, failed


async def _listen(
    site: SimulatedProcess, folder: Path, unit: Path, clock: Clock, ending: threading.Event
) -> None:
    client = await BacnetClient.open("127.0.0.1")
    try:
        meter = Meter(site.modbus, site.unit_id, read_registers(site.registers))
        found = await find(client, [site.bacnet], [meter])
        devices = tuple(one.device for one in found)
        path = folder / "live.csv"
        await map_columns(path, client, found, clock, load_unit(unit), 60.0)
        pollers = pollers_of(devices, client)
        stop = asyncio.Event()
        with open_recording(path, devices, clock.offset) as recording:
            job = asyncio.create_task(record(recording, pollers, clock, EVERY, stop))
            while not ending.is_set() and not job.done():
                await asyncio.sleep(0.1)
            stop.set()
            await job
        for poller in pollers:
            poller.close()
    finally:
        client.close()
