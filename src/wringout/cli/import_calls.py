"""``wringout import``: calls into the record, from a zip, from documents or from another record."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wringout.cli.record_options import STORE_NOTE, open_record, store_option
from wringout.errors import InputError

if TYPE_CHECKING:
    from wringout.records.merge import Merged
    from wringout.records.store import Store

__all__ = ["command"]


@click.command(
    "import",
    epilog=f"{STORE_NOTE} It is made where there is none. Exit codes: 0 kept, 2 something to mend. "
    "Example: wringout import call.zip",
)
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path())
@click.option(
    "--attach",
    multiple=True,
    type=click.Path(),
    metavar="FILE",
    help="Attach a photo or a file, such as a trend, to the call of the one document named; may be repeated.",
)
@store_option
def command(files: tuple[str, ...], attach: tuple[str, ...], store: str | None) -> None:
    """Bring calls into the record; what is there already is left as it is.

    FILE is a zip that `wringout export` wrote, a call document or a unit document, or another record.
    """
    if attach and len(files) != 1:
        raise InputError("name one document to attach files to", "--attach")
    with open_record(store, create=True) as record:
        for name in files:
            merged = _take(record, name, attach)
            click.echo(_told(name, merged))


def _take(record: Store, name: str, attach: tuple[str, ...]) -> Merged:
    from wringout.records.bundle import import_bundle
    from wringout.records.merge import merge
    from wringout.records.store import open_store

    path = Path(name)
    if path.is_dir():
        raise InputError("this is a folder; name a file in it", name)
    if not path.is_file():
        raise InputError("there is no such file", name)
    try:
        with path.open("rb") as stream:
            begins = stream.read(16)
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", name) from None
    archive = begins.startswith(b"PK") or path.suffix.lower() == ".zip"
    if attach and (archive or begins.startswith(b"SQLite format 3\0")):
        raise InputError("files are attached to a call document", "--attach")
    if archive:
        return import_bundle(record, path)
    if begins.startswith(b"SQLite format 3\0"):
        with open_store(path, create=False) as other:
            return merge(record, other)
    return _document(record, path, attach)


def _document(record: Store, path: Path, attach: tuple[str, ...]) -> Merged:
    from wringout.catalogue.calls import vocabulary
    from wringout.documents.source import name_of
    from wringout.records.from_documents import attached_files, events_of_document
    from wringout.records.merge import brought

    read = events_of_document(path, vocabulary())
    if attach and read.call_id is None:
        raise InputError("a unit document has no call to attach files to", name_of(path))
    events, contents = attached_files(read, [Path(name) for name in attach])
    new = record.append([*read.events, *events], contents)
    return brought([*read.events, *events], new, len(contents))


def _told(name: str, merged: Merged) -> str:
    from wringout.cli.layout import counted

    words = f"{name}: {counted(len(merged.new), 'new event')}"
    if merged.known:
        words += f", {merged.known} known"
    if merged.contents:
        words += f", {counted(merged.contents, 'attachment')}"
    return "\n".join([words, *(f"call {call}" for call in merged.calls)])
