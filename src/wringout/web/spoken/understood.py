"""What a line was understood as: readings, places that cannot be read, held items, and open questions."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Choice", "Held", "Question", "Said", "Understood", "Unreadable"]


@dataclass(frozen=True, slots=True)
class Said:
    """A reading as understood: the value as documents write it, and what was taken that was not said."""

    point: str
    value: str
    words: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A point that cannot be read here and now."""

    point: str
    words: str


@dataclass(frozen=True, slots=True)
class Held:
    """An item held at a share of its travel, or given back (``to`` empty)."""

    item: str
    to: str
    words: str


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing that a question may mean."""

    point: str
    value: str


@dataclass(frozen=True, slots=True)
class Question:
    """What cannot be told from the words alone; no choices where only other words would help."""

    words: str
    why: str
    choices: tuple[Choice, ...] = ()


@dataclass(frozen=True, slots=True)
class Understood:
    """A line as understood, in the order of its words."""

    said: tuple[Said, ...] = ()
    unreadable: tuple[Unreadable, ...] = ()
    held: tuple[Held, ...] = ()
    questions: tuple[Question, ...] = ()
    unknown: tuple[str, ...] = ()

    @property
    def clear(self) -> bool:
        """Whether something was understood and nothing is open."""
        something = self.said or self.unreadable or self.held
        return bool(something) and not self.questions and not self.unknown
