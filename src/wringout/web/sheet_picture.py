"""A page of a manual as a picture, light enough for a phone's connection: few colours, named by index."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

__all__ = ["light_png"]

STEPS = 6  # of each of red, green and blue: 216 colours; a letter's edge needs no more


def light_png(image: NDArray[np.uint8]) -> bytes:
    """Write a picture as an indexed PNG (ISO/IEC 15948).

    Parameters
    ----------
    image : array, (height, width, 3)
        Red, green, blue.

    Returns
    -------
    bytes
        A file of about a quarter of the size of one in full colour; each channel is off by 26 of 255 at most.
    """
    height, width, _ = image.shape
    steps = np.rint(image.astype(np.float32) * ((STEPS - 1) / 255.0)).astype(np.uint8)
    lines = np.zeros((height, 1 + width), dtype=np.uint8)  # each begins with its filter, 0: none
    lines[:, 1:] = (steps[..., 0] * STEPS + steps[..., 1]) * STEPS + steps[..., 2]
    every = np.stack(np.unravel_index(np.arange(STEPS**3), (STEPS,) * 3), axis=1)
    palette = np.rint(every * (255.0 / (STEPS - 1))).astype(np.uint8)
    head = struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)
    chunks = (
        (b"IHDR", head),
        (b"PLTE", palette.tobytes()),
        (b"IDAT", zlib.compress(lines.tobytes(), 9)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in chunks
    )
