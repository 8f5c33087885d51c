"""``wringout listen``: live points of a building's controllers, read and never written to."""

from __future__ import annotations

import asyncio
import logging
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wringout.cli.record_options import STORE_NOTE, call_named, open_record, store_option
from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.capture.session import Meter
    from wringout.quantity import UnitSystem

__all__ = ["command"]

RECORDING = "live.csv"
DEMO_SPEED = 10.0


@click.command(
    "listen",
    epilog="Only ever reads: no write, command or subscription leaves this machine. Still, ask whoever runs "
    "the building's controls and its network before you connect. Ctrl-C ends a recording; the same command "
    f"goes on with it. {STORE_NOTE} Exit codes: 0 done, 2 something to mend (the message says what). "
    "Example: wringout listen live.csv --bacnet 192.0.2.10 --modbus 192.0.2.11/7 --registers meter.yaml",
)
@click.argument("recording", metavar="[RECORDING]", type=click.Path(), default=RECORDING, required=False)
@click.option("--bacnet", multiple=True, metavar="ADDRESS", help="A BACnet/IP device: host or host:port.")
@click.option(
    "--modbus", multiple=True, metavar="ADDRESS", help="A Modbus TCP device: host, host:port, host:port/unit."
)
@click.option(
    "--registers", multiple=True, type=click.Path(), metavar="FILE", help="Its register map; one for each."
)
@click.option(
    "--who-is", metavar="ADDRESS", help="List BACnet devices that answer there; one or a broadcast."
)
@click.option(
    "--unit", "unit_path", type=click.Path(), metavar="UNIT", help="The unit's document: helps to map."
)
@click.option(
    "--every", default="10 s", metavar="TIME", show_default=True, help="From row to row, 1 s to 60 s."
)
@click.option(
    "--watch", default="30 s", metavar="TIME", show_default=True, help="How long to look before mapping."
)
@click.option("--for", "lasting", metavar="TIME", help="End after this long; else Ctrl-C ends it.")
@click.option("--find", "find_only", is_flag=True, help="Find and map the points, and record nothing yet.")
@click.option("--call", "call_id", metavar="CALL_ID", help="Note and attach the recording in this call.")
@click.option("--by", metavar="NAME", help="Who writes in the call; else the user of this machine.")
@store_option
@click.option(
    "--local", default="0.0.0.0", metavar="ADDRESS", help="Address of this machine to ask BACnet from."
)
@click.option("--units", type=click.Choice(["ip", "si"]), default=None, help="Units of the words.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document a line for each row.")
@click.option("--demo", is_flag=True, help="Listen to simulated devices of an invented unit (or of --unit).")
@click.option(
    "--cause", "causes", multiple=True, metavar="CAUSE", help="Demo: what is wrong; `hidden` draws one."
)
@click.option("--speed", type=click.FloatRange(1.0, 60.0), default=DEMO_SPEED, show_default=True,
              help="Demo: how many times as fast it runs.")  # fmt: skip
@click.option("--seed", type=click.IntRange(0), default=0, help="Demo: for all that is drawn.")
@click.option("--serve-only", is_flag=True, help="Demo: only the devices, for another program to listen to.")
def command(
    recording: str,
    bacnet: tuple[str, ...],
    modbus: tuple[str, ...],
    registers: tuple[str, ...],
    who_is: str | None,
    unit_path: str | None,
    every: str,
    watch: str,
    lasting: str | None,
    find_only: bool,
    call_id: str | None,
    by: str | None,
    store: str | None,
    local: str,
    units: UnitSystem | None,
    as_json: bool,
    demo: bool,
    causes: tuple[str, ...],
    speed: float,
    seed: int,
    serve_only: bool,
) -> None:
    """Record live points of BACnet/IP and Modbus TCP devices, which are read and never written to.

    The first time it finds what the devices have, guesses which test point each is, and writes that beside
    RECORDING (live.csv: live.yaml and live.sources.yaml) to be corrected. Then it records: RECORDING is a
    trend file, for `wringout trend live.yaml` and `weigh --trend live.yaml`.
    """
    from wringout.capture.session import need_clients
    from wringout.documents.load import load_unit

    need_clients()
    from wringout.capture.clock import Clock
    from wringout.cli.listen_run import Asked, listen
    from wringout.cli.listen_run import who_is as ask_who_is

    for name in ("bacpypes3", "pymodbus"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    if (serve_only or causes) and not demo:
        raise InputError("is for --demo", "--serve-only" if serve_only else "--cause")
    if who_is is not None:
        asyncio.run(ask_who_is(who_is, local, as_json))
        return
    unit = load_unit(unit_path) if unit_path is not None else None
    asked = Asked(
        path=_recording(recording),
        bacnet=bacnet,
        meters=_meters(modbus, registers),
        local=local,
        unit=unit,
        every=_seconds(every, "--every", 1.0, 60.0),
        watch=_seconds(watch, "--watch", 1.0, 3600.0),
        lasting=None if lasting is None else _seconds(lasting, "--for", 1.0, 1e7),
        find_only=find_only,
        as_json=as_json,
        system=units or "ip",
        clock=Clock.usual(),
        call=_call(call_id, store),
        by=by or "",
        store=store,
    )
    if demo:
        if bacnet or modbus:
            raise InputError("has devices of its own; leave --bacnet and --modbus out", "--demo")
        from wringout.cli.listen_demo import demonstrate

        demonstrate(asked, unit_path, causes, speed, seed, serve_only)
        return
    asyncio.run(listen(asked))


def _recording(words: str) -> Path:
    path = Path(words)
    if path.suffix.lower() != ".csv":
        raise InputError("name a file that ends in .csv, for example live.csv", words[:80] or "RECORDING")
    return path


def _seconds(words: str, option: str, low: float, high: float) -> float:
    from wringout.quantity import Dimension, parse

    try:
        value = float(parse(words, Dimension.TIME).value)
    except InputError as error:
        raise InputError(error.message, option) from None
    if not low <= value <= high:
        raise InputError(f"{words} is out of range: {low:g} s to {high:g} s", option)
    return value


def _meters(modbus: tuple[str, ...], registers: tuple[str, ...]) -> tuple[Meter, ...]:
    from wringout.capture.registers import read_registers
    from wringout.capture.session import Meter

    if len(registers) not in (len(modbus), 1 if modbus else 0):
        raise InputError(
            f"{len(modbus)} Modbus devices and {len(registers)} register maps: name one map for all, or "
            "one for each, in their order",
            "--registers",
        )
    maps = [read_registers(path) for path in registers]
    meters = []
    for k, words in enumerate(modbus):
        address, mark, number = words.partition("/")
        if mark and (not number.isdecimal() or int(number) > 255):
            raise InputError(f'"{number[:20]}" is no unit id: 0 to 255 are taken', "--modbus")
        meters.append(Meter(address, int(number) if mark else 1, maps[k if len(maps) > 1 else 0]))
    return tuple(meters)


def _call(call_id: str | None, store: str | None) -> str | None:
    if call_id is None:
        return None
    with open_record(store, create=False) as record:
        return call_named(record, call_id)
