"""A page as a PNG picture, its hits marked."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

from wringout.shelf.reader import Picture

__all__ = ["marked", "pixels", "png"]

INK = np.array([200, 30, 90])  # of the frame around a hit
WASH = np.array([255, 236, 120])  # laid over it: dark letters stay dark
ROOM, LINE = 4, 3  # pixels around a hit, and of its frame


def pixels(picture: Picture) -> NDArray[np.uint8]:
    """A picture as an array, shape (height, width, 3), red, green, blue."""
    rows = np.frombuffer(picture.data, dtype=np.uint8)[: picture.stride * picture.height]
    rows = rows.reshape(picture.height, picture.stride)[:, : picture.width * picture.channels]
    shaped = rows.reshape(picture.height, picture.width, picture.channels)
    if picture.channels == 1:
        return np.repeat(shaped, 3, axis=2)
    return shaped[:, :, :3].copy()


def marked(picture: Picture) -> NDArray[np.uint8]:
    """The picture with a frame around every hit and a wash over it, so that colour is not the only sign."""
    image = pixels(picture)
    height, width = image.shape[:2]
    for left, top, right, bottom in picture.marks:
        x0, y0 = max(left - ROOM, 0), max(top - ROOM, 0)
        x1, y1 = min(right + ROOM + 1, width), min(bottom + ROOM + 1, height)
        if x0 >= x1 or y0 >= y1:
            continue
        area = image[y0:y1, x0:x1]
        area[:] = np.minimum(area, WASH).astype(np.uint8)
        fx0, fy0 = max(x0 - LINE, 0), max(y0 - LINE, 0)
        fx1, fy1 = min(x1 + LINE, width), min(y1 + LINE, height)
        for part in (
            image[fy0:y0, fx0:fx1],
            image[y1:fy1, fx0:fx1],
            image[fy0:fy1, fx0:x0],
            image[fy0:fy1, x1:fx1],
        ):
            part[:] = INK.astype(np.uint8)
    return image


def png(image: NDArray[np.uint8]) -> bytes:
    """A picture as a PNG file (ISO/IEC 15948): 8 bits, red, green, blue; the same picture, the same bytes."""
    height, width, _ = image.shape
    lines = np.zeros((height, 1 + 3 * width), dtype=np.uint8)  # each begins with its filter, 0: none
    lines[:, 1:] = image.reshape(height, 3 * width)
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", head), (b"IDAT", zlib.compress(lines.tobytes(), 6)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(kind, data) for kind, data in chunks)


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
