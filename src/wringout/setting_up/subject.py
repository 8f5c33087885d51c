"""A subject: what it is called, what it asks, what working with its answer touches, and how it is
answered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from wringout.setting_up.answer import Answer
from wringout.setting_up.inputs import Ask, Inputs

__all__ = ["Subject"]


@dataclass(frozen=True, slots=True)
class Subject:
    """One subject; ``work`` holds words of the catalogue of cautions for what carrying it out touches.

    ``legs`` is true where a subject takes a list of legs instead of single values (see `loop_legs`).
    """

    id: str
    title: str
    asks: tuple[Ask, ...]
    work: tuple[str, ...]
    answer: Callable[[Inputs], Answer]
