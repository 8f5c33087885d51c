"""Logs of a call, and each as a file on the disk with its mapping file, from where the worker reads them."""

from __future__ import annotations

import hashlib
import tempfile
from pathlib import Path

from wringout.errors import InputError
from wringout.records.bundle import safe_name
from wringout.records.logs import Log, logs_of
from wringout.web.desk import Desk, Here

__all__ = ["log_named", "on_disk"]


def log_named(here: Here, sha256: str) -> Log:
    """One log of a call.

    Raises
    ------
    InputError
        When there is none of that name.
    """
    found = next((log for log in logs_of(here.folded) if log.sha256 == sha256), None)
    if found is None:
        raise InputError("there is nothing of that name in this call", "trend")
    return found


def on_disk(desk: Desk, log: Log) -> dict[str, str]:
    """Where the worker finds a log (``path``) and, where its columns were chosen, its mapping file (``map``);
    and what the log is called."""
    record = hashlib.sha256(desk.store.name.encode()).hexdigest()[:12]
    folder = Path(tempfile.gettempdir()) / f"wringout-{record}"
    folder.mkdir(mode=0o700, exist_ok=True)
    found = {"path": str(_put(desk, folder / log.sha256, safe_name(log.name), log.sha256)), "name": log.name}
    if log.mapping is not None:
        sha256 = log.mapping.body["sha256"]
        found["map"] = str(_put(desk, folder / sha256, "columns.yaml", sha256))
    return found


def _put(desk: Desk, folder: Path, name: str, sha256: str) -> Path:
    path = folder / name
    if not path.is_file():
        folder.mkdir(exist_ok=True)
        path.write_bytes(desk.content(sha256).data)
    return path
