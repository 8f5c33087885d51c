"""From addresses to a recording: find, watch, map, and go on where something was begun."""

from __future__ import annotations

import importlib.util
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from wringout.capture.clock import Clock
from wringout.capture.discovering import Found, find_bacnet, find_modbus, guessed, named, watch
from wringout.capture.polling import pollers_of
from wringout.capture.recording import Recording, begin, go_on, mapping_path
from wringout.capture.registers import Register
from wringout.capture.sources import (
    BacnetDevice,
    Device,
    columns_of,
    read_sources,
    sources_path,
    sources_text,
)
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.trends.guessing import Guess
from wringout.trends.mapping import mapping_text

if TYPE_CHECKING:
    from wringout.capture.bacnet_client import BacnetClient

__all__ = ["Meter", "asks_bacnet", "find", "known_devices", "map_columns", "need_clients", "open_recording"]

NEEDED = ("bacpypes3", "pymodbus")
WATCH_ROUNDS = 8


@dataclass(frozen=True)
class Meter:
    """A Modbus device to listen to: address, unit id, and what its register map says."""

    address: str
    unit_id: int
    registers: tuple[Register, ...]


def need_clients() -> None:
    """Refuse to go on where the libraries that speak to devices are not installed."""
    missing = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if missing:
        raise InputError(
            f'live points need {" and ".join(missing)}; install with: pip install "wringout[field]"', "listen"
        )


async def find(
    client: BacnetClient | None, bacnet: Sequence[str], meters: Sequence[Meter], seconds: float = 3.0
) -> list[Found]:
    """Ask every device what it has.

    Parameters
    ----------
    client : BacnetClient or None
        None where no BACnet device is asked.
    bacnet : sequence of str
        Addresses.
    meters : sequence of Meter
    seconds : float, [s]
        How long to wait for an answer.

    Returns
    -------
    list of Found
        Columns each with a name of its own.

    Raises
    ------
    InputError
        When one does not answer.
    """
    found = []
    for address in bacnet:
        assert client is not None
        found.append(await find_bacnet(client, address, seconds))
    found += [await find_modbus(meter.address, meter.unit_id, meter.registers) for meter in meters]
    return named(found)


async def map_columns(
    path: Path,
    client: BacnetClient | None,
    found: Sequence[Found],
    clock: Clock,
    unit: Unit | None,
    seconds: float,
    patience: float = 5.0,
) -> tuple[Guess, ...] | None:
    """Watch what was found, guess what it is, and write sources and mapping beside the recording.

    Parameters
    ----------
    path : Path
        The recording, which need not be there yet.
    client : BacnetClient or None
    found : sequence of Found
    clock : Clock
    unit : Unit or None
    seconds : float, [s]
        How long to watch.
    patience : float, optional, [s]
        How long to wait for a round of answers.

    Returns
    -------
    tuple of Guess or None
        None where a mapping file is there already: it was left as it is.

    Raises
    ------
    InputError
        When a device does not answer, or a file cannot be written.
    """
    devices = tuple(one.device for one in found)
    pollers = pollers_of(devices, client)
    try:
        watched = await watch(pollers, clock, seconds, seconds / WATCH_ROUNDS, patience)
    finally:
        for poller in pollers:
            poller.close()
    raw, guesses = guessed(found, watched, clock.offset, path.name, unit)
    beside = mapping_path(path)
    kept = beside.exists()
    try:
        if not kept:
            beside.write_text(mapping_text(raw, guesses, path.name), encoding="utf-8")
        sources_path(path).write_text(sources_text(devices), encoding="utf-8")
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror or error}", str(beside)) from None
    return None if kept else guesses


def known_devices(path: Path) -> tuple[Device, ...] | None:
    """The devices of a recording that was found and mapped before; None for a new one."""
    return read_sources(sources_path(path)) if sources_path(path).is_file() else None


def open_recording(path: Path, devices: tuple[Device, ...], offset: float) -> Recording:
    """Begin a recording, or go on with the one that is there.

    Parameters
    ----------
    path : Path
    devices : tuple of Device
    offset : float, [s]
        How far the clock of the place is ahead of UTC; a recording that is there keeps its own.

    Returns
    -------
    Recording

    Raises
    ------
    InputError
        When the one that is there has other columns.
    """
    columns = columns_of(devices)
    if not path.exists():
        if not mapping_path(path).is_file():
            raise InputError(
                "there is no mapping file; take the sources away and find the devices anew",
                str(mapping_path(path)),
            )
        return begin(path, columns, "", offset)
    recording = go_on(path)
    if set(columns) - set(recording.columns):
        recording.close()
        other = sorted(set(columns) - set(recording.columns))
        raise InputError(f'has no column "{other[0][:60]}"; name another file for other devices', str(path))
    return recording


def asks_bacnet(devices: Sequence[Device]) -> bool:
    """Whether some of the devices speak BACnet."""
    return any(isinstance(device, BacnetDevice) for device in devices)
