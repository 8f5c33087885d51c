"""Ask a device for all of its columns, in as few requests as it takes, and know when to leave it in peace."""

from __future__ import annotations

import asyncio
import math
import socket
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from wringout.capture.gate import NotRead
from wringout.capture.registers import Block, blocks_of, number_of
from wringout.capture.sources import BacnetDevice, Device, ModbusDevice
from wringout.errors import DataError, InputError

if TYPE_CHECKING:
    from wringout.capture.bacnet_client import BacnetClient

__all__ = [
    "BacnetPoller",
    "ModbusPoller",
    "Poller",
    "Rates",
    "host_and_port",
    "poll_all",
    "pollers_of",
    "resolved",
]

PRESENT_VALUE, STATUS_FLAGS = 85, 111
FAULT = 1  # of the status flags in-alarm, fault, overridden, out-of-service (clause 12.2.7)
MOST_OBJECTS = 20  # a request; the answer then fits the 480 octets that small devices take
FIRST_PAUSE, LONGEST_PAUSE = 1.0, 60.0  # s before a device that is away is asked again
WINDOW = 60.0  # s over which rates are counted


class Poller(Protocol):
    """What reads one device."""

    @property
    def device(self) -> Device:
        """Whom it reads."""

    async def poll(self, into: dict[str, float], seconds: float) -> None:
        """Read every column into a mapping, NaN for what has no value now.

        What was read before the device fell silent stays.

        Raises
        ------
        DataError
            When it does not answer.
        """

    def close(self) -> None:
        """Let go of the device."""


class BacnetPoller:
    """Reads present values of a BACnet device; a value flagged as faulty is none."""

    def __init__(self, client: BacnetClient, device: BacnetDevice) -> None:
        self.device = device
        self._client, self._most, self._single = client, MOST_OBJECTS, False

    def close(self) -> None:
        """Nothing is held open."""

    async def poll(self, into: dict[str, float], seconds: float) -> None:
        """See `Poller`."""
        items = list(self.device.objects.items())
        end = time.monotonic() + seconds
        at = 0
        while at < len(items):
            left = end - time.monotonic()
            if left <= 0.0:
                raise DataError(f"{self.device.name}: not done within {seconds:g} s")
            some = items[at : at + (1 if self._single else self._most)]
            try:
                into.update(await self._read(some, left))
            except NotRead:
                if self._single:
                    into[some[0][0]] = math.nan
                elif self._most > 1:
                    self._most = self._most // 2
                    continue
                else:
                    self._single = True
                    continue
            at += len(some)

    async def _read(self, some: Sequence[tuple[str, tuple[int, int]]], seconds: float) -> dict[str, float]:
        from wringout.capture.bacnet_client import Asked

        address = self.device.address
        if self._single:
            (column, (kind, instance)), *_ = some
            (value,) = await self._client.read(address, [Asked(kind, instance, PRESENT_VALUE)], seconds)
            return {column: _number(value)}
        asked = [
            Asked(kind, instance, prop)
            for _, (kind, instance) in some
            for prop in (PRESENT_VALUE, STATUS_FLAGS)
        ]
        values = await self._client.read(address, asked, seconds)
        found = {}
        for k, (column, _) in enumerate(some):
            value, flags = values[2 * k], values[2 * k + 1]
            faulty = isinstance(flags, tuple) and len(flags) > FAULT and bool(flags[FAULT])
            found[column] = math.nan if faulty else _number(value)
        return found


class ModbusPoller:
    """Reads the registers of a Modbus device, neighbours together."""

    def __init__(self, device: ModbusDevice) -> None:
        from wringout.capture.modbus_client import PORT, ModbusClient

        self.device = device
        self._client = ModbusClient(*host_and_port(device.address, PORT), device.unit_id)
        self._columns = {register: column for column, register in device.registers.items()}
        self._blocks: tuple[Block, ...] = blocks_of(tuple(device.registers.values()))

    def close(self) -> None:
        """Close the connection."""
        self._client.close()

    async def poll(self, into: dict[str, float], seconds: float) -> None:
        """See `Poller`."""
        try:
            await asyncio.wait_for(self._poll(into), seconds)
        except TimeoutError:
            self._client.close()
            raise DataError(f"{self.device.name}: not done within {seconds:g} s") from None

    async def _poll(self, into: dict[str, float]) -> None:
        if not self._client.connected:
            await self._client.connect()
        apart: list[Block] = []
        for block in self._blocks:
            try:
                words = await self._client.read(block.table, block.address, block.count)
            except NotRead:
                # what lies between two registers may not be there: from now on each by itself
                if len(block.registers) > 1:
                    apart += [part for r in block.registers for part in blocks_of([r])]
                else:
                    apart.append(block)
                into.update({self._columns[r]: math.nan for r in block.registers})
                continue
            apart.append(block)
            for register in block.registers:
                start = register.address - block.address
                into[self._columns[register]] = number_of(register, words[start : start + register.length])
        self._blocks = tuple(apart)


@dataclass
class Rates:
    """How a device has done: ``lost`` polls of ``polls``, values a second, when the last value came.

    Times are those of `time.monotonic`.
    """

    polls: int = 0
    lost: int = 0
    values: int = 0
    last: float | None = None
    why: str = ""
    pause: float = 0.0
    again: float = 0.0
    recent: deque[tuple[float, int]] = field(default_factory=deque)

    def per_second(self, now: float) -> float:
        """Values a second over the last minute."""
        while self.recent and self.recent[0][0] < now - WINDOW:
            self.recent.popleft()
        if len(self.recent) < 2:
            return 0.0
        span = max(now - self.recent[0][0], 1e-3)
        return sum(count for _, count in list(self.recent)[1:]) / span

    def age(self, now: float) -> float | None:
        """How old the last value is [s]; None before the first."""
        return None if self.last is None else now - self.last

    def got(self, now: float, count: int) -> None:
        """Note a poll that was answered with so many values."""
        self.polls += 1
        self.values += count
        self.recent.append((now, count))
        if count:
            self.last = now
        self.pause, self.why = 0.0, ""

    def missed(self, now: float, why: str) -> None:
        """Note a poll without an answer: the next comes after a pause that doubles each time."""
        self.polls += 1
        self.lost += 1
        self.why = why
        self.pause = min(max(2.0 * self.pause, FIRST_PAUSE), LONGEST_PAUSE)
        self.again = now + self.pause


async def poll_all(pollers: Sequence[Poller], rates: Sequence[Rates], seconds: float) -> dict[str, float]:
    """Read all devices at once; one that is away is asked again only after its pause.

    Parameters
    ----------
    pollers : sequence of Poller
    rates : sequence of Rates
        One for each, kept up to date.
    seconds : float, [s]
        How long to wait for all.

    Returns
    -------
    dict of float
        Column to number; columns of devices that did not answer are not in it.
    """

    async def one(poller: Poller, rate: Rates) -> dict[str, float]:
        if rate.pause and time.monotonic() < rate.again:
            rate.polls += 1
            rate.lost += 1
            return {}
        found: dict[str, float] = {}
        try:
            await poller.poll(found, seconds)
        except DataError as error:
            rate.missed(time.monotonic(), str(error))
            return found
        rate.got(time.monotonic(), sum(math.isfinite(value) for value in found.values()))
        return found

    parts = await asyncio.gather(*(one(*pair) for pair in zip(pollers, rates, strict=True)))
    return {column: value for part in parts for column, value in part.items()}


def pollers_of(devices: Sequence[Device], client: BacnetClient | None) -> list[Poller]:
    """What reads each device; ``client`` asks the BACnet devices."""
    made: list[Poller] = []
    for device in devices:
        if isinstance(device, ModbusDevice):
            made.append(ModbusPoller(device))
        elif client is not None:
            made.append(BacnetPoller(client, device))
    return made


def host_and_port(address: str, port: int) -> tuple[str, int]:
    """The host and the port in an address; the usual port where none is written.

    Raises
    ------
    InputError
        For an address of another form.
    """
    host, mark, number = address.partition(":")
    if not host or (mark and (not number.isdecimal() or not 0 < int(number) < 65536)):
        raise InputError(f'"{address[:60]}" is no address; write it like 192.0.2.10 or 192.0.2.10:{port}')
    return host, int(number) if mark else port


async def resolved(address: str, port: int) -> tuple[str, int]:
    """The numbers of a host and a port, in an address of which the host may be a name.

    Raises
    ------
    InputError
        When there is no such host, or it has no address of four numbers.
    """
    host, number = host_and_port(address, port)
    loop = asyncio.get_running_loop()
    try:
        found = await loop.getaddrinfo(host, number, family=socket.AF_INET, type=socket.SOCK_DGRAM)
    except (OSError, UnicodeError):
        found = []
    if not found:
        raise InputError("there is no such address; write it like 192.0.2.10", address[:60])
    return str(found[0][4][0]), number


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else math.nan
