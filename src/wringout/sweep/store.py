"""A folder of results: one file a unit, written whole or not at all, under the key of what it came from."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

from wringout.errors import InputError
from wringout.sweep.places import MARK

__all__ = ["Store", "encoded", "written"]


def encoded(document: Any) -> str:
    """A document as JSON, the same text for the same content."""
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def written(path: Path, data: bytes) -> None:
    """Write a file so that nobody ever sees half of it; a file that holds the same bytes is left alone.

    Raises
    ------
    InputError
        Where it cannot be written.
    """
    try:
        if path.is_file() and path.stat().st_size == len(data) and path.read_bytes() == data:
            return
        part = path.with_name(f".{path.name}.{os.getpid()}.part")
        part.write_bytes(data)
        os.replace(part, path)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", str(path)) from None


class Store:
    """Results of one sweep or several, in ``folder``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.units = folder / "units"
        try:
            self.units.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError(f"cannot be made: {error.strerror}", str(folder)) from None
        written(folder / MARK, b"results of wringout sweep; what lies here is no trend\n")

    def get(self, key: str) -> dict[str, Any] | None:
        """A result that is there and whole."""
        try:
            document = json.loads((self.units / f"{key}.json").read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return document if isinstance(document, dict) and "unit" in document else None

    def put(self, key: str, result: dict[str, Any]) -> dict[str, Any]:
        """Keep a result; and give it back as the next run will find it."""
        text = encoded(result)
        written(self.units / f"{key}.json", text.encode())
        kept: dict[str, Any] = json.loads(text)
        return kept
