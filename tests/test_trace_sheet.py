"""The printed sheets of signals: one page a signal, the same figures as the command, tagged."""

from __future__ import annotations

import json
from html import unescape
from pathlib import Path

import pypdfium2
import pytest
from click.testing import CliRunner, Result

from sample_documents import RECLAIM
from test_trace import VOLTS
from wringout.cli.main import group
from wringout.errors import InputError

TWO = VOLTS + VOLTS.partition("signals:\n")[2].replace("id: reheat", "id: chilled").replace("W37", "W41")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "unit.yaml").write_text(RECLAIM)
    (tmp_path / "trace.yaml").write_text(TWO)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(group, ["trace", "unit.yaml", *words])


def pages(path: Path) -> list[str]:
    document = pypdfium2.PdfDocument(path)
    return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def test_each_signal_has_a_page_with_everything_along_its_path(folder: Path) -> None:
    assert run("-o", "sheet.pdf", "--command", "60 %").output == "sheet.pdf: 2 sheets\n"
    first, second = pages(folder / "sheet.pdf")
    path = json.loads(run("--json", "--command", "60 %").output)["signals"]
    for page, signal in zip((first, second), path, strict=True):
        known = ("reheat valve actuator", "Panel P2", "slot 3", "AO3", "direct action", "2.0 V to 10.0 V")
        for words in (*known, "R. Example, meter, plug in, 2027-05-04 10:20", f"Signal {signal['id']}"):
            assert words in page, words
        assert len(signal["path"]) == 4
        for place in signal["path"]:
            where = f"{place['place']} {place['terminal'] or '-'} {place['wire'] or '-'}"
            assert f"{where} 60 % {place['expected']}" in page
        assert "Live control circuits" in page
        assert "Nothing measured yet" in page
    assert "W37" in first
    assert "W41" in second


def test_the_sheet_says_where_the_signal_turns_wrong_as_the_command_does(folder: Path) -> None:
    asked = (
        "--signal",
        "reheat",
        "--command",
        "60 %",
        "--measured",
        "controller=6.8 V",
        "--measured",
        "actuator=0.02 V",
    )
    assert run(*asked, "-o", "sheet.html").exit_code == 0
    told = unescape((folder / "sheet.html").read_text(encoding="utf-8"))
    signal = json.loads(run(*asked, "--json").output)["signals"][0]
    assert signal["wrong"]
    assert "It turns wrong here:" in told
    for one in [s for s in signal["suspects"] if s["probability"] > 0.03][:3]:
        assert one["words"] in told
    assert signal["suspects"][0]["do"] in told
    assert "<td>0.02 V</td><td>off</td>" in told
    assert "<script" not in told


def test_the_pdf_is_tagged_and_the_same_every_time(folder: Path) -> None:
    run("-o", "one.pdf")
    run("-o", "two.pdf")
    data = (folder / "one.pdf").read_bytes()
    assert data == (folder / "two.pdf").read_bytes(), "dated by the check, not by the clock"
    for mark in (b"pdfuaid", b"/StructTreeRoot", b"/Lang"):
        assert mark in data


@pytest.mark.parametrize(
    ("name", "told"), [("sheet.doc", "ends in .pdf or .html"), ("there.pdf", "is there already")]
)
def test_a_wrong_target_is_refused(folder: Path, name: str, told: str) -> None:
    (folder / "there.pdf").write_text("kept")
    done = run("-o", name)
    assert isinstance(done.exception, InputError)
    assert told in str(done.exception)
    assert (folder / "there.pdf").read_text() == "kept"
