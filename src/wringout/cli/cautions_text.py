"""Cautions as text: in short with a way to all of them, or every one."""

from __future__ import annotations

from collections.abc import Iterable

from wringout.catalogue.cares import ALWAYS, Care
from wringout.cli.layout import item, paragraph

__all__ = ["every_caution", "short_cautions"]


def every_caution(cares: Iterable[Care]) -> list[str]:
    """Every caution of some work, in the order given."""
    lines: list[str] = []
    for care in cares:
        lines.append(paragraph(f"{care.title}:"))
        lines += [item("-", words, 2) for words in care.text]
    return lines


def short_cautions(cares: Iterable[Care], more: str) -> list[str]:
    """The first caution of each kind; ``more`` says where all of them stand."""
    lines = []
    for care in cares:
        words = f"{care.text[0]} {more}" if care.id == ALWAYS else f"{care.title}: {care.text[0]}"
        lines.append(item("!", words))
    return lines
