"""``wringout listen --demo``: the whole job against devices that do not exist."""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

import click

from wringout.cli.listen_run import Asked, ends, listen, say
from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.capture.simulated_process import SimulatedProcess
    from wringout.documents.unit import Unit

__all__ = ["demonstrate"]

DEMO = "ice_hall"


def demonstrate(
    asked: Asked, unit_path: str | None, causes: tuple[str, ...], speed: float, seed: int, serve_only: bool
) -> None:
    """Listen to a simulated site, or only let it answer."""
    from importlib.resources import as_file, files

    from wringout.capture.clock import Clock
    from wringout.capture.recording import go_on
    from wringout.capture.simulated_process import start
    from wringout.documents.load import load_unit

    inside = files("wringout") / "demo" / DEMO / "unit.yaml"
    with contextlib.ExitStack() as stack:
        place = unit_path or str(stack.enter_context(as_file(inside)))
        asked.unit = load_unit(place)
        after = None
        if not serve_only and asked.path.exists():
            with go_on(asked.path) as before:
                after = before.last
        asked.clock = Clock.faster(speed, after)
        site = start(place, _causes(causes, asked.unit, seed), asked.clock, seed, _echo(asked))
        try:
            _tell_site(asked, site, speed)
            if serve_only:
                asyncio.run(_wait())
                return
            _listen_to(asked, site)
            asyncio.run(listen(asked))
        finally:
            site.stop()


def _causes(causes: tuple[str, ...], unit: Unit, seed: int) -> tuple[str, ...]:
    """The causes that are meant; ``hidden`` draws one that the unit can have."""
    import numpy as np

    from wringout.catalogue.causes import applies
    from wringout.catalogue.causes import causes as catalogue
    from wringout.documents.fields import nearest

    known = [cause for cause in catalogue() if applies(cause, unit)]
    rng = np.random.default_rng(seed)
    out = []
    for cause in causes:
        if cause != "hidden" and cause not in known:
            near = nearest(cause, known, listed=False)
            raise InputError(f'this unit cannot have "{cause[:40]}"{near}; see docs/causes.md', "--cause")
        out.append(str(rng.choice(known)) if cause == "hidden" else cause)
    return tuple(out)


def _echo(asked: Asked) -> Callable[[str], None]:
    """Shows what the site says: within the block that is drawn on a terminal, by itself elsewhere."""
    drawn = sys.stdout.isatty()

    def echo(words: str) -> None:
        if asked.as_json:
            return
        if drawn:
            asked.at_the_site.append(words)
        else:
            click.echo(f"At the site: {words}")

    return echo


def _tell_site(asked: Asked, site: SimulatedProcess, speed: float) -> None:
    from wringout.capture.simulated_site import SITE_ORDERS

    if asked.as_json:
        told = {"bacnet": site.bacnet, "modbus": site.modbus, "unit_id": site.unit_id}
        told |= {"registers": str(site.registers), "control": str(site.control), "speed": speed}
        click.echo(json.dumps({"format": "wringout-demo-site/1", **told}))
        return
    unit = asked.unit
    assert unit is not None
    say(asked, f"Simulated: {unit.name}, {unit.site.name}. It runs {speed:g} times as fast as a clock.")
    say(asked, f"BACnet device {site.bacnet}, Modbus device {site.modbus}/{site.unit_id}, register map")
    say(asked, f"  {site.registers}")
    say(asked, "At the controller you force a state, from another terminal, for example by:")
    say(asked, f"  echo 'force reheat.command 100 %' >> {site.control}")
    say(asked, f"It also takes: {SITE_ORDERS}.")


def _listen_to(asked: Asked, site: SimulatedProcess) -> None:
    """The site's devices; a recording that is there already goes on with them at their new addresses."""
    from dataclasses import replace

    from wringout.capture.registers import read_registers
    from wringout.capture.session import Meter, known_devices
    from wringout.capture.sources import BacnetDevice, sources_path, sources_text

    asked.bacnet = (site.bacnet,)
    asked.meters = (Meter(site.modbus, site.unit_id, read_registers(site.registers)),)
    known = known_devices(asked.path)
    if known is not None:
        moved = tuple(
            replace(device, address=site.bacnet if isinstance(device, BacnetDevice) else site.modbus)
            for device in known
        )
        sources_path(asked.path).write_text(sources_text(moved), encoding="utf-8")


async def _wait() -> None:
    stop = asyncio.Event()
    with ends(stop):
        await stop.wait()
