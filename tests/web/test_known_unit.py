"""A unit that proven earlier visits made known is weighed, and expected, with what they told: in app, command
and report.

It is learned once, whatever is read afterwards, and the page says from which visits."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC
from html import escape
from pathlib import Path
from typing import Any
from unittest.mock import ANY

import numpy as np
import pytest
import yaml

from test_cli_weigh import good
from test_history_cli import ICE, VAULT, later
from test_trends_cli import write
from trend_samples import simulate
from web.at_once import App, AtOnce, Counting
from wringout.catalogue.calls import load_call, vocabulary
from wringout.history.fingerprint import fingerprint_from_text
from wringout.history.visits import left_readings, visits_of
from wringout.records.from_documents import events_of_document
from wringout.records.store import Store, open_store
from wringout.report.findings import Findings, findings
from wringout.report.write import report_of
from wringout.showing.books import ledger_in_words
from wringout.showing.expected import bands, scene
from wringout.showing.known_unit import told_for
from wringout.showing.waits import wait_in_words
from wringout.showing.words import range_words
from wringout.trends.mapping import load_table
from wringout.web import jobs
from wringout.web.app import create_app
from wringout.web.desk import Writer
from wringout.web.earlier import begun


@dataclass
class Season:
    """A record with an earlier call and a later one, and the same calls as files."""

    app: App
    earlier: str
    later: str
    later_file: Path
    learned_file: Path
    mended: str
    mended_file: Path

    def page(self, path: str) -> str:
        """A page, its days without their marks."""
        return re.sub("</?time>", "", self.app.page(path))

    def worked_out(self, kind: str, call_id: str) -> dict[str, Any]:
        """What the app's pages of a call are written from."""
        everything = self.app.app.state.shared
        job = begun(everything, kind, everything.desk.here(call_id), "ip")
        assert job is not None
        assert job.result is not None
        return {k: v for k, v in job.result.items() if k not in ("seconds", "known", "not_known")}


def taken(store: Store, path: Path) -> str:
    read = events_of_document(path, vocabulary())
    store.append(read.events)
    return str(read.call_id)


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Season]:
    """The demo's vault: its call with the repair, the same complaint a season later, and that call again with
    a repair a year later."""
    folder = Path(tmp_path_factory.mktemp("vault"))
    paths = []
    for step, days in (("call-1-walk-up", 90.0), ("call-final", 365.0)):
        call = yaml.safe_load(later(folder, step, days).read_text(encoding="utf-8"))
        paths.append(folder / f"{step}.yaml")
        paths[-1].write_text(yaml.safe_dump(call | {"unit": "unit.yaml"}), encoding="utf-8")
    shutil.copy(VAULT.parent / "unit.yaml", folder)  # one text, so that both calls are of one unit
    learned = folder / "vault.fingerprint.json"
    good("history", str(VAULT), "--learn", "-o", str(learned))
    with open_store(folder / "record.sqlite") as store:
        weigher = AtOnce()
        first, *others = (taken(store, path) for path in (VAULT, *paths))
        app = App(create_app(store, weigher=weigher), weigher)
        yield Season(app, first, others[0], paths[0], learned, others[1], paths[1])


@pytest.fixture(scope="module")
def mended(season: Season) -> Findings:
    """What the report on the repair of a year later is written from."""
    return findings(load_call(str(season.mended_file)), "ip", earlier=[load_call(str(VAULT))])


@pytest.mark.parametrize("with_log", [False, True])
def test_app_command_and_report_give_the_same_numbers(season: Season, with_log: bool, tmp_path: Path) -> None:
    arguments = ["weigh", str(season.later_file), "--json", "--fingerprint", str(season.learned_file)]
    read, table, desk = load_call(str(season.later_file)), None, season.app.app.state.shared.desk
    if with_log:
        # of the day before this call
        days = simulate(1.0, 3)
        shift = read.events[0].at.replace(tzinfo=UTC).timestamp() - 600.0 - float(days.time[-1])
        path = write(replace(days, time=days.time + round(shift)), tmp_path / "vault log.csv")
        table = load_table(path, None, read.unit)[0]
        arguments += ["--trend", str(path)]
        desk.attach(season.later, path.read_bytes(), path.name, Writer("Ann", "phone"))
    command = json.loads(good(*arguments))
    asked = season.app.ask(f"/api/calls/{season.later}/weigh").json()
    assert ("weighed" in asked) == with_log
    report = findings(read, "si", table, earlier=[load_call(str(VAULT))])
    if with_log:
        assert asked["weighed"].startswith("Readings and the log vault log.csv, ")
        (line,) = desk.here(season.later).folded.attachments
        desk.keep(season.later, [("withdrawn", {"of": line.id})], Writer("Ann", "phone"))
    for name in ("marginals", "sets", "healthy", "unexplained", "next"):
        assert asked[name] == command[name], name
        assert report.now["document"][name] == command[name], name
    told = " ".join(report_of(report, "9.9").texts())
    assert "as the proven visit of 2029-06-13 (by its readings) told of it" in told


EXPECTED = "this unit, as proven on 2029-06-13"


def test_ledger_chart_and_wait_expect_the_same_unit_in_app_command_and_report(
    season: Season, mended: Findings
) -> None:
    book, wait = (season.worked_out(kind, season.mended) for kind in ("book", "wait"))
    assert book == mended.book  # bands and charts are in it
    assert wait == mended.wait
    fingerprint = ("--json", "--fingerprint", str(season.learned_file))
    command = json.loads(good("ledger", str(season.mended_file), *fingerprint))
    for ledger in (asked := season.app.ask(f"/api/calls/{season.mended}/ledger").json())["ledgers"]:
        for one in (*ledger["mismatches"], *ledger["slight"]):
            one["words"] = ANY  # a terminal writes +- and a page writes it in one sign
    assert asked == command
    waited = json.loads(good("wait", str(season.mended_file), *fingerprint))
    late = {row["point"]: row["seconds_95"]["late"] for row in waited["points"]}
    assert late == {row["point"]: row["late"] and round(row["late"], 1) for row in wait["points"]}
    band = {row["point"]: range_words(row["point"], *row["band_si"], "ip") for row in waited["points"]}
    for row in wait["points"]:
        assert row["band"] == band[row["point"]] or row["band"] in ("yes", "no"), row["point"]
    assert command["expected_of"] == waited["expected_of"] == book["expected_of"] == EXPECTED


def test_every_page_and_the_report_say_of_which_unit_it_is_expected(season: Season, mended: Findings) -> None:
    for page in ("ledger", "chart", "wait", "readings"):
        known = season.page(f"/calls/{season.mended}/{page}")
        assert f"Expected of {EXPECTED}." in known, page
        if page != "readings":
            without = season.page(f"/calls/{season.mended}/{page}?without=1")
            assert "Expected of any healthy unit of the kind." in without, page
            assert "With what earlier visits told" in without, page
    for page in ("ledger", "chart", "readings"):
        assert "Expected of any healthy unit" in season.page(f"/calls/{season.earlier}/{page}"), page
    told = " ".join(report_of(mended, "9.9").texts())
    assert told.count(f"expected of {EXPECTED}") >= 3  # ledger, chart and what to read after the change
    for command in ("ledger", "wait"):
        text = " ".join(good(command, str(season.mended_file)).split())
        assert "as expected of any healthy unit of the kind." in text
        text = good(command, str(season.mended_file), "--fingerprint", str(season.learned_file))
        assert f"as expected of {EXPECTED}." in " ".join(text.split())


def test_without_a_proven_visit_every_figure_is_what_it_is_without_a_history(season: Season) -> None:
    """To the last bit: an earlier visit that proves nothing changes nothing."""
    tree = yaml.load(ICE.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    tree["unit"] = yaml.load((ICE.parent / "unit.yaml").read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    document, call = json.dumps(tree), load_call(str(ICE))
    learned = jobs.run("learn", document, "si", {"earlier": [document], "proofs": []})
    assert learned["verdicts"]
    assert not learned["fingerprint"]
    for kind, alone in (("book", ledger_in_words(call, "si")), ("wait", wait_in_words(call, "si"))):
        found = jobs.run(kind, document, "si", {"fingerprint": learned["fingerprint"]})
        assert {name: found[name] for name in alone} == alone
        assert found["expected_of"] == "any healthy unit of the kind"


def test_the_pages_say_from_which_visits_and_show_the_answer_without(season: Season) -> None:
    said = "Starts from what the proven visit of 2029-06-13 (by its readings) told of this machine."
    one = f"/calls/{season.later}"
    for page in ("suspects", "next"):
        assert said in season.page(f"{one}/{page}"), page
    without = season.page(f"{one}/suspects?without=1")
    assert said not in without
    assert "Without what earlier visits told." in without
    shares = r'<th scope="row">([^<]+)</th><td>([^<]+)'
    assert re.findall(shares, without) != re.findall(shares, season.page(f"{one}/suspects"))
    history = season.page(f"{one}/history")
    assert "Proven by its readings, and used" in history
    assert "Not counted as proven: 0 readings after the last change" in history


def test_what_is_still_worked_on_will_be_of_the_state_that_was_asked_for(tmp_path: Path) -> None:
    with open_store(tmp_path / "record.sqlite") as store:
        call, weigher = taken(store, VAULT), Counting()
        app = App(create_app(store, weigher=weigher), weigher)
        for path in (f"/calls/{call}/ledger?state=0&without=1", f"/calls/{call}/wait"):
            assert f'hx-get="{escape(path)}"' in app.page(path)


def test_a_unit_is_learned_once_until_its_earlier_visits_change(season: Season) -> None:
    one = f"/calls/{season.later}"
    season.page(f"{one}/suspects")
    season.app.weigher.begun.clear()
    reading = {"point": "supply.t", "value": "61 degF", "at": "2029-09-10T10:30:00"}
    assert season.app.ask(f"{one}/tapped", reading).status_code == 303
    season.page(f"{one}/suspects")
    assert sorted(season.app.weigher.begun) == ["book", "weigh"]
    note = {"text": "looked in once more, all well", "at": "2029-06-13T07:50:00"}
    assert season.app.ask(f"/calls/{season.earlier}/notes", note).status_code == 303
    season.app.weigher.begun.clear()
    season.page(f"{one}/readings")
    assert season.app.weigher.begun == ["learn"], "the machine is told the same, so nothing is weighed anew"


def test_bands_of_a_known_machine_are_narrower_and_nearer_to_what_was_left(season: Season) -> None:
    call = load_call(str(season.later_file))
    told = told_for(fingerprint_from_text(season.learned_file.read_text(encoding="utf-8"), "x"), call)
    assert told is not None
    wide, narrow = (
        bands(scene(call, np.random.default_rng(0), known=known), np.random.default_rng(0))
        for known in (None, told.known)
    )
    width = {
        name: (narrow[name].high - narrow[name].low) / (band.high - band.low)
        for name, band in wide.items()
        if band.high > band.low
    }
    assert max(width.values()) < 1.05
    for name in ("supply.airflow", "filter.drop", "shown.supply_t"):
        assert width[name] < 0.95, name
    left = left_readings(visits_of([load_call(str(VAULT))])[-1])
    (drop,) = (one.reading.value for one in left if one.reading.point == "filter.drop")
    off = [abs(band["filter.drop"].middle - drop) for band in (wide, narrow)]
    assert off[1] < off[0]
    text = season.page(f"/calls/{season.later}/readings")
    shown = range_words("filter.drop", narrow["filter.drop"].low, narrow["filter.drop"].high, "ip")
    assert f"expected {shown}" in text


def test_a_proof_that_is_attached_to_an_earlier_call_is_found_there(season: Season) -> None:
    tree = {"format": "wringout-proof/1", "verdict": "proven", "repair": None}
    tree |= {"from": "2029-06-13T00:00:00", "to": "2029-06-20T00:00:00"}
    desk = season.app.app.state.shared.desk
    desk.attach(season.earlier, json.dumps(tree).encode(), "proof.json", Writer("Ann", "phone"))
    said = "Starts from what the proven visit of 2029-06-13 (by the days after) told of this machine."
    assert said in season.page(f"/calls/{season.later}/suspects")


def test_the_days_after_a_visit_prove_it_where_its_call_keeps_their_verdict() -> None:
    """By its own readings the hall's visit is not proven; a later, longer log can also take that back."""
    tree = yaml.load(ICE.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    tree["unit"] = yaml.load((ICE.parent / "unit.yaml").read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    document = json.dumps(tree)
    days = {"format": "wringout-proof/1", "repair": None, "from": "2029-08-22T00:00:00"}
    held = json.dumps({**days, "verdict": "proven", "to": "2029-08-29T00:00:00"})
    lost = json.dumps({**days, "verdict": "not_proven", "to": "2029-09-05T00:00:00"})

    def learned(*proofs: str) -> str:
        found = jobs.run("learn", document, "si", {"earlier": [document], "proofs": list(proofs)})
        return str(found["fingerprint"])

    assert learned() == ""
    assert fingerprint_from_text(learned(held), "x").visits[0].proven == "days"
    assert learned(held, lost) == ""
