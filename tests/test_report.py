"""The service report: the same figures as on screen, safe with any text, tagged, and the same every time."""

from __future__ import annotations

import re
import sys
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pypdfium2
import pytest
from click.testing import CliRunner

from wringout.catalogue.calls import load_call
from wringout.errors import InputError
from wringout.records.bundle import import_bundle
from wringout.records.store import open_store
from wringout.report.blocks import Box, Heading, Items, Paragraph, Report, Table, clean
from wringout.report.bundle import bundle_of_document
from wringout.report.findings import Findings, as_found, findings
from wringout.report.html import html_of
from wringout.report.pdf import pdf_of
from wringout.report.write import report_of
from wringout.showing.words import pretty

CALL = Path(__file__).resolve().parent.parent / "src" / "wringout" / "demo" / "ice_hall" / "call-final.yaml"
REPORTS = Path(__file__).resolve().parent.parent / "docs" / "reports"
NASTY = (
    '#import "x": y #panic("no") $ x^2 $ *bold* _it_ `raw` @label <tag> \\ [ ] { } // /* "quoted" &amp; </p>',
    "שלום עולם, the room is wet",
    "مرحبا",
    "wet 😀 again 日本 \u202egnorw\u202c \x07 end",
    "x" * 10_000,
    "word " * 2_000,
)


@pytest.fixture(scope="module")
def found() -> Findings:
    return findings(load_call(CALL), "si")


@pytest.fixture(scope="module")
def written(found: Findings) -> Report:
    return report_of(found, "9.9")


@pytest.fixture(scope="module")
def pdf(written: Report) -> bytes:
    return pdf_of(written)


def text_of(data: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(data)
    return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def plain_report(text: str) -> Report:
    return Report(
        clean(text)[:100],
        clean(text)[:50],
        date(2027, 7, 6),
        "foot",
        "a4",
        (
            Heading(clean(text)[:80]),
            Paragraph(clean(text)),
            Items(((clean(text)[:20], clean(text)),)),
            Table("rows", ("a", "b"), ((clean(text), "1"),), (1.0, 1.0)),
            Box("heed", (("", clean(text)),)),
        ),
    )


def test_the_first_page_says_what_was_noticed_found_done_and_left(pdf: bytes) -> None:
    first = text_of(pdf)[0]
    wanted = ("What was noticed", "What was found", "What was done", "Where it stands now", "still to do")
    assert all(words in first for words in wanted)
    assert "Cold air falls on the stands" in first
    assert "opened the bypass leg" in first


def test_the_pages_behind_it_hold_all_that_an_engineer_checks(pdf: bytes) -> None:
    pages = " ".join(text_of(pdf)[1:])
    for words in ("Cautions", "As found and as left", "Readings", "Suspects", "Proof", "Open items", "Ledger",
                  "Moist-air chart", "Given and assumed", "wringout 9.9"):  # fmt: skip
        assert words in pages, words


def test_the_evidence_is_that_of_the_time_before_the_work(found: Findings) -> None:
    before = as_found(found.call)
    assert before.events == found.call.events[: len(before.events)]
    assert found.call.events[len(before.events)].kind == "change"
    assert found.found["sets"] != found.now["sets"]


def test_figures_are_those_of_the_ledger_command(found: Findings, written: Report) -> None:
    from wringout.cli.ledger import command

    printed = CliRunner().invoke(command, [str(CALL), "--units", "si"], env={"COLUMNS": "200"}).output
    printed = printed.split("What does not add up")[0]
    amounts = re.findall(r"-?[\d.]+ \+- [\d.]+ (?:kW|kg/h)", printed)
    assert len(amounts) > 5
    told = " ".join(written.texts())
    for amount in amounts:
        assert pretty(amount) in told, amount


def test_figures_are_those_of_the_weigh_command(found: Findings, written: Report) -> None:
    from wringout.cli.weigh import command

    printed = CliRunner().invoke(command, [str(CALL), "--units", "si"], env={"COLUMNS": "200"}).output
    now = printed.split("WHAT WAS WRONG")[0]
    shares = re.findall(r"^ +(\d+ %|under 1 %) (\S.*)$", now, re.M)
    assert shares
    tables = [block for block in written.blocks if isinstance(block, Table)]
    rows = {row for table in tables for row in table.rows}
    for share, title in shares:
        if "all other" not in title and "nothing listed" not in title:
            assert (title, share) in rows


def test_the_pdf_is_tagged_and_says_its_language(pdf: bytes) -> None:
    assert b"pdfuaid" in pdf
    assert b"/StructTreeRoot" in pdf
    assert b"/Lang" in pdf


def test_one_call_gives_one_report_byte_for_byte(written: Report, pdf: bytes) -> None:
    assert pdf_of(written) == pdf
    assert b"2029" in pdf


@pytest.mark.parametrize("text", NASTY, ids=["markup", "hebrew", "arabic", "emoji", "endless", "long"])
def test_no_text_of_a_person_breaks_a_report(text: str) -> None:
    told = "".join(text_of(pdf_of(plain_report(text))))
    assert "foot" in told
    assert "gnorw" in told or "gnorw" not in text
    page = html_of(plain_report(text))
    assert "<tag>" not in page
    assert page.count("<h1>") == 1


def test_markup_stands_on_the_page_as_it_was_written() -> None:
    told = "".join(text_of(pdf_of(plain_report("#panic[1] *not bold* $x$"))))
    assert "#panic[1] *not bold* $x$" in told


def test_a_character_without_a_letterform_is_named() -> None:
    told = " ".join(text_of(pdf_of(plain_report("so wet 😀"))))
    assert "[grinning face]" in told


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in {"meta", "img", "br"}:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_html_is_whole_and_holds_no_script_and_no_address(written: Report) -> None:
    page = html_of(written)
    tags = _Tags()
    tags.feed(page)
    assert tags.open == []
    names = [tag for tag, _ in tags.seen]
    assert names.count("h1") == 1
    assert "script" not in names
    assert not re.search(r"(?:src|href)=\"(?!data:)", page)
    pictures = [attributes for tag, attributes in tags.seen if tag == "img"]
    assert pictures
    assert all(attributes["alt"] for attributes in pictures)
    assert "@media print" in page


def test_both_forms_hold_the_same_words(written: Report, pdf: bytes) -> None:
    from html import unescape

    page = unescape(html_of(written))
    for text in written.texts():
        assert text in page


def test_without_the_typesetter_the_message_says_what_to_install(
    written: Report, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "typst", None)
    with pytest.raises(InputError, match=r"wringout\[report\]"):
        pdf_of(written)


def test_the_bundle_is_an_export_that_another_record_takes(
    found: Findings, written: Report, tmp_path: Path
) -> None:
    bundle_of_document(CALL, found, written, "9.9", tmp_path / "call.zip")
    with open_store(tmp_path / "other.sqlite") as store:
        import_bundle(store, tmp_path / "call.zip")
        (summary,) = store.calls()
        names = {e.body["name"] for e in store.events(summary.call_id) if e.kind == "attached"}
    assert names == {"report.pdf", "report.html", "weighing.json", "ledger.json", "versions.json"}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [([], "name the file"), (["-o", "report.doc"], "ends in .pdf"), (["-o", "there.pdf"], "--force")],
)
def test_a_wrong_target_is_refused_before_any_work(
    arguments: list[str], words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from wringout.cli.report import command

    monkeypatch.chdir(tmp_path)
    (tmp_path / "there.pdf").write_text("kept")
    outcome = CliRunner().invoke(command, [str(CALL), *arguments])
    assert isinstance(outcome.exception, InputError)
    assert words in str(outcome.exception)
    assert (tmp_path / "there.pdf").read_text() == "kept"


def test_the_demo_reports_stand_in_the_documents_and_stay_small() -> None:
    files = list(REPORTS.iterdir())
    assert {path.name for path in files if path.suffix == ".pdf"} == {"ice-hall.pdf", "film-vault.pdf"}
    for name in ("ice-hall", "film-vault"):
        pages = len(pypdfium2.PdfDocument(REPORTS / f"{name}.pdf"))
        assert {path.name for path in REPORTS.glob(f"{name}-*.png")} == {
            f"{name}-{k + 1}.png" for k in range(pages)
        }
    assert sum(path.stat().st_size for path in files) < 2_000_000
