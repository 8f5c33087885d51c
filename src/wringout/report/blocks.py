"""What a report is made of: a few kinds of blocks that every form of it knows how to write."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

__all__ = ["Block", "Box", "Heading", "Items", "Page", "Paragraph", "Picture", "Report", "Table", "clean"]

# marks that turn the reading direction of what follows; a complaint has no need of them
_TURNS = {*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0x061C}


@dataclass(frozen=True)
class Heading:
    """A heading; the report's title stands above level 2."""

    text: str
    level: int = 2


@dataclass(frozen=True)
class Paragraph:
    """Running text; ``strong`` for the one line that must be seen."""

    text: str
    strong: bool = False


@dataclass(frozen=True)
class Items:
    """A list; an item may have a leading word or two that stand out."""

    items: tuple[tuple[str, str], ...]
    numbered: bool = False


@dataclass(frozen=True)
class Table:
    """Rows under heads; ``widths`` are shares of the line. The first cell of a row names the row."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...]


@dataclass(frozen=True)
class Box:
    """Something to heed, in a frame."""

    title: str
    items: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Picture:
    """A drawing as a whole SVG document, what it shows in words, and its caption; ``width`` of the line."""

    svg: str
    alt: str
    caption: str
    width: float = 0.7


@dataclass(frozen=True)
class Page:
    """A new page begins."""


Block = Heading | Paragraph | Items | Table | Box | Picture | Page


@dataclass(frozen=True)
class Report:
    """A whole report. ``day`` is that of the call's last event, so that one call gives one report."""

    title: str
    subtitle: str
    day: date
    foot: str
    paper: str
    blocks: tuple[Block, ...]

    def texts(self) -> Iterable[str]:
        """Every text in it, for whoever checks what can be written."""
        yield from (self.title, self.subtitle, self.foot)
        for block in self.blocks:
            yield from _texts(block)


def _texts(block: Block) -> Iterable[str]:
    if isinstance(block, Heading | Paragraph):
        yield block.text
    elif isinstance(block, Items | Box):
        yield getattr(block, "title", "")
        for item in block.items:
            yield from item
    elif isinstance(block, Table):
        yield block.caption
        yield from block.heads
        for row in block.rows:
            yield from row
    elif isinstance(block, Picture):
        yield from (block.alt, block.caption)


def clean(text: str) -> str:
    """Text of a person without what no page can show: control characters, and marks that turn the direction
    of everything after them; line breaks become spaces."""
    kept = "".join(
        " " if c.isspace() else c for c in text if (c.isprintable() or c.isspace()) and ord(c) not in _TURNS
    )
    return " ".join(kept.split())
