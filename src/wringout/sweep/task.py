"""What one unit's judging takes: names of its files and a few choices. Small, since it travels to workers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from wringout.quantity import UnitSystem

__all__ = ["Bad", "Choices", "Task", "Weighing"]

Weighing = Literal["candidates", "all", "none"]


@dataclass(frozen=True)
class Choices:
    """What is asked of a sweep: which units are weighed, and units of the words (None: each document's)."""

    weigh: Weighing = "candidates"
    system: UnitSystem | None = None


@dataclass(frozen=True)
class Task:
    """One unit: ``name`` is its place under ``root``; files are named from ``root``, posix style.

    ``root`` is a folder, or the address of one (``s3://bucket/trends``). ``mapping`` is a trend document
    that says which column is what, None where columns are guessed.
    """

    name: str
    root: str
    unit: str
    mapping: str | None
    trends: tuple[str, ...]
    choices: Choices = Choices()

    @property
    def files(self) -> tuple[str, ...]:
        """All its files."""
        return (self.unit, *([self.mapping] if self.mapping is not None else []), *self.trends)


@dataclass(frozen=True)
class Bad:
    """A file that could not be used, or a unit that could not be judged, and the one reason."""

    file: str
    reason: str
