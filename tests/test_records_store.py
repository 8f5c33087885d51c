"""The record itself: what it keeps, what it refuses, and what it says of a file not as it should be."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Self

import pytest

from record_samples import ANN, BO, CALL, UNIT, VOCABULARY, at, event, opened, reading, withdrawn
from sample_documents import RECLAIM
from wringout.documents.call import Reading
from wringout.errors import InputError
from wringout.records.checking import OutOfPlace
from wringout.records.identifiers import uuid7
from wringout.records.store import Store, open_store

JPEG = b"\xff\xd8\xff\xe0 a photo of a valve"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "record.sqlite"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    with open_store(path) as opened_store:
        yield opened_store


@pytest.fixture
def call(store: Store) -> str:
    unit = store.save_unit(RECLAIM, **ANN)
    return store.open_call(unit, "The cheese sweats.", **ANN)


def read_supply(store: Store, call: str, value: str = "61.5 degF", minute: int = 0) -> str:
    body = {"at": at(minute), "point": "supply.t", "value": value}
    return store.write("reading", body, call_id=call, vocabulary=VOCABULARY, **ANN).id


# --------------------------------------------------------------------------------------------- keeping


def test_what_was_kept_is_there_after_closing(path: Path) -> None:
    events = [opened(), reading(1), withdrawn(2, reading(1))]
    with open_store(path) as store:
        assert store.append(events) == tuple(e.id for e in events)
    with open_store(path) as again:
        assert again.events(CALL) == tuple(events)


def test_the_same_event_again_is_left_as_it_is(store: Store) -> None:
    store.append([opened(), reading(1)])
    assert store.append([reading(1), reading(2, "15 degC")]) == (reading(2, "15 degC").id,)
    assert len(store.events()) == 3


def test_another_content_under_the_same_identifier_is_refused_and_nothing_of_it_kept(store: Store) -> None:
    store.append([opened(), reading(1)])
    with pytest.raises(InputError, match="another content"):
        store.append([reading(5), reading(1, "62.5 degF")])
    assert store.events() == (opened(), reading(1))


def test_all_or_nothing(store: Store) -> None:
    broken = reading(2)
    object.__setattr__(broken, "kind", "guess")
    with pytest.raises(InputError, match="no kind of event"):
        store.append([reading(1), broken])
    assert store.events() == ()


@pytest.mark.parametrize("table", ["events", "attachments", "record"])
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE {table} SET rowid = rowid",
        "UPDATE OR REPLACE {table} SET rowid = rowid + 1",
        "UPDATE OR IGNORE {table} SET rowid = rowid + 1",
        "DELETE FROM {table}",
        "INSERT INTO {table} SELECT * FROM {table}",
        "INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
        "INSERT OR IGNORE INTO {table} SELECT * FROM {table}",
        "REPLACE INTO {table} SELECT * FROM {table}",
    ],
)
def test_the_database_itself_refuses_to_alter_anything(
    path: Path, store: Store, call: str, table: str, statement: str
) -> None:
    store.attach(JPEG, name="valve.jpg", call_id=call, **ANN)
    other = sqlite3.connect(path)
    before = list(other.execute(f"SELECT * FROM {table}"))
    assert before
    with pytest.raises(sqlite3.IntegrityError, match=r"never|once|its name"):
        other.execute(statement.format(table=table))
    assert list(other.execute(f"SELECT * FROM {table}")) == before
    other.close()


def test_the_new_row_of_an_insert_cannot_take_the_place_of_an_old_one_by_its_number(
    path: Path, store: Store, call: str
) -> None:
    other = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="once"):
        other.execute(
            "INSERT OR REPLACE INTO events (sequence, id, author, device, recorded, version, kind, body) "
            "VALUES (1, 'new', 'a', 'd', 'r', 1, 'note', '{}')"
        )
    other.close()
    assert len(store.events()) == 2


def test_the_file_is_written_ahead_and_fully_synchronised(store: Store) -> None:
    database = store.file.database
    assert database.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert database.execute("PRAGMA synchronous").fetchone() == (2,)


def test_many_threads_may_write_at_once(store: Store, call: str) -> None:
    threads = [
        threading.Thread(target=lambda n=n: [read_supply(store, call, minute=n) for _ in range(5)])
        for n in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(store.call(call).lines) == 40
    assert len({e.id for e in store.events(call)}) == 41


def test_identifiers_grow_past_those_that_came_from_a_faster_clock(store: Store) -> None:
    ahead = uuid7(int(store.new_id().replace("-", "")[:12], 16) + 3_600_000, 5)
    store.append(event(0, "note", {"at": at(0), "text": "from a fast clock"}, id=ahead))
    assert store.new_id() > ahead


# --------------------------------------------------------------------------------------------- reading


def test_a_call_document_comes_out_as_the_rest_of_the_house_reads_it(store: Store, call: str) -> None:
    first = read_supply(store, call)
    store.correct(
        first,
        {"at": at(0), "point": "supply.t", "value": "15 degC"},
        reason="wrong scale",
        vocabulary=VOCABULARY,
        **BO,
    )
    document = store.call_document(call, VOCABULARY)
    assert document.complaint == "The cheese sweats."
    assert document.unit.name == "Cellar unit"
    (found,) = document.events
    assert isinstance(found, Reading)
    assert (found.text, found.value) == ("15 degC", 15.0)


def test_the_list_of_calls_says_what_where_who_and_when(store: Store, call: str) -> None:
    first = read_supply(store, call)
    store.correct(first, None, reason="wrong unit", **BO)
    other = store.open_call(store.units()[0].unit_id, "Yearly check", **BO)
    newest, older = store.calls()
    assert (newest.call_id, older.call_id) == (other, call)
    assert (older.unit_name, older.site) == ("Cellar unit", "Alder Court Cheese Cellar (invented)")
    assert (older.events, older.authors) == (0, ("Ann Sample", "Bo Sample"))
    assert older.opened <= older.last
    read_supply(store, call)
    assert [(c.call_id, c.events) for c in store.calls()] == [(call, 1), (other, 0)]


def test_calls_written_to_within_one_millisecond_stand_in_the_order_of_writing(
    store: Store, call: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whichever of two calls was opened first: the clock alone cannot tell what was written last."""

    class Stopped(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> Self:
            return cls(2027, 5, 4, 9, 0, tzinfo=tz)

    monkeypatch.setattr("wringout.records.store.datetime", Stopped)
    unit = store.units()[0].unit_id
    first, second = (store.open_call(unit, "Yearly check", **BO) for _ in range(2))
    for written_last in (first, second, first):
        read_supply(store, written_last)
        assert store.calls()[0].call_id == written_last


def test_a_unit_document_is_kept_as_it_was_written_and_the_newest_counts(store: Store, call: str) -> None:
    (unit,) = store.units()
    assert unit.text == RECLAIM
    renamed = RECLAIM.replace("name: Cellar unit", "name: Cellar unit, east") + "# after the visit\n"
    store.save_unit(renamed, unit_id=unit.unit_id, **BO)
    assert store.unit_text(unit.unit_id) == renamed
    assert [c.unit_name for c in store.calls()] == ["Cellar unit, east"]
    assert store.call_document(call, VOCABULARY).unit.name == "Cellar unit, east"


def test_a_unit_document_that_is_none_is_refused(store: Store) -> None:
    with pytest.raises(InputError, match="cooling"):
        store.save_unit("format: wringout-unit/1\nname: x\nair: {supply_airflow: 5 m3/s}\n", **ANN)
    assert store.units() == ()


def test_a_reading_whose_point_a_later_unit_document_lacks_is_told_and_not_lost(
    store: Store, call: str
) -> None:
    body = {"at": at(1), "point": "stage.a2.current", "value": "23 A"}
    stage = store.write("reading", body, call_id=call, vocabulary=VOCABULARY, **ANN)
    kept = read_supply(store, call, minute=2)
    (unit,) = store.units()
    store.save_unit(RECLAIM.replace("id: a2", "id: b2"), unit_id=unit.unit_id, **ANN)
    assert len(store.call_document(call, VOCABULARY).events) == 1
    assert list(store.set_aside(call, VOCABULARY)) == [stage.id]
    assert "a2" in store.set_aside(call, VOCABULARY)[stage.id]
    assert [line.id for line in store.call(call).lines] == [stage.id, kept]


def test_a_unit_document_that_this_version_cannot_read_spoils_no_list(
    path: Path, store: Store, call: str
) -> None:
    (unit,) = store.units()
    other = sqlite3.connect(path)
    other.execute(
        "INSERT INTO events (id, unit_id, author, device, recorded, version, kind, body) VALUES "
        "(?, ?, 'a', 'd', '2027-05-04T09:00:00.000Z', 1, 'unit_described', '{\"document\": \"format: x\"}')",
        (store.new_id(), unit.unit_id),
    )
    other.commit()
    other.close()
    assert [(u.unit_id, u.name) for u in store.units()] == [(unit.unit_id, "")]
    assert [c.call_id for c in store.calls()] == [call]


def test_the_last_word_counts_even_after_one_from_a_clock_years_ahead(store: Store, call: str) -> None:
    first = read_supply(store, call)
    body = {"at": at(0), "point": "supply.t", "value": "99 degF"}
    ahead = uuid7(4_000_000_000_000, 7)
    store.append(event(1, "corrected", {"of": first, "body": body}, id=ahead, call_id=call))
    store.correct(first, {**body, "value": "62 degF"}, **BO)
    assert [line.body["value"] for line in store.call(call).lines] == ["62 degF"]


def test_a_withdrawn_call_is_told_as_such(store: Store, call: str) -> None:
    opening = store.call(call).opening
    assert opening is not None
    store.correct(opening.id, None, reason="opened twice", **ANN)
    assert [(c.call_id, c.withdrawn) for c in store.calls()] == [(call, True)]
    with pytest.raises(InputError, match="or was withdrawn"):
        store.call_document(call, VOCABULARY)


def test_names_of_people_and_devices(store: Store) -> None:
    store.write("person_named", {"person": "p7", "name": "Ann Sample"}, **ANN)
    store.write("device_named", {"device": "d1", "name": "Ann's phone"}, **ANN)
    assert store.names() == {"p7": "Ann Sample", "d1": "Ann's phone"}


@pytest.mark.parametrize("missing", [CALL, "no identifier"])
def test_a_call_that_is_not_there_is_told(store: Store, missing: str) -> None:
    with pytest.raises(InputError, match=r"no such call|UUID of version 7"):
        store.call(missing)


# ------------------------------------------------------------------------------------- checked at entry


@pytest.mark.parametrize(
    ("kind", "body", "place", "words"),
    [
        ("reading", {"point": "supply.q", "value": "1 degF"}, "point", "supply.q"),
        ("reading", {"point": "supply.t", "value": "61.5"}, "value (supply.t)", "unit"),
        ("reading", {"point": "supply.t", "value": "900 degF"}, "value (supply.t)", "out of range"),
        ("reading", {"point": "supply.t", "value": "61 degF", "by": "guess"}, "by", "guess"),
        ("reading", {"point": "chilled.stem", "value": "50 %"}, "point", "chilled"),
        ("force", {"item": "cooling.call", "to": "50 %"}, "to", "0 % or 100 %"),
        ("force", {"item": "fan", "to": "50 %"}, "item", "fan"),
        ("release", {"item": "fan"}, "item", "fan"),
        ("release", {"item": "cooling.call"}, "release", "nothing was held"),
        ("change", {"cause": "gremlins"}, "cause", "gremlins"),
        ("change", {}, "body", "what was altered"),
        ("note", {"text": "bell \a"}, "body.text", "cannot be printed"),
    ],
)
def test_a_slip_is_told_at_entry_with_its_field(
    store: Store, call: str, kind: str, body: dict[str, str], place: str, words: str
) -> None:
    with pytest.raises(InputError, match=words) as told:
        store.write(kind, {"at": at(0), **body}, call_id=call, vocabulary=VOCABULARY, **ANN)
    assert told.value.place == place
    assert len(store.events(call)) == 1


def test_forcing_a_second_item_is_told_at_entry(store: Store, call: str) -> None:
    first = {"at": at(0), "item": "reheat.command", "to": "100 %"}
    store.write("force", first, call_id=call, vocabulary=VOCABULARY, **ANN)
    with pytest.raises(OutOfPlace, match="still held"):
        store.write("force", {**first, "item": "cooling.call"}, call_id=call, vocabulary=VOCABULARY, **BO)


def test_a_correction_is_checked_like_what_it_corrects(store: Store, call: str) -> None:
    first = read_supply(store, call)
    with pytest.raises(InputError, match="unit"):
        store.correct(first, {"at": at(0), "point": "supply.t", "value": "61"}, vocabulary=VOCABULARY, **ANN)
    with pytest.raises(InputError, match="missing; reading needs it"):
        store.correct(first, {"text": "61"}, vocabulary=VOCABULARY, **ANN)
    act = store.correct(first, None, vocabulary=VOCABULARY, **ANN)
    with pytest.raises(InputError, match="not corrected but withdrawn"):
        store.correct(act.id, {"of": first}, vocabulary=VOCABULARY, **ANN)
    with pytest.raises(InputError, match="no such event"):
        store.correct(uuid7(5, 5), None, **ANN)


def test_a_call_is_opened_once(store: Store, call: str) -> None:
    unit = store.units()[0].unit_id
    assert store.is_open(call)
    assert not store.is_open(CALL)
    assert store.open_call(unit, "The cheese sweats.", call_id=call, **BO) == call
    assert len(store.events(call)) == 1
    with pytest.raises(OutOfPlace, match="opened before"):
        store.write("opened", {"complaint": "x"}, call_id=call, unit_id=UNIT, vocabulary=VOCABULARY, **ANN)


# ----------------------------------------------------------------------------------------- attachments


def test_a_photo_is_kept_with_its_event_and_given_back_whole(store: Store, call: str) -> None:
    where = read_supply(store, call)
    made = store.attach(JPEG, name="valve.jpg", call_id=call, to=where, text="stem at 40 %", **ANN)
    content = store.content(made.body["sha256"])
    assert (content.data, content.type) == (JPEG, "image/jpeg")
    (line,) = store.call(call).attachments
    assert (line.body["name"], line.body["size"], line.body["to"]) == ("valve.jpg", len(JPEG), where)
    store.attach(JPEG, name="again.jpg", call_id=call, **BO)
    assert store.contents() == {content.sha256}


def test_a_photo_sent_twice_under_one_identifier_is_one_event(store: Store, call: str) -> None:
    sent = uuid7(1_900_000_000_000, 5)
    photo = {"name": "valve.jpg", "call_id": call, "event_id": sent, **ANN}
    first = store.attach(JPEG, **photo)
    assert store.attach(JPEG, **photo) == first
    assert [line.event for line in store.call(call).attachments] == [first]
    with pytest.raises(InputError, match="another content"):
        store.attach(JPEG + b"another", **photo)
    assert store.contents() == {first.body["sha256"]}


def test_many_threads_that_send_the_same_at_once_keep_it_once(store: Store, call: str) -> None:
    sent = uuid7(1_900_000_000_000, 6)
    found: list[str] = []
    body = {"at": at(0), "text": "said once"}

    def send() -> None:
        found.append(store.write("note", body, call_id=call, event_id=sent, **ANN).id)

    threads = [threading.Thread(target=send) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [sent] * 8
    assert len(store.call(call).lines) == 1


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\x7fELF\x02\x01\x01\x00", "of no type"),
        (b"MZ\x90\x00\x03", "of no type"),
        (b"PK\x03\x04 an archive\x00", "of no type"),
        (b"a" * 25_000_001, "at most 25 MB"),
    ],
)
def test_what_is_no_photo_and_no_document_is_refused(
    store: Store, call: str, data: bytes, words: str
) -> None:
    with pytest.raises(InputError, match=words):
        store.attach(data, name="thing", call_id=call, **ANN)
    assert store.contents() == frozenset()


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"\x89PNG\r\n\x1a\n...", "image/png"),
        (b"RIFF\x10\x00\x00\x00WEBPVP8 ", "image/webp"),
        (b"\x00\x00\x00\x18ftypheic\x00\x00", "image/heic"),
        (b"%PDF-1.7\n", "application/pdf"),
        (b"PAR1 columns PAR1", "application/vnd.apache.parquet"),
        ("Zeit;Temp °C\n1;2,5\n".encode("cp1252"), "text/plain"),
        ("Zeit;Temp\n".encode("utf-16"), "text/plain"),
    ],
)
def test_the_type_is_told_from_the_bytes(store: Store, call: str, data: bytes, found: str) -> None:
    made = store.attach(data, name="named as anything.exe", call_id=call, **ANN)
    assert made.body["type"] == found
