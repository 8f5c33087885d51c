"""The shelf: a manual is found by word and label, exact before near, and shown with the hit marked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from shelf_samples import drawn, manual, scanned, script
from wringout.errors import InputError
from wringout.shelf.hit import Place, place_from
from wringout.shelf.ocr import Line
from wringout.shelf.picture import INK, marked, png
from wringout.shelf.reader import Page
from wringout.shelf.search import Nearness, search
from wringout.shelf.shelf import Shelf, open_shelf
from wringout.shelf.words import spans

UNIT = "Hall unit (invented)"


def page_of(*words: str) -> bytes:
    """A page with words a line each."""
    lines = b"".join(b"(%s) ' " % word.encode() for word in words)
    return b"BT /F 12 Tf 20 TL 72 740 Td " + lines + b"ET"


def put(folder: Path, data: bytes, name: str = "sheet.pdf", unit: str = UNIT, **more: Any) -> Shelf:
    (folder / name).write_bytes(data)
    shelf = open_shelf(folder / "shelf.sqlite")
    shelf.add(folder / name, unit, **more)
    return shelf


def typed(folder: Path, monkeypatch: pytest.MonkeyPatch, *pages: str) -> Shelf:
    """A shelf whose reader gives these texts: for what is about searching alone."""

    def given(*_: object) -> Iterator[Page]:
        for number, text in enumerate(pages, 1):
            words = tuple(spans(text))
            yield Page(number, 612.0, 792.0, text, words, ((0.0, 0.0, 1.0, 1.0),) * len(words), "text")

    monkeypatch.setattr("wringout.shelf.shelf.read_pages", given)
    return put(folder, b"%PDF-1.4 %%EOF")


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Shelf:
    return put(tmp_path_factory.mktemp("shelf"), manual(30), "manual.pdf")


def nearness(shelf: Shelf, query: str) -> list[tuple[Nearness, tuple[str, ...], int]]:
    return [(hit.nearness, hit.words, hit.place.page) for hit in search(shelf, query, limit=50).hits]


# ------------------------------------------------------------------------------- exact before near


def test_every_wire_of_the_manual_is_found_on_the_pages_that_show_it_first(filled: Shelf) -> None:
    maker = script()
    for number in range(1, 6):
        for row in range(1, maker.WIRE_ROWS + 1):
            label = f"W{maker.wire(number, row)}"
            pages = {(number - 1) * maker.PER_CHAPTER + 5}  # the wiring table, and the drawing
            if row <= 6:
                pages.add((number - 1) * maker.PER_CHAPTER + 6)
            found = nearness(filled, label)
            exact = {page for near, _, page in found if near == Nearness.WRITTEN}
            assert exact == pages, label
            assert {page for _, _, page in found[: len(pages)]} == pages, label


def test_w37_comes_before_w_137(tmp_path: Path) -> None:
    """From a real file, all the way."""
    sheet = drawn(
        page_of("W-137 to the drive"), page_of("W-37"), page_of("W37"), page_of("w37"), page_of("W38")
    )
    with put(tmp_path, sheet) as shelf:
        assert nearness(shelf, "W37") == [
            (Nearness.WRITTEN, ("W37",), 3),
            (Nearness.CASE, ("w37",), 4),
            (Nearness.SPACING, ("W-37",), 2),
            (Nearness.WITHIN, ("W-137",), 1),
        ]


@pytest.mark.parametrize(
    ("query", "written", "near"),
    [
        ("TB1-7", "TB1-7", Nearness.WRITTEN),
        ("TB1-7", "TB 1-7", Nearness.SPACING),
        ("TB 1-7", "TB1-7", Nearness.SPACING),
        ("TB 1-7", "TB 1-7", Nearness.WRITTEN),
        ("tb1.7", "TB1-7", Nearness.SPACING),
        ("TB1:7", "TB1-7", Nearness.SPACING),
        ("TB1-07", "TB1-7", Nearness.SPACING),
        ("W 37", "W37", Nearness.SPACING),
        ("W037", "W37", Nearness.SPACING),
        ("W1O7", "W107", Nearness.LOOKS),
        ("W107", "WI07", Nearness.LOOKS),
        ("TB1-7", "TB1-17", Nearness.WITHIN),
        ("W37", "TB-W37", Nearness.WITHIN),
        ("W37", "W38", Nearness.SLIP),
        ("W73", "W37", Nearness.SLIP),
        ("three-way", "three-way", Nearness.WRITTEN),
        ("three way", "three-way", Nearness.SPACING),
        ("three-way", "three way", Nearness.SPACING),
        ("way", "three-way", Nearness.SPACING),
        ("Reheat", "reheat", Nearness.WRITTEN),
        ("condens", "condensate", Nearness.WITHIN),
    ],
)
def test_how_near(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, query: str, written: str, near: Nearness
) -> None:
    with typed(tmp_path, monkeypatch, f"Some text.\n{written}.") as shelf:
        (hit,) = search(shelf, query).hits
        assert (hit.nearness, hit.words) == (near, (written,))


@pytest.mark.parametrize(("query", "written"), [("TB1-7", "TB2-17"), ("W37", "X38"), ("valve", "drive"),
                                               ("W37", "W5 and 8 bolts"), ("W37", "W4")])  # fmt: skip
def test_what_is_not_near(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, query: str, written: str) -> None:
    with typed(tmp_path, monkeypatch, written) as shelf:
        assert search(shelf, query).hits == ()


def test_a_label_stays_whole_at_the_end_of_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with typed(tmp_path, monkeypatch, "Loosen TB1-7. (see W37), then W-137/A;") as shelf:
        for query in ("TB1-7", "W37", "W-137/A"):
            (hit,) = search(shelf, query).hits
            assert (hit.nearness, hit.words) == (Nearness.WRITTEN, (query,))


def test_words_together_come_before_words_apart_and_those_before_some(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pages = "drive, then the locked door", "the drive locked out", "the drive"
    with typed(tmp_path, monkeypatch, *pages) as shelf:
        assert [(n, p) for n, _, p in nearness(shelf, "drive locked")] == [
            (Nearness.WRITTEN, 2),
            (Nearness.APART, 1),
        ]
        assert {near for near, _, _ in nearness(shelf, "drive missing")} == {Nearness.SOME}


@pytest.mark.parametrize("query", ["NOT", 'W37" OR "a', "whole:W37", "a*", "^drive", "NEAR(a b)", "-7"])
def test_no_query_breaks_the_index(filled: Shelf, query: str) -> None:
    found = search(filled, query)
    assert found.pages >= len(found.hits)


@pytest.mark.parametrize("query", ["", " ", '"', "(", "-", "*"])
def test_nothing_to_search_for_is_said(filled: Shelf, query: str) -> None:
    with pytest.raises(InputError, match="nothing to search for"):
        search(filled, query)


def test_the_same_shelf_gives_the_same_order(filled: Shelf, tmp_path: Path) -> None:
    with put(tmp_path, manual(30), "manual.pdf") as other:
        for query in ("W37", "drive locked", "torque", "valve", "AH-002"):
            assert search(filled, query).hits == search(other, query).hits


# --------------------------------------------------------------------------------------- pictures


def inked(image: np.ndarray) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of what is drawn in the frame's colour."""
    rows, columns = np.nonzero((image == INK.astype(np.uint8)).all(axis=2))
    return int(columns.min()), int(rows.min()), int(columns.max()), int(rows.max())


@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
def test_the_mark_is_around_the_word_whichever_way_the_page_is_turned(tmp_path: Path, rotate: int) -> None:
    """The word is the only ink on the page, so the frame has to hold all the dark there is."""
    with put(tmp_path, drawn(page_of("W37"), rotate=rotate)) as shelf:
        (hit,) = search(shelf, "W37").hits
        picture = shelf.picture(hit.place)
        bare = shelf.picture(Place(hit.place.document, 1))
        dark = np.nonzero(np.asarray(marked(bare)).sum(axis=2) < 300)
        left, top, right, bottom = inked(marked(picture))
        assert left < dark[1].min()
        assert dark[1].max() < right
        assert top < dark[0].min()
        assert dark[0].max() < bottom
        assert right - left < 100
        assert bottom - top < 100


def test_a_giant_page_is_drawn_small(tmp_path: Path) -> None:
    with put(tmp_path, drawn(page_of("W37"), box=b"0 0 90000 90000")) as shelf:
        picture = shelf.picture(search(shelf, "W37").hits[0].place)
        assert max(picture.width, picture.height) <= 2001


def test_a_picture_is_a_png_that_the_same_hit_gives_again(filled: Shelf) -> None:
    place = search(filled, "W37").hits[0].place
    one, other = (png(marked(filled.picture(place))) for _ in range(2))
    assert one == other
    assert one.startswith(b"\x89PNG\r\n\x1a\n")


# ------------------------------------------------------------------------- adding, units and pins


def test_the_same_bytes_are_kept_once_and_belong_to_several_units(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with typed(tmp_path, monkeypatch, "W37") as shelf:
        again = shelf.add(tmp_path / "sheet.pdf", "Other unit")
        assert not again.new
        assert again.document.units == (UNIT, "Other unit")
        assert len(search(shelf, "W37").hits) == 1
        assert len(search(shelf, "W37", unit="other  UNIT").hits) == 1
        with pytest.raises(InputError, match="nothing is on the shelf for this unit"):
            search(shelf, "W37", unit="Third unit")


def test_taking_off_the_shelf_is_a_new_state_and_putting_back_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with typed(tmp_path, monkeypatch, "W37") as shelf:
        (document,) = shelf.documents()
        shelf.pin(search(shelf, "W37").hits[0].place, None, "point", "loop.flow")
        shelf.remove(document.short)
        assert shelf.documents() == ()
        assert search(shelf, "W37").hits == ()
        with pytest.raises(InputError, match="is not on the shelf"):
            shelf.remove(document.short)
        assert not shelf.add(tmp_path / "sheet.pdf", UNIT).new
        assert len(search(shelf, "W37").hits) == 1
        assert len(shelf.pins()) == 1


def test_pins_are_kept_and_taken_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with typed(tmp_path, monkeypatch, "W37") as shelf:
        place = search(shelf, "W37").hits[0].place
        shelf.pin(place, None, "point", "loop.flow")
        shelf.pin(place, None, "point", "loop.flow")
        shelf.pin(place, UNIT, "cause", "strainer-plugged")
    with open_shelf(tmp_path / "shelf.sqlite") as shelf:
        assert [(pin.hit, pin.unit, pin.target) for pin in shelf.pins()] == [
            (place, UNIT, "loop.flow"),
            (place, UNIT, "strainer-plugged"),
        ]
        shelf.pin(place, None, "point", "loop.flow", present=False)
        assert [pin.target for pin in shelf.pins(UNIT)] == ["strainer-plugged"]
        with pytest.raises(InputError, match="does not stand for this unit"):
            shelf.pin(place, "Other", "point", "loop.flow")
        shelf.add(tmp_path / "sheet.pdf", "Other unit")
        with pytest.raises(InputError, match="name the unit"):
            shelf.pin(place, None, "point", "loop.flow")


@pytest.mark.parametrize("text", ["3f2a91c0:112:45-46,80", "3f2a91c0:112", "3f2a91c0:1:0"])
def test_a_hit_is_read_as_it_is_written(text: str) -> None:
    assert str(place_from(text)) == text


@pytest.mark.parametrize("text", ["", "W37", "3f2a91c0", "3f2a91c0:x", "3f2a91c0:1:", "../../x:1"])
def test_what_is_no_hit(text: str) -> None:
    with pytest.raises(InputError, match="this is no hit"):
        place_from(text)


def test_a_hit_that_leads_nowhere_is_told(filled: Shelf) -> None:
    (document,) = filled.documents()
    for place, why in (
        (Place(document.short, 31), "has no page 31; it has 30"),
        (Place(document.short, 1, (99_999,)), "page 1 has no word 99999"),
        (Place("00000000", 1), "no such document"),
    ):
        with pytest.raises(InputError, match=why):
            filled.picture(place)


# ------------------------------------------------------------------------------------------- OCR


def reading(*lines: Line) -> Any:
    """An engine that reads these lines in every picture."""

    def engine(image: np.ndarray) -> Sequence[Line]:
        assert image.dtype == np.uint8
        assert image.ndim == 3
        return lines

    return engine


LINES = (Line("wire W1O7 to TB9-9", (100.0, 200.0, 280.0, 220.0), 0.9), Line("smudge", (0, 0, 9, 9), 0.1))


def test_a_page_without_text_is_listed_and_can_be_read_later(tmp_path: Path) -> None:
    with put(tmp_path, scanned()) as shelf:
        (document,) = shelf.documents()
        assert (document.without_text, document.read_by_ocr) == ((2,), ())
        added = shelf.add(tmp_path / "sheet.pdf", UNIT, engine=reading(*LINES))
        assert (added.new, added.read) == (False, 1)
        assert (added.document.without_text, added.document.read_by_ocr) == ((), (2,))
        (hit,) = search(shelf, "TB9-9").hits
        assert (hit.place.page, hit.source) == (2, "ocr")
        assert search(shelf, "smudge").hits == ()
        assert shelf.add(tmp_path / "sheet.pdf", UNIT, engine=reading(*LINES)).read == 0


def test_what_ocr_took_for_something_else_is_mended_by_known_labels_and_said(tmp_path: Path) -> None:
    with put(tmp_path, scanned(), engine=reading(*LINES)) as shelf:
        one, other = search(shelf, "W107").hits
        assert (one.place.page, one.source, one.mended) == (1, "text", {})
        assert (other.place.page, other.source, other.mended) == (2, "ocr", {"W1O7": "W107"})
        assert other.words == ("W107",)


def test_a_word_read_by_ocr_is_marked_where_its_line_was(tmp_path: Path) -> None:
    with put(tmp_path, scanned(), engine=reading(*LINES)) as shelf:
        (hit,) = search(shelf, "TB9-9").hits
        picture = shelf.picture(hit.place, scale=200 / 72)
        ((left, top, right, bottom),) = picture.marks
        assert left == pytest.approx(100 + 180 * 13 / 18, abs=2)
        assert right == pytest.approx(280, abs=2)
        assert (top, bottom) == pytest.approx((200, 220), abs=2)


def test_without_the_extra_it_is_said_which_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    from wringout.shelf import ocr

    monkeypatch.setattr(ocr.importlib.util, "find_spec", lambda name: None)
    with pytest.raises(InputError, match=r"pip install 'wringout\[ocr\]'"):
        ocr.rapid_engine()
