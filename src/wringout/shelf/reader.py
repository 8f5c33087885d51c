"""The parent's side of reading a file: a bounded process is started, and what it meets is told in words."""

from __future__ import annotations

import importlib.util
import json
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any

from wringout.errors import DataError, InputError
from wringout.shelf.limits import USUAL, Limits
from wringout.shelf.words import Span

__all__ = ["Box", "Page", "Picture", "Wanted", "bytes_of", "read_pages", "render"]

Box = tuple[float, float, float, float]
CHILD = (sys.executable, "-P", "-m", "wringout.shelf.child")
_END_WITHIN, _BEGIN_WITHIN = 4096, 1024
MOST_HEADER = 64_000_000


@dataclass(frozen=True, slots=True)
class Page:
    """One page as it was read: size [points], text, its words and the box of each (left, bottom, right,
    top) [points]; ``source`` is "text", "ocr", or "none" for a page without words."""

    number: int
    width: float
    height: float
    text: str
    words: tuple[Span, ...]
    boxes: tuple[Box, ...]
    source: str


@dataclass(frozen=True, slots=True)
class Wanted:
    """A page to make a picture of, with the boxes [points] to be found in it."""

    page: int
    boxes: tuple[Box, ...] = ()


@dataclass(frozen=True, slots=True)
class Picture:
    """A page in pixels: rows of red, green, blue, ``stride`` bytes each; ``marks`` are boxes (left, top,
    right, bottom); ``scale`` is pixels a point; ``corners`` are the upper left, upper right and lower left
    one on the page [points]."""

    page: int
    width: int
    height: int
    stride: int
    channels: int
    scale: float
    data: bytes
    marks: tuple[tuple[int, int, int, int], ...]
    corners: tuple[tuple[float, float], ...]

    def on_page(self, x: float, y: float) -> tuple[float, float]:
        """A place in the picture as a place on the page [points], whichever way the page is turned."""
        (x0, y0), (x1, y1), (x2, y2) = self.corners
        across, down = x / self.width, y / self.height
        return x0 + across * (x1 - x0) + down * (x2 - x0), y0 + across * (y1 - y0) + down * (y2 - y0)


def bytes_of(path: Path, limits: Limits = USUAL) -> bytes:
    """A file that may be a whole PDF, as bytes.

    Raises
    ------
    InputError
        Where it cannot be read, is too large, is no PDF, or ends in the middle.
    """
    name = str(path)
    try:
        if not path.is_file():
            raise InputError("there is no such file" if not path.exists() else "this is no file", name)
        size = path.stat().st_size
        if size > limits.size:
            raise InputError(
                f"{size / 1e6:,.0f} MB; at most {limits.size / 1e6:,.0f} MB are taken: split it, or save it "
                "with smaller pictures",
                name,
            )
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", name) from None
    if b"%PDF-" not in data[:_BEGIN_WITHIN]:
        raise InputError("this is no PDF", name)
    if b"%%EOF" not in data[-_END_WITHIN:]:
        raise InputError("the PDF ends in the middle; fetch it once more", name)
    return data


def read_pages(data: bytes, name: str, limits: Limits = USUAL) -> Iterator[Page]:
    """The pages of a PDF, one after the other, as a bounded process reads them.

    Raises
    ------
    InputError
        Where the file is broken, encrypted or beyond a bound, or its reading crashes or hangs.
    """
    seen, count = 0, 0
    for header, _ in _frames(data, name, {"act": "read"}, limits):
        if "count" in header:
            count = int(header["count"])
            continue
        seen += 1
        words = tuple(
            Span(int(w[0]), int(w[1]), header["text"][int(w[0]) : int(w[1])]) for w in header["words"]
        )
        yield Page(
            number=header["page"],
            width=header["width"],
            height=header["height"],
            text=header["text"],
            words=words,
            boxes=tuple((w[2], w[3], w[4], w[5]) for w in header["words"]),
            source="text" if words else "none",
        )
    if seen != count or not count:  # a process that ends well and says nothing has read nothing
        raise InputError(f"only {seen} of {count or 'its'} pages could be read", name)


def render(
    data: bytes, name: str, pages: Sequence[Wanted], *, scale: float = 2.0, limits: Limits = USUAL
) -> Iterator[Picture]:
    """Pictures of pages; ``scale`` is pixels a point, less where the longest edge would pass its bound.

    Raises
    ------
    InputError
        As `read_pages`.
    """
    order = [[page.page, [list(box) for box in page.boxes]] for page in pages]
    seen = 0
    for header, pixels in _frames(data, name, {"act": "render", "render": order, "scale": scale}, limits):
        if "count" in header:
            continue
        seen += 1
        marks = tuple((int(m[0]), int(m[1]), int(m[2]), int(m[3])) for m in header.pop("marks"))
        corners = tuple((float(x), float(y)) for x, y in header.pop("corners"))
        yield Picture(**header, data=pixels, marks=marks, corners=corners)
    if seen != len(order):
        raise InputError("not every page could be drawn", name)


class _Watch:
    """Ends a process that is silent, or works, for too long."""

    def __init__(self, process: subprocess.Popen[bytes], limits: Limits) -> None:
        self.process, self.silence = process, limits.silence
        self.end = time.monotonic() + limits.whole
        self.next = time.monotonic() + limits.silence
        self.fired = False
        self.done = threading.Event()
        threading.Thread(target=self._look, daemon=True).start()

    def heard(self) -> None:
        self.next = time.monotonic() + self.silence

    def _look(self) -> None:
        while not self.done.is_set():
            left = min(self.next, self.end) - time.monotonic()
            if left <= 0:
                self.fired = True
                self.process.kill()
                return
            self.done.wait(left)


def _frames(
    data: bytes, name: str, wanted: dict[str, Any], limits: Limits
) -> Iterator[tuple[dict[str, Any], bytes]]:
    if importlib.util.find_spec("pypdfium2") is None:
        raise InputError("the shelf takes the extra shelf: pip install 'wringout[shelf]'")
    order = json.dumps({**wanted, **asdict(limits)})
    with tempfile.TemporaryFile() as given:
        given.write(data)
        given.seek(0)
        process = subprocess.Popen(
            [*CHILD, order], stdin=given, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
    assert process.stdout is not None
    watch = _Watch(process, limits)
    try:
        while (frame := _frame(process.stdout)) is not None:
            watch.heard()
            if "error" in frame[0]:
                raise InputError(str(frame[0]["error"]), name)
            yield frame
            watch.heard()  # what the caller did in between is not the child's silence
        status = process.wait()
    finally:
        watch.done.set()
        if process.poll() is None:
            process.kill()
        process.stdout.close()
        process.wait()
    if watch.fired:
        raise InputError(
            f"reading it did not end in time (a page within {limits.silence:g} s, all within "
            f"{limits.whole:g} s); the file is broken, or too much for this machine",
            name,
        )
    if status != 0:
        raise InputError(_why(status, limits), name)


def _frame(stream: IO[bytes]) -> tuple[dict[str, Any], bytes] | None:
    """The next frame, or None where the stream ends, in the middle of one too."""
    lengths = stream.readline(64).split()
    if len(lengths) != 2:
        return None
    length, more = int(lengths[0]), int(lengths[1])
    if length > MOST_HEADER or more > 4 * MOST_HEADER:
        raise DataError("the reading process sent more than it may")
    told, data = stream.read(length), stream.read(more)
    if len(told) != length or len(data) != more:
        return None
    header: dict[str, Any] = json.loads(told)
    return header, data


def _why(status: int, limits: Limits) -> str:
    if status == -getattr(signal, "SIGXCPU", 10_000):
        return f"reading it takes more than {limits.processor} s of the processor; nothing was kept"
    if status < 0:
        return (
            f"reading it crashed (signal {-status}) or takes more than {limits.memory / 1e6:,.0f} MB of "
            "memory; the file is broken, and nothing was kept"
        )
    return f"reading it failed (status {status}); the file is broken, and nothing was kept"
