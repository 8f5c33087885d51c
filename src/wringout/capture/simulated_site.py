"""Both simulated devices of one unit, and the person at the unit, whose words come by a file.

The devices answer on loopback addresses. Nothing that comes over the network alters the unit: a state is
forced by a line in the control file, as a technician would force it at the controller.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import logging
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from wringout.capture.clock import Clock
from wringout.capture.simulated_bacnet import SimulatedBacnet
from wringout.capture.simulated_modbus import UNIT_ID, SimulatedModbus
from wringout.capture.simulated_unit import ORDERS, SimulatedUnit
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.quantity import Dimension, parse

__all__ = ["SITE_ORDERS", "SimulatedSite"]

SITE_ORDERS = f"{ORDERS}, drop bacnet 20 s, drop modbus 20 s, reveal"
HOSTS = {"bacnet": ("127.0.0.2", "127.0.0.1"), "modbus": ("127.0.0.4", "127.0.0.1")}
BREATH = 0.25  # s between looks at the control file, and between steps of what is shown
LONGEST_DROP = 3600.0  # s


@dataclass
class SimulatedSite:
    """A unit with its two devices.

    Attributes
    ----------
    unit : Unit
    clock : Clock
        By which the unit runs.
    causes : tuple of str
        What is wrong with it.
    seed : int
        For all that is drawn.
    control : Path or None
        File whose lines are orders.
    tell : callable
        Gets every answer to an order.
    """

    unit: Unit
    clock: Clock
    causes: tuple[str, ...] = ()
    seed: int = 0
    control: Path | None = None
    tell: Callable[[str], None] = lambda words: None

    def __post_init__(self) -> None:
        self.machine = SimulatedUnit(self.unit, self.causes, self.clock.now(), self.seed)
        self.hidden = self.causes
        self.bacnet: SimulatedBacnet
        self.modbus: SimulatedModbus
        self._read = 0
        self._drops: set[asyncio.Task[None]] = set()

    @property
    def addresses(self) -> dict[str, str | int]:
        """Where the devices answer, and the unit id of the Modbus device."""
        return {"bacnet": self.bacnet.address, "modbus": self.modbus.address, "unit_id": UNIT_ID}

    async def open(self) -> None:
        """Let the devices answer.

        Raises
        ------
        InputError
            When no loopback address can be had.
        """
        logging.getLogger("bacpypes3").setLevel(logging.CRITICAL)
        logging.getLogger("pymodbus").setLevel(logging.CRITICAL)
        for host in HOSTS["bacnet"]:
            self.bacnet = SimulatedBacnet(f"{self.unit.name} (simulated)", host)
            try:
                self.bacnet.open()
                break
            except OSError:
                continue
        else:
            raise InputError("no loopback address can be had for the simulated BACnet device")
        for host in HOSTS["modbus"]:
            self.modbus = SimulatedModbus(host)
            try:
                await self.modbus.open()
                break
            except OSError:
                continue
        else:
            self.bacnet.close()
            raise InputError("no loopback address can be had for the simulated Modbus device")
        self._show()

    async def close(self) -> None:
        """Let them answer no longer."""
        for task in self._drops:
            task.cancel()
        await asyncio.gather(*self._drops, return_exceptions=True)
        self.bacnet.close()
        await self.modbus.close()

    async def run(self, stop: asyncio.Event) -> None:
        """Run until told to stop."""
        while not stop.is_set():
            for line in self._orders():
                try:
                    self.tell(self.order(line))
                except InputError as error:
                    self.tell(f"not done: {error}")
            self._show()
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(stop.wait(), BREATH)

    def order(self, words: str) -> str:
        """Do what a person at the site says.

        Parameters
        ----------
        words : str
            One line, as SITE_ORDERS has examples.

        Returns
        -------
        str
            What was done.

        Raises
        ------
        InputError
            For words that mean nothing here.
        """
        parts = words.split(maxsplit=2)
        if parts == ["reveal"]:
            return "hidden in it: " + (", ".join(self.hidden) if self.hidden else "nothing, it is healthy")
        if parts and parts[0] == "drop" and len(parts) == 3 and parts[1] in HOSTS:
            seconds = min(float(parse(parts[2], Dimension.TIME).value), LONGEST_DROP)
            task = asyncio.get_running_loop().create_task(self._drop(parts[1], seconds))
            self._drops.add(task)
            task.add_done_callback(self._drops.discard)
            return f"the {parts[1]} device is silent for {seconds:g} s"
        return self.machine.order(words)

    async def _drop(self, which: str, seconds: float) -> None:
        if which == "bacnet":
            self.bacnet.close()
        else:
            await self.modbus.close()
        await asyncio.sleep(seconds / self.clock.speed)
        for wait in itertools.repeat(0.2, 50):
            try:
                if which == "bacnet":
                    self.bacnet.open()
                else:
                    await self.modbus.open()
                break
            except OSError:  # the port is let go of a moment later
                await asyncio.sleep(wait)

    def _show(self) -> None:
        self.machine.run_to(self.clock.now())
        points = self.machine.shown()
        self.bacnet.show(points)
        self.modbus.show(points)

    def _orders(self) -> list[str]:
        """Lines that have come into the control file."""
        if self.control is None:
            return []
        try:
            with self.control.open("rb") as stream:
                size = stream.seek(0, os.SEEK_END)
                stream.seek(min(self._read, size))
                data = stream.read(65_536)
        except OSError:
            return []
        whole = data[: data.rfind(b"\n") + 1]
        self._read += len(whole)
        lines = whole.decode("utf-8", errors="replace").splitlines()
        return [line.strip() for line in lines if line.strip() and not line.startswith("#")]
