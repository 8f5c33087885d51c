"""Turns of speech about a reading or a state as a whole: that it cannot be had, that it was a slip, that
something is held or given back."""

from __future__ import annotations

__all__ = ["BACK", "CORRECTING", "FREE", "HOLD", "ITEMS", "PUT", "UNREADABLE"]


def _split(said: str) -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(words.split()) for words in said.split("|"))


# before its place or behind it
UNREADABLE = _split(
    "not readable|unreadable|no reading|cannot be read|cannot read|can't read|can't be read|could not read|"
    "couldn't read|not available|n/a|no access|can't reach|cannot reach|not accessible|not measurable"
)
# what comes next stands for the last value
CORRECTING = _split("make that|make it|i mean|correction|scratch that")
BACK = _split("back to auto|back in auto|back to automatic|back to control")
FREE = frozenset({"release", "released", "releasing"})
HOLD = frozenset({"force", "forced", "hold", "held", "holding", "forcing"})
PUT = frozenset({"put", "drove", "drive"})
# words for what is held
ITEMS = frozenset({"reheat", "command", "cooling", "stages", "call", "output"})
