"""All of one call as one zip, for somebody who helps from afar.

It is the zip of `wringout export`, with the report and the answers attached to the call: `wringout import`
takes it as it is, and whoever unpacks it finds the contract's documents and the report beside each other.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from wringout.catalogue.calls import vocabulary
from wringout.records.bundle import export_calls, import_bundle
from wringout.records.from_documents import attached_files, events_of_document
from wringout.records.store import Store, open_store
from wringout.report.blocks import Report
from wringout.report.findings import Findings
from wringout.report.html import html_of
from wringout.report.pdf import pdf_of

__all__ = ["bundle_of_document", "bundle_of_record"]


def bundle_of_document(path: Path, f: Findings, report: Report, version: str, to: Path) -> None:
    """The bundle of a call document, written to a file."""
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "record.sqlite") as store:
        read = events_of_document(path, vocabulary())
        events, contents = attached_files(read, _written(Path(folder), f, report, version))
        store.append((*read.events, *events), contents)
        export_calls(store, [str(read.call_id)], to)


def bundle_of_record(
    record: Store, call_id: str, f: Findings, report: Report, version: str, to: Path
) -> None:
    """The bundle of a call of the record, which itself stays as it is."""
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "record.sqlite") as store:
        archive = Path(folder) / "call.zip"
        export_calls(record, [call_id], archive)
        import_bundle(store, archive)
        for path in _written(Path(folder), f, report, version):
            store.attach(path.read_bytes(), name=path.name, call_id=call_id, author="report", device="report")
        export_calls(store, [call_id], to)


def _written(folder: Path, f: Findings, report: Report, version: str) -> list[Path]:
    """Report and answers as files."""
    parts = {
        "report.pdf": pdf_of(report),
        "report.html": html_of(report).encode(),
        "weighing.json": _json(f.now["document"]),
        "ledger.json": _json(f.book["document"]),
        "versions.json": _json({"wringout": version}),
    }
    for name, data in parts.items():
        (folder / name).write_bytes(data)
    return [folder / name for name in parts]


def _json(document: object) -> bytes:
    return json.dumps(document, indent=1, ensure_ascii=False).encode()
