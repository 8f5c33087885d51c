"""`wringout shelf`: the way of a manual through the commands, and what goes wrong in one line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sample_documents import RECLAIM
from shelf_samples import drawn, encrypted, scanned
from wringout.cli.main import main
from wringout.shelf.place import usual_place

SHEET = drawn(b"BT /F 12 Tf 72 700 Td (Flow switch on W37, W-137) Tj ET")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WRINGOUT_STORE", raising=False)
    monkeypatch.delenv("WRINGOUT_SHELF", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    (tmp_path / "unit.yaml").write_text(RECLAIM, encoding="utf-8")
    (tmp_path / "sheet.pdf").write_bytes(SHEET)
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(["shelf", *arguments])
    shown = capsys.readouterr()
    assert isinstance(ended.value.code, int)
    return ended.value.code, shown.out, shown.err


def test_a_manual_is_added_found_shown_pinned_listed_and_removed(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, out, err = run(capsys, "add", "sheet.pdf", "--unit", "unit.yaml")
    assert (code, err) == (0, "")
    assert out.startswith("sheet.pdf: 1 page, document ")
    assert (folder / "data" / "wringout" / "shelf.sqlite").is_file()
    (folder / "sheet.pdf").unlink()  # the shelf has its own copy
    code, out, _ = run(capsys, "search", "W37", "--unit", "unit.yaml", "--json")
    found = json.loads(out)
    assert (code, found["format"], found["pages"]) == (0, "wringout-shelf-search/1", 1)
    (hit,) = found["hits"]
    assert (hit["nearness"], hit["words"], hit["units"]) == ("written", ["W37"], ["Cellar unit"])
    code, out, _ = run(capsys, "show", hit["hit"], "-o", "page.png")
    assert (code, out) == (0, "page.png: sheet.pdf, page 1 of 1, 1 word framed\n")
    assert (folder / "page.png").read_bytes().startswith(b"\x89PNG")
    assert run(capsys, "show", hit["hit"], "-o", "page.png")[0] == 2
    for target, kind in (("loop.flow", "point"), ("strainer-plugged", "cause")):
        code, out, _ = run(capsys, "pin", hit["hit"], "--to", target, "--unit", "unit.yaml")
        assert (code, out) == (0, f"{hit['hit']} pinned to {kind} {target} of Cellar unit\n")
    run(capsys, "pin", hit["hit"], "--to", "strainer-plugged", "--off")
    for columns in (40, 80):
        monkeypatch.setenv("COLUMNS", str(columns))
        for arguments in (("list",), ("search", "flow", "switch")):
            code, out, _ = run(capsys, *arguments)
            assert max(map(len, out.splitlines())) < columns
            flat = " ".join(out.split())
            assert "loop.flow of Cellar unit" in flat
            assert "strainer-plugged" not in flat
    listed = json.loads(run(capsys, "list", "--json")[1])
    assert [pin["to"] for pin in listed["pins"]] == ["loop.flow"]
    assert listed["documents"][0]["units"] == ["Cellar unit"]
    code, out, _ = run(capsys, "remove", hit["document"] and hit["hit"].split(":")[0])
    assert (code, out) == (0, "sheet.pdf: off the shelf for Cellar unit\n")
    assert run(capsys, "search", "W37")[1] == "nothing found\n"
    assert run(capsys, "list")[1] == "nothing on the shelf\n"


def test_pages_without_text_are_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "scan.pdf").write_bytes(scanned())
    _, out, _ = run(capsys, "add", "scan.pdf", "--unit", "Cellar unit")
    assert "without text: page 2 (--ocr reads them)" in out
    assert "without text: page 2" in run(capsys, "list")[1]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["search", "W37", "--shelf", "none.sqlite"], "none.sqlite: there is no shelf here"),
        (["search", "W37", "--shelf", "unit.yaml"], "unit.yaml: this is not a shelf, and no SQLite file"),
        (["search", "W37", "--shelf", ""], "--shelf: empty"),
        (["search", "W37"], "there is no shelf here; `wringout shelf add manual.pdf --unit UNIT` makes one"),
        (["add", "none.pdf", "--unit", "U"], "none.pdf: there is no such file"),
        (["add", "unit.yaml", "--unit", "U"], "unit.yaml: this is no PDF"),
        (["add", "locked.pdf", "--unit", "U"], "locked.pdf: encrypted, and wants a password"),
        (["add", "half.pdf", "--unit", "U"], "half.pdf: the PDF ends in the middle"),
        (["add", "sheet.pdf", "--unit", "none.yaml"], "none.yaml"),
        (["add", "sheet.pdf", "--unit", " "], "--unit: name the unit"),
        (["show", "W37", "-o", "p.png"], "W37: this is no hit"),
        (["show", "3f2a91c0:1", "-o", "p.jpg"], "p.jpg: name a file that ends in .png"),
        (["pin", "3f2a91c0:1", "--to", "loop.flaw"], 'there is no point "loop.flaw"'),
        (["pin", "3f2a91c0:1", "--to", "strainer-pluged"], "strainer-plugged"),
        (["pin", "3f2a91c0:1", "--to", "loop.flow"], "there is no shelf here"),
    ],
)
def test_what_goes_wrong_is_told_in_one_line(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], words: str
) -> None:
    (folder / "locked.pdf").write_bytes(encrypted())
    (folder / "half.pdf").write_bytes(SHEET[: len(SHEET) // 2])
    code, out, err = run(capsys, *arguments)
    assert (code, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1
    assert "Traceback" not in err


@pytest.mark.parametrize("name", ["add", "search", "show", "pin", "list", "remove"])
def test_help_ends_with_an_example(capsys: pytest.CaptureFixture[str], name: str) -> None:
    code, out, _ = run(capsys, name, "--help")
    assert code == 0
    assert f"Example: wringout shelf {name}" in " ".join(out.split()).rpartition("mend.")[2]


def test_the_shelf_stands_beside_the_record() -> None:
    home = Path("/somewhere/ann")
    assert usual_place({}, "linux", home) == home / ".local/share/wringout/shelf.sqlite"
    assert usual_place({"WRINGOUT_STORE": "/van/calls.sqlite"}, "linux", home) == Path("/van/shelf.sqlite")
    assert usual_place({"WRINGOUT_SHELF": "my.sqlite"}, "linux", home) == Path("my.sqlite")
