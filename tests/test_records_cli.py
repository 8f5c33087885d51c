"""`wringout calls`, `export` and `import`: from one machine to another, and nothing is written over."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest

from sample_documents import CALL, RECLAIM
from wringout.catalogue.calls import load_call
from wringout.cli.main import main
from wringout.records.place import usual_place
from wringout.records.store import open_store

HOME = Path("/somewhere/ann")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WRINGOUT_STORE", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "unit.yaml").write_text(RECLAIM, encoding="utf-8")
    (tmp_path / "call.yaml").write_text(CALL, encoding="utf-8")
    (tmp_path / "log.csv").write_text("time,t\n1,2\n", encoding="utf-8")
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    shown = capsys.readouterr()
    assert isinstance(ended.value.code, int)
    return ended.value.code, shown.out, shown.err


def listed(capsys: pytest.CaptureFixture[str], *arguments: str) -> list[dict[str, object]]:
    code, out, err = run(capsys, "calls", "--json", *arguments)
    assert (code, err) == (0, "")
    document = json.loads(out)
    assert document["format"] == "wringout-calls/1"
    calls: list[dict[str, object]] = document["calls"]
    return calls


def test_a_call_goes_from_one_machine_to_another(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "import", "call.yaml", "--attach", "log.csv")
    assert code == 0
    assert "18 new events, 1 attachment" in out
    (call,) = listed(capsys)
    assert (call["unit"], call["site"]) == ("Cellar unit", "Alder Court Cheese Cellar (invented)")
    assert (call["events"], call["people"]) == (15, ["document"])
    identifier = str(call["id"])
    assert run(capsys, "export", identifier[-8:], "-o", "call.zip") == (0, "call.zip: 1 call\n", "")
    code, out, _ = run(capsys, "import", "call.zip", "--store", "other.sqlite")
    assert code == 0
    assert out == f"call.zip: 18 new events, 1 attachment\ncall {identifier}\n"
    assert listed(capsys, "--store", "other.sqlite") == [call]
    code, out, _ = run(capsys, "import", "call.zip", "call.yaml", "--store", "other.sqlite")
    assert "call.zip: 0 new events, 18 known" in out
    assert "call.yaml: 0 new events, 17 known" in out
    with open_store("other.sqlite") as store:
        assert len(store.contents()) == 1


def test_a_call_comes_out_as_one_document_too(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "import", "call.yaml")
    (call,) = listed(capsys)
    assert run(capsys, "export", str(call["id"]), "-o", "out.yaml")[0] == 0
    assert load_call("out.yaml").events == load_call("call.yaml").events


def test_another_record_is_merged(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "import", "call.yaml", "--store", "phone.sqlite")
    code, out, _ = run(capsys, "import", "phone.sqlite")
    assert (code, out.splitlines()[0]) == (0, "phone.sqlite: 17 new events")
    assert listed(capsys) == listed(capsys, "--store", "phone.sqlite")


def test_the_list_in_words(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run(capsys, "import", "call.yaml")
    for columns in (40, 80, 200):
        monkeypatch.setenv("COLUMNS", str(columns))
        code, out, _ = run(capsys, "calls")
        assert code == 0
        assert max(map(len, out.splitlines())) < max(columns, 81)
        assert "Cellar unit, Alder Court" in out
        assert "15 events" in " ".join(out.split())
    open_store("empty.sqlite").close()
    assert run(capsys, "calls", "--store", "empty.sqlite") == (0, "no calls yet\n", "")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["calls", "--store", "nothing.sqlite"], "nothing.sqlite: there is no record here"),
        (["calls", "--store", "log.csv"], "log.csv: this is not a record, and no SQLite file at all"),
        (["calls", "--store", "songs.sqlite"], "songs.sqlite: this is a database of something else"),
        (["calls", "--store", "newer.sqlite"], "newer.sqlite: written by a newer wringout"),
        (["calls", "--store", "."], "there is no record here"),
        (["calls", "--store", ""], "--store: empty"),
        (["import", "call.yaml", "--store", "."], "cannot be opened"),
        (["import", "nothing.zip"], "nothing.zip: there is no such file"),
        (["import", "log.csv"], "log.csv"),
        (["import", "."], ".: this is a folder"),
        (["calls", "zzzz"], "zzzz: there is no such call"),
        (["import", "broken.zip"], "broken.zip: not a whole zip"),
        (["import", "songs.sqlite"], "songs.sqlite: this is a database of something else"),
        (["import", "call.yaml", "--attach", "nothing.csv"], "nothing.csv: cannot be read"),
        (["import", "call.yaml", "--attach", "program"], "program: the bytes are of no type that is taken"),
        (["import", "unit.yaml", "--attach", "log.csv"], "a unit document has no call"),
        (["import", "call.yaml", "unit.yaml", "--attach", "log.csv"], "name one document"),
        (["import", "broken.zip", "--attach", "log.csv"], "files are attached to a call document"),
        (["export", "zzzz", "-o", "x.zip"], "zzzz: there is no such call"),
        (["export", "", "-o", "x.zip"], "there is no such call"),
        (["export", "{id}", "-o", "call.yaml"], "call.yaml: this file is there already; --force"),
        (["export", "{id}", "-o", "x.pdf"], "name a file that ends in .zip or .yaml"),
        (["export", "{id}", "-o", "."], "name a file"),
        (["export", "{id}", "-o", "no/such/folder/x.zip"], "cannot be written"),
        (["export", "{id}", "-o", "no/such/folder/x.yaml"], "cannot be written"),
        (["export", "{id}", "{other}", "-o", "x.yaml"], "a document holds one call"),
        (["export", "0000"], "Missing option"),
    ],
)
def test_what_goes_wrong_is_told_in_one_line(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    (folder / "broken.zip").write_bytes(b"PK\x03\x04 nothing")
    (folder / "program").write_bytes(b"\x7fELF\x00\x00")
    songs = sqlite3.connect(folder / "songs.sqlite")
    songs.execute("CREATE TABLE songs (name TEXT)")
    songs.close()
    open_store("newer.sqlite").close()
    newer = sqlite3.connect("newer.sqlite")
    newer.execute("PRAGMA user_version = 99")
    newer.close()
    run(capsys, "import", "call.yaml")
    (folder / "second.yaml").write_text(CALL.replace("sweats", "sweated"), encoding="utf-8")
    run(capsys, "import", "second.yaml")
    before = sorted((p.name, p.read_bytes()) for p in folder.iterdir() if p.is_file())
    ids = [str(call["id"]) for call in listed(capsys)]
    given = [word.format(id=ids[0], other=ids[1]) for word in arguments]
    code, out, err = run(capsys, *given)
    assert (code, out) == (2, "")
    assert words in err
    assert "Traceback" not in err
    assert "Missing" in words or err.count("\n") == 1
    assert sorted((p.name, p.read_bytes()) for p in folder.iterdir() if p.is_file()) == before


def test_an_end_that_two_calls_share_is_told(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "import", "call.yaml")
    (folder / "second.yaml").write_text(CALL.replace("sweats", "sweated"), encoding="utf-8")
    run(capsys, "import", "second.yaml")
    begin = str(listed(capsys)[0]["id"])[:8]
    code, _, err = run(capsys, "export", begin, "-o", "x.zip")
    assert code == 2
    assert "2 calls begin or end so" in err


@pytest.mark.parametrize(
    ("settings", "platform", "place"),
    [
        ({}, "linux", HOME / ".local/share/wringout/records.sqlite"),
        ({"XDG_DATA_HOME": "/data"}, "linux", Path("/data/wringout/records.sqlite")),
        ({"XDG_DATA_HOME": "relative"}, "linux", HOME / ".local/share/wringout/records.sqlite"),
        ({"XDG_DATA_HOME": "/data", "WRINGOUT_STORE": "my.sqlite"}, "linux", Path("my.sqlite")),
        ({}, "darwin", HOME / "Library/Application Support/wringout/records.sqlite"),
        ({"LOCALAPPDATA": "/appdata"}, "win32", Path("/appdata/wringout/records.sqlite")),
    ],
)
def test_where_the_record_stands(settings: dict[str, str], platform: str, place: Path) -> None:
    assert usual_place(settings, platform, HOME) == place


def test_of_one_call_it_tells_who_wrote_what(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ann, bo = {"author": "p1", "device": "phone"}, {"author": "Bo Sample", "device": "tablet"}
    with open_store("r.sqlite") as store:
        store.write("person_named", {"person": "p1", "name": "Ann Sample"}, **ann)
        call = store.open_call(store.save_unit(RECLAIM, **ann), "The cheese sweats.", **ann)
        body = {"at": "2027-05-04T09:00:00", "point": "supply.t", "value": "61.5 degF"}
        first = store.write("reading", body, call_id=call, **ann)
        gone = store.write("note", {"at": "2027-05-04T09:05:00", "text": "no word"}, call_id=call, **ann)
        store.correct(first.id, {**body, "value": "62.5 degF"}, reason="read again", **bo)
        store.correct(gone.id, None, reason="wrong unit", **bo)
        store.write("release", {"at": "2027-05-04T09:06:00", "item": "cooling.call"}, call_id=call, **bo)
        store.attach(b"\xff\xd8\xff photo", name="valve.jpg", call_id=call, **ann)
    code, out, _ = run(capsys, "calls", call[-8:], "--store", "r.sqlite")
    assert code == 0
    flat = " ".join(out.split())
    assert "2027-05-04 09:00:00 supply.t 62.5 degF - Ann Sample, phone" in flat
    assert "first written: 2027-05-04 09:00:00 supply.t 61.5 degF" in flat
    assert "(read again) - Bo Sample, tablet" in flat
    assert "withdrawn 2027-05-04 09:05:00 note no word - Ann Sample, phone wrong unit" in flat
    assert "release cooling.call - Bo Sample, tablet nothing was held at that time" in flat
    assert "valve.jpg" in flat
    code, out, _ = run(capsys, "calls", call, "--json", "--store", "r.sqlite")
    document = json.loads(out)
    assert document["format"] == "wringout-record/1"
    (line,) = document["lines"]
    assert (line["stands"]["value"], line["event"]["body"]["value"]) == ("62.5 degF", "61.5 degF")
    assert (line["by"], line["acts"][0]["author"]) == ("Ann Sample, phone", "Bo Sample")
    assert [len(document[part]) for part in ("attachments", "withdrawn", "set_aside")] == [1, 1, 1]
