"""Logs among what is attached to a call, and which mapping file counts for each."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from record_samples import ANN, BO, CALL, UNIT, opened
from sample_documents import RECLAIM
from wringout.records.attachments import sha256_of
from wringout.records.bundle import export_calls, export_names, import_bundle
from wringout.records.logs import logs_of
from wringout.records.store import Store, open_store

LOG, OTHER = b"time,t\n1,2\n", b"time,t\n3,4\n"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "record.sqlite") as made:
        made.save_unit(RECLAIM, unit_id=UNIT, **ANN)
        made.append(opened())
        yield made


def attached(store: Store, data: bytes, name: str, to: str | None = None) -> str:
    return store.attach(data, name=name, call_id=CALL, to=to, **ANN).id


def test_a_log_has_the_mapping_that_was_attached_to_it_last(store: Store) -> None:
    log = attached(store, LOG, "log.csv")
    other = attached(store, OTHER, "other.csv")
    attached(store, b"first", "log.trend.yaml", log)
    newest = attached(store, b"second", "log.trend.yaml", log)
    first, second = logs_of(store.call(CALL))
    assert (first.name, first.sha256) == ("log.csv", sha256_of(LOG))
    assert first.mapping is not None
    assert first.mapping.id == newest
    assert (second.id, second.mapping) == (other, None)


def test_a_mapping_that_was_withdrawn_counts_no_more(store: Store) -> None:
    log = attached(store, LOG, "log.csv")
    before = attached(store, b"first", "log.trend.yaml", log)
    newest = attached(store, b"second", "log.trend.yaml", log)
    store.correct(newest, None, **BO)
    (found,) = logs_of(store.call(CALL))
    assert found.mapping is not None
    assert found.mapping.id == before


def test_what_is_no_log_is_not_listed(store: Store) -> None:
    log = attached(store, LOG, "log.csv")
    attached(store, b"{}", "proof.json")
    attached(store, b"which column is what", "live.yaml")
    attached(store, b"\xff\xd8\xff a photo", "coil.jpg")
    attached(store, b"scribbled while it was read", "note.txt", log)
    assert [found.name for found in logs_of(store.call(CALL))] == ["log.csv"]


def test_a_log_that_was_taken_in_twice_is_one_log_with_one_mapping(store: Store) -> None:
    attached(store, LOG, "log.csv")
    again = attached(store, LOG, "log again.csv")
    mapping = attached(store, b"first", "log.trend.yaml", again)
    (found,) = logs_of(store.call(CALL))
    assert found.name == "log.csv"
    assert found.mapping is not None
    assert found.mapping.id == mapping


def test_in_an_export_what_counts_has_the_plain_name(store: Store, tmp_path: Path) -> None:
    log = attached(store, LOG, "log.csv")
    former = attached(store, b"first", "log.trend.yaml", log)
    attached(store, b"second", "log.trend.yaml", log)
    store.correct(former, None, **BO)
    names = export_names(store.events(CALL), {former})
    folder = f"calls/{CALL}/files"
    assert names == {
        f"{folder}/log.csv": sha256_of(LOG),
        f"{folder}/log.trend.yaml": sha256_of(b"second"),
        f"{folder}/{sha256_of(b'first')[:12]}-log.trend.yaml": sha256_of(b"first"),
    }
    assert export_calls(store, [CALL], tmp_path / "call.zip") == ()
    with open_store(tmp_path / "other.sqlite") as other:
        import_bundle(other, tmp_path / "call.zip")
        assert logs_of(other.call(CALL)) == logs_of(store.call(CALL))
