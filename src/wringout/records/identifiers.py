"""Identifiers that any device can make without asking a server, and that sort by the time they were made.

UUID version 7 of RFC 9562 (May 2024): 48 bits of Unix time in milliseconds, then 74 bits of chance. Where an
identifier must come out the same on every device (a document imported twice), version 8 of the same RFC is
used with the same place for the time, and the rest from a SHA-256.
"""

from __future__ import annotations

import hashlib
import os
import re
import threading
import time
import uuid
from collections.abc import Callable

from wringout.errors import InputError
from wringout.records.words import shown

__all__ = ["LATEST", "Maker", "checked", "derived", "milliseconds_of", "uuid7"]

_CHANCE_BITS = 74
_FORM = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[78][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
LATEST = 4_133_980_800_000  # ms, the year 2101: no clock is that wrong, and room is left after it


def uuid7(milliseconds: int, chance: int) -> str:
    """A version 7 identifier of a moment [ms since 1970, UTC] and 74 bits of chance."""
    return _laid_out(7, milliseconds, chance)


def derived(milliseconds: int, place: int, *names: str) -> str:
    """A version 8 identifier that is the same wherever it is made from the same names.

    ``place`` (0 to 2**24 - 1) orders identifiers of one moment; the last 50 bits come from a SHA-256 of
    the names.
    """
    if not 0 <= place < 1 << 24:
        raise ValueError(f"place {place} does not fit into 24 bits")
    digest = hashlib.sha256("\0".join([*names, str(place)]).encode()).digest()
    return _laid_out(8, milliseconds, place << 50 | int.from_bytes(digest[:7], "big") >> 6)


def _laid_out(version: int, milliseconds: int, rest: int) -> str:
    if not 0 <= milliseconds < 1 << 48:
        raise ValueError(f"{milliseconds} ms does not fit into 48 bits")
    if not 0 <= rest < 1 << _CHANCE_BITS:
        raise ValueError("the rest does not fit into 74 bits")
    number = milliseconds << 80 | version << 76 | rest >> 62 << 64 | 0b10 << 62 | rest & (1 << 62) - 1
    return str(uuid.UUID(int=number))


def checked(text: object, field: str = "id") -> str:
    """The identifier, if it is one of version 7 or 8 as this package writes them; otherwise an InputError."""
    if not isinstance(text, str) or not _FORM.fullmatch(text):
        found = f'"{shown(text)}"' if isinstance(text, str) else type(text).__name__
        raise InputError(
            f"found {found}, wanted a UUID of version 7 in lower case, "
            "for example 017f22e2-79b0-7cc3-98c4-dc0c0c07398f",
            field,
        )
    if milliseconds_of(text) >= LATEST:
        raise InputError("made after the year 2100: the clock of the device that made it is wrong", field)
    return text


def milliseconds_of(identifier: str) -> int:
    """The moment in an identifier [ms since 1970, UTC]."""
    return int(identifier[:8] + identifier[9:13], 16)


class Maker:
    """Makes identifiers that only ever grow, whatever the clock does.

    Within one millisecond, or when the clock was set back, the chance is counted on by a random step (RFC
    9562, section 6.2, method 2). ``after`` makes the next identifier greater than one that came from
    elsewhere, so that a correction sorts after what it corrects even between clocks that disagree by years.
    """

    def __init__(
        self,
        clock: Callable[[], int] = lambda: time.time_ns() // 1_000_000,
        randomness: Callable[[int], bytes] = os.urandom,
    ) -> None:
        self._clock, self._randomness = clock, randomness
        self._lock = threading.Lock()
        self._last = (-1, 0)

    def __call__(self) -> str:
        """The next identifier."""
        with self._lock:
            now = self._clock()
            chance = int.from_bytes(self._randomness(10), "big") >> 80 - _CHANCE_BITS
            last, counted = self._last
            if now <= last:
                now, chance = last, counted + 1 + (chance & 0xFFFFFFFF)
                if chance >> _CHANCE_BITS:
                    now, chance = last + 1, chance & (1 << _CHANCE_BITS) - 1
            self._last = (now, chance)
            return uuid7(now, chance)

    def after(self, identifier: str) -> None:
        """Have seen an identifier from elsewhere."""
        number = uuid.UUID(identifier).int
        moment, chance = number >> 80, (number >> 64 & 0xFFF) << 62 | number & (1 << 62) - 1
        with self._lock:
            if moment < LATEST:
                self._last = max(self._last, (moment, chance))
