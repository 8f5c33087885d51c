"""``wringout report``: the service report of a call, as PDF or HTML, or all of a call as one zip."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wringout.cli.known_unit import PROOF_HELP, attached_proofs, read_proof
from wringout.cli.record_options import STORE_NOTE, call_named, open_record, store_option
from wringout.errors import DataError, InputError

if TYPE_CHECKING:
    from wringout.documents.call import Call
    from wringout.quantity import UnitSystem

__all__ = ["command"]


@click.command(
    "report",
    epilog=f"CALL is a file, or the id of a call in the record. {STORE_NOTE} Exit codes: 0 written, "
    "1 our fault, 2 something to mend. Example: wringout report call.yaml -o report.pdf --trend log.csv",
)
@click.argument("call", metavar="CALL")
@click.option("-o", "--output", type=click.Path(), metavar="FILE", help="FILE.pdf or FILE.html.")
@click.option(
    "--bundle",
    type=click.Path(),
    metavar="ZIP",
    help="Report, documents and answers as one zip, for help from afar.",
)
@click.option(
    "--trend",
    type=click.Path(),
    metavar="FILE",
    help="A log to weigh with the readings and to show, which also judges the repair where it holds days "
    "since; a trend document "
    "(.yaml) names its columns. With a call of the record also the name of a log attached to it.",
)
@click.option(
    "--units", type=click.Choice(["ip", "si"]), default=None, help="Units; without it, those of the unit."
)
@click.option(
    "--earlier",
    multiple=True,
    metavar="CALL",
    help="An earlier call at the unit; may be repeated. What its proven visits tell of the machine is used.",
)
@click.option("--proof", "proofs", multiple=True, metavar="FILE", help=PROOF_HELP)
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@store_option
def command(
    call: str,
    output: str | None,
    bundle: str | None,
    trend: str | None,
    units: UnitSystem | None,
    earlier: tuple[str, ...],
    proofs: tuple[str, ...],
    force: bool,
    store: str | None,
) -> None:
    """Write the report of CALL: one page for whoever runs the building, then pages to check it by."""
    from wringout import __version__
    from wringout.cli.trend_table import table_of, table_of_record
    from wringout.documents.overview import system_of
    from wringout.report.findings import findings
    from wringout.report.write import report_of

    if output is None and bundle is None:
        raise InputError("name the file to write: -o report.pdf, -o report.html or --bundle call.zip", "-o")
    for name, endings in ((output, (".pdf", ".html")), (bundle, (".zip",))):
        if name is not None:
            _may_write(Path(name), endings, force)
    loaded, call_id = _loaded(call, store)
    table = None
    if trend is not None and call_id is None:
        table = table_of(trend, None, loaded.unit, Path(call))
    elif trend is not None and call_id is not None:
        with open_record(store, create=False) as record:
            table = table_of_record(record, call_id, trend, loaded.unit)
    if proofs and not earlier:
        raise InputError("this goes with --earlier", "--proof")
    before = [_loaded(one, store) for one in earlier]
    held = [read_proof(path) for path in proofs]
    for _, known_as in before:
        if known_as is not None:
            with open_record(store, create=False) as record:
                held += attached_proofs(record, known_as)
    system = units or system_of(loaded.unit)
    found = findings(loaded, system, table, [one for one, _ in before], held)
    report = report_of(found, __version__)
    if output is not None:
        from wringout.report.html import html_of
        from wringout.report.pdf import pdf_of

        data = pdf_of(report) if output.lower().endswith(".pdf") else html_of(report).encode()
        _write(Path(output), data)
    if bundle is not None:
        from wringout.report.bundle import bundle_of_document, bundle_of_record

        if call_id is None:
            bundle_of_document(Path(call), found, report, __version__, Path(bundle))
        else:
            with open_record(store, create=False) as record:
                bundle_of_record(record, call_id, found, report, __version__, Path(bundle))
        click.echo(f"{bundle}: {Path(bundle).stat().st_size / 1000:.0f} kB")


def _loaded(call: str, store: str | None) -> tuple[Call, str | None]:
    """The call of a file, or of the record where no such file is; and its id there."""
    from wringout.catalogue.calls import load_call, vocabulary

    if Path(call).exists() or Path(call).suffix.lower() in {".yaml", ".yml", ".json"}:
        return load_call(call), None
    with open_record(store, create=False) as record:
        call_id = call_named(record, call)
        return record.call_document(call_id, vocabulary()), call_id


def _may_write(path: Path, endings: tuple[str, ...], force: bool) -> None:
    if path.suffix.lower() not in endings:
        raise InputError(f"name a file that ends in {' or '.join(endings)}", str(path) or "-o")
    if path.is_dir():
        raise InputError("this is a folder; name a file in it", str(path))
    if path.exists() and not force:
        raise InputError("this file is there already; --force writes over it", str(path))


def _write(path: Path, data: bytes) -> None:
    try:
        path.write_bytes(data)
    except OSError as error:
        raise DataError(f"{path}: cannot be written: {error.strerror or error}") from None
    click.echo(f"{path}: {len(data) / 1000:.0f} kB")
