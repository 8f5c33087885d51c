"""The app as its own process on a free port of this machine, with a record of its own, for the tests."""

from __future__ import annotations

import contextlib
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import httpx

RUN = "from wringout.cli.main import main; main()"
DEMO = Path(__file__).resolve().parents[2] / "src" / "wringout" / "demo" / "ice_hall"


@contextlib.contextmanager
def served(folder: Path, *options: str, slower: float = 0.0) -> Iterator[str]:
    """Run ``wringout serve`` and give its address; end it by its own process afterwards.

    With ``slower`` its jobs take so many seconds longer.
    """
    record = str(folder / "record.sqlite")
    command = ["-c", RUN, "serve", "--store", record, "--port", "0", *options]
    if slower:
        command = [str(Path(__file__).with_name("slow.py")), record, str(slower)]
    process = subprocess.Popen(
        [sys.executable, *command],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={"PATH": "/usr/bin:/bin", "PYTHONUNBUFFERED": "1", "HOME": str(folder)},
    )
    assert process.stdout is not None
    try:
        told: list[str] = []
        address = ""
        for line in process.stdout:
            told.append(line)
            if found := re.search(r"https?://[0-9.]+:[0-9]+", line):
                address = found[0]
                break
        assert address, "".join(told)
        _await(address)
        yield address
    finally:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(10)
        process.stdout.close()


def _await(address: str) -> None:
    for _ in range(200):
        with contextlib.suppress(httpx.TransportError):
            httpx.get(f"{address}/manifest.webmanifest", verify=False, timeout=2)
            return
        time.sleep(0.05)
    raise AssertionError("the server does not answer")
