"""What the commands on the record share: which file, and which call."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.records.store import Store

__all__ = ["STORE_NOTE", "call_named", "open_record", "store_option"]

STORE_NOTE = (
    "The record is the file named by --store, else by WRINGOUT_STORE, else wringout/records.sqlite in the "
    "folder for data ($XDG_DATA_HOME, on Linux ~/.local/share)."
)
LEAST = 4


def store_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """The option that names the record."""
    return click.option(
        "--store", type=click.Path(), default=None, metavar="FILE", help="The record to use; see below."
    )(command)


def open_record(path: str | None, *, create: bool) -> Store:
    """Open the record that is meant."""
    import os
    import sys
    from pathlib import Path

    from wringout.records.place import usual_place
    from wringout.records.store import open_store

    if path == "":
        raise InputError("empty; name the file of the record", "--store")
    place = Path(path) if path else usual_place(os.environ, sys.platform, Path.home())
    return open_store(place, create=create)


def call_named(store: Store, words: str) -> str:
    """The identifier of the one call that begins or ends with some words."""
    found = [call.call_id for call in store.calls()]
    if words in found:
        return words
    fitting = [call for call in found if call.startswith(words) or call.endswith(words)]
    if len(words) < LEAST or not fitting:
        raise InputError(
            "there is no such call in the record; `wringout calls` lists them", words[:40] or '""'
        )
    if len(fitting) > 1:
        raise InputError(f"{len(fitting)} calls begin or end so; write more of the id", words)
    return fitting[0]
