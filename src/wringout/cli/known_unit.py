"""What commands share for a unit that earlier visits made known: the option, and its reading."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from wringout.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from wringout.documents.call import Call
    from wringout.history.fingerprint import Fingerprint
    from wringout.history.proofs import HeldProof
    from wringout.machine.known import KnownMachine
    from wringout.records.store import Store
    from wringout.showing.known_unit import Told

__all__ = [
    "PROOF_HELP",
    "attached_proofs",
    "fingerprint_option",
    "read_fingerprint",
    "read_proof",
    "known_of",
    "told_of",
]

PROOF_HELP = "What `wringout prove --json` wrote of a repair; may be given again."


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


def told_of(path: str | None, call: Call) -> Told | None:
    """What a fingerprint tells of the machine of a call; None where none is named."""
    if path is None:
        return None
    from pathlib import Path

    from wringout.showing.known_unit import told_for

    fingerprint = read_fingerprint(Path(path))
    try:
        told = told_for(fingerprint, call, path)
    except InputError as error:
        raise InputError(error.message, path) from None
    if told is None:
        raise InputError(
            "it was learned from visits of this very call; a reading would count twice. Give the "
            "fingerprint of earlier visits",
            path,
        )
    return told


def known_of(path: str | None, call: Call) -> KnownMachine | None:
    """The machine of a call as a fingerprint tells it; None where none is named."""
    told = told_of(path, call)
    return told.known if told is not None else None


def read_proof(path: str) -> HeldProof:
    """A proof document from its file."""
    import json
    from pathlib import Path

    from wringout.history.proofs import proof_of

    try:
        tree = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", path) from None
    except (ValueError, RecursionError):
        raise InputError("this is no JSON; `wringout prove --json` writes what is wanted", path) from None
    return proof_of(tree, path)


def attached_proofs(record: Store, call_id: str) -> list[HeldProof]:
    """Proofs that are attached to a call of the record, as the app keeps them."""
    from wringout.history.proofs import PROOF_FORMAT, proof_of
    from wringout.records.attached_json import attached_json

    trees = attached_json(record, record.call(call_id), PROOF_FORMAT)
    return [proof_of(tree, f"call {call_id}") for tree in trees]
