"""A page as rows of the tables: its words with their boxes, what the index takes, its labels."""

from __future__ import annotations

import struct
import zlib
from collections import Counter
from dataclasses import dataclass, replace

from wringout.shelf.reader import Box, Page
from wringout.shelf.words import Span, labels_of, parts_of, plain, spans

__all__ = ["Packed", "boxes_of", "ends_of", "packed", "unpacked", "with_mended"]

_FORM = struct.Struct("<IIffff")
_ENDS = struct.Struct("<II16x")  # the same row without its box, which most readers of a page have no use for


@dataclass(frozen=True, slots=True)
class Packed:
    """A page ready to be kept; ``whole`` and ``parts`` are what the index of words takes."""

    number: int
    width: float
    height: float
    source: str
    text: str
    words: bytes
    whole: str
    parts: str
    labels: dict[str, int]
    mended: dict[str, str]


def packed(page: Page, mended: dict[str, str] | None = None) -> Packed:
    """A page as it is kept."""
    rows = b"".join(
        _FORM.pack(span.start, span.end, *box) for span, box in zip(page.words, page.boxes, strict=True)
    )
    written = [span.word for span in page.words]
    return Packed(
        number=page.number,
        width=page.width,
        height=page.height,
        source=page.source,
        text=page.text,
        words=zlib.compress(rows, 1),
        whole=" ".join(plain(word) for word in written),
        parts=" ".join(plain(part) for word in written for part in parts_of(word)),
        labels=dict(Counter(label for _, _, label in labels_of(written))),
        mended=mended or {},
    )


def unpacked(text: str, words: bytes) -> tuple[Span, ...]:
    """Words of a page out of its row."""
    rows = _ENDS.iter_unpack(zlib.decompress(words))
    return tuple([Span(start, end, text[start:end]) for start, end in rows])


def ends_of(words: bytes) -> list[tuple[int, int]]:
    """Where each word of a page begins and ends in its text: all that a search needs of most of them."""
    return list(_ENDS.iter_unpack(zlib.decompress(words)))


def boxes_of(words: bytes) -> tuple[Box, ...]:
    """The boxes of a page's words out of its row."""
    return tuple((row[2], row[3], row[4], row[5]) for row in _FORM.iter_unpack(zlib.decompress(words)))


def with_mended(page: Page, mended: dict[str, str]) -> Page:
    """The page with words in place of what optical reading took them for; they are of the same length."""
    text = page.text
    for span in page.words:
        if span.word in mended:
            text = text[: span.start] + mended[span.word] + text[span.end :]
    again = tuple(spans(text))
    if [(span.start, span.end) for span in again] != [(span.start, span.end) for span in page.words]:
        return page  # what was mended reads as other words; leave it as it was read
    return replace(page, text=text, words=again)
