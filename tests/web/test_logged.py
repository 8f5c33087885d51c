"""A call's newest log is weighed with its readings, in the app as by command and in the report.

The readings are answered first and again once the log has been read; each page says of what its answer is."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from concurrent.futures import Future
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

import units
from answered_once import WEIGHED, answered_once, once
from logged_units import Logged, logged
from test_cli_weigh import good
from test_trends_cli import write
from web.at_once import App, AtOnce
from web.browsing import TOO_SMALL, listened, phone, settled
from web.client import FIRST, first_view
from web.server import served
from wringout.catalogue.calls import load_call, vocabulary
from wringout.catalogue.points import point
from wringout.documents.load import unit_from_text
from wringout.quantity import PREFERRED, Dimension, UnitSystem, from_si
from wringout.records.from_documents import events_of_document
from wringout.records.store import Store, open_store
from wringout.report.findings import findings
from wringout.report.write import report_of
from wringout.showing.answer import answer_in_words
from wringout.trends.evidence import trend_evidence
from wringout.trends.logged import evidence_from_text, evidence_text
from wringout.trends.mapping import load_table
from wringout.web import jobs
from wringout.web.app import create_app
from wringout.web.desk import Writer
from wringout.web.weigher import Weigher

ANN = Writer("Ann", "phone")
NAME = "hall log.csv"
NUMBERS = ("marginals", "sets", "healthy", "unexplained", "next")
BARE = b"Time,ZX1,ZX2\n" + b"".join(b"2027-07-%02d 00:00,%d,%d\n" % (d, d, 3 * d) for d in range(1, 25))


class Held(AtOnce):
    """A weigher that does one kind of work when it is let, and keeps what it was asked for."""

    def __init__(self) -> None:
        super().__init__()
        self.waiting: list[tuple[Future[dict[str, Any]], tuple[Any, ...]]] = []
        self.hold = ""
        self.asked: list[tuple[str, dict[str, Any] | None]] = []

    def _submit(
        self, kind: str, document: str, system: UnitSystem, more: dict[str, Any] | None
    ) -> Future[dict[str, Any]]:
        self.asked.append((kind, more))
        if kind != self.hold:
            return super()._submit(kind, document, system, more)
        self.begun.append(kind)
        self.waiting.append((Future(), (kind, document, system, more)))
        return self.waiting[-1][0]

    def let(self) -> None:
        """Do what waits."""
        for future, work in self.waiting:
            if future.set_running_or_notify_cancel():
                future.set_result(jobs.run(*work))
        self.waiting.clear()


@pytest.fixture(autouse=True)
def _once() -> Iterator[None]:
    with answered_once():
        yield


@once
def ran() -> Logged:
    """A day of an invented unit whose boiler is set too low, and the walk-up after it."""
    (found,) = logged(
        unit_from_text(units.BOILER_DIVERTING), [("boiler-low",)], seed=4, days=1.0, severity=0.5
    )
    return found


@dataclass
class Files:
    """A call and a log as files, and the call's document with the unit in it."""

    call: Path
    log: Path
    document: str


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Files:
    folder = Path(tmp_path_factory.mktemp("boiler"))
    (folder / "unit.yaml").write_text(units.BOILER_DIVERTING)
    lines = [
        f"  - {{at: {r.at.isoformat()}, kind: reading, point: {r.point}, value: {shown(r.point, r.value)}}}"
        for r in ran().call.events
    ]  # type: ignore[union-attr]
    call = folder / "call.yaml"
    call.write_text("\n".join(["format: wringout-call/1", "unit: unit.yaml", "events:", *lines, ""]))
    with open_store(folder / "record.sqlite") as store:
        read = events_of_document(call, vocabulary())
        store.append(read.events)
        tree = store.standing(str(read.call_id), vocabulary())[1]
    return Files(call, write(ran().trend, folder / NAME), json.dumps(tree))


def shown(name: str, value: float) -> str:
    dimension = point(name).dimension
    if dimension is Dimension.YES_NO:
        return "yes" if value else "no"
    unit = PREFERRED[dimension]["si"]
    return f"{float(from_si(np.array(value), unit, dimension)):.5g} {unit}"


@dataclass
class Hall:
    """A record with that call."""

    app: App
    weigher: Held
    store: Store
    call: str

    def attach(self, data: bytes, name: str = NAME, to: str = "") -> None:
        self.app.app.state.shared.desk.attach(self.call, data, name, ANN, to=to)

    def withdraw(self, name: str) -> None:
        (line,) = [one for one in self.store.call(self.call).attachments if one.body["name"] == name]
        assert self.app.ask(f"/calls/{self.call}/withdraw/{line.id}", {"reason": "x"}).status_code == 303

    def page(self, name: str, query: str = "") -> str:
        """A page, its days without their marks."""
        return unescape(re.sub("</?time>", "", self.app.page(f"/calls/{self.call}/{name}{query}")))

    def part(self, path: str) -> str:
        return unescape(re.sub("</?time>", "", self.app.ask(path, headers={"hx-request": "true"}).text))

    def answer(self) -> dict[str, Any]:
        found: dict[str, Any] = self.app.ask(f"/api/calls/{self.call}/weigh").json()
        return found


@pytest.fixture
def hall(files: Files, tmp_path: Path) -> Iterator[Hall]:
    with open_store(tmp_path / "record.sqlite") as store:
        read = events_of_document(files.call, vocabulary())
        store.append(read.events)
        weigher = Held()
        app = App(create_app(store, weigher=weigher), weigher)
        app.ask("/")
        yield Hall(app, weigher, store, str(read.call_id))


def shares(text: str) -> list[tuple[str, str]]:
    return re.findall(r'<th scope="row">([^<]+)</th><td>([^<]+)', text)


def same(found: dict[str, Any], other: dict[str, Any]) -> bool:
    return all(found[name] == other[name] for name in NUMBERS)


def day(at: float) -> str:
    return str(np.datetime64(int(at), "s").astype("datetime64[D]"))


DAYS = f"{day(ran().trend.time[0])} to {day(ran().trend.time[-1])}"
USED = f"Readings and the log {NAME}, {DAYS}."


def test_app_command_and_report_give_the_same_numbers_of_readings_and_log(hall: Hall, files: Files) -> None:
    alone = hall.answer()
    hall.attach(files.log.read_bytes())
    asked = hall.answer()
    command = json.loads(good("weigh", str(files.call), "--json", "--trend", str(files.log)))
    table, _, _ = load_table(files.log, None, load_call(str(files.call)).unit)
    report = findings(load_call(str(files.call)), "si", table)
    for name in NUMBERS:
        assert asked[name] == command[name], name
        assert report.now["document"][name] == command[name], name
    assert not same(asked, alone)
    assert same(alone, json.loads(good("weigh", str(files.call), "--json")))
    assert asked["weighed"] == USED.removesuffix(".")
    assert "weighed" not in alone
    told = " ".join(report_of(report, "9.9").texts())
    assert f"on the readings taken and the log, {DAYS}." in told
    assert f"Weighed: these readings and the log, {DAYS}." in told
    shown = dict(zip(("chance", "title"), shares(hall.page("suspects"))[0], strict=True))
    assert shown == {name: report.now["sets"][0][name] for name in shown}


def test_a_call_without_a_log_is_answered_to_the_last_bit_as_it_was(hall: Hall, files: Files) -> None:
    call = load_call(str(files.call))
    before = answer_in_words(WEIGHED(call, np.random.default_rng(0)), "ip")
    found = jobs.run("weigh", files.document, "ip", {"unreadable": []})
    assert {name: found[name] for name in before} == before
    for page in ("suspects", "next"):
        assert " log" not in hall.page(page).partition("<main")[2].partition('aria-label="Evidence"')[0]
    assert [more for kind, more in hall.weigher.asked if kind == "weigh"] == [{"unreadable": []}]
    assert "log" not in hall.weigher.begun


@pytest.mark.parametrize(("held", "done"), [("log", "read"), ("weigh log", "weighed")])
def test_the_readings_are_answered_first_and_again_when_the_log_is_ready(
    hall: Hall, files: Files, held: str, done: str
) -> None:
    bare = shares(hall.page("suspects"))
    hall.weigher.hold = held
    hall.attach(files.log.read_bytes())
    for page in ("suspects", "next"):
        text = hall.page(page)
        assert f"Readings alone; the log {NAME} is being {done}" in text
        assert f'hx-get="/calls/{hall.call}/{page}?log=wait"' in text
    assert shares(hall.page("suspects")) == bare
    reading = {"point": "supply.t", "value": "61 degF", "at": "2027-07-01T09:00:00"}
    assert hall.app.ask(f"/calls/{hall.call}/tapped", reading).status_code == 303
    assert "From 13 readings" in hall.page("suspects"), "a reading does not wait for the log"
    hall.weigher.let()
    again = hall.part(f"/calls/{hall.call}/suspects?log=wait")
    assert USED in again
    assert "is being" not in again
    assert "From 13 readings" in again, "the log's values are no readings"
    assert shares(again) != bare


def test_a_log_is_read_once_whatever_is_read_at_the_unit_and_anew_for_another_mapping(
    hall: Hall, files: Files
) -> None:
    hall.attach(files.log.read_bytes())
    assert USED in hall.page("suspects")
    hall.weigher.begun.clear()
    reading = {"point": "supply.t", "value": "61 degF", "at": "2027-07-01T09:00:00"}
    assert hall.app.ask(f"/calls/{hall.call}/tapped", reading).status_code == 303
    hall.page("next")
    assert sorted(hall.weigher.begun) == ["book", "weigh", "weigh log"]
    guessed = hall.answer()
    (log,) = [one for one in hall.store.call(hall.call).attachments if one.body["name"] == NAME]
    hall.attach(MAPPED.encode(), "hall log.trend.yaml", to=log.id)
    hall.weigher.begun.clear()
    assert "nothing in it has settled" in hall.page("suspects")
    assert hall.weigher.begun == ["log", "weigh log"]
    assert "nothing in it has settled" in hall.answer()["weighed"]
    hall.withdraw("hall log.trend.yaml")
    assert same(hall.answer(), guessed), "a mapping that was withdrawn counts no longer"


MAPPED = """format: wringout-trend/1
file: hall log.csv
time: {column: "Date/Time", format: "%Y-%m-%d %H:%M:%S"}
columns:
  "Outdoor Air Temperature": {point: outdoor.t, unit: degF}
"""


def test_a_log_that_was_withdrawn_is_no_longer_used_and_the_newest_counts(hall: Hall, files: Files) -> None:
    alone = hall.answer()
    hall.attach(files.log.read_bytes(), "first.csv")
    first = hall.answer()
    half = files.log.read_text().splitlines()
    hall.attach("\n".join(half[: len(half) // 2]).encode(), "second.csv")
    assert "the log second.csv" in hall.page("suspects")
    assert not same(hall.answer(), first)
    hall.withdraw("second.csv")
    assert "the log first.csv" in hall.page("suspects")
    assert same(hall.answer(), first)
    hall.withdraw("first.csv")
    assert "first.csv" not in hall.page("suspects")
    assert same(hall.answer(), alone)


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"a note, not a log", "could not be used: "),
        (BARE, "could not be used: no column was recognised; say which column is what."),
    ],
)
def test_a_log_that_cannot_be_used_leaves_the_readings_and_one_line_that_says_why(
    hall: Hall, data: bytes, why: str
) -> None:
    alone = hall.answer()
    hall.attach(data)
    for page in ("suspects", "next"):
        text = hall.page(page)
        assert text.count(f"Readings alone; the log {NAME} {why}") == 1
        assert "See the log</a>" in text
        assert 'class="problems"' not in text
        assert "/tmp" not in text
    assert same(hall.answer(), alone)


def test_a_log_whose_bytes_have_not_come_here_yet_leaves_the_readings(
    hall: Hall, files: Files, tmp_path: Path
) -> None:
    hall.attach(files.log.read_bytes() + b"\n")
    with open_store(tmp_path / "other.sqlite") as other:
        other.append([*hall.store.events_outside_calls(), *hall.store.events(hall.call)])
        app = App(create_app(other, weigher=hall.weigher), hall.weigher)
        text = unescape(app.page(f"/calls/{hall.call}/suspects"))
        assert f"the log {NAME} could not be used: there is no such attachment here" in text
        assert "From 12 readings" in text


def test_the_answer_without_the_log_is_one_tap_away_and_back(hall: Hall, files: Files) -> None:
    bare = shares(hall.page("suspects"))
    hall.attach(files.log.read_bytes())
    for page in ("suspects", "next"):
        there = f"/calls/{hall.call}/{page}"
        assert f'<a href="{there}?alone=1">without it</a>' in hall.page(page)
        text = hall.page(page, "?alone=1")
        assert f"Readings alone, without the log {NAME}." in text
        assert f'<a href="{there}">With it</a>' in text
        assert f'<a href="{there}?without=1">With it' in hall.page(page, "?without=1&alone=1")
    assert shares(hall.page("suspects", "?alone=1")) == bare
    assert 'href="?n=1&alone=1' not in hall.page("next")
    assert "?n=1&alone=1" in hall.page("next", "?alone=1")


def test_a_clear_line_is_weighed_with_the_log_while_it_is_looked_at(hall: Hall, files: Files) -> None:
    hall.attach(files.log.read_bytes())
    hall.page("suspects")
    hall.weigher.asked.clear()
    line = {"line": "supply 61", "at": "2027-07-01T09:00:00"}
    assert hall.app.ask(f"/calls/{hall.call}/understand", line).status_code == 200
    (more,) = [more for kind, more in hall.weigher.asked if kind == "weigh log"]
    assert more is not None
    assert more["log"]["name"] == NAME
    hall.weigher.asked.clear()
    assert (
        hall.app.ask(f"/calls/{hall.call}/readings", {"r0": "supply.t|61 degF", "at": line["at"]}).status_code
        == 303
    )
    hall.page("suspects")
    assert "weigh log" not in [kind for kind, _ in hall.weigher.asked], "and is ready once it is kept"


def test_what_a_log_tells_goes_from_process_to_process_to_the_last_bit() -> None:
    evidence = trend_evidence(ran().trend, unit_from_text(units.BOILER_DIVERTING))
    back = evidence_from_text(evidence_text(evidence))
    assert evidence_text(back) == evidence_text(evidence)
    for name, value in vars(evidence).items():
        np.testing.assert_equal(getattr(back, name), value)
    assert len(back.moments) > 1
    for one, other in zip(back.moments, evidence.moments, strict=True):
        assert list(one.values) == list(other.values), "their order is that in which they are weighed"


def test_a_reading_never_waits_behind_the_reading_of_a_log(monkeypatch: pytest.MonkeyPatch) -> None:
    """Logs have a process of their own, which reads and weighs them and gives way."""
    queues: dict[bool, list[str]] = {True: [], False: []}

    class Queue:
        def __init__(self, logs: bool) -> None:
            self.logs = logs

        def submit(self, run: Any, kind: str, *rest: Any) -> Future[dict[str, Any]]:
            queues[self.logs].append(kind)
            return Future()

    monkeypatch.setattr(Weigher, "_open", lambda self, logs=False: Queue(logs))
    weigher = Weigher()
    for kind in ("log", "weigh log", "trend", "columns", "weigh", "book", "wait"):
        weigher.job(kind, "call", "{}", "si", {"path": kind})
    assert queues == {True: ["log", "weigh log", "trend", "columns"], False: ["weigh", "book", "wait"]}


def test_a_log_comes_into_the_answer_by_itself_on_pages_that_anybody_can_read(
    tmp_path: Path, files: Files, chromium: Browser
) -> None:
    with open_store(tmp_path / "record.sqlite") as store:
        read = events_of_document(files.call, vocabulary())
        store.append(read.events)
        data = files.log.read_bytes()
        store.attach(data, name=NAME, call_id=str(read.call_id), author="Ann", device="phone")
    there = f"/calls/{read.call_id}"
    with served(tmp_path) as address:
        for scheme in ("light", "dark"):
            context = phone(chromium, address, color_scheme=scheme)
            page = context.new_page()
            faults = listened(page)
            for name in ("suspects", "next"):
                page.goto(f"{there}/{name}")
                expect(page.get_by_text(f"Readings and the log {NAME}")).to_be_visible()
                settled(page)
                wide = page.evaluate("document.documentElement.scrollWidth")
                assert wide <= 390
                assert page.evaluate(TOO_SMALL) == []
                found = Axe().run(page)
                assert found.violations_count == 0, found.generate_report()
            assert faults == []
            context.close()
        assert first_view(address, f"{there}/suspects") <= FIRST
