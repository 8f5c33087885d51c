"""Tokens of a spoken or typed line, and the numbers in them: figures, fractions and number words."""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["Number", "Token", "number_at", "tokens"]

MOST_TOKENS = 400


@dataclass(frozen=True, slots=True)
class Token:
    """A word, number or mark in lower case, and where it stands in the line."""

    text: str
    start: int
    end: int

    @property
    def is_figure(self) -> bool:
        """Whether it is written in figures."""
        return self.text[-1:].isdigit() or self.text[-1:] in _VULGAR


@dataclass(frozen=True, slots=True)
class Number:
    """A number, the place of the token after it, and a doubt in words where it can be read in two ways."""

    value: float
    after: int
    doubt: str = ""


_VULGAR = {"½": 0.5, "¼": 0.25, "¾": 0.75, "⅓": 1 / 3, "⅔": 2 / 3, "⅛": 0.125}
_TOKEN = re.compile(
    r"[a-z_]+(?:\.[a-z0-9_<>-]*[a-z_>])+"  # an id such as stage.c1.current
    r"|(?<![\w.])[-−](?=\.?\d)"
    r"|(?:\d+(?:[.,]\d+)*|\.\d+)[½¼¾⅓⅔⅛]?|[½¼¾⅓⅔⅛]"
    r"|m[³3²2]/[sh]|l/(?:s|min)|gal/min|lbs?/hr?|kg/[hs]|n/a|[°ºΔ]"
    r"|[^\W\d_]+(?:'[^\W\d_]+)?[0-9]*(?:_[a-z0-9]+)*|\d+|[^\w\s]",
    re.IGNORECASE,
)
ONES = {
    "zero": 0,
    "oh": 0,
    "nought": 0,
    "one": 1,
    "two": 2,
    "three": 3,
    "four": 4,
    "five": 5,
    "six": 6,
    "seven": 7,
    "eight": 8,
    "nine": 9,
}
_TEENS = dict(
    zip(
        [
            "ten",
            "eleven",
            "twelve",
            "thirteen",
            "fourteen",
            "fifteen",
            "sixteen",
            "seventeen",
            "eighteen",
            "nineteen",
        ],
        range(10, 20),
        strict=True,
    )
)
_TENS = dict(
    zip(
        ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"],
        range(20, 100, 10),
        strict=True,
    )
)
_PARTS = {"half": 0.5, "halves": 0.5, "quarter": 0.25, "quarters": 0.25, "third": 1 / 3, "thirds": 1 / 3}
_SIGNS = {"minus": -1.0, "negative": -1.0, "-": -1.0, "−": -1.0, "plus": 1.0}


def tokens(line: str) -> list[Token]:
    """Split a line into words, figures and marks."""
    found = [Token(m.group().lower(), m.start(), m.end()) for m in _TOKEN.finditer(line)]
    return found[:MOST_TOKENS]


def number_at(words: list[Token], at: int) -> Number | None:
    """Read the number that begins at a token, or nothing."""
    sign = 1.0
    if _text(words, at) in _SIGNS:
        sign = _SIGNS[_text(words, at)]
        at += 1
    found = _figures(words, at) or _part_alone(words, at) or _words(words, at) or _under_one(words, at)
    return None if found is None else Number(sign * found.value, found.after, found.doubt)


def _under_one(words: list[Token], at: int) -> Number | None:
    """``point two eight``; and ``both stages``, which are two."""
    if _text(words, at) == "both" and _text(words, at + 1) in ("stages", "compressors", "circuits"):
        return Number(2.0, at + 1)
    found = _with_decimals(words, 0.0, at)
    return found if found.after > at and _text(words, at) != "and" else None


def _text(words: list[Token], at: int) -> str:
    return words[at].text if 0 <= at < len(words) else ""


def _figures(words: list[Token], at: int) -> Number | None:
    if at >= len(words) or not words[at].is_figure or not re.match(r"[\d.½¼¾⅓⅔⅛]", words[at].text):
        return None
    text, more, doubt = words[at].text, 0.0, ""
    if text[-1] in _VULGAR:
        text, more = text[:-1], _VULGAR[text[-1]]
        text = text or "0"
    if "," in text or text.count(".") > 1:
        doubt = f'"{text}" can be read in two ways: write it without a comma, with a point for the decimals'
        text = text.replace(",", "")
        if text.count(".") > 1:
            return Number(0.0, at + 1, doubt)
    value, after = float(text) + more, at + 1
    bare = "." not in text and not more and not doubt
    if bare and _text(words, after) == "/" and _figure(words, after + 1):
        below = float(words[after + 1].text)
        return Number(value / below, after + 2) if below else Number(value, after, "nothing is divided by 0")
    if bare and _spoken_fraction(words, after):
        below = float(words[after + 2].text)
        part = float(words[after].text) / below if below else 0.0
        return Number(value + part, after + 3)
    if _text(words, after) in ("hundred", "thousand") and not doubt:
        value *= 100.0 if words[after].text == "hundred" else 1000.0
        after += 1
    return _with_decimals(words, value, after, doubt, decimals=bare)


def _figure(words: list[Token], at: int) -> bool:
    return _text(words, at).isdecimal() and _text(words, at).isascii()


def _spoken_fraction(words: list[Token], at: int) -> bool:
    """``1/2`` behind a whole number."""
    return _figure(words, at) and _text(words, at + 1) == "/" and _figure(words, at + 2)


def _part_alone(words: list[Token], at: int) -> Number | None:
    """``half``, ``a quarter``, ``three quarters``."""
    first = _text(words, at)
    if first in ("half", "quarter"):
        return Number(_PARTS[first], at + 1)
    if first in ("a", "one") and _text(words, at + 1) in ("half", "quarter", "third"):
        return Number(_PARTS[words[at + 1].text], at + 2)
    if first in ONES and _text(words, at + 1) in ("quarters", "thirds", "halves"):
        return Number(ONES[first] * _PARTS[words[at + 1].text], at + 2)
    return None


def _with_decimals(
    words: list[Token], value: float, after: int, doubt: str = "", decimals: bool = True
) -> Number:
    """Add ``and a half``, ``and 1/2`` or ``point four five`` behind a number."""
    if decimals and _text(words, after) in ("point", "dot", "decimal"):
        digits, at = "", after + 1
        while _text(words, at) in ONES:
            digits += str(ONES[words[at].text])
            at += 1
        if not digits and _figure(words, at):
            digits, at = words[at].text, at + 1
        if digits:
            return Number(value + float(f"0.{digits}"), at, doubt)
    if _text(words, after) == "and":
        part = _part_alone(words, after + 1)
        if part is not None:
            return Number(value + part.value, part.after, doubt)
        if _spoken_fraction(words, after + 1):
            below = float(words[after + 3].text)
            return Number(value + (float(words[after + 1].text) / below if below else 0.0), after + 4, doubt)
    return Number(value, after, doubt)


def _below_hundred(words: list[Token], at: int) -> tuple[int, int] | None:
    text = _text(words, at)
    if text in _TENS:
        step = 2 if _text(words, at + 1) == "-" else 1
        one = ONES.get(_text(words, at + step), 0)
        return (_TENS[text] + one, at + step + 1) if one else (_TENS[text], at + 1)
    if text in _TEENS:
        return _TEENS[text], at + 1
    return (ONES[text], at + 1) if text in ONES else None


def _words(words: list[Token], at: int) -> Number | None:
    if _text(words, at) in ("a", "one") and _text(words, at + 1) in ("hundred", "thousand"):
        small: tuple[int, int] | None = (1, at + 1)
    else:
        small = _below_hundred(words, at)
    if small is None:
        return None
    value, after = small
    total = 0
    if _text(words, after) == "thousand":
        total, after = value * 1000, after + 1
        value, after = _below_hundred(words, after) or (0, after)
    if value and _text(words, after) == "hundred":
        value, after = value * 100, after + 1
        step = 1 if _text(words, after) == "and" else 0
        rest = _below_hundred(words, after + step)
        if rest is not None and not (step and _part_alone(words, after + 1)):
            value, after = value + rest[0], rest[1]
    elif not total and 0 < value < 10:
        value, after = _run_together(words, value, after)
    return _with_decimals(words, float(total + value), after)


def _run_together(words: list[Token], value: int, after: int) -> tuple[int, int]:
    """``one twenty`` is 120, ``one oh four`` 104."""
    follower = _text(words, after)
    if follower == "oh" and _text(words, after + 1) in ONES:
        return value * 100 + ONES[words[after + 1].text], after + 2
    if follower in _TENS or follower in _TEENS:
        rest = _below_hundred(words, after)
        if rest is not None:
            return value * 100 + rest[0], rest[1]
    return value, after
