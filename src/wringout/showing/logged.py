"""Which log was weighed beside the readings, and of which days, in words."""

from __future__ import annotations

from wringout.weighing.answer import Answer
from wringout.weighing.trend import LoggedTrend, clock

__all__ = ["days_words", "tells"]


def tells(answer: Answer) -> bool:
    """Whether the log that an answer was given with told it anything."""
    return bool(answer.signs) or any(s.logged is not None for s in answer.problem.situations)


def days_words(trend: LoggedTrend) -> str:
    """From which day to which a log was looked at."""
    first, last = (f"{clock(at):%Y-%m-%d}" for at in (trend.start, trend.end))
    return first if first == last else f"{first} to {last}"
