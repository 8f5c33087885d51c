"""PDF files made on the fly: short manuals, and files that no reader should trust."""

from __future__ import annotations

import hashlib
import importlib.util
import sys
import zlib
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from types import ModuleType

__all__ = ["drawn", "encrypted", "many_pages", "manual", "nested", "pdf", "scanned", "script"]

_PADDING = bytes.fromhex("28BF4E5E4E758A4164004E56FFFA01082E2E00B6D0683E802F0CA9FE6453697A")


@cache
def script() -> ModuleType:
    """scripts/make_manual.py as a module."""
    path = Path(__file__).resolve().parent.parent / "scripts" / "make_manual.py"
    spec = importlib.util.spec_from_file_location("make_manual", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_manual"] = module
    spec.loader.exec_module(module)
    return module


@cache
def manual(pages: int = 30) -> bytes:
    """The invented manual, short."""
    made: bytes = script().manual_pdf(pages)
    return made


def pdf(objects: Sequence[bytes], trailer: bytes = b"") -> bytes:
    """A file of these objects, numbered from 1, the first one the catalogue."""
    out, places = b"%PDF-1.4\n", []
    for number, body in enumerate(objects, 1):
        places.append(len(out))
        out += b"%d 0 obj\n%s\nendobj\n" % (number, body)
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    out_table = b"xref\n0 %d\n0000000000 65535 f \n%s" % (len(objects) + 1, table)
    head = b"trailer\n<< /Size %d /Root 1 0 R %s >>\n" % (len(objects) + 1, trailer)
    return out + out_table + head + b"startxref\n%d\n%%%%EOF\n" % len(out)


def _stream(content: bytes, more: bytes = b"") -> bytes:
    return b"<< /Length %d %s >>\nstream\n%s\nendstream" % (len(content), more, content)


def drawn(*contents: bytes, box: bytes = b"0 0 612 792", rotate: int = 0) -> bytes:
    """A file with one page for each content, in the letters of Helvetica (/F)."""
    kids = b" ".join(b"%d 0 R" % (4 + 2 * n) for n in range(len(contents)))
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [%s] /Count %d >>" % (kids, len(contents)),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>",
    ]
    for n, content in enumerate(contents):
        objects += [
            b"<< /Type /Page /Parent 2 0 R /MediaBox [%s] /Rotate %d /Contents %d 0 R "
            b"/Resources << /Font << /F 3 0 R >> >> >>" % (box, rotate, 5 + 2 * n),
            _stream(content),
        ]
    return pdf(objects)


def scanned(text_page: bytes = b"") -> bytes:
    """A page of text, then one that has a drawing on it and no text."""
    return drawn(text_page or b"BT /F 12 Tf 72 700 Td (Known wire W107 here) Tj ET", b"100 100 200 50 re f")


def many_pages(count: int) -> bytes:
    """One page that a tree of pages names again and again: a small file that says it has so many."""
    return pdf(
        [
            b"<< /Type /Catalog /Pages 2 0 R >>",
            b"<< /Type /Pages /Kids [%s] /Count %d >>" % (b" ".join([b"3 0 R"] * count), count),
            b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 612 792] >>",
        ]
    )


def nested(depth: int) -> bytes:
    """Arrays in arrays where a page's content should be, and a stream that grows a thousandfold."""
    grown = zlib.compress(b"q " * 20_000_000, 9)
    return pdf(
        [
            b"<< /Type /Catalog /Pages 2 0 R >>",
            b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
            b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 612 792] /Contents 4 0 R /Extra %s%s >>"
            % (b"[" * depth, b"]" * depth),
            _stream(grown, b"/Filter /FlateDecode"),
        ]
    )


def encrypted(password: bytes = b"secret") -> bytes:
    """A file that wants a password (standard handler, revision 2, RC4 of 40 bits; PDF 1.4, section 3.5)."""
    owner = _rc4(hashlib.md5(_padded(password), usedforsecurity=False).digest()[:5], _padded(password))
    name = b"0123456789abcdef"
    rights = -4
    key = hashlib.md5(
        _padded(password) + owner + rights.to_bytes(4, "little", signed=True) + name, usedforsecurity=False
    ).digest()[:5]
    user = _rc4(key, _PADDING)
    objects = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 612 792] >>",
        b"<< /Filter /Standard /V 1 /R 2 /P %d /O <%s> /U <%s> >>"
        % (rights, owner.hex().encode(), user.hex().encode()),
    ]
    hexed = name.hex().encode()
    return pdf(objects, b"/Encrypt 4 0 R /ID [<%s> <%s>]" % (hexed, hexed))


def _padded(password: bytes) -> bytes:
    return (password + _PADDING)[:32]


def _rc4(key: bytes, data: bytes) -> bytes:
    state = list(range(256))
    j = 0
    for i in range(256):
        j = (j + state[i] + key[i % len(key)]) % 256
        state[i], state[j] = state[j], state[i]
    out = bytearray()
    i = j = 0
    for byte in data:
        i = (i + 1) % 256
        j = (j + state[i]) % 256
        state[i], state[j] = state[j], state[i]
        out.append(byte ^ state[(state[i] + state[j]) % 256])
    return bytes(out)
