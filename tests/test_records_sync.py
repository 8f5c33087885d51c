"""A device that was away sends its queue: each event is kept exactly once, in order, and gets an answer."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from record_samples import ANN, BO, CALL, UNIT, VOCABULARY, at, corrected, event, histories, opened, reading
from sample_documents import RECLAIM
from wringout.errors import DataError, InputError
from wringout.records.events import Event
from wringout.records.fold import fold_call
from wringout.records.store import Store, open_store
from wringout.records.sync import MAX_BATCH, receive, since


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "record.sqlite") as made:
        made.save_unit(RECLAIM, unit_id=UNIT, **ANN)
        yield made


def queue(*events: Event) -> list[dict[str, Any]]:
    return [e.as_json() for e in events]


def fates(store: Store, sent: list[Any]) -> list[str]:
    return [answer.fate for answer in receive(store, sent, VOCABULARY)]


def test_a_queue_is_kept_in_its_order_and_a_second_try_changes_nothing(store: Store) -> None:
    sent = queue(opened(0), reading(1), reading(2, "15 degC"), corrected(3, reading(1), value="62 degF"))
    assert fates(store, sent) == ["kept"] * 4
    before = store.events()
    assert fates(store, sent) == ["known"] * 4
    assert store.events() == before
    assert [e.id for e in since(store, None).events[1:]] == [e["id"] for e in sent]


def test_a_slip_is_refused_with_its_field_and_does_not_stop_the_rest(store: Store) -> None:
    sent = queue(opened(0), reading(1, "61.5"), reading(2))
    answers = receive(store, sent, VOCABULARY)
    assert [a.fate for a in answers] == ["kept", "refused", "kept"]
    assert answers[1].field == "value (supply.t)"
    assert "unit" in answers[1].why


def test_what_only_makes_no_sense_beside_another_device_is_kept_and_told(store: Store) -> None:
    release = event(5, "release", {"at": at(5), "item": "reheat.command"}, **BO)
    (first, second) = receive(store, queue(opened(0), release), VOCABULARY)
    assert (first.fate, first.why) == ("kept", "")
    assert (second.fate, second.why) == ("kept", "nothing was held at that time")
    assert [line.event for line in store.call(CALL).set_aside] == [release]


def test_events_of_a_call_that_has_not_arrived_yet_wait_for_it(store: Store) -> None:
    (early,) = receive(store, queue(reading(1)), VOCABULARY)
    assert (early.fate, early.why) == ("kept", "this call was not opened yet")
    assert fates(store, queue(opened(0))) == ["kept"]
    assert len(store.call_document(CALL, VOCABULARY).events) == 1


def test_another_content_under_a_known_identifier_is_refused(store: Store) -> None:
    receive(store, queue(opened(0), reading(1)), VOCABULARY)
    (answer,) = receive(store, queue(reading(1, "62 degF")), VOCABULARY)
    assert (answer.fate, answer.id) == ("refused", reading(1).id)
    assert "another content" in answer.why


@pytest.mark.parametrize(
    "sent",
    [
        None,
        7,
        "reading",
        [],
        {},
        {"id": 7},
        {**reading(1).as_json(), "id": "1"},
        {**reading(1).as_json(), "kind": ["reading"]},
        {**reading(1).as_json(), "version": 2},
        {**reading(1).as_json(), "version": True},
        {**reading(1).as_json(), "recorded": "yesterday"},
        {**reading(1).as_json(), "recorded": "0001-01-01T00:00:00+23:59"},
        {**reading(1).as_json(), "recorded": "2027-05-04T09:00:00"},
        {**reading(1).as_json(), "author": ""},
        {**reading(1).as_json(), "author": "\ud800"},
        {**reading(1).as_json(), "id": "\ud800\n"},
        {**reading(1).as_json(), "kind": "\x1b[31m\ud800"},
        {**reading(1).as_json(), "\ud800\x00": ""},
        {**reading(1).as_json(), "body": {**reading(1).body, "\ud800": ""}},
        {**reading(1).as_json(), "body": {**reading(1).body, "at": "\ud800"}},
        {**reading(1).as_json(), "recorded": "\ud800"},
        {
            **opened(1).as_json(),
            "kind": "corrected",
            "body": {"of": reading(1).id, "body": {"\ud800\n": None}},
        },
        {**reading(1).as_json(), "device": "x" * 201},
        {**reading(1).as_json(), "call_id": None},
        {**reading(1).as_json(), "colour": "red"},
        {**reading(1).as_json(), 7: "red"},
        {**reading(1).as_json(), "body": {**reading(1).body, "at": "9 o'clock"}},
        {**reading(1).as_json(), "body": {**reading(1).body, "value": 61.5}},
        {**reading(1).as_json(), "body": {**reading(1).body, "sum": "1"}},
        {**reading(1).as_json(), "body": {}},
        {**opened(1).as_json(), "unit_id": None},
        {**opened(1).as_json(), "kind": "corrected", "body": {"of": reading(1).id, "body": {"x": [[[]]]}}},
        {
            **opened(1).as_json(),
            "kind": "attached",
            "body": {"sha256": "0", "name": "x", "type": "x", "size": -1},
        },
        {**opened(1).as_json(), "kind": "unit_described", "call_id": None, "body": {"document": "\ud800"}},
        {**opened(1).as_json(), "kind": "unit_described", "call_id": None, "body": {"document": "no unit"}},
    ],
)
def test_what_is_no_event_is_refused_in_words(store: Store, sent: object) -> None:
    (answer,) = receive(store, [sent], VOCABULARY)
    assert answer.fate == "refused"
    assert answer.why
    assert all(word.isprintable() for word in answer.as_json().values())
    assert len(store.events()) == 1


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9),
    lambda inside: st.lists(inside, max_size=3) | st.dictionaries(st.text(max_size=9), inside, max_size=3),
    max_leaves=6,
)


@given(st.sampled_from(sorted(reading(1).as_json())), JSON, st.sampled_from(sorted(reading(1).body)), JSON)
@settings(max_examples=60, deadline=None)
def test_whatever_is_sent_gets_an_answer(name: str, value: Any, part: str, inside: Any) -> None:
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "r.sqlite") as store:
        store.save_unit(RECLAIM, unit_id=UNIT, **ANN)
        store.append(opened())
        tree = reading(1).as_json()
        twisted = [{**tree, name: value}, {**tree, "body": {**tree["body"], part: inside}}]
        answers = receive(store, twisted, VOCABULARY)
        assert {a.fate for a in answers} <= {"kept", "known", "refused"}
        assert all(word.isprintable() for a in answers for word in a.as_json().values())
        store.call_document(CALL, VOCABULARY)


def test_a_device_speaks_for_its_own_people_alone(store: Store) -> None:
    sent = queue(opened(0, **ANN), reading(1, **BO), reading(2, author="Ann Sample", device="tablet"))
    answers = receive(store, sent, VOCABULARY, **ANN)
    assert [(a.fate, a.field) for a in answers] == [
        ("kept", ""),
        ("refused", "author"),
        ("refused", "device"),
    ]
    assert [e.author for e in store.events(CALL)] == ["Ann Sample"]


def test_too_long_a_queue_is_refused_before_anything_is_kept(store: Store) -> None:
    with pytest.raises(InputError, match=f"at most {MAX_BATCH}"):
        receive(store, queue(*(reading(n) for n in range(MAX_BATCH + 1))), VOCABULARY)
    assert len(store.events()) == 1


# ------------------------------------------------------------------------------------- what was missed


def test_what_was_missed_comes_in_pieces_and_each_once(store: Store) -> None:
    store.append([opened(), *(reading(n) for n in range(1, 10))])
    cursor, found = None, []
    while True:
        missed = since(store, cursor, 4)
        found += [e.id for e in missed.events]
        cursor = missed.cursor
        if not missed.more:
            break
    assert len(found) == len(set(found)) == 11
    assert since(store, cursor).events == ()
    late = reading(0, "15 degC", id=reading(100).id, call_id=CALL)  # made long ago, arrives now
    store.append(late)
    assert since(store, cursor).events == (late,)


@pytest.mark.parametrize(
    "cursor", ["", "x", "other.5", ".", "..", "{name}.x", "{name}.", "{name}.-1", "{name}.²"]
)
def test_a_cursor_of_another_file_begins_at_the_beginning(store: Store, cursor: str) -> None:
    assert len(since(store, cursor.format(name=store.name)).events) == 1


def test_after_an_older_copy_was_put_back_everything_is_given_again(store: Store) -> None:
    store.append(opened())
    assert len(since(store, f"{store.name}.{store.last_sequence() + 5}").events) == 2


def test_a_disk_that_fills_up_answers_nothing_and_the_second_try_completes(store: Store) -> None:
    sent = queue(opened(0), *(reading(n) for n in range(1, 100)))
    pages = store.file.database.execute("PRAGMA page_count").fetchone()[0]
    store.file.database.execute(f"PRAGMA max_page_count = {pages + 4}")
    with pytest.raises(DataError, match="disk is full"):
        receive(store, sent, VOCABULARY)
    store.file.database.execute("PRAGMA max_page_count = 1000000")
    assert set(fates(store, sent)) <= {"kept", "known"}
    assert len(store.events(CALL)) == 100


# ------------------------------------------------------------------ two phones, one server, a bad line


@given(histories(), st.randoms(use_true_random=False))
@settings(max_examples=40, deadline=None)
def test_over_a_line_that_fails_anywhere_nothing_is_lost_or_doubled(
    history: tuple[Event, ...], chance: random.Random
) -> None:
    """The server may keep events and the answer be lost: the phone then sends the same again."""
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "r.sqlite") as store:
        store.save_unit(RECLAIM, unit_id=UNIT, **ANN)
        waiting = [list(queue(*(e for e in history if e.device == d))) for d in (ANN["device"], BO["device"])]
        while any(waiting):
            phone = chance.choice([w for w in waiting if w])
            piece = phone[: chance.randint(1, len(phone))]
            answers = receive(store, piece, VOCABULARY)
            assert {a.fate for a in answers} <= {"kept", "known"}
            if chance.random() < 0.6:  # the answer arrived
                del phone[: len(piece)]
        assert store.events(CALL) == history
        assert store.call(CALL) == fold_call(CALL, history)
        assert sorted(e.id for e in since(store, None).events if e.call_id) == [e.id for e in history]
