"""Files that no reader should trust: each gives one clear error, in bounds, and leaves nothing behind."""

from __future__ import annotations

import random
import re
import sqlite3
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from shelf_samples import drawn, encrypted, many_pages, nested
from wringout.errors import InputError
from wringout.shelf import reader
from wringout.shelf.limits import USUAL
from wringout.shelf.reader import read_pages
from wringout.shelf.shelf import open_shelf

SHEET = drawn(b"BT /F 12 Tf 72 700 Td (Wire W37) Tj ET")


def refused(folder: Path, data: bytes, **limits: float) -> str:
    """What is said about a file that is not taken; nothing of it may be left."""
    (folder / "file.pdf").write_bytes(data)
    with open_shelf(folder / "shelf.sqlite") as shelf:
        with pytest.raises(InputError) as told:
            shelf.add(folder / "file.pdf", "Unit", limits=replace(USUAL, **limits))  # type: ignore[arg-type]
        assert shelf.documents() == ()
    database = sqlite3.connect(folder / "shelf.sqlite")
    for table in ("documents", "pages", "labels", "label_places", "standing"):
        assert database.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)
    database.close()
    return str(told.value)


def in_place_of_the_child(monkeypatch: pytest.MonkeyPatch, source: str) -> None:
    monkeypatch.setattr(reader, "CHILD", (sys.executable, "-c", source))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "this is no PDF"),
        (b"\x00\x01" * 5000, "this is no PDF"),
        (SHEET[: len(SHEET) // 2], "the PDF ends in the middle"),
        (SHEET[:-30], "the PDF ends in the middle"),
        (b"%PDF-1.7\n" + random.Random(1).randbytes(50_000) + b"\n%%EOF", "broken, or no PDF"),
        (SHEET.replace(b"/Kids [4 0 R]", b"/Kids [9 0 R]"), "page 1 is broken"),
        (encrypted(), "encrypted, and wants a password"),
        (many_pages(20_000), "has 20,000 pages; at most 5,000 are taken"),
    ],
    ids=["empty", "garbage", "half", "end missing", "garbage inside", "page missing", "encrypted", "pages"],
)
def test_a_file_that_is_not_taken(tmp_path: Path, data: bytes, words: str) -> None:
    assert words in refused(tmp_path, data)


def test_an_encrypted_file_that_is_made_wrong_would_not_pass_for_one(tmp_path: Path) -> None:
    """The same file with an empty password opens, so it is the password that is missed."""
    pages = list(read_pages(encrypted(b""), "file.pdf"))
    assert [page.source for page in pages] == ["none"]


def test_a_huge_file_is_not_even_read(tmp_path: Path) -> None:
    with (tmp_path / "file.pdf").open("wb") as stream:
        stream.truncate(USUAL.size + 1)  # it takes no room on the disk
    with open_shelf(tmp_path / "shelf.sqlite") as shelf, pytest.raises(InputError, match="at most 200 MB"):
        shelf.add(tmp_path / "file.pdf", "Unit")


def test_a_page_with_too_many_characters_is_not_taken(tmp_path: Path) -> None:
    page = drawn(b"BT /F 1 Tf 10 700 Td (" + b"abcde " * 500 + b") Tj ET")
    assert "page 1 holds" in refused(tmp_path, page, page_characters=1000)
    assert "holds more than 1,000 characters" in refused(tmp_path, page, characters=1000)


@pytest.mark.parametrize("box", [b"0 0 2000000 2000000", b"0 0 0 0", b"0 0 1e30 1e30", b"-1e9 -1e9 1e9 1e9"])
def test_a_page_box_of_any_size_does_no_harm(tmp_path: Path, box: bytes) -> None:
    """Refused or read: it ends soon, and a picture stays small."""
    (tmp_path / "file.pdf").write_bytes(drawn(b"BT /F 12 Tf 72 700 Td (Wire W37) Tj ET", box=box))
    with open_shelf(tmp_path / "shelf.sqlite") as shelf:
        try:
            (document,) = [shelf.add(tmp_path / "file.pdf", "Unit").document]
        except InputError as error:
            assert "no size that a page can have" in str(error)  # noqa: PT017 - either end is right
            return
        from wringout.shelf.hit import Place

        picture = shelf.picture(Place(document.short, 1))
        assert max(picture.width, picture.height) <= 2001


def test_deep_nesting_and_a_stream_that_grows_end_in_bounds(tmp_path: Path) -> None:
    (tmp_path / "file.pdf").write_bytes(nested(200_000))
    began = time.monotonic()
    with open_shelf(tmp_path / "shelf.sqlite") as shelf:
        try:
            shelf.add(tmp_path / "file.pdf", "Unit", limits=replace(USUAL, processor=20, silence=60.0))
            kept = 1
        except InputError:
            kept = 0
        assert len(shelf.documents()) == kept
    assert time.monotonic() - began < 120.0


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", r"crashed \(signal 11\)"),
        ("import os; os.abort()", r"crashed \(signal 6\)"),
        ("import sys; sys.exit(3)", r"failed \(status 3\)"),
        ("import time; time.sleep(600)", "did not end in time"),
        ("print('7 0')", "only 0 of its pages could be read"),
        (
            "import sys; sys.stdout.write('12 0\\n{\"count\": 9}'); sys.stdout.flush()",
            "only 0 of 9 pages could be read",
        ),
    ],
)
def test_a_reader_that_crashes_hangs_or_stops_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, source: str, words: str
) -> None:
    in_place_of_the_child(monkeypatch, source)
    silence = 3.0 if "sleep" in source else USUAL.silence  # a busy machine starts a process slowly
    assert re.search(words, refused(tmp_path, SHEET, silence=silence))


@pytest.mark.skipif(sys.platform == "win32", reason="no bounds of this kind there")
def test_the_bounds_of_memory_and_processor_hold(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bounds = "import sys, json; from wringout.shelf.child import _bounded as b; "
    bounds += "w = json.loads(sys.argv[1]); b(w['memory'], w['processor']); "
    in_place_of_the_child(monkeypatch, bounds + "bytearray(2 << 30)")
    assert "failed (status 1)" in refused(tmp_path, SHEET)
    in_place_of_the_child(monkeypatch, bounds + "\nwhile True: pass")
    assert "more than 2 s of the processor" in refused(tmp_path, SHEET, processor=2)


@pytest.mark.parametrize("seed", range(8))
def test_a_file_with_bytes_changed_by_chance_is_taken_whole_or_not_at_all(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    data = bytearray(SHEET)
    for _ in range(20):
        data[chance.randrange(len(data))] = chance.randrange(256)
    (tmp_path / "file.pdf").write_bytes(bytes(data))
    with open_shelf(tmp_path / "shelf.sqlite") as shelf:
        try:
            document = shelf.add(tmp_path / "file.pdf", "Unit").document
        except InputError:
            assert shelf.documents() == ()
        else:
            assert shelf.documents() == (document,)
