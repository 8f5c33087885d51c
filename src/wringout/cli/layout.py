"""Text for a terminal of any width: wrapped and indented, never in columns that a phone would break."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable

import click

from wringout.showing.plain import chance

__all__ = ["chance", "counted", "heading", "item", "listed", "paragraph", "width"]

WIDEST, NARROWEST = 80, 24


def width() -> int:
    """Columns to fill: those of the terminal, 80 at most and where nothing says."""
    return max(min(shutil.get_terminal_size((WIDEST, 24)).columns, WIDEST), NARROWEST) - 1


def paragraph(text: str, indent: int = 0, hang: int = 0) -> str:
    """Text wrapped to the width, `indent` columns in, later lines `hang` further."""
    return textwrap.fill(
        text,
        width(),
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + hang),
        break_on_hyphens=False,
        break_long_words=True,
    )


def item(mark: str, text: str, indent: int = 0) -> str:
    """Text behind a mark, later lines under its first letter."""
    lead = " " * indent + mark + " "
    return textwrap.fill(
        text,
        width(),
        initial_indent=lead,
        subsequent_indent=" " * len(lead),
        break_on_hyphens=False,
        break_long_words=True,
    )


def heading(text: str) -> str:
    """A heading; bold is decoration and falls away where the output is no terminal."""
    return click.style(paragraph(text), bold=True)


def listed(marks: Iterable[tuple[str, str]], indent: int = 0) -> list[str]:
    """Items with marks of one width, so that texts stand under each other."""
    rows = list(marks)
    wide = max((len(mark) for mark, _ in rows), default=0)
    return [item(mark.rjust(wide), text, indent) for mark, text in rows]


def counted(count: int, word: str) -> str:
    """A number with its word: 1 reading, 2 readings."""
    return f"{count} {word}{'' if count == 1 else 's'}"
