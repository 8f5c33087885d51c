"""The simulated site in a process of its own, which lives on while whoever records ends and begins anew."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wringout.capture.clock import Clock
from wringout.errors import InputError

__all__ = ["SimulatedProcess", "serve", "start"]

PATIENCE = 60.0  # s until it must have answered


@dataclass
class SimulatedProcess:
    """A simulated site that runs: addresses of its devices, its clock, and the file that takes orders."""

    process: subprocess.Popen[str]
    bacnet: str
    modbus: str
    unit_id: int
    clock: Clock
    registers: Path
    control: Path
    folder: tempfile.TemporaryDirectory[str]
    said: list[str] = field(default_factory=list)

    def order(self, words: str) -> None:
        """Say something to the person at the site: a line of `simulated_site.SITE_ORDERS`."""
        with self.control.open("a", encoding="utf-8") as stream:
            stream.write(words.strip() + "\n")

    def stop(self) -> None:
        """End it, and take its files away."""
        if self.process.stdin is not None:
            self.process.stdin.close()  # its sign to end
        try:
            self.process.wait(5.0)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()
        self.folder.cleanup()


def start(
    unit: str | Path,
    causes: tuple[str, ...] = (),
    clock: Clock | None = None,
    seed: int = 0,
    tell: Any = None,
) -> SimulatedProcess:
    """Start a simulated site in a process of its own.

    Parameters
    ----------
    unit : str or Path
        The unit's document.
    causes : tuple of str, optional
        What is wrong with it.
    clock : Clock, optional
        By which it runs; that of this machine if not given.
    seed : int, optional
    tell : callable, optional
        Gets what the site says.

    Returns
    -------
    SimulatedProcess
        When both devices answer.

    Raises
    ------
    InputError
        When it cannot be started.
    """
    known = clock or Clock.usual()
    folder = tempfile.TemporaryDirectory(prefix="wringout-site-")
    control = Path(folder.name) / "control.txt"
    control.touch()
    settings = {
        "unit": str(unit),
        "causes": list(causes),
        "clock": [known.offset, known.speed, known.begun, known.ahead],
        "seed": seed,
        "control": str(control),
    }
    process = subprocess.Popen(
        [sys.executable, "-m", __name__, json.dumps(settings)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
        start_new_session=True,  # Ctrl-C is for whoever records; the site ends when that one says so
    )
    assert process.stdout is not None
    first = process.stdout.readline()
    try:
        told = json.loads(first)
    except ValueError:
        told = {"error": first.strip() or "it ended at once"}
    if "error" in told:
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                pipe.close()
        folder.cleanup()
        raise InputError(f"the simulated site does not start: {told['error']}")
    registers = Path(folder.name) / "registers.yaml"
    registers.write_text(told["registers"], encoding="utf-8")
    made = SimulatedProcess(
        process, told["bacnet"], told["modbus"], told["unit_id"], known, registers, control, folder
    )
    threading.Thread(target=_listen, args=(made, tell), daemon=True).start()
    return made


def _listen(made: SimulatedProcess, tell: Any) -> None:
    """Keep what the site says, so that its pipe never fills."""
    assert made.process.stdout is not None
    try:
        for line in made.process.stdout:
            made.said.append(line.strip())
            if tell is not None:
                tell(line.strip())
    except ValueError:  # closed meanwhile
        return


async def serve(site: Any, stop: asyncio.Event) -> None:
    """Let a site answer until told to stop."""
    await site.open()
    try:
        await site.run(stop)
    finally:
        await site.close()


def main() -> None:
    """Be the process: settings as JSON in the first argument, addresses as JSON in the first line."""
    from wringout.capture.simulated_modbus import REGISTER_MAP
    from wringout.capture.simulated_site import SimulatedSite
    from wringout.documents.load import load_unit

    def say(words: str) -> None:
        sys.stdout.write(words + "\n")
        sys.stdout.flush()

    settings = json.loads(sys.argv[1])
    try:
        site = SimulatedSite(
            load_unit(settings["unit"]),
            Clock(*settings["clock"]),
            tuple(settings["causes"]),
            settings["seed"],
            Path(settings["control"]),
            say,
        )
    except InputError as error:
        say(json.dumps({"error": str(error)}))
        return

    async def be() -> None:
        stop = asyncio.Event()
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, stop.set)

        def wait_for_the_end() -> None:
            sys.stdin.read()
            loop.call_soon_threadsafe(stop.set)

        threading.Thread(target=wait_for_the_end, daemon=True).start()
        try:
            await site.open()
        except InputError as error:
            say(json.dumps({"error": str(error)}))
            return
        say(json.dumps({**site.addresses, "registers": REGISTER_MAP}))
        try:
            await site.run(stop)
        finally:
            await site.close()

    asyncio.run(be())


if __name__ == "__main__":
    main()
