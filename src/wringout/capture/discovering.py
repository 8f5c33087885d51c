"""Find what devices have to tell: names, units, values, and from these which test point each may be."""

from __future__ import annotations

import asyncio
import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from wringout.capture.gate import NotRead
from wringout.capture.polling import Poller, Rates, poll_all, resolved
from wringout.capture.recording import TIME_FORMAT, time_heading
from wringout.capture.registers import Register
from wringout.capture.sources import OBJECT_TYPES, BacnetDevice, Device, ModbusDevice
from wringout.documents.unit import Unit
from wringout.errors import DataError, InputError
from wringout.trends.guessing import Guess
from wringout.trends.mapping import guesses_for
from wringout.trends.table import RawColumn, RawTable

if TYPE_CHECKING:
    from wringout.capture.bacnet_client import Asked, BacnetClient, Value
    from wringout.capture.clock import Clock

__all__ = ["Found", "Watched", "find_bacnet", "find_modbus", "guessed", "named", "watch"]

OBJECT_LIST, OBJECT_NAME, DESCRIPTION, UNITS = 76, 77, 28, 117
DEVICE = 8
MOST_OBJECTS = 2000
TOGETHER = 10  # properties a request
# numbers of ANSI/ASHRAE 135, clause 21 (BACnetEngineeringUnits), to the units of the documents
UNIT_NUMBERS: Mapping[int, str] = {
    62: "degC", 64: "degF", 98: "%", 29: "%", 84: "cfm", 85: "m3/s", 87: "L/s", 135: "m3/h", 88: "L/min",
    89: "gpm", 58: "inWC", 53: "Pa", 54: "kPa", 55: "bar", 56: "psi", 134: "mbar", 27: "Hz", 3: "A", 5: "V",
    2: "mA", 71: "h", 72: "min", 73: "s", 47: "W", 48: "kW", 50: "Btu/h", 52: "ton", 42: "kg/s", 44: "kg/h",
    120: "delta_degF", 121: "K",
}  # fmt: skip
_BINARY = {3, 4, 5}


@dataclass(frozen=True)
class Found:
    """A device, and for each of its columns the words that tell of it and its unit."""

    device: Device
    words: Mapping[str, str]
    units: Mapping[str, str | None]


@dataclass(frozen=True)
class Watched:
    """Some rounds of values: times [s] and numbers by column, and what the columns are called."""

    time: tuple[float, ...]
    rows: tuple[Mapping[str, float], ...]


async def find_bacnet(client: BacnetClient, address: str, seconds: float = 3.0) -> Found:
    """Ask one BACnet device what it has.

    Parameters
    ----------
    client : BacnetClient
    address : str
        ``host`` or ``host:port``.
    seconds : float, [s]
        How long to wait for each answer.

    Returns
    -------
    Found

    Raises
    ------
    InputError
        When it does not answer, or has no object with a value.
    """
    from wringout.capture.bacnet_client import ANY_DEVICE, PORT, Asked

    host, port = await resolved(address, PORT)
    address = f"{host}:{port}"
    heard = await client.who_is(address, seconds)
    try:
        if heard:
            instance = heard[0].instance
        else:  # some answer Who-Is to all only, where we may not hear it
            (told,) = await client.read(address, [Asked(DEVICE, ANY_DEVICE, OBJECT_NAME - 2)], seconds)
            instance = told[1] if isinstance(told, tuple) and len(told) == 2 else ANY_DEVICE
        (name,) = await client.read(address, [Asked(DEVICE, instance, OBJECT_NAME)], seconds)
        (count,) = await client.read(address, [Asked(DEVICE, instance, OBJECT_LIST, 0)], seconds)
    except DataError as error:
        raise InputError(f"no BACnet device answers there ({error})", address) from None
    number = min(int(count), MOST_OBJECTS) if isinstance(count, int) else 0
    asked = [Asked(DEVICE, instance, OBJECT_LIST, k + 1) for k in range(number)]
    listed = await _ask(client, address, asked, seconds)
    objects = [o for o in listed if isinstance(o, tuple) and len(o) == 2 and o[0] in OBJECT_TYPES]
    asked = [Asked(o[0], o[1], prop) for o in objects for prop in (OBJECT_NAME, DESCRIPTION, UNITS)]
    told_of = await _ask(client, address, asked, seconds)
    columns: dict[str, tuple[int, int]] = {}
    words: dict[str, str] = {}
    units: dict[str, str | None] = {}
    for k, identifier in enumerate(objects):
        kind, instance_of = int(identifier[0]), int(identifier[1])
        called, description, unit_number = told_of[3 * k : 3 * k + 3]
        unit = "yes/no" if kind in _BINARY else None
        if isinstance(unit_number, int):
            unit = UNIT_NUMBERS.get(unit_number, unit)
        plain = _clean(called) or f"{OBJECT_TYPES[kind]} {instance_of}"
        column = _unlike(_heading(plain, unit), columns, f" {instance_of}")
        columns[column], units[column] = (kind, instance_of), unit
        words[column] = f"{plain} {_clean(description)}".strip()
    if not columns:
        raise InputError("the device answers, but has no object with a present value", address)
    return Found(BacnetDevice(address, instance, _clean(name) or address, columns), words, units)


async def _ask(client: BacnetClient, address: str, asked: list[Asked], seconds: float) -> list[Value]:
    """Many properties, some at a time; one at a time of a device that takes no more."""
    out: list[Value] = []
    together = TOGETHER
    while len(out) < len(asked):
        some = asked[len(out) : len(out) + together]
        try:
            out += await client.read(address, some, seconds)
        except NotRead:
            if together > 1:
                together = together // 2
                continue
            out.append(None)
        except DataError as error:
            raise InputError(f"the device fell silent ({error})", address) from None
    return out


async def find_modbus(address: str, unit_id: int, registers: Sequence[Register]) -> Found:
    """Take what a register map tells of a Modbus device; the device itself cannot be asked.

    Raises
    ------
    InputError
        When there is no such address.
    """
    from wringout.capture.modbus_client import PORT

    host, port = await resolved(address, PORT)
    columns: dict[str, Register] = {}
    words: dict[str, str] = {}
    for register in registers:
        name = _clean(register.name)
        column = _unlike(_heading(name, register.unit), columns, f" {register.address}")
        columns[column], words[column] = replace(register, name=column), name
    units = {column: register.unit for column, register in columns.items()}
    return Found(ModbusDevice(f"{host}:{port}", unit_id, f"Modbus {host}:{port}", columns), words, units)


def named(found: Sequence[Found]) -> list[Found]:
    """Give columns that two devices share the name of their device in front."""
    count: dict[str, int] = {}
    for column in itertools.chain.from_iterable(one.device.columns for one in found):
        count[column] = count.get(column, 0) + 1
    out = []
    taken: dict[str, int] = {}
    for one in found:
        new: dict[str, str] = {}
        for column in one.device.columns:
            name = f"{one.device.name} {column}" if count[column] > 1 else column
            new[column] = _unlike(name, taken, "")
            taken[new[column]] = 1
        device: Device
        if isinstance(one.device, BacnetDevice):
            device = replace(one.device, objects={new[c]: o for c, o in one.device.objects.items()})
        else:
            registers = {new[c]: replace(r, name=new[c]) for c, r in one.device.registers.items()}
            device = replace(one.device, registers=registers)
        words = {new[c]: w for c, w in one.words.items()}
        out.append(Found(device, words, {new[c]: u for c, u in one.units.items()}))
    return out


async def watch(
    pollers: Sequence[Poller], clock: Clock, seconds: float, every: float, longest: float = 5.0
) -> Watched:
    """Look at what moves for a while: behaviour tells what names do not.

    Parameters
    ----------
    pollers : sequence of Poller
    clock : Clock
    seconds : float, [s]
        How long to look, by that clock.
    every : float, [s]
        How often.
    longest : float, [s]
        How long to wait for a round of answers.

    Returns
    -------
    Watched

    Raises
    ------
    InputError
        When a device does not answer at all.
    """
    rates = [Rates() for _ in pollers]
    times: list[float] = []
    rows: list[Mapping[str, float]] = []
    end = clock.now() + seconds
    while True:
        at = clock.now()
        row = await poll_all(pollers, rates, longest)
        if not rows and any(rate.lost for rate in rates):  # once more, for an answer that got lost
            rates = [Rates() for _ in pollers]
            row = await poll_all(pollers, rates, longest)
        times.append(at)
        rows.append(row)
        if len(rows) == 1 and (silent := _silent(pollers, rates)):
            raise InputError(*silent)
        if clock.now() >= end:
            break
        await clock.until(at + every)
        await asyncio.sleep(0)
    return Watched(tuple(times), tuple(rows))


def _silent(pollers: Sequence[Poller], rates: Sequence[Rates]) -> tuple[str, str] | None:
    """What to say of a device that has not answered at all."""
    for poller, rate in zip(pollers, rates, strict=True):
        if rate.polls == rate.lost:
            return f"does not answer ({rate.why})", poller.device.address
    return None


def guessed(
    found: Sequence[Found], watched: Watched, offset: float, file: str, unit: Unit | None
) -> tuple[RawTable, tuple[Guess, ...]]:
    """Guess which column is which test point, as for any trend: by names, units and behaviour.

    Parameters
    ----------
    found : sequence of Found
    watched : Watched
    offset : float, [s]
        How far the clock of the place is ahead of UTC.
    file : str
        Name of the recording.
    unit : Unit or None
        The unit's document, where there is one.

    Returns
    -------
    (RawTable, tuple of Guess)
        What was watched, as a trend, and the guesses.
    """
    hints: dict[str, str] = {}
    columns, hinted = [], []
    for one in found:
        for column in one.device.columns:
            values = np.array([row.get(column, np.nan) for row in watched.rows], dtype=float)
            if not np.isfinite(values).any():
                continue
            hint = _unlike(one.words[column], hints, f" {len(hints)}")
            hints[hint] = column
            columns.append(RawColumn(column, values, one.units[column]))
            hinted.append(RawColumn(hint, values, one.units[column]))
    heading = time_heading(offset)
    time = np.array(watched.time, dtype=float)
    raw = RawTable(file, time, tuple(columns), (), heading, TIME_FORMAT)
    if not columns:
        return raw, ()
    guesses = guesses_for(replace(raw, columns=tuple(hinted)), unit)
    return raw, tuple(replace(guess, column=hints[guess.column]) for guess in guesses)


def _clean(words: object) -> str:
    """A name as it may stand in a heading: no delimiters, no characters that cannot be printed."""
    if not isinstance(words, str):
        return ""
    return " ".join(re.sub(r"[,;|\"\t]", " ", "".join(c if c.isprintable() else " " for c in words)).split())[
        :60
    ]


def _heading(name: str, unit: str | None) -> str:
    return f"{name} ({unit})" if unit else name


def _unlike(name: str, taken: Mapping[str, object], ending: str) -> str:
    """A name that is not taken yet."""
    if name not in taken:
        return name
    for number in itertools.count(2):
        other = f"{name}{ending}" if number == 2 and ending else f"{name}{ending} ({number})"
        if other not in taken:
            return other
    raise AssertionError
