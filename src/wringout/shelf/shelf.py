"""The shelf: documents put on it and taken off, their pages, and what is pinned to a point or a cause."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from wringout.errors import InputError
from wringout.shelf.hit import Place
from wringout.shelf.limits import USUAL, Limits
from wringout.shelf.ocr import DOTS, Engine, page_of_lines
from wringout.shelf.packing import Packed, boxes_of, packed, unpacked, with_mended
from wringout.shelf.reader import Page, Picture, Wanted, bytes_of, read_pages, render
from wringout.shelf.tables import open_tables, transaction, words
from wringout.shelf.words import keys_of, plain, settled

__all__ = ["Added", "Document", "Pin", "Shelf", "open_shelf"]

SHORT = 8  # characters of the SHA-256 that name a document
AT_ONCE = 20  # pages drawn by one process


@dataclass(frozen=True, slots=True)
class Document:
    """A document on the shelf, the units it belongs to, and its pages without text."""

    sha256: str
    name: str
    pages: int
    added: datetime
    units: tuple[str, ...]
    without_text: tuple[int, ...]
    read_by_ocr: tuple[int, ...]

    @property
    def short(self) -> str:
        """The beginning of its SHA-256, as hits name it."""
        return self.sha256[:SHORT]


@dataclass(frozen=True, slots=True)
class Added:
    """What came of adding: the document, whether it is new here, and how many pages were read by OCR now."""

    document: Document
    new: bool
    read: int


@dataclass(frozen=True, slots=True)
class Pin:
    """A hit kept at a test point or a cause of a unit; ``kind`` is "point" or "cause"."""

    hit: Place
    document: str
    unit: str
    kind: str
    target: str
    at: datetime


def open_shelf(path: str | Path, *, create: bool = True) -> Shelf:
    """Open the shelf in a file, made anew where there is none.

    Raises
    ------
    DataError
        Where it cannot be opened: no shelf, written by a newer version, locked, not writable, disk full.
    """
    return Shelf(Path(path), create=create)


class Shelf:
    """An open shelf; ``with`` closes it."""

    def __init__(self, path: Path, *, create: bool) -> None:
        self.path = path
        self.database = open_tables(path, create=create)

    def __enter__(self) -> Shelf:
        return self

    def __exit__(self, *_: object) -> None:
        self.database.close()

    # ------------------------------------------------------------------------------------ writing

    def add(
        self, path: str | Path, unit: str, *, engine: Engine | None = None, limits: Limits = USUAL
    ) -> Added:
        """Put a PDF on the shelf for a unit: all of it, or nothing.

        The same bytes once more are not read again. With an engine, pages without text are read from their
        pictures, those of a document that is here already too.

        Raises
        ------
        InputError
            Where the file is broken, encrypted or beyond a bound.
        """
        unit = _unit(unit)
        data = bytes_of(Path(path), limits)
        digest = hashlib.sha256(data).hexdigest()
        known = self._row("SELECT id FROM documents WHERE sha256 = ?", (digest,))
        pages = [packed(page) for page in read_pages(data, str(path), limits)] if known is None else []
        read: list[Packed] = []
        if engine is not None:
            bare = self._bare(known[0]) if known is not None else [p for p in pages if p.source == "none"]
            read = self._by_ocr(data, str(path), bare, pages, engine, limits)
            seen = {page.number: page for page in read}
            pages = [seen.get(page.number, page) for page in pages]
        with transaction(self.database, self.path):
            if known is None:
                known = self._row("SELECT id FROM documents WHERE sha256 = ?", (digest,))
            new = known is None
            document = self._keep(digest, Path(path).name, data, pages) if known is None else int(known[0])
            if not new:
                self._replace(document, read)
            if unit not in self._units(document):
                self._stand(document, unit, True)
        return Added(self.document(digest), new, len([page for page in read if page.source == "ocr"]))

    def remove(self, document: str, unit: str | None = None) -> tuple[Document, tuple[str, ...]]:
        """Take a document off the shelf, for one unit or for all of them; the document and those units.

        It is a new state: the bytes stay in the file, and adding the document again is done at once.
        """
        found = self.document(document)
        gone = tuple(u for u in found.units if unit is None or plain(u) == plain(_unit(unit)))
        if not gone:
            raise InputError(f"{found.name} is not on the shelf for {unit}", document)
        with transaction(self.database, self.path):
            number = int(self._need("SELECT id FROM documents WHERE sha256 = ?", (found.sha256,))[0])
            for one in gone:
                self._stand(number, one, False)
        return found, gone

    def pin(self, hit: Place, unit: str | None, kind: str, target: str, *, present: bool = True) -> Pin:
        """Keep a hit at a test point or a cause of a unit, or take that back.

        Raises
        ------
        InputError
            Where there is no such page, or the document belongs to several units and none is named.
        """
        document, hit = self._page_of(hit)[1:]
        unit = self._unit_of(document, unit)
        pin = Pin(hit, document.name, unit, kind, target, datetime.now(UTC))
        here = [p for p in self.pins() if (p.hit, p.unit, p.kind, p.target) == (hit, unit, kind, target)]
        if not present and not here:
            raise InputError(f"is not pinned to {target} of {unit}", str(hit))
        if present and here:
            return here[0]
        row = (str(hit), unit, kind, target, int(present), pin.at.isoformat())
        with transaction(self.database, self.path):
            self.database.execute(
                "INSERT INTO pins (hit, unit, kind, target, present, at) VALUES (?, ?, ?, ?, ?, ?)", row
            )
        return pin

    # ------------------------------------------------------------------------------------ reading

    def documents(self, unit: str | None = None) -> tuple[Document, ...]:
        """What is on the shelf, in the order in which it came."""
        with words(self.path):
            rows = self.database.execute("SELECT sha256 FROM documents ORDER BY id").fetchall()
        every = (self.document(row[0]) for row in rows)
        return tuple(
            found
            for found in every
            if any(unit is None or plain(one) == plain(_unit(unit)) for one in found.units)
        )

    def document(self, words_of_it: str) -> Document:
        """The document whose SHA-256 begins so, on the shelf or taken off it.

        Raises
        ------
        InputError
            Where there is none, or several.
        """
        if len(words_of_it) < 4 or not set(words_of_it) <= set("0123456789abcdef"):
            raise InputError("this names no document; `wringout shelf list` lists them", words_of_it[:40])
        with words(self.path):
            rows = self.database.execute(
                "SELECT id, sha256, name, pages, added FROM documents WHERE sha256 LIKE ? || '%'",
                (words_of_it,),
            ).fetchall()
            if not rows:
                raise InputError("there is no such document; `wringout shelf list` lists them", words_of_it)
            if len(rows) > 1:
                raise InputError(f"{len(rows)} documents begin so; write more of it", words_of_it)
            number, digest, name, pages, added = rows[0]
            odd = self.database.execute(
                "SELECT number, source FROM pages WHERE document = ? AND source != 'text' ORDER BY number",
                (number,),
            ).fetchall()
        return Document(
            sha256=digest,
            name=name,
            pages=pages,
            added=datetime.fromisoformat(added),
            units=self._units(number),
            without_text=tuple(n for n, source in odd if source == "none"),
            read_by_ocr=tuple(n for n, source in odd if source == "ocr"),
        )

    def pins(self, unit: str | None = None) -> tuple[Pin, ...]:
        """What is pinned, in the order in which it was."""
        with words(self.path):
            rows = self.database.execute(
                "SELECT hit, unit, kind, target, present, at FROM pins ORDER BY sequence"
            ).fetchall()
        last: dict[tuple[str, str, str, str], str] = {}
        for hit, of, kind, target, present, at in rows:
            last.pop((hit, of, kind, target), None)
            if present:
                last[hit, of, kind, target] = at
        found = []
        for (hit, of, kind, target), at in last.items():
            if unit is None or plain(of) == plain(_unit(unit)):
                place = _place(hit)
                name = self.document(place.document).name
                found.append(Pin(place, name, of, kind, target, datetime.fromisoformat(at)))
        return tuple(found)

    def picture(self, hit: Place, *, scale: float = 2.0, limits: Limits = USUAL) -> Picture:
        """The page of a hit in pixels, with its words' boxes; ``scale`` is pixels a point.

        Raises
        ------
        InputError
            Where there is no such document, page or word.
        """
        page, document, hit = self._page_of(hit)
        with words(self.path):
            (blob,) = self._need("SELECT words FROM pages WHERE id = ?", (page,))
            (data,) = self._need("SELECT data FROM documents WHERE sha256 = ?", (document.sha256,))
        boxes = boxes_of(blob)
        wanted = tuple(boxes[word] for word in hit.words if boxes[word][2] > boxes[word][0])
        (picture,) = render(data, document.name, [Wanted(hit.page, wanted)], scale=scale, limits=limits)
        return picture

    def words_of(self, hit: Place) -> tuple[str, ...]:
        """The words of a hit as they stand on the page.

        Raises
        ------
        InputError
            Where there is no such document, page or word.
        """
        page, _, hit = self._page_of(hit)
        text, blob = self._need("SELECT text, words FROM pages WHERE id = ?", (page,))
        spans = unpacked(text, blob)
        return tuple(spans[word].word for word in hit.words)

    # ------------------------------------------------------------------------------------ parts

    def _row(self, query: str, values: Sequence[object]) -> tuple[Any, ...] | None:
        with words(self.path):
            row: tuple[Any, ...] | None = self.database.execute(query, values).fetchone()
        return row

    def _need(self, query: str, values: Sequence[object]) -> sqlite3.Row:
        with words(self.path):
            row: sqlite3.Row = self.database.execute(query, values).fetchone()
        return row

    def _page_of(self, hit: Place) -> tuple[int, Document, Place]:
        """The page's row, its document, and the hit under the document's usual name."""
        document = self.document(hit.document)
        row = self._need(
            "SELECT p.id, p.text, p.words FROM pages p JOIN documents d ON d.id = p.document "
            "WHERE d.sha256 = ? AND p.number = ?",
            (document.sha256, hit.page),
        )
        if row is None:
            raise InputError(f"{document.name} has no page {hit.page}; it has {document.pages}", str(hit))
        if hit.words:
            count = len(boxes_of(row[2]))
            if max(hit.words) >= count:
                raise InputError(f"page {hit.page} has no word {max(hit.words)}; it has {count}", str(hit))
        return int(row[0]), document, Place(document.short, hit.page, hit.words)

    def _units(self, document: object) -> tuple[str, ...]:
        with words(self.path):
            rows = self.database.execute(
                "SELECT unit, present FROM standing WHERE document = ? ORDER BY sequence", (document,)
            ).fetchall()
        last: dict[str, tuple[str, bool]] = {}
        for unit, present in rows:
            last[plain(unit)] = unit, bool(present)
        return tuple(unit for unit, present in last.values() if present)

    def _unit_of(self, document: Document, unit: str | None) -> str:
        if unit is None:
            if len(document.units) != 1:
                raise InputError(
                    f"{document.name} stands for {', '.join(document.units) or 'no unit now'}; name the unit",
                    "--unit",
                )
            return document.units[0]
        for one in document.units:
            if plain(one) == plain(_unit(unit)):
                return one
        raise InputError(
            f"{document.name} does not stand for this unit; it stands for {', '.join(document.units)}", unit
        )

    def _stand(self, document: int, unit: str, present: bool) -> None:
        self.database.execute(
            "INSERT INTO standing (document, unit, present, at) VALUES (?, ?, ?, ?)",
            (document, unit, int(present), datetime.now(UTC).isoformat()),
        )

    def _keep(self, digest: str, name: str, data: bytes, pages: Sequence[Packed]) -> int:
        made = self.database.execute(
            "INSERT INTO documents (sha256, name, pages, added, data) VALUES (?, ?, ?, ?, ?)",
            (digest, name, len(pages), datetime.now(UTC).isoformat(), data),
        )
        document = int(made.lastrowid or 0)
        for page in pages:
            row = self.database.execute(
                "INSERT INTO pages (document, number, width, height, source, text, words, mended) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    document,
                    page.number,
                    page.width,
                    page.height,
                    page.source,
                    page.text,
                    page.words,
                    json.dumps(page.mended),
                ),
            )
            self._index(int(row.lastrowid or 0), page)
        return document

    def _replace(self, document: int, pages: Iterable[Packed]) -> None:
        """Pages that had no text and now were read."""
        for page in pages:
            row = self._need(
                "SELECT id, source FROM pages WHERE document = ? AND number = ?", (document, page.number)
            )
            if row[1] != "none" or page.source == "none":
                continue
            self.database.execute(
                "UPDATE pages SET source = ?, text = ?, words = ?, mended = ? WHERE id = ?",
                (page.source, page.text, page.words, json.dumps(page.mended), row[0]),
            )
            self._index(int(row[0]), page)

    def _index(self, row: int, page: Packed) -> None:
        if page.source == "none":
            return
        self.database.execute(
            "INSERT INTO page_words (rowid, whole, parts) VALUES (?, ?, ?)", (row, page.whole, page.parts)
        )
        for label, times in page.labels.items():
            keys = keys_of(label)
            self.database.execute(
                "INSERT OR IGNORE INTO labels (label, compact, look_alike, letters, digits) "
                "VALUES (?, ?, ?, ?, ?)",
                (label, keys.compact, keys.look_alike, keys.letters, keys.digits),
            )
            self.database.execute(
                "INSERT INTO label_places (label, page, times) SELECT id, ?, ? FROM labels WHERE label = ?",
                (row, times, label),
            )

    def _bare(self, document: object) -> list[Packed]:
        with words(self.path):
            rows = self.database.execute(
                "SELECT number, width, height FROM pages WHERE document = ? AND source = 'none' "
                "ORDER BY number",
                (document,),
            ).fetchall()
        return [packed(Page(number, width, height, "", (), (), "none")) for number, width, height in rows]

    def _by_ocr(
        self,
        data: bytes,
        name: str,
        bare: Sequence[Packed],
        pages: Sequence[Packed],
        engine: Engine,
        limits: Limits,
    ) -> list[Packed]:
        known = self._known_labels(pages)
        read = []
        for begin in range(0, len(bare), AT_ONCE):
            some = bare[begin : begin + AT_ONCE]
            pictures = render(data, name, [Wanted(p.number) for p in some], scale=DOTS, limits=limits)
            for page, picture in zip(some, pictures, strict=True):
                read.append(_read(page, picture, engine, known))
        return read

    def _known_labels(self, pages: Sequence[Packed]) -> dict[str, str]:
        """Labels of pages with text, by what they look like; those that look like another one left out."""
        with words(self.path):
            rows = self.database.execute(
                "SELECT DISTINCT l.label FROM labels l JOIN label_places q ON q.label = l.id "
                "JOIN pages p ON p.id = q.page WHERE p.source = 'text'"
            ).fetchall()
        here = (label for page in pages if page.source == "text" for label in page.labels)
        alike: dict[str, dict[str, str]] = {}
        for label in (*(row[0] for row in rows), *here):
            alike.setdefault(keys_of(label).look_alike, {})[plain(label)] = label
        return {look: next(iter(found.values())) for look, found in alike.items() if len(found) == 1}


def _read(page: Packed, picture: Picture, engine: Engine, known: dict[str, str]) -> Packed:
    from wringout.shelf.picture import pixels

    found = page_of_lines(picture, page.width, page.height, engine(pixels(picture)))
    mended = settled((span.word for span in found.words), known)
    again = with_mended(found, mended) if mended else found
    return packed(again, mended if again is not found else None)


def _unit(words_of_it: str) -> str:
    unit = " ".join(words_of_it.split())
    if not 0 < len(unit) <= 200:
        raise InputError("name the unit, in at most 200 characters", "--unit")
    return unit


def _place(text: str) -> Place:
    from wringout.shelf.hit import place_from

    return place_from(text)
