"""What a result is stored under: the content of its files, what was asked, and the code that answers."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from functools import cache
from importlib import metadata, resources
from importlib.resources.abc import Traversable

from wringout.sweep.places import digest
from wringout.sweep.task import Task

__all__ = ["code_version", "key_of"]

LAYOUT = 1  # of the stored results
# everything that a result depends on; faces do not count
PARTS = (
    "catalogue",
    "documents",
    "machine",
    "physics",
    "sweep",
    "trends",
    "weighing",
    "errors.py",
    "quantity.py",
)


@cache
def code_version() -> str:
    """The version, and a hash of the source of all parts that a result depends on.

    Returns
    -------
    str
        The same in every process that runs the same code.
    """
    hashed = hashlib.sha256()
    package = resources.files("wringout")
    for part in PARTS:
        _add(package / part, part, hashed)
    return f"{metadata.version('wringout')}+{hashed.hexdigest()[:12]}"


def _add(place: Traversable, name: str, hashed: hashlib._Hash) -> None:
    if place.is_file():
        if name.endswith((".py", ".yaml", ".npz", ".json", ".csv")):
            hashed.update(name.encode() + b"\0" + place.read_bytes())
        return
    for inside in sorted(place.iterdir(), key=lambda p: p.name):
        if inside.name != "__pycache__":
            _add(inside, f"{name}/{inside.name}", hashed)


def key_of(task: Task) -> str:
    """Give the key of a task's result.

    Parameters
    ----------
    task : Task

    Returns
    -------
    str
        Forty hexadecimal digits.

    Raises
    ------
    DataError
        For a file that cannot be read.
    """
    told = {
        "layout": LAYOUT,
        "code": code_version(),
        "name": task.name,
        "choices": asdict(task.choices),
        "files": {name: digest(task.root, name) for name in task.files},
    }
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:40]
