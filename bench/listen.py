"""Live points on loopback: points a second of each protocol, and rows a second onto the disk."""

from __future__ import annotations

import asyncio
import tempfile
import time
from importlib.resources import as_file, files
from pathlib import Path

from wringout.capture.bacnet_client import BacnetClient
from wringout.capture.discovering import find_bacnet, find_modbus
from wringout.capture.polling import Poller, pollers_of
from wringout.capture.recording import TIME_FORMAT, append_cells, begin, time_heading
from wringout.capture.registers import read_registers
from wringout.capture.simulated_process import SimulatedProcess, start

SECONDS = 3.0  # s a measurement
WAIT = 30.0  # s for an answer


def run() -> list[tuple[str, str]]:
    """Measure against the simulated site, which runs in a process of its own."""
    with as_file(files("wringout") / "demo" / "ice_hall" / "unit.yaml") as unit:
        site = start(unit)
        try:
            rows = asyncio.run(_protocols(site))
        finally:
            site.stop()
    return [*rows, _disk()]


async def _protocols(site: SimulatedProcess) -> list[tuple[str, str]]:
    client = await BacnetClient.open()
    begun = time.perf_counter()
    bacnet = await find_bacnet(client, site.bacnet, WAIT)
    took = time.perf_counter() - begun
    modbus = await find_modbus(site.modbus, site.unit_id, read_registers(site.registers))
    rows = [(f"BACnet/IP, {len(bacnet.device.columns)} objects found in", f"{took:.2f} s")]
    devices = (bacnet.device, modbus.device)
    for name, poller in zip(("BACnet/IP", "Modbus TCP"), pollers_of(devices, client), strict=True):
        rows.append(await _polled(name, poller))
        poller.close()
    client.close()
    return rows


async def _polled(name: str, poller: Poller) -> tuple[str, str]:
    values: dict[str, float] = {}
    await poller.poll(values, WAIT)
    rounds, busy, begun = 0, time.process_time(), time.perf_counter()
    while time.perf_counter() < begun + SECONDS:
        await poller.poll(values, WAIT)
        rounds += 1
    wall, cpu = time.perf_counter() - begun, time.process_time() - busy
    points = rounds * len(values)
    per_round = f"{len(values)} points a round"
    return f"{name}, {per_round}", f"{points / wall:,.0f} points/s ({points / cpu:,.0f} per CPU second)"


def _disk() -> tuple[str, str]:
    with tempfile.TemporaryDirectory() as folder:
        columns = [f"c{k}" for k in range(25)]
        mapping = (
            f'format: wringout-trend/1\nfile: live.csv\ntime: {{column: "{time_heading(0.0)}", '
            f'format: "{TIME_FORMAT}"}}\ncolumns: {{c0: {{point: return.t, unit: degF}}}}\n'
        )
        rows = 0
        with begin(Path(folder) / "live.csv", columns, mapping, 0.0) as recording:
            begun = time.perf_counter()
            while time.perf_counter() < begun + 1.0:
                append_cells(recording, 1e9 + rows, dict.fromkeys(columns, 71.25))
                rows += 1
            wall = time.perf_counter() - begun
    return "rows of 25 columns, each flushed onto the disk", f"{rows / wall:,.0f} rows/s"
