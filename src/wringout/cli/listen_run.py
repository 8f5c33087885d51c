"""What ``wringout listen`` does: find, map, record, tell, attach."""

from __future__ import annotations

import asyncio
import contextlib
import json
import signal
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wringout.cli.layout import counted, heading, paragraph, width
from wringout.cli.record_options import open_record
from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.capture.attaching import Writer
    from wringout.capture.bacnet_client import BacnetClient
    from wringout.capture.clock import Clock
    from wringout.capture.discovering import Found
    from wringout.capture.recorder import Progress
    from wringout.capture.recording import Recording
    from wringout.capture.session import Meter
    from wringout.capture.sources import Device
    from wringout.documents.unit import Unit
    from wringout.quantity import UnitSystem

__all__ = ["Asked", "ends", "listen", "say", "who_is"]

SAID = 3  # lines of a simulated site that are shown
BLOCK_EVERY = 60.0  # s between blocks of words where the output is no terminal


@dataclass
class Asked:
    """What was asked for on the command line."""

    path: Path
    bacnet: tuple[str, ...]
    meters: tuple[Meter, ...]
    local: str
    unit: Unit | None
    every: float
    watch: float
    lasting: float | None
    find_only: bool
    as_json: bool
    system: UnitSystem
    clock: Clock
    call: str | None = None
    by: str = ""
    store: str | None = None
    at_the_site: list[str] = field(default_factory=list)  # what a simulated site has said, the last one last


async def who_is(address: str, local: str, as_json: bool) -> None:
    """List the BACnet devices that answer at an address."""
    from wringout.capture.bacnet_client import PORT, BacnetClient
    from wringout.capture.polling import resolved

    host, port = await resolved(address, PORT)
    try:
        client = await BacnetClient.open(local, PORT)  # answers to all go to this port
    except InputError:
        client = await BacnetClient.open(local)
    try:
        heard = await client.who_is(f"{host}:{port}", 4.0, everybody=True)
    finally:
        client.close()
    if as_json:
        click.echo(json.dumps([{"address": one.address, "device": one.instance} for one in heard]))
        return
    if not heard:
        raise InputError("no BACnet device answers there", address)
    for one in heard:
        click.echo(f"{one.address}  device {one.instance}")


async def listen(asked: Asked) -> None:
    """Find and map what is new, and record."""
    from wringout.capture.bacnet_client import BacnetClient
    from wringout.capture.session import asks_bacnet, find, known_devices, map_columns
    from wringout.cli.listen_text import found_lines

    devices = known_devices(asked.path)
    if devices is None and not asked.bacnet and not asked.meters:
        raise InputError(
            "nothing to listen to: name devices with --bacnet or --modbus, or try it with --demo", "listen"
        )
    speaks = bool(asked.bacnet) if devices is None else asks_bacnet(devices)
    client = await BacnetClient.open(asked.local) if speaks else None
    try:
        if devices is None:
            found = await find(client, asked.bacnet, asked.meters)
            say(asked, f"Found {_columns(found)}; watching for {asked.watch:g} s what moves.")
            guesses = await map_columns(asked.path, client, found, asked.clock, asked.unit, asked.watch)
            devices = tuple(one.device for one in found)
            mapping = str(asked.path.with_suffix(".yaml"))
            for line in found_lines(devices, guesses, mapping):
                say(asked, line)
        elif asked.find_only or asked.bacnet or asked.meters:
            place = asked.path.with_suffix(".sources.yaml")
            say(asked, f"Devices and columns as {place} says; take that file away to find them anew.")
        if not asked.find_only:
            await _record(asked, client, devices)
    finally:
        if client is not None:
            client.close()


def _columns(found: list[Found]) -> str:
    columns = sum(len(one.device.columns) for one in found)
    return f"{counted(len(found), 'device')} with {counted(columns, 'column')}"


async def _record(asked: Asked, client: BacnetClient | None, devices: tuple[Device, ...]) -> None:
    from wringout.capture.polling import pollers_of
    from wringout.capture.recorder import record
    from wringout.capture.session import open_recording

    clock = asked.clock
    with open_recording(asked.path, devices, clock.offset) as recording:
        clock = _by(clock, recording.offset)
        stop = asyncio.Event()
        with ends(stop):
            _begin(asked, recording, devices)
            pollers = pollers_of(devices, client)
            teller = _Teller(asked, recording, devices)
            until = float("inf") if asked.lasting is None else clock.now() + asked.lasting
            try:
                progress = await record(recording, pollers, clock, asked.every, stop, teller, until)
            finally:
                for poller in pollers:
                    poller.close()
        teller.end(progress)
    _attach(asked)


def _by(clock: Clock, offset: float) -> Clock:
    """The clock that a recording was begun with."""
    return replace(clock, offset=offset)


@contextlib.contextmanager
def ends(stop: asyncio.Event) -> Iterator[None]:
    """Ctrl-C ends the recording and not the program."""
    loop = asyncio.get_running_loop()
    numbers = (signal.SIGINT, signal.SIGTERM)
    with contextlib.suppress(NotImplementedError):  # not on every system
        for number in numbers:
            loop.add_signal_handler(number, stop.set)
    try:
        yield
    finally:
        with contextlib.suppress(NotImplementedError):
            for number in numbers:
                loop.remove_signal_handler(number)


def _begin(asked: Asked, recording: Recording, devices: tuple[Device, ...]) -> None:
    from wringout.capture.attaching import note_begun
    from wringout.cli.listen_text import clock_words

    if recording.last is None:
        say(asked, f"Recording to {asked.path} every {asked.every:g} s. Ctrl-C ends it.")
    else:
        last = clock_words(recording.last)
        say(asked, f"Going on with {asked.path} (last row {last}) every {asked.every:g} s. Ctrl-C ends it.")
    if asked.call is not None:
        with open_record(asked.store, create=False) as store:
            note_begun(store, asked.call, _writer(asked), recording, asked.every, [d.name for d in devices])


def _attach(asked: Asked) -> None:
    from wringout.capture.attaching import attach_recording

    if asked.call is not None:
        with open_record(asked.store, create=False) as store:
            say(asked, attach_recording(store, asked.call, _writer(asked), asked.path) + ".")


def _writer(asked: Asked) -> Writer:
    import getpass
    import socket

    from wringout.capture.attaching import Writer

    try:
        user = getpass.getuser()
    except (KeyError, OSError):
        user = "somebody"
    return Writer(asked.by or user, socket.gethostname() or "this machine")


def say(asked: Asked, line: str) -> None:
    """Write a line of words; nothing where JSON was asked for."""
    if asked.as_json:
        return
    if len(line) > width() and "\n" not in line:
        line = paragraph(line)
    click.echo(line)


class _Teller:
    """Tells of each round: a block that is drawn over on a terminal, a block a minute elsewhere, or JSON."""

    def __init__(self, asked: Asked, recording: Recording, devices: tuple[Device, ...]) -> None:
        self.asked, self.recording, self.devices = asked, recording, devices
        self.drawn = 0
        self.next = float("-inf")
        self.terminal = sys.stdout.isatty()

    def __call__(self, progress: Progress, cells: Mapping[str, float]) -> None:
        from wringout.cli.listen_text import row_document

        if self.asked.as_json:
            told = row_document(self.recording, self.devices, progress, cells)
            click.echo(json.dumps(told, ensure_ascii=False))
        elif self.terminal:
            lines = self.block(progress, cells)
            click.echo(f"\x1b[{self.drawn}F\x1b[J" if self.drawn else "", nl=False)
            click.echo("\n".join(lines))
            self.drawn = len("\n".join(lines).split("\n"))
        elif progress.at >= self.next:
            self.next = progress.at + BLOCK_EVERY
            click.echo("\n".join(self.block(progress, cells)))

    def block(self, progress: Progress, cells: Mapping[str, float]) -> list[str]:
        """What is shown of one round."""
        from wringout.cli.listen_text import clock_words, device_lines, point_lines

        first = f"{clock_words(progress.at)}  {counted(progress.rows, 'row')}"
        if progress.late:
            first += f", {counted(progress.late, 'step')} too slow"
        lines = [heading(first), *device_lines(self.devices, progress)]
        said = [paragraph(f"At the site: {words}") for words in self.asked.at_the_site[-SAID:]]
        return [*lines, *point_lines(self.recording, cells, self.asked.system), *said]

    def end(self, progress: Progress) -> None:
        """What is said at the end."""
        mapping = self.asked.path.with_suffix(".yaml")
        say(
            self.asked,
            f"{counted(progress.rows, 'row')} recorded. See what it shows: wringout trend {mapping}",
        )
