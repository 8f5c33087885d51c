"""Calls out of the record and in again: nothing is lost on the way, nothing comes in that is not whole."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from record_samples import (
    ANN,
    BO,
    CALL,
    UNIT,
    VOCABULARY,
    corrected,
    event,
    histories,
    opened,
    reading,
    withdrawn,
)
from sample_documents import CALL as CALL_TEXT
from sample_documents import HEADS, RECLAIM
from wringout.catalogue.calls import load_call
from wringout.documents.call import Call
from wringout.documents.load import load_unit
from wringout.documents.source import tree_of
from wringout.errors import DataError, InputError
from wringout.records import bundle
from wringout.records.attachments import sha256_of
from wringout.records.bundle import export_calls, import_bundle
from wringout.records.events import Event
from wringout.records.from_documents import events_of_document
from wringout.records.plain import plain_tree, yaml_of
from wringout.records.store import Store, open_store

JPEG = b"\xff\xd8\xff\xe0 a photo of a valve"
PRACTICE = Path(__file__).resolve().parent.parent.parent / "shared" / "practice" / "calls"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "record.sqlite") as made:
        yield made


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "other.sqlite") as made:
        yield made


@pytest.fixture
def zipped(store: Store, tmp_path: Path) -> Path:
    """A call with everything in it: corrections, a withdrawal, names, attachments, a later unit document."""
    store.save_unit(RECLAIM, unit_id=UNIT, **ANN)
    store.write("person_named", {"person": "Ann Sample", "name": "Ann S."}, **ANN)
    store.write("person_named", {"person": "a stranger", "name": "Nobody here"}, **ANN)
    store.append([opened(), reading(1), reading(2, "15 degC"), reading(3)])
    store.append([corrected(4, reading(1), value="62 degF", **BO), withdrawn(5, reading(3), **BO)])
    store.attach(JPEG, name="valve.jpg", call_id=CALL, to=reading(1).id, text="stem", **ANN)
    store.attach(b"time;t\n1;2\n", name="../../etc/trend 1.csv", call_id=CALL, **BO)
    store.attach(JPEG + b"2", name="VALVE.JPG", call_id=CALL, **BO)
    store.save_unit(RECLAIM + "# later\n", unit_id=UNIT, **BO)
    path = tmp_path / "call.zip"
    assert export_calls(store, [CALL], path) == ()
    return path


# -------------------------------------------------------------------------------------- out and in again


def test_everything_of_a_call_comes_through_a_zip(zipped: Path, store: Store, other: Store) -> None:
    merged = import_bundle(other, zipped)
    wanted = [e for e in store.events() if e.body.get("person") != "a stranger"]
    assert list(other.events()) == wanted
    assert merged.calls == (CALL,)
    assert merged.contents == 3
    assert other.call(CALL) == store.call(CALL)
    assert other.call_document(CALL, VOCABULARY) == store.call_document(CALL, VOCABULARY)
    assert {other.content(s).data for s in other.contents()} == {JPEG, JPEG + b"2", b"time;t\n1;2\n"}


def test_bringing_the_same_zip_again_changes_nothing(zipped: Path, other: Store) -> None:
    import_bundle(other, zipped)
    before = other.events()
    again = import_bundle(other, zipped)
    assert (again.new, again.known, again.contents) == ((), len(before), 0)
    assert other.events() == before


def test_the_same_call_gives_the_same_bytes_from_any_record(
    zipped: Path, other: Store, tmp_path: Path
) -> None:
    import_bundle(other, zipped)
    export_calls(other, [CALL], tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == zipped.read_bytes()


def test_the_documents_in_the_zip_are_the_contracts(zipped: Path, store: Store, tmp_path: Path) -> None:
    with zipfile.ZipFile(zipped) as archive:
        names = sorted(archive.namelist())
        archive.extractall(tmp_path / "unpacked")
    folder = f"calls/{CALL}"
    assert names == sorted(
        [
            "manifest.json",
            "events.jsonl",
            f"{folder}/call.yaml",
            f"{folder}/unit.yaml",
            f"{folder}/files/valve.jpg",
            f"{folder}/files/_.._etc_trend 1.csv",
            f"{folder}/files/{sha256_of(JPEG + b'2')[:12]}-VALVE.JPG",
        ]
    )
    found = load_call(tmp_path / "unpacked" / folder / "call.yaml")
    assert meaning(found) == meaning(store.call_document(CALL, VOCABULARY))


def test_a_photo_that_has_not_arrived_is_told_and_may_follow_later(
    store: Store, other: Store, tmp_path: Path
) -> None:
    store.save_unit(RECLAIM, unit_id=UNIT, **ANN)
    body = {"sha256": sha256_of(JPEG), "name": "valve.jpg", "type": "image/jpeg", "size": len(JPEG)}
    store.append([opened(), event(1, "attached", body)])
    assert export_calls(store, [CALL], tmp_path / "early.zip") == (f"attachment {sha256_of(JPEG)}",)
    import_bundle(other, tmp_path / "early.zip")
    store.attach(JPEG, name="valve.jpg", call_id=CALL, **ANN)
    assert export_calls(store, [CALL], tmp_path / "late.zip") == ()
    assert import_bundle(other, tmp_path / "late.zip").contents == 1
    assert other.content(sha256_of(JPEG)).data == JPEG


@pytest.mark.parametrize("missing", ["unit document", "opening", "opening that stands"])
def test_a_call_that_makes_no_document_yet_is_exported_all_the_same(
    store: Store, other: Store, tmp_path: Path, missing: str
) -> None:
    if missing != "unit document":
        store.save_unit(RECLAIM, unit_id=UNIT, **ANN)
    if missing != "opening":
        store.append(opened())
    if missing == "opening that stands":
        store.append(withdrawn(1, opened()))
    store.append(reading(2))
    (told,) = export_calls(store, [CALL], tmp_path / "call.zip")
    assert CALL in told
    import_bundle(other, tmp_path / "call.zip")
    assert other.events(CALL) == store.events(CALL)


def test_a_unit_document_that_is_none_does_not_come_in(zipped: Path, other: Store) -> None:
    spoilt = {**opened(9).as_json(), "kind": "unit_described", "call_id": None, "body": {"document": "x: 1"}}
    with pytest.raises(InputError, match="unit document in event"):
        import_bundle(other, rebuilt(zipped, more_events(json.dumps(spoilt)), honest=True))
    assert other.events() == ()


def test_a_file_that_cannot_be_written_is_told_and_the_old_one_kept(
    store: Store, zipped: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    before = zipped.read_bytes()
    with pytest.raises(DataError, match="cannot be written"):
        export_calls(store, [CALL], tmp_path / "no such folder" / "call.zip")

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(zipfile.ZipFile, "writestr", full)
    with pytest.raises(DataError, match="No space left"):
        export_calls(store, [CALL], zipped)
    assert zipped.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir() if p.name.startswith(".")) == []


# ------------------------------------------------------------------------------- documents, out and in


def meaning(call: Call) -> object:
    """All that a call says: values, words as typed, what was given and assumed; not the lines it stood in."""
    sources = {path: replace(source, line=None) for path, source in call.unit.provenance.items()}
    return call.model_dump(exclude={"unit": {"provenance"}}), sources


def same_through_the_record(path: Path, folder: Path) -> None:
    """A call document read, kept, exported, and read again equals itself, unit text to the byte."""
    read = events_of_document(path, VOCABULARY)
    assert read.call_id is not None
    with open_store(folder / "r.sqlite") as store:
        store.append(read.events)
        assert store.append(events_of_document(path, VOCABULARY).events) == ()
        assert meaning(store.call_document(read.call_id, VOCABULARY)) == meaning(load_call(path))
        export_calls(store, [read.call_id], folder / "out.zip")
    with zipfile.ZipFile(folder / "out.zip") as archive:
        archive.extractall(folder / "out")
    out = folder / "out" / "calls" / read.call_id
    assert load_call(out / "call.yaml") == load_call(path)
    assert load_unit(out / "unit.yaml") == load_unit(path.parent / "unit.yaml")
    assert (out / "unit.yaml").read_bytes() == (path.parent / "unit.yaml").read_bytes()


@pytest.mark.skipif(not PRACTICE.is_dir(), reason=f"the practice calls are not at {PRACTICE}")
@pytest.mark.parametrize("step", [6, pytest.param(1, marks=pytest.mark.study)])
def test_practice_calls_come_out_as_they_went_in(tmp_path: Path, step: int) -> None:
    calls = sorted(PRACTICE.glob("p*/call.yaml"))
    assert len(calls) > 100
    for path in calls[::step]:
        folder = tmp_path / path.parent.name
        folder.mkdir()
        same_through_the_record(path, folder)


def test_the_sample_call_comes_out_as_it_went_in(tmp_path: Path) -> None:
    (tmp_path / "unit.yaml").write_text(RECLAIM, encoding="utf-8")
    (tmp_path / "call.yaml").write_text(CALL_TEXT, encoding="utf-8")
    same_through_the_record(tmp_path / "call.yaml", tmp_path)


@pytest.mark.parametrize("unit", HEADS.values(), ids=list(HEADS))
@pytest.mark.parametrize("how", ["beside", "inside", "json"])
def test_every_kind_of_unit_comes_through(tmp_path: Path, unit: str, how: str) -> None:
    tree: dict[str, Any] = {"format": "wringout-call/1", "unit": "u.yaml", "complaint": "Fog"}
    if how == "inside":
        tree["unit"] = plain_tree(tree_of(unit, "unit"))
    (tmp_path / "u.yaml").write_text(unit, encoding="utf-8")
    path = tmp_path / ("call.json" if how == "json" else "call.yaml")
    path.write_text(json.dumps(tree) if how == "json" else yaml_of(tree), encoding="utf-8")
    read = events_of_document(path, VOCABULARY)
    with open_store(tmp_path / "r.sqlite") as store:
        store.append(read.events)
        found = store.call_document(str(read.call_id), VOCABULARY)
    assert meaning(found) == meaning(load_call(path))


def test_a_unit_document_alone_comes_in(tmp_path: Path, store: Store) -> None:
    (tmp_path / "unit.yaml").write_text(RECLAIM, encoding="utf-8")
    read = events_of_document(tmp_path / "unit.yaml", VOCABULARY)
    store.append(read.events)
    assert store.unit_text(read.unit_id) == RECLAIM


def test_a_document_with_a_slip_is_refused_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "unit.yaml").write_text(RECLAIM, encoding="utf-8")
    (tmp_path / "call.yaml").write_text(CALL_TEXT.replace("61.5 degF", "61.5"), encoding="utf-8")
    with pytest.raises(InputError, match=r"call\.yaml, line 5"):
        events_of_document(tmp_path / "call.yaml", VOCABULARY)


WORDS = st.text(
    st.characters(min_codepoint=32, max_codepoint=0x1F5FF).filter(lambda c: c.isprintable() or c == "\n"),
    max_size=20,
)
TREES = st.dictionaries(
    st.from_regex(r"[a-z_]{1,9}", fullmatch=True),
    st.recursive(
        WORDS, lambda x: st.lists(x, max_size=3) | st.dictionaries(WORDS, x, max_size=3), max_leaves=8
    ),
    min_size=1,
    max_size=5,
)


def written(tree: Any) -> Any:
    """Empty mappings and lists as they read back."""
    if isinstance(tree, dict):
        return {name: written(entry) for name, entry in tree.items()}
    return [written(entry) for entry in tree] if isinstance(tree, list) else tree


@given(TREES)
@settings(max_examples=50, deadline=None)
def test_any_words_written_as_yaml_read_back_the_same(tree: dict[str, Any]) -> None:
    assert plain_tree(tree_of(yaml_of(tree), "tree")) == written(tree)


@given(TREES)
@settings(max_examples=50, deadline=None)
def test_any_words_written_as_yaml_are_text_to_another_reader_too(tree: dict[str, Any]) -> None:
    import yaml

    def texts(read: Any) -> Any:
        if isinstance(read, dict):
            return {str(name): texts(entry) for name, entry in read.items()}
        return [texts(entry) for entry in read] if isinstance(read, list) else str(read)

    loaded = yaml.load(yaml_of(tree), Loader=yaml.BaseLoader)
    assert texts(loaded) == written(tree)


@given(histories())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_history_of_two_devices_comes_through_a_zip(
    tmp_path_factory: pytest.TempPathFactory, history: tuple[Event, ...]
) -> None:
    folder = tmp_path_factory.mktemp("history")
    with open_store(folder / "a.sqlite") as a, open_store(folder / "b.sqlite") as b:
        a.save_unit(RECLAIM, unit_id=UNIT, **ANN)
        a.append([opened(20, call_id=CALL), *history])
        export_calls(a, [CALL], folder / "call.zip")
        import_bundle(b, folder / "call.zip")
        assert b.events() == a.events()
        assert b.call_document(CALL, VOCABULARY) == a.call_document(CALL, VOCABULARY)


# ------------------------------------------------------------------------------------- what is refused

Change = Callable[[dict[str, bytes]], None]


def rebuilt(path: Path, change: Change, *, honest: bool) -> Path:
    """The zip with something changed in it; an honest one has a manifest that goes with the change."""
    with zipfile.ZipFile(path) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    change(files)
    if honest:
        named = {
            n: {"bytes": len(d), "sha256": sha256_of(d)} for n, d in files.items() if n != "manifest.json"
        }
        files["manifest.json"] = json.dumps({"format": bundle.BUNDLE_FORMAT, "files": named}).encode()
    out = path.with_name("changed.zip")
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out


def put(name: str, data: bytes) -> Change:
    return lambda files: files.__setitem__(name, data)


def more_events(line: str) -> Change:
    return lambda files: files.__setitem__("events.jsonl", files["events.jsonl"] + line.encode() + b"\n")


def drop(name: str) -> Change:
    return lambda files: files.__delitem__(name)


FILE = f"calls/{CALL}/files/valve.jpg"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (put("../../etc/passwd", b"x"), "does not belong"),
        (put("/etc/passwd", b"x"), "does not belong"),
        (put("calls\\..\\..\\x", b"x"), "does not belong"),
        (put(f"calls/{CALL}/files/../../../x", b"x"), "does not belong"),
        (put(f"calls/{CALL}/files/.hidden", b"x"), "does not belong"),
        (put("C:/x", b"x"), "does not belong"),
        (put("run.sh", b"x"), "does not belong"),
        (put("\x1b[31mred", b"x"), "does not belong"),
        (put(f"calls/{CALL}/files/new.jpg", JPEG + b"3"), "no event speaks of this attachment"),
        (put(FILE, b"\x7fELF\x00"), "no event speaks"),
        (drop("events.jsonl"), "events.jsonl is missing"),
        (more_events("{"), "line 13: not readable as JSON"),
        (more_events("[" * 100_000), "line 13: not readable as JSON"),
        (more_events("7"), "line 13: event: found int"),
        (more_events(json.dumps({**reading(9).as_json(), "version": 9})), "line 13: version: found 9"),
        (more_events(json.dumps({**reading(9).as_json(), "kind": "guess"})), "no kind of event"),
        (more_events(json.dumps({**reading(1).as_json(), "author": "Eve"})), "another content"),
    ],
)
def test_what_does_not_belong_is_refused_and_nothing_kept(
    zipped: Path, other: Store, change: Change, words: str
) -> None:
    with pytest.raises(InputError, match=words) as told:
        import_bundle(other, rebuilt(zipped, change, honest=True))
    assert str(told.value).startswith(str(zipped.with_name("changed.zip")))
    assert "\n" not in str(told.value)
    assert str(told.value).isprintable()
    assert other.events() == ()
    assert other.contents() == frozenset()


@pytest.mark.parametrize("longer", [b"4", b""])
@pytest.mark.parametrize("member", ["events.jsonl", f"calls/{CALL}/call.yaml", FILE])
def test_a_file_that_is_not_the_one_in_the_manifest_is_refused(
    zipped: Path, other: Store, member: str, longer: bytes
) -> None:
    def alter(files: dict[str, bytes]) -> None:
        files[member] = files[member].replace(b"a", b"b", 1) + longer

    with pytest.raises(InputError, match=r"SHA-256 differs"):
        import_bundle(other, rebuilt(zipped, alter, honest=False))
    assert other.events() == ()


@pytest.mark.parametrize(
    ("manifest", "words"),
    [
        (b"{", "not readable as JSON"),
        (b"[]", "wanted wringout-bundle/1"),
        (b'{"format": "wringout-bundle/2"}', "wanted wringout-bundle/1"),
        (b'{"format": "wringout-bundle/1"}', "wanted a mapping"),
        (b'{"format": "wringout-bundle/1", "files": {}}', "does not name this file"),
        (b'{"format": "wringout-bundle/1", "files": {"x": {}}}', "manifest|not in the zip"),
        (b"[" * 200_000, "not readable as JSON"),
    ],
)
def test_a_manifest_that_is_none_is_refused(zipped: Path, other: Store, manifest: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words) as told:
        import_bundle(other, rebuilt(zipped, put("manifest.json", manifest), honest=False))
    assert str(told.value).startswith(str(zipped.with_name("changed.zip")))


def test_a_zip_that_unfolds_into_more_than_a_record_holds_is_refused_before_it_does(
    zipped: Path, other: Store
) -> None:
    """100 MB of nothing pack into 100 kB."""
    change = put(f"calls/{CALL}/call.yaml", b" " * 100_000_000)
    with pytest.raises(InputError, match="larger than 10 MB when unpacked"):
        import_bundle(other, rebuilt(zipped, change, honest=True))


def test_a_zip_that_says_less_than_it_holds_is_not_believed(zipped: Path, other: Store) -> None:
    out = rebuilt(zipped, put(f"calls/{CALL}/call.yaml", b" " * 1_000_000), honest=True)
    data = out.read_bytes()
    size = (1_000_000).to_bytes(4, "little")
    assert data.count(size) == 2
    out.write_bytes(data.replace(size, (10).to_bytes(4, "little")))
    with pytest.raises(InputError, match=r"not a whole zip|SHA-256 differs"):
        import_bundle(other, out)
    assert other.events() == ()


def test_too_many_files_are_refused(zipped: Path, other: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bundle, "MAX_FILES", 3)
    with pytest.raises(InputError, match="at most 3"):
        import_bundle(other, zipped)


def test_too_much_in_all_is_refused(zipped: Path, other: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bundle, "MAX_ALL", 100)
    with pytest.raises(InputError, match="when unpacked"):
        import_bundle(other, zipped)


def test_a_file_that_stands_twice_in_the_zip_is_refused(zipped: Path, other: Store) -> None:
    with zipfile.ZipFile(zipped, "a") as archive, pytest.warns(UserWarning, match="Duplicate"):
        archive.writestr("events.jsonl", "")
    with pytest.raises(InputError, match="twice"):
        import_bundle(other, zipped)


def test_a_zip_with_a_password_is_refused(zipped: Path, other: Store) -> None:
    data = bytearray(zipped.read_bytes())
    place = data.find(b"PK\x01\x02")
    data[place + 8] |= 1
    zipped.write_bytes(bytes(data))
    with pytest.raises(InputError, match="password"):
        import_bundle(other, zipped)


@given(st.binary(max_size=300) | st.integers(0, 3000))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_and_any_broken_zip_give_one_clear_error(
    zipped: Path, other: Store, broken: bytes | int
) -> None:
    """Cut off anywhere, one byte turned over anywhere, or no zip at all: refused, or harmless."""
    whole = zipped.read_bytes()
    path = zipped.with_name("broken.zip")
    if isinstance(broken, int):
        place = broken % len(whole)
        turned = whole[:place] + bytes([whole[place] ^ 0x41]) + whole[place + 1 :]
        path.write_bytes(turned if broken % 2 else whole[:place])
    else:
        path.write_bytes(b"PK\x03\x04" + broken)
    told = ""
    try:
        import_bundle(other, path)
    except InputError as error:
        told = str(error)
    assert "\n" not in told
    assert other.events() in ((), tuple(e for e in other.events() if e.call_id in (None, CALL)))


def test_a_zip_of_something_else_is_told(other: Store, tmp_path: Path) -> None:
    path = tmp_path / "photos.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("manifest.json", "{}")
    with pytest.raises(InputError, match=r"not an export of calls: events.jsonl is missing"):
        import_bundle(other, path)
    path.write_bytes(io.BytesIO(b"no zip").getvalue())
    with pytest.raises(InputError, match="not a whole zip"):
        import_bundle(other, path)
    with pytest.raises(InputError, match="cannot be read"):
        import_bundle(other, tmp_path / "nothing.zip")
