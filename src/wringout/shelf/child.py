"""The process that reads a file which nobody vouches for: bounded, and nothing is lost when it dies.

Run as ``python -P -m wringout.shelf.child``: the file on standard input, one JSON argument that says what is
wanted. Standard output takes frames: a line with the lengths of a JSON header and of what follows it, then
both. An error is a frame too; what dies without one has crashed or met a bound.
"""

from __future__ import annotations

import ctypes
import importlib
import json
import sys
from collections.abc import Iterator
from typing import Any

__all__ = ["main"]

_SAME = {0x2010: "-", 0x2011: "-", 0x2012: "-", 0x2013: "-", 0x2212: "-", 0xA0: " ", 0xAD: "", 0: " "}
_LIGATURES = {0xFB00: "ff", 0xFB01: "fi", 0xFB02: "fl", 0xFB03: "ffi", 0xFB04: "ffl"}
_BREAK = "\x02"  # pdfium writes this for a hyphen at the end of a line
_REASONS = {
    2: "cannot be read at all",
    3: "broken, or no PDF",
    4: "encrypted, and wants a password; save it without one and add that",
    5: "encrypted in a way that is not known here; save it without encryption and add that",
}


class Refused(Exception):
    """The file breaks a bound or a rule; the words are for the reader."""


def main() -> int:
    """Read standard input, write frames."""
    wanted = json.loads(sys.argv[1])
    _bounded(wanted["memory"], wanted["processor"])
    try:
        for header, data in _answers(sys.stdin.buffer.read(), wanted):
            _send(header, data)
    except Refused as error:
        _send({"error": str(error)})
    except MemoryError:
        _send({"error": f"takes more than {wanted['memory'] / 1e6:,.0f} MB of memory to read"})
    except Exception as error:  # noqa: BLE001 - whatever a broken file brings about is told, in words
        _send({"error": f"cannot be read ({type(error).__name__}: {str(error)[:120]})"})
    return 0


def _bounded(memory: int, processor: int) -> None:
    try:
        import resource
    except ImportError:  # this system has no such bounds; the clock of the parent holds everywhere
        return
    bounds = (
        (resource.RLIMIT_AS, memory, memory),
        (resource.RLIMIT_CPU, processor, processor + 5),  # the first is told as SIGXCPU, the second kills
        (resource.RLIMIT_CORE, 0, 0),
        (resource.RLIMIT_FSIZE, 0, 0),
    )
    for kind, most, last in bounds:
        _, hard = resource.getrlimit(kind)
        if hard != resource.RLIM_INFINITY:
            most, last = min(most, hard), min(last, hard)
        resource.setrlimit(kind, (most, last))


def _send(header: dict[str, Any], data: bytes = b"") -> None:
    told = json.dumps(header, ensure_ascii=True).encode()
    sys.stdout.buffer.write(b"%d %d\n" % (len(told), len(data)) + told + data)
    sys.stdout.buffer.flush()


def _answers(data: bytes, wanted: dict[str, Any]) -> Iterator[tuple[dict[str, Any], bytes]]:
    pypdfium2 = importlib.import_module("pypdfium2")

    try:
        document = pypdfium2.PdfDocument(data)
    except pypdfium2.PdfiumError:
        raise Refused(_REASONS.get(pypdfium2.raw.FPDF_GetLastError(), _REASONS[3])) from None
    count = len(document)
    if count < 1:
        raise Refused("has no pages that can be read")
    if count > wanted["pages"]:
        raise Refused(f"has {count:,} pages; at most {wanted['pages']:,} are taken")
    yield {"count": count}, b""
    if wanted["act"] == "read":
        yield from _read(document, count, wanted)
    else:
        yield from _render(document, wanted)


def _page(document: Any, number: int) -> Any:
    pypdfium2 = importlib.import_module("pypdfium2")

    try:
        page = document[number - 1]
    except pypdfium2.PdfiumError:
        raise Refused(f"page {number} is broken") from None
    width, height = page.get_size()
    if not (0.0 < width < 1e6 and 0.0 < height < 1e6):
        raise Refused(f"page {number} has no size that a page can have ({width:g} by {height:g} points)")
    return page


def _read(document: Any, count: int, wanted: dict[str, Any]) -> Iterator[tuple[dict[str, Any], bytes]]:
    read = 0
    for number in range(1, count + 1):
        page = _page(document, number)
        width, height = page.get_size()
        textpage = page.get_textpage()
        length = textpage.count_chars()
        read += max(length, 0)
        if length > wanted["page_characters"]:
            raise Refused(f"page {number} holds {length:,} characters; at most "
                          f"{wanted['page_characters']:,} are taken")  # fmt: skip
        if read > wanted["characters"]:
            raise Refused(f"holds more than {wanted['characters']:,} characters")
        text, places, broken = _text(textpage.raw, length)
        words = _words(textpage.raw, text, places, broken)
        textpage.close()
        page.close()
        yield {"page": number, "width": width, "height": height, "text": text, "words": words}, b""


def _text(raw: Any, length: int) -> tuple[str, list[int], set[int]]:
    """Text, for each character its place in pdfium's count, and where a word goes on in the next line."""
    unicode_of = importlib.import_module("pypdfium2.raw").FPDFText_GetUnicode

    letters: list[str] = []
    places: list[int] = []
    broken: set[int] = set()
    joining = False
    for place in range(length):
        code = unicode_of(raw, place)
        if code == 0x02 or code == 0xFFFE:
            joining = True
            broken.add(len(letters))
            continue
        if joining and code in (10, 13, 32):
            continue
        joining = False
        if 32 < code < 0x7F:
            letter = chr(code)
        elif code in _LIGATURES:
            letter = _LIGATURES[code]
        else:
            letter = _SAME.get(code, "\ufffd" if 0xD800 <= code < 0xE000 or code > 0x10FFFF else chr(code))
        for one in letter:
            letters.append(one)
            places.append(place)
    return "".join(letters).replace("\r\n", "\n ").replace("\r", "\n"), places, broken


def _words(raw: Any, text: str, places: list[int], broken: set[int]) -> list[list[float]]:
    """Start, end and box (left, bottom, right, top, in points of the page) of each word."""
    box_of = importlib.import_module("pypdfium2.raw").FPDFText_GetCharBox

    from wringout.shelf.words import spans

    edges = [ctypes.c_double() for _ in range(4)]
    left, right, bottom, top = (ctypes.byref(edge) for edge in edges)
    found = []
    for span in spans(text):
        end = min((b for b in broken if span.start < b < span.end), default=span.end) if broken else span.end
        box = [float("inf"), float("inf"), float("-inf"), float("-inf")]
        for place in range(span.start, end):
            if box_of(raw, places[place], left, right, bottom, top):
                box[0], box[1] = min(box[0], edges[0].value), min(box[1], edges[2].value)
                box[2], box[3] = max(box[2], edges[1].value), max(box[3], edges[3].value)
        if not box[0] <= box[2] < 1e7 or not -1e7 < box[1] <= box[3] < 1e7:
            box = [0.0, 0.0, 0.0, 0.0]  # a character without a place: the page is shown without a mark
        found.append([span.start, span.end, *(round(edge, 2) for edge in box)])
    return found


def _render(document: Any, wanted: dict[str, Any]) -> Iterator[tuple[dict[str, Any], bytes]]:
    """Pictures of pages, and the boxes that were asked for in pixels of them."""
    for number, boxes in wanted["render"]:
        if not 1 <= number <= len(document):
            raise Refused(f"has no page {number}")
        page = _page(document, number)
        scale = min(wanted["scale"], wanted["longest_edge"] / max(page.get_size()))
        bitmap = page.render(scale=scale, rev_byteorder=True, prefer_bgrx=False)
        marks = [_in_pixels(page, bitmap, box) for box in boxes]
        header = {
            "page": number,
            "width": bitmap.width,
            "height": bitmap.height,
            "stride": bitmap.stride,
            "channels": bitmap.n_channels,
            "scale": scale,
            "marks": marks,
            "corners": [
                _in_points(page, bitmap, x, y) for x, y in ((0, 0), (bitmap.width, 0), (0, bitmap.height))
            ],
        }
        yield header, bytes(bitmap.buffer)
        bitmap.close()
        page.close()


def _in_pixels(page: Any, bitmap: Any, box: list[float]) -> list[int]:
    """A box of the page, whichever way it is turned, as left, top, right, bottom in the picture."""
    to_device = importlib.import_module("pypdfium2.raw").FPDF_PageToDevice

    x, y = ctypes.c_int(), ctypes.c_int()
    across, down = [], []
    for right, upper in ((box[0], box[1]), (box[2], box[3])):
        to_device(
            page.raw, 0, 0, bitmap.width, bitmap.height, 0, right, upper, ctypes.byref(x), ctypes.byref(y)
        )
        across.append(x.value)
        down.append(y.value)
    return [min(across), min(down), max(across), max(down)]


def _in_points(page: Any, bitmap: Any, x: int, y: int) -> list[float]:
    """A place in the picture as a place on the page."""
    to_page = importlib.import_module("pypdfium2.raw").FPDF_DeviceToPage

    right, upper = ctypes.c_double(), ctypes.c_double()
    to_page(page.raw, 0, 0, bitmap.width, bitmap.height, 0, x, y, ctypes.byref(right), ctypes.byref(upper))
    return [right.value, upper.value]


if __name__ == "__main__":
    sys.exit(main())
