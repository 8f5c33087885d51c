"""Errors, sorted by whose fault they are.

The command line and every other face turn them into words and exit codes in one place each: the first two
are the reader's to mend (exit code 2), the last is ours (exit code 1).
"""

from __future__ import annotations

__all__ = ["WringoutError", "InputError", "DataError", "NotConverged"]


class WringoutError(Exception):
    """Anything this package raises on purpose."""


class InputError(WringoutError):
    """The person can mend it; the message is shown as it stands.

    Parameters
    ----------
    message : str
        What was found and what is accepted.
    place : str, optional
        Where: a file with its line, a field, an option.
    """

    def __init__(self, message: str, place: str | None = None) -> None:
        super().__init__(f"{place}: {message}" if place else message)
        self.message = message
        self.place = place


class DataError(WringoutError):
    """A file, a sensor or a network did not give what it should."""


class NotConverged(WringoutError):
    """A computation of ours did not settle; ``state`` holds what is needed to see why."""

    def __init__(self, message: str, state: object = None) -> None:
        super().__init__(message)
        self.state = state
