"""What came from outside, as it may stand in a message of one line."""

from __future__ import annotations

__all__ = ["shown"]


def shown(value: object, limit: int = 40) -> str:
    """The beginning of a value as text in which everything can be printed and sent."""
    text = value if isinstance(value, str) else repr(value)
    return "".join(c if c.isprintable() else "?" for c in text[:limit])
