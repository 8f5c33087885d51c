"""JSON documents among what is attached to a call."""

from __future__ import annotations

import json
from typing import Any

from wringout.errors import InputError
from wringout.records.fold import Folded
from wringout.records.store import Store

__all__ = ["attached_json"]

LARGEST = 300_000  # bytes; no document of ours is as large


def attached_json(store: Store, folded: Folded, format: str) -> list[dict[str, Any]]:
    """The documents of one format that are attached to a call, in the order in which they came.

    Files of other kinds, and such as have not arrived here yet, are passed over.
    """
    found = []
    for line in folded.attachments:
        if line.body["type"] != "text/plain" or line.body.get("size", 0) > LARGEST:
            continue
        try:
            data = store.content(line.body["sha256"]).data
        except InputError:  # its bytes are still on another device
            continue
        if format.encode() not in data:
            continue
        try:
            tree = json.loads(data)
        except (ValueError, RecursionError):
            continue
        if isinstance(tree, dict) and tree.get("format") == format:
            found.append(tree)
    return found
