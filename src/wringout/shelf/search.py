"""Searching the shelf: what stands as it was written comes first, what is nearly the same after it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from enum import IntEnum

from wringout.errors import InputError
from wringout.shelf.hit import MOST_WORDS, Place
from wringout.shelf.packing import ends_of
from wringout.shelf.shelf import SHORT, Shelf
from wringout.shelf.tables import words
from wringout.shelf.words import (
    JOINED,
    Keys,
    holds,
    is_label,
    keys_of,
    one_slip_apart,
    parts_of,
    plain,
    spans,
    spread,
)

__all__ = ["Found", "Hit", "Nearness", "search"]

Ends = Sequence[tuple[int, int]]  # where each word of a page begins and ends in its text

LONGEST, MOST_TERMS = 200, 12
MOST_LABELS = 500  # near ones, the closest
AROUND = 70  # characters either side in an excerpt


class Nearness(IntEnum):
    """How near what stands there is to what was asked for; the lowest comes first."""

    WRITTEN = 0
    APART = 1
    CASE = 2
    SPACING = 3
    LOOKS = 4
    WITHIN = 5
    SLIP = 6
    SOME = 7

    @property
    def told(self) -> str:
        """In words."""
        return _TOLD[self]


_TOLD = {
    Nearness.WRITTEN: "as written",
    Nearness.APART: "all words, apart",
    Nearness.CASE: "capitals differ",
    Nearness.SPACING: "written otherwise",
    Nearness.LOOKS: "O for 0, or I for 1",
    Nearness.WITHIN: "part of a longer one",
    Nearness.SLIP: "one character off",
    Nearness.SOME: "some of the words",
}


@dataclass(frozen=True, slots=True)
class Hit:
    """A page where something was found: the words as they stand there, and an excerpt around the first.

    ``source`` is "text" or "ocr"; ``mended`` says which words optical reading had taken for something else.
    """

    place: Place
    document: str
    pages: int
    nearness: Nearness
    words: tuple[str, ...]
    excerpt: str
    source: str
    mended: dict[str, str]
    units: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """The hits shown, best first, and on how many pages there is something."""

    hits: tuple[Hit, ...]
    pages: int


@dataclass
class _Match:
    """The nearest that a term comes to on one page, and the labels that it is."""

    nearness: Nearness
    more: int  # characters beyond those asked for
    labels: set[str] = field(default_factory=set)


@dataclass(frozen=True)
class _Ranked:
    missing: int
    nearness: Nearness
    more: int
    matches: tuple[tuple[str, _Match], ...]


def search(shelf: Shelf, query: str, *, unit: str | None = None, limit: int = 10) -> Found:
    """Pages on which all words of a query stand, or nearly; where there is none, those with most of them.

    The order is: as written, all words apart, other capitals, other spacing or separators, O for 0 and I for
    1, part of a longer one; one character off only where nothing is nearer. Within these, the fewest further
    characters, text before what was read optically, by the weight of the words (BM25 of SQLite's FTS5),
    then by document and page. The same shelf gives the same order.

    Raises
    ------
    InputError
        Where there is nothing to search for, or no such unit.
    """
    if len(query) > LONGEST:
        raise InputError(f"longer than {LONGEST} characters; a few words or one label will do", query[:40])
    terms = [span.word for span in spans(query)]
    if not terms:
        raise InputError(
            "nothing to search for; write a word, a part or wire number, a terminal", query or '""'
        )
    documents = {document.sha256: document for document in shelf.documents(unit)}
    if unit is not None and not documents:
        raise InputError("nothing is on the shelf for this unit; `wringout shelf list` says what is", unit)
    with words(shelf.path):
        index = _Index(shelf.database, list(documents))
        terms = terms[:MOST_TERMS]
        ranked = index.ranked(terms)
        joined = _joined(terms)
        if joined != terms:
            ranked = _better(ranked, index.ranked(joined))
        order = index.in_order(ranked, [*terms])
        hits = []
        for page in order[:limit]:
            digest, number, source, text, blob, mended = index.page(page)
            document = documents[digest]
            on_page = ends_of(blob)
            found = _places(text, on_page, ranked[page], terms)
            hits.append(
                Hit(
                    place=Place(digest[:SHORT], number, tuple(found[:MOST_WORDS])),
                    document=document.name,
                    pages=document.pages,
                    nearness=ranked[page].nearness,
                    words=_written(text, on_page, found),
                    excerpt=_excerpt(text, on_page, found),
                    source=source,
                    mended=json.loads(mended),
                    units=document.units,
                )
            )
    return Found(tuple(hits), len(ranked))


def _joined(terms: Sequence[str]) -> list[str]:
    """TB and 1-7 as the one label that they may be."""
    joined: list[str] = []
    for term in terms:
        if joined and JOINED.fullmatch(joined[-1]) and term[0].isdigit():
            joined[-1] += f" {term}"
        else:
            joined.append(term)
    return joined


def _better(one: dict[int, _Ranked], other: dict[int, _Ranked]) -> dict[int, _Ranked]:
    least = min((r.missing for r in (*one.values(), *other.values())), default=0)
    both: dict[int, _Ranked] = {}
    for ranked in (one, other):
        for page, found in ranked.items():
            known = both.get(page)
            if found.missing == least and (known is None or _key(found) < _key(known)):
                both[page] = found
    return both


def _key(ranked: _Ranked) -> tuple[int, int, int]:
    return ranked.missing, ranked.nearness, ranked.more


class _Index:
    """The tables, asked for the pages of some documents."""

    def __init__(self, database: sqlite3.Connection, digests: Sequence[str]) -> None:
        self.database = database
        rows = database.execute(
            "SELECT p.id, p.source, p.document, p.number FROM documents d JOIN pages p ON p.document = d.id "
            "WHERE d.sha256 IN (SELECT value FROM json_each(?)) AND p.source != 'none'",
            (json.dumps(list(digests)),),
        )
        self.pages = {row[0]: (row[1] != "text", row[2], row[3]) for row in rows}
        self.known: dict[str, dict[int, _Match]] = {}

    def page(self, page: int) -> tuple[str, int, str, str, bytes, str]:
        row: tuple[str, int, str, str, bytes, str] = self.database.execute(
            "SELECT d.sha256, p.number, p.source, p.text, p.words, p.mended FROM pages p "
            "JOIN documents d ON d.id = p.document WHERE p.id = ?",
            (page,),
        ).fetchone()
        return row

    def ranked(self, terms: Sequence[str]) -> dict[int, _Ranked]:
        found = [self._term(term) for term in terms]
        count: dict[int, int] = {}
        for one in found:
            for page in one:
                count[page] = count.get(page, 0) + 1
        most = max(count.values(), default=0)
        together = self._matching("whole", terms) if len(terms) > 1 and most == len(terms) else set()
        ranked = {}
        for page, times in count.items():
            if times < most:
                continue
            matches = tuple((term, one[page]) for term, one in zip(terms, found, strict=True) if page in one)
            nearness = max(match.nearness for _, match in matches)
            if most < len(terms):
                nearness = Nearness.SOME
            elif page in together:
                nearness = min(nearness, Nearness.CASE)
            elif len(terms) > 1 and nearness == Nearness.WRITTEN:
                nearness = Nearness.APART
            more = sum(match.more for _, match in matches)
            ranked[page] = _Ranked(len(terms) - most, nearness, more, matches)
        return ranked

    def in_order(self, ranked: dict[int, _Ranked], terms: Sequence[str]) -> list[int]:
        asked = " OR ".join(f"whole:{_quoted(term)}" for term in terms)
        rows = self.database.execute(
            "SELECT rowid, bm25(page_words) FROM page_words WHERE page_words MATCH ?", (asked,)
        )
        weight = {row[0]: round(row[1], 6) for row in rows if row[0] in ranked}
        return sorted(ranked, key=lambda p: (*_key(ranked[p]), self.pages[p][0], weight.get(p, 0.0),
                                             *self.pages[p][1:]))  # fmt: skip

    def _term(self, term: str) -> dict[int, _Match]:
        found = self.known.get(term)
        if found is None:
            found = self.known[term] = self._label(term) if is_label(term) else self._word(term)
        return found

    def _word(self, term: str) -> dict[int, _Match]:
        # one match serves all pages: a word has no labels that would differ from page to page
        found = dict.fromkeys(self._matching("whole", [term]), _Match(Nearness.WRITTEN, 0))
        near = self._matching("parts", [term])
        if parts := parts_of(term):
            near |= self._matching("whole", parts) | self._matching("whole", ["".join(parts)])
        found = dict.fromkeys(near, _Match(Nearness.SPACING, 0)) | found
        if len(term) > 2:
            begun = self._matching("whole", [term], begins=True)
            found = dict.fromkeys(begun, _Match(Nearness.WITHIN, 1)) | found
        return found

    def _matching(self, column: str, terms: Iterable[str], *, begins: bool = False) -> set[int]:
        asked = f"{column}:{_quoted(' '.join(terms))}" + ("*" if begins else "")
        rows = self.database.execute("SELECT rowid FROM page_words WHERE page_words MATCH ?", (asked,))
        return {page for (page,) in rows if page in self.pages}

    def _label(self, term: str) -> dict[int, _Match]:
        keys = keys_of(term)
        rows = self.database.execute(
            "SELECT id, label, compact, look_alike FROM labels "
            "WHERE compact = :compact OR look_alike = :look",
            {"compact": keys.compact, "look": keys.look_alike},
        ).fetchall()
        near: dict[int, tuple[str, Nearness, int]] = {}
        for number, label, compact, _ in rows:
            if label == term:
                nearness = Nearness.WRITTEN
            elif plain(label) == plain(term):
                nearness = Nearness.CASE
            else:
                nearness = Nearness.SPACING if compact == keys.compact else Nearness.LOOKS
            near[number] = label, nearness, 0
        if len(keys.compact) > 1:
            numbers = keys.digits.split("-")
            same = "letters = ? AND " + " AND ".join("instr(digits, ?)" for _ in numbers)
            longer_ones = self.database.execute(
                "SELECT id, label, compact, look_alike, letters, digits FROM labels "
                f"WHERE instr(compact, ?) OR (letters != '' AND {same}) "
                "ORDER BY length(compact), compact, label",
                (keys.compact, keys.letters, *numbers),
            )
            for number, label, *found_keys in longer_ones:
                longer = Keys(*found_keys)
                if number not in near and holds(longer, keys):
                    near[number] = label, Nearness.WITHIN, len(longer.compact) - len(keys.compact)
                if len(near) >= MOST_LABELS:
                    break
        found = self._standing(near)
        return found or self._standing(self._slips(keys))

    def _slips(self, keys: Keys) -> dict[int, tuple[str, Nearness, int]]:
        length = len(keys.compact)
        if length < 3:
            return {}
        rows = self.database.execute(
            "SELECT id, label, letters || '-' || digits FROM labels WHERE length(compact) BETWEEN ? AND ?",
            (length - 1, length + 1),
        )
        asked = f"{keys.letters}-{keys.digits}"  # its numbers kept apart: TB2-17 is no slip of TB1-7
        return {row[0]: (row[1], Nearness.SLIP, 1) for row in rows if one_slip_apart(row[2], asked)}

    def _standing(self, near: dict[int, tuple[str, Nearness, int]]) -> dict[int, _Match]:
        rows = self.database.execute(
            "SELECT label, page FROM label_places WHERE label IN (SELECT value FROM json_each(?))",
            (json.dumps(list(near)),),
        )
        found: dict[int, _Match] = {}
        for number, page in rows:
            if page not in self.pages:
                continue
            label, nearness, more = near[number]
            known = found.get(page)
            if known is None or (nearness, more) < (known.nearness, known.more):
                found[page] = _Match(nearness, more, {label})
            elif (nearness, more) == (known.nearness, known.more):
                known.labels.add(label)
        return found


def _quoted(term: str) -> str:
    return '"' + plain(term).replace('"', '""') + '"'


def _places(text: str, page: Ends, ranked: _Ranked, terms: Sequence[str]) -> list[int]:
    """The places on the page of what was found, in order: of the words together where they stand so."""
    written = _plainly(text, page)
    if ranked.nearness < Nearness.APART or ranked.nearness == Nearness.CASE:
        together = _runs(written, [plain(term) for term in terms])
        if together:
            return sorted(together)
    found: set[int] = set()
    for term, match in ranked.matches:
        if match.labels:
            exact = [text[start:end] for start, end in page]
            for label in match.labels:
                found |= _runs(exact, spread(label))
        else:
            found |= _word_places(written, plain(term), match.nearness)
    return sorted(found)


def _plainly(text: str, page: Ends) -> list[str]:
    """The words of a page as the index compares them; of plain letters all at once, which takes a third."""
    if text.isascii():
        lower = text.lower()
        return [lower[start:end] for start, end in page]
    return [plain(text[start:end]) for start, end in page]


def _word_places(written: Sequence[str], term: str, nearness: Nearness) -> set[int]:
    if nearness == Nearness.WITHIN:
        return {place for place, word in enumerate(written) if word.startswith(term)}
    whole = {place for place, word in enumerate(written) if word == term}
    if nearness == Nearness.WRITTEN:
        return whole
    parts = parts_of(term)
    near = {place for place, word in enumerate(written) if term in parts_of(word) or word == "".join(parts)}
    return near | (_runs(written, parts) if parts else set())


def _runs(written: Sequence[str], row: Sequence[str]) -> set[int]:
    """Places of every run of words that is the row."""
    first, length = row[0], len(row)
    return {
        place + more
        for place, word in enumerate(written)
        if word == first and list(written[place : place + length]) == list(row)
        for more in range(length)
    }


def _written(text: str, page: Ends, places: Sequence[int]) -> tuple[str, ...]:
    """What was found, in the writing of the page: words that stand together as one, each once."""
    runs: list[str] = []
    last = -2
    for place in places:
        word = text[slice(*page[place])]
        if place == last + 1 and runs:
            runs[-1] += f" {word}"
        else:
            runs.append(word)
        last = place
    return tuple(dict.fromkeys(runs))


def _excerpt(text: str, page: Ends, places: Sequence[int]) -> str:
    if not page:
        return ""
    first, last = page[places[0]] if places else page[0]
    begin, end = max(first - AROUND, 0), min(last + AROUND, len(text))
    if begin:
        begin = text.find(" ", begin, first) + 1 or begin
    if end < len(text):
        cut = text.rfind(" ", last, end)
        end = cut if cut > 0 else end
    return " ".join(text[begin:end].split())
