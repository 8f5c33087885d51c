"""A hit by its name: document, page and the words that were found, so that it can be shown and pinned."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from wringout.errors import InputError

__all__ = ["Place", "place_from"]

_FORM = re.compile(r"([0-9a-f]{8,64}):(\d{1,6})(?::(\d{1,6}(?:-\d{1,6})?(?:,\d{1,6}(?:-\d{1,6})?)*))?")
MOST_WORDS = 40


@dataclass(frozen=True, slots=True)
class Place:
    """``document`` is the beginning of its SHA-256; ``words`` are places of words on the page, from 0."""

    document: str
    page: int
    words: tuple[int, ...] = ()

    def __str__(self) -> str:
        return f"{self.document}:{self.page}" + (f":{_ranges(self.words)}" if self.words else "")


def place_from(text: str) -> Place:
    """Read a hit as `wringout shelf search` writes it.

    Raises
    ------
    InputError
        Where it is none.
    """
    found = _FORM.fullmatch(text)
    if found is None:
        raise InputError(
            "this is no hit; `wringout shelf search` writes them, for example 3f2a91c0:112:45-46 (document, "
            "page, words), or 3f2a91c0:112 for the page alone",
            text[:60] or '""',
        )
    words: list[int] = []
    for part in (found.group(3) or "").split(","):
        first, _, last = part.partition("-")
        if first:
            words += range(int(first), min(int(last or first), int(first) + MOST_WORDS) + 1)
    return Place(found.group(1), int(found.group(2)), tuple(words[:MOST_WORDS]))


def _ranges(words: Iterable[int]) -> str:
    runs: list[list[int]] = []
    for word in words:
        if runs and word == runs[-1][1] + 1:
            runs[-1][1] = word
        else:
            runs.append([word, word])
    return ",".join(str(first) if first == last else f"{first}-{last}" for first, last in runs)
