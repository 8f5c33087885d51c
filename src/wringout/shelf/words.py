"""Words and labels in running text, and when two labels are nearly the same.

A label is a word with a digit in it: a part number, a wire number, a terminal. It may hold ``- / . : _ #``
between letters and digits and stays whole: ``TB1-7`` is one word.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

__all__ = [
    "JOINED",
    "Keys",
    "Span",
    "holds",
    "is_label",
    "keys_of",
    "labels_of",
    "one_slip_apart",
    "parts_of",
    "plain",
    "settled",
    "spans",
    "spread",
]

_WORD = re.compile(r"[^\W_]+(?:[-/.:_#'’][^\W_]+)*")
_DIGIT = re.compile(r"\d")
_RUN = re.compile(r"\d+|[^\W\d_]+")
_LEAD = re.compile(r"[A-Z]{1,4}")  # the letters before a number, where a label is written with a space
JOINED = re.compile(r"[^\W\d_]{1,4}")
_LOOK_ALIKE = str.maketrans({"o": "0", "i": "1", "l": "1"})


class Span(NamedTuple):
    """A word in a text: its place and the word itself."""

    start: int
    end: int
    word: str


@dataclass(frozen=True, slots=True)
class Keys:
    """What is left of a label when its writing is set aside.

    ``compact`` has no separators, no case and no leading zeros; ``look_alike`` also takes O for 0, and I and
    L for 1, as optical reading does; ``letters`` and ``digits`` are the two halves of ``compact``, with a
    hyphen between one number and the next.
    """

    compact: str
    look_alike: str
    letters: str
    digits: str


def spans(text: str) -> Iterator[Span]:
    """The words of a text in order."""
    for found in _WORD.finditer(text):
        yield Span(found.start(), found.end(), found.group())


def plain(word: str) -> str:
    """A word without case and accents, as the index compares it."""
    if word.isascii():
        return word.lower()
    decomposed = unicodedata.normalize("NFKD", word.casefold())
    return "".join(c for c in decomposed if not unicodedata.combining(c))


def is_label(word: str) -> bool:
    """Whether a word is a label: it has a digit."""
    return _DIGIT.search(word) is not None


def parts_of(word: str) -> tuple[str, ...]:
    """The pieces of a compound word: three-way gives three, way; nothing for a word of one piece."""
    pieces = re.split(r"[-/.:_#'’]", word)
    return tuple(pieces) if len(pieces) > 1 else ()


def keys_of(label: str) -> Keys:
    """What two writings of one label share."""
    runs = [_shortened(run) for run in _RUN.findall(plain(label))]
    compact = "".join(runs)
    return Keys(
        compact=compact,
        look_alike="".join(_shortened(run) for run in _RUN.findall(plain(label).translate(_LOOK_ALIKE))),
        letters="".join(run for run in runs if not run[0].isdigit()),
        digits="-".join(run for run in runs if run[0].isdigit()),
    )


def holds(longer: Keys, asked: Keys) -> bool:
    """Whether a label is a longer one of those asked for: W-137 of W37, TB1-17 of TB1-7, TB-W37 of W37.

    With the same letters, each number holds the number asked for in its place.
    """
    if asked.compact in longer.compact:
        return True
    there, wanted = longer.digits.split("-"), asked.digits.split("-")
    return (
        asked.letters != ""
        and longer.letters == asked.letters
        and len(there) == len(wanted)
        and all(one in other for one, other in zip(wanted, there, strict=True))
    )


def _shortened(run: str) -> str:
    return (run.lstrip("0") or "0") if run[0].isdigit() else run


def labels_of(words: Iterable[str]) -> Iterator[tuple[int, int, str]]:
    """Labels in a row of words: place of the first word, number of words, label.

    One to four capitals before a word that begins with a digit make a label with a space in it: TB 1-7.
    """
    last = ""
    for place, word in enumerate(words):
        if is_label(word):
            yield place, 1, word
            if word[0].isdigit() and _LEAD.fullmatch(last):
                yield place - 1, 2, f"{last} {word}"
        last = word


def spread(label: str) -> tuple[str, ...]:
    """The words that a label is written with."""
    return tuple(span.word for span in spans(label))


def settled(words: Iterable[str], known: Mapping[str, str]) -> dict[str, str]:
    """What optical reading took for something else, mended by the labels that are known.

    Parameters
    ----------
    words : iterable of str
        Words as they were read.
    known : mapping
        ``look_alike`` of each known label to the label, where only one label looks so.

    Returns
    -------
    dict
        Word as read to the known label; a word that is known, or looks like none, is left out.
    """
    right = set(known.values())
    mended = {}
    for word in words:
        if word in right or not is_label(word):  # a word without any digit may well be a word: OIL, ILL
            continue
        label = known.get(keys_of(word).look_alike)
        if label is not None and plain(label) != plain(word) and len(label) == len(word):
            mended[word] = label
    return mended


def one_slip_apart(one: str, other: str) -> bool:
    """Whether a character changed, added or left out, or two neighbours exchanged, turn one into the
    other."""
    if one == other or abs(len(one) - len(other)) > 1:
        return False
    if len(one) > len(other):
        one, other = other, one
    begin = 0
    while begin < len(one) and one[begin] == other[begin]:
        begin += 1
    if len(one) < len(other):
        return one[begin:] == other[begin + 1 :]
    if one[begin + 1 :] == other[begin + 1 :]:
        return True
    exchanged = one[begin + 1 : begin + 2] + one[begin]
    return other[begin:] == exchanged + one[begin + 2 :]
