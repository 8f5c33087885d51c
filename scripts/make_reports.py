"""Make the reports of both demo calls anew: docs/reports/*.pdf, and a picture of every page.

Run as ``.venv/bin/python scripts/make_reports.py`` (extras ``report`` and ``shelf``), then look at them.
"""

from __future__ import annotations

import struct
import sys
import zlib
from pathlib import Path

import pypdfium2

from wringout import __version__
from wringout.catalogue.calls import load_call
from wringout.documents.overview import system_of
from wringout.report.findings import findings
from wringout.report.pdf import pdf_of
from wringout.report.write import report_of

ROOT = Path(__file__).resolve().parent.parent
PLACE = ROOT / "docs" / "reports"
STORIES = {"ice-hall": "ice_hall", "film-vault": "film_vault"}
SCALE = 1.15  # of 72 points an inch: legible on a screen, small on the disk


def png(width: int, height: int, grey: bytes) -> bytes:
    """A grey picture as PNG, written as the format says: signature, header, rows, end."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = b"".join(b"\0" + grey[k * width : (k + 1) * width] for k in range(height))
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(rows, 9))
        + chunk(b"IEND", b"")
    )


def pictures(pdf: bytes, stem: Path) -> int:
    """Write one picture a page; how many."""
    document = pypdfium2.PdfDocument(pdf)
    for number in range(len(document)):
        bitmap = document[number].render(scale=SCALE, grayscale=True)
        data, stride = bytes(bitmap.buffer), bitmap.stride
        # sixteen greys are enough for print in black and white, and halve the file
        rows = b"".join(data[k * stride : k * stride + bitmap.width] for k in range(bitmap.height))
        grey = bytes(min((value + 8) // 17 * 17, 255) for value in range(256))
        path = stem.with_name(f"{stem.name}-{number + 1}.png")
        path.write_bytes(png(bitmap.width, bitmap.height, rows.translate(grey)))
    return len(document)


if __name__ == "__main__":
    PLACE.mkdir(exist_ok=True)
    for old in PLACE.glob("*.png"):
        old.unlink()
    for name, story in STORIES.items():
        call = load_call(ROOT / "src" / "wringout" / "demo" / story / "call-final.yaml")
        data = pdf_of(report_of(findings(call, system_of(call.unit)), __version__))
        (PLACE / f"{name}.pdf").write_bytes(data)
        sys.stdout.write(f"docs/reports/{name}.pdf: {pictures(data, PLACE / name)} pages\n")
