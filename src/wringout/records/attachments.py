"""What may be attached to a call: photos and files of known types, within bounds, named by their SHA-256.

They stand in the record itself, so that one file is the whole record: one thing to copy, and an event and
the photo it speaks of are kept in the same transaction.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from wringout.errors import InputError

__all__ = ["MAX_BYTES", "TYPES", "Content", "content_of", "sha256_of"]

MAX_BYTES = 25_000_000

TYPES = (
    "image/jpeg",
    "image/png",
    "image/webp",
    "image/heic",
    "application/pdf",
    "application/vnd.apache.parquet",
    "text/plain",
)
_HEIC_BRANDS = (b"heic", b"heix", b"hevc", b"mif1", b"msf1", b"heim", b"heis")


@dataclass(frozen=True, slots=True)
class Content:
    """Bytes, what they are, and their name."""

    sha256: str
    type: str
    data: bytes


def sha256_of(data: bytes) -> str:
    """The SHA-256 of bytes, as 64 digits."""
    return hashlib.sha256(data).hexdigest()


def content_of(data: bytes, place: str = "attachment") -> Content:
    """The content in bytes; the type is told from the bytes and never from a name.

    Raises
    ------
    InputError
        When there is nothing, too much, or something of another type.
    """
    if not data:
        raise InputError("the file is empty", place)
    if len(data) > MAX_BYTES:
        raise InputError(f"{len(data) / 1e6:.0f} MB; at most {MAX_BYTES // 1_000_000} MB are taken", place)
    found = _type_of(data)
    if found is None:
        taken = "photos (JPEG, PNG, WebP, HEIC), PDF, Parquet and text (CSV, YAML, JSON and the like)"
        raise InputError(f"the bytes are of no type that is taken: {taken}", place)
    return Content(sha256_of(data), found, data)


def _type_of(data: bytes) -> str | None:
    if data.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return "image/webp"
    if data[4:8] == b"ftyp" and data[8:12] in _HEIC_BRANDS:
        return "image/heic"
    if data.startswith(b"%PDF-"):
        return "application/pdf"
    if data.startswith(b"PAR1") and data.endswith(b"PAR1"):
        return "application/vnd.apache.parquet"
    return "text/plain" if _is_text(data) else None


def _is_text(data: bytes) -> bool:
    """Text in any encoding that a controller may write: no control bytes but those between lines."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return len(data) % 2 == 0
    return not data.translate(None, bytes(range(32, 127)) + bytes(range(128, 256)) + b"\t\n\r\f")
