"""What one file may cost: size, pages, characters, memory and time."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Limits", "USUAL"]


@dataclass(frozen=True, slots=True)
class Limits:
    """Bounds of the process that reads a file.

    ``size`` and ``memory`` in bytes; ``processor`` seconds of the processor; ``silence`` seconds without a
    finished page; ``whole`` seconds for all of it; ``longest_edge`` of a picture in pixels.
    """

    size: int = 200_000_000
    pages: int = 5_000
    page_characters: int = 200_000
    characters: int = 40_000_000
    memory: int = 1 << 30
    processor: int = 300
    silence: float = 120.0
    whole: float = 1200.0
    longest_edge: int = 2_000


USUAL = Limits()
