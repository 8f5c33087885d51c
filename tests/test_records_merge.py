"""Records written apart become the same record, whatever is merged into what, how often, in which order."""

from __future__ import annotations

import functools
import itertools
import random
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from record_samples import ANN, BO, CALL, UNIT, VOCABULARY, corrected, histories, opened, reading
from sample_documents import RECLAIM
from wringout.errors import InputError
from wringout.records.events import Event
from wringout.records.fold import fold_call
from wringout.records.merge import merge, united
from wringout.records.store import Store, open_store

PARTS = st.lists(st.frozensets(st.integers(0, 13)), min_size=3, max_size=3)


def pieces(history: tuple[Event, ...], parts: list[frozenset[int]]) -> list[tuple[Event, ...]]:
    """Parts of a history, overlapping or not; some of it may be in none."""
    return [tuple(e for n, e in enumerate(history) if n in part) for part in parts]


@given(histories(), PARTS)
@settings(deadline=None)
def test_uniting_is_associative_commutative_and_idempotent(
    history: tuple[Event, ...], parts: list[frozenset[int]]
) -> None:
    a, b, c = pieces(history, parts)
    assert united(united(a, b), c) == united(a, united(b, c))
    assert united(a, b) == united(b, a)
    assert united(a, a) == united(a) == a


@given(histories(), PARTS)
@settings(deadline=None)
def test_the_call_is_the_same_whatever_was_united_first(
    history: tuple[Event, ...], parts: list[frozenset[int]]
) -> None:
    whole = fold_call(CALL, united(*pieces(history, parts)))
    for order in itertools.permutations(pieces(history, parts)):
        assert fold_call(CALL, functools.reduce(united, order)) == whole


def test_two_contents_of_one_identifier_are_never_united() -> None:
    with pytest.raises(InputError, match="differ"):
        united([reading(1)], [reading(1, "62 degF")])


def record(folder: Path, name: str, events: tuple[Event, ...]) -> Store:
    store = open_store(folder / f"{name}.sqlite")
    store.append(events)
    return store


@given(histories(), PARTS, st.randoms(use_true_random=False))
@settings(max_examples=15, deadline=None)
def test_record_files_that_meet_in_any_order_end_equal(
    history: tuple[Event, ...], parts: list[frozenset[int]], chance: random.Random
) -> None:
    """Three devices meet two at a time, at random, until each has met each; partial merges on the way."""
    with tempfile.TemporaryDirectory() as folder:
        devices = [record(Path(folder), str(n), p) for n, p in enumerate(pieces(history, parts))]
        meetings = list(itertools.permutations(devices, 2)) * 2
        chance.shuffle(meetings)
        meetings += list(itertools.permutations(devices, 2)) * 2  # and at last everything has gone everywhere
        for into, source in meetings:
            merge(into, source)
        whole = united(*pieces(history, parts))
        for device in devices:
            assert device.events() == whole
            if whole:
                assert device.call(CALL) == fold_call(CALL, whole)
            device.close()


def test_two_technicians_without_signal_come_back_to_one_call(tmp_path: Path) -> None:
    """Both saw the call opened; then each read, one corrected what the other had read before they parted."""
    with open_store(tmp_path / "a.sqlite") as ann, open_store(tmp_path / "b.sqlite") as bo:
        ann.save_unit(RECLAIM, unit_id=UNIT, **ANN)
        ann.append([opened(0, **ANN), reading(1, "61.5 degF", **ANN)])
        merge(bo, ann)
        ann.append(reading(5, "70 %", "supply.rh", **ANN))
        photo = ann.attach(b"\xff\xd8\xff a photo", name="valve.jpg", call_id=CALL, **ANN)
        bo.append(
            [reading(4, "9.1 A", "fan.current", **BO), corrected(6, reading(1), value="62.5 degF", **BO)]
        )
        assert merge(ann, bo).new == (reading(4).id, reading(6).id)
        assert merge(bo, ann).contents == 1
        assert merge(bo, ann).new == ()
        assert ann.events() == bo.events()
        assert ann.call_document(CALL, VOCABULARY) == bo.call_document(CALL, VOCABULARY)
        assert bo.content(photo.body["sha256"]).data == b"\xff\xd8\xff a photo"
        assert [(line.body["value"], line.event.author) for line in bo.call(CALL).lines] == [
            ("62.5 degF", "Ann Sample"),
            ("9.1 A", "Bo Sample"),
            ("70 %", "Ann Sample"),
        ]


def test_a_conflict_keeps_nothing_of_the_merge(tmp_path: Path) -> None:
    with open_store(tmp_path / "a.sqlite") as a, open_store(tmp_path / "b.sqlite") as b:
        a.append([opened(), reading(2)])
        b.append([reading(1), reading(2, "62 degF")])
        with pytest.raises(InputError, match="another content"):
            merge(a, b)
        assert a.events() == (opened(), reading(2))
