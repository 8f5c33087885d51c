"""What the weighing commands share for a unit that earlier visits made known: the option, and its reading."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from wringout.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from wringout.documents.call import Call
    from wringout.history.fingerprint import Fingerprint
    from wringout.weighing.known import Known

__all__ = ["fingerprint_option", "known_of", "read_fingerprint"]


def fingerprint_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """The option that names a unit's fingerprint."""
    return click.option(
        "--fingerprint",
        "fingerprint_path",
        type=click.Path(),
        default=None,
        metavar="FILE",
        help="What proven visits told of this unit (wringout history --learn writes it).",
    )(command)


def read_fingerprint(path: Path) -> Fingerprint:
    """A fingerprint document from its file."""
    from wringout.history.fingerprint import fingerprint_from_text

    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise InputError("this is no text, and so no fingerprint", str(path)) from None
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", str(path)) from None
    return fingerprint_from_text(text, path.name)


def known_of(path: str | None, call: Call) -> Known | None:
    """What a fingerprint tells of the machine of a call; None where none is named."""
    if path is None:
        return None
    from pathlib import Path

    from wringout.history.fingerprint import check_unit
    from wringout.history.learning import known_for
    from wringout.history.visits import visits_of
    from wringout.machine.design import design

    fingerprint = read_fingerprint(Path(path))
    check_unit(fingerprint, call.unit, path)
    spans = [(visit.first, visit.last) for visit in visits_of([call])]
    try:
        return known_for(fingerprint, design(call.unit), spans)
    except InputError as error:
        raise InputError(error.message, path) from None
