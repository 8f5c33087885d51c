"""``wringout export``: calls out of the record, as one zip or as a document."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wringout.cli.record_options import STORE_NOTE, call_named, open_record, store_option
from wringout.errors import DataError, InputError

if TYPE_CHECKING:
    from wringout.records.store import Store

__all__ = ["command"]


@click.command(
    "export",
    epilog=f"{STORE_NOTE} Exit codes: 0 written, 2 something to mend. "
    "Example: wringout export 0c0c07398f -o call.zip",
)
@click.argument("call_ids", metavar="CALL_ID...", nargs=-1, required=True)
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(),
    metavar="FILE",
    help="FILE.zip holds documents, events and attachments of all calls named; "
    "FILE.yaml the document of one call with its unit inside.",
)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@store_option
def command(call_ids: tuple[str, ...], output: str, force: bool, store: str | None) -> None:
    """Write calls from the record. A beginning or an end of the id will do."""
    from wringout.records.bundle import export_calls

    path = Path(output)
    kind = path.suffix.lower()
    if kind not in (".zip", ".yaml", ".yml"):
        raise InputError("name a file that ends in .zip or .yaml", output or "-o")
    if path.is_dir():
        raise InputError("this is a folder; name a file in it", output)
    if path.exists() and not force:
        raise InputError("this file is there already; --force writes over it", output)
    with open_record(store, create=False) as record:
        calls = [call_named(record, words) for words in call_ids]
        if kind == ".zip":
            missing = export_calls(record, calls, path)
            for words in missing:
                click.echo(f"not arrived here, so left out: {words}", err=True)
        else:
            _document(record, calls, path)
    click.echo(f"{output}: {len(calls)} call{'' if len(calls) == 1 else 's'}")


def _document(record: Store, calls: list[str], path: Path) -> None:
    from wringout.records.plain import yaml_of

    if len(calls) > 1:
        raise InputError("a document holds one call; name a file that ends in .zip for several", str(path))
    try:
        path.write_text(yaml_of(record.call_tree(calls[0])), encoding="utf-8")
    except OSError as error:
        raise DataError(f"{path}: cannot be written: {error.strerror or error}") from None
