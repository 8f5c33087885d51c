"""Proof of a repair in the app: by a log of the days since, judged as by command, and kept with the call."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from motion_cases import UNITS
from proof_samples import FAULT, KIND, MENDED_AT, days, in_per_cent, written
from test_cli_weigh import good
from web.browsing import in_cache, kept, listened, phone, settled, tapped, until
from web.client import AFTER, FIRST, Client, first_view
from wringout.web.jobs import essence


@dataclass(frozen=True)
class Repair:
    """A call in which a compressor was mended, with logs; ``held``, of the days since, came last."""

    call: str
    logs: dict[str, str]
    command: list[str]

    def proof(self, log: str) -> str:
        return f"{self.call}/proof?log={self.logs[log]}"


def moment(hours: float) -> str:
    """So many hours after the repair, as the log writes it."""
    return f"{MENDED_AT + timedelta(hours=hours):%Y-%m-%d %H:%M}"


def wet(log: bytes) -> bytes:
    """The first 15 hours since the repair, with the room 2.5 K wetter."""
    head, *rows = log.decode().splitlines()
    cells = [row.split(",") for row in rows if row >= moment(0.0)][:900]
    return "\n".join([head, *(",".join([c[0], f"{float(c[1]) + 2.5:.1f}", *c[2:]]) for c in cells)]).encode()


@pytest.fixture(scope="module")
def repair(address: str, tmp_path_factory: pytest.TempPathFactory) -> Repair:
    folder = Path(tmp_path_factory.mktemp("repair"))
    command = written(folder, in_per_cent(days()))
    (folder / "trend.yaml").unlink()  # its columns are guessed, as the app guesses them
    held = (folder / "log.csv").read_bytes()
    before = "\n".join(held.decode().splitlines()[:1000]).encode()
    logs = {"none": ""}
    with Client(address) as client:
        unit = {"document": ("unit.yaml", UNITS[KIND].encode())}
        client.post("/calls/new", complaint="Fog over the counters.", unit="new", files=unit)
        call = client.seen[-1].removesuffix("/readings")
        client.post(f"{call}/change", cause=FAULT, at=MENDED_AT.isoformat())
        for name, log in (("before", before), ("wet", wet(held)), ("held", held)):
            client.post(f"{call}/trends", files={"file": (f"{name}.csv", log, "text/csv")})
            logs[name] = client.seen[-1].rpartition("/")[2]
    return Repair(call, logs, command)


def test_where_nothing_was_changed_there_is_nothing_to_prove_or_to_wait_for(client: Client) -> None:
    call = client.open_call()
    text = client.get(f"{call}/proof")
    assert "nothing to prove yet" in text
    assert "Note a change" in text
    assert "nothing to wait for" in client.get(f"{call}/wait")
    assert "No visit to this unit is in the record yet." in client.get(f"{call}/history")


def test_without_a_log_it_says_from_when_on_to_log_and_what_the_days_have_to_show(
    client: Client, repair: Repair
) -> None:
    text = client.wait_for(repair.proof("none"))
    assert "<b>Not yet testable.</b> No log of the days since is here." in text
    assert f"Log the unit from <b>{moment(3.0)}</b> on" in text
    assert f"that is enough from <b>{moment(27.0)}</b> on at the earliest" in text
    assert "<b>Stage a2</b> is called by a healthy unit from an outdoor dew point of" in text


def test_a_log_from_before_the_repair_proves_nothing_and_says_why(client: Client, repair: Repair) -> None:
    text = client.wait_for(repair.proof("before"))
    assert f"The trend ends before the repair of {moment(0.0)}" in text
    assert "Keep this verdict" not in text


def test_a_log_that_fails_says_first_what_fails(client: Client, repair: Repair) -> None:
    text = client.wait_for(repair.proof("wet"))
    assert "<b>Not proven.</b> Fails: dew point" in text
    assert re.search(r'<details class="group" open><summary>Fails <small>\d of 7</small>', text)
    assert re.search(r'<details class="group"><summary>Holds <small>\d of 7</small>', text), "and is shut"
    assert text.index("<summary>Fails") < text.index("<summary>Holds")
    assert f"<small>When: {moment(3.0)} to " in text
    assert "What it takes" in text


def test_the_verdict_is_that_of_the_command_and_is_kept_as_its_document(
    client: Client, repair: Repair
) -> None:
    call = repair.call
    assert "Does it prove the repair?" in client.wait_for(f"{call}/trends/{repair.logs['before']}")
    text = client.wait_for(f"{call}/proof")  # by the log that came last
    assert '<p class="verdict"><b>Proven.</b> All 7 things asked for hold.</p>' in text
    assert "Dew point since the repair" in text
    assert "Dashed: the limit, 50.5&nbsp;°F, to be kept for 95 % of the hours that count." in text
    fields = dict(re.findall(r'name="(log|of)" value="([0-9a-f]{64})"', text))
    client.post(f"{call}/proof", status=422, **fields | {"of": "0" * 64})
    for _ in range(2):  # a phone that got no answer sends it again
        client.post(f"{call}/proof", **fields, id="019aa000-0000-7000-8000-0000000000a1")
    text = client.wait_for(f"{call}/proof")
    assert "Kept with the call. The next call on this unit starts from it." in text
    assert text.count(f"Proven, by the log of {moment(3.0)} to ") == 1
    found = re.findall(r'href="/attachments/([0-9a-f]{64})">Proof: proven', client.get(call))
    assert len(found) == 1
    document = client.http.get(f"/attachments/{found[0]}").json()
    assert document == json.loads(good(*repair.command, "--json"))
    assert "proof.json" not in client.get(f"{call}/trends"), "a verdict is no log"


def test_what_is_read_or_noted_after_the_repair_begins_no_new_judgement() -> None:
    change = {"at": "2027-07-10T00:00:00", "kind": "change", "text": "mended"}
    reading = {"at": "2027-07-10T01:00:00", "kind": "reading", "point": "supply.t", "value": "61 degF"}
    note = {"at": "2027-07-10T01:10:00", "kind": "note", "text": "all well"}

    def of(*events: dict[str, str]) -> str:
        return essence("prove", json.dumps({"unit": {"name": "x"}, "complaint": "fog", "events": events}))

    assert of(change, reading, note) == of(change)
    assert of(change, change | {"text": "again"}) != of(change)


def test_its_weight_stays_small(client: Client, address: str, repair: Repair) -> None:
    call = repair.call
    client.wait_for(f"{call}/proof")
    answer = client.http.get(f"{call}/proof")
    assert "verdict" in answer.text
    assert answer.num_bytes_downloaded <= AFTER
    assert first_view(address, f"{call}/proof") <= FIRST


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_phone_it_is_found_and_accessible_by_day_and_night(
    client: Client, address: str, repair: Repair, chromium: Browser, scheme: str
) -> None:
    client.wait_for(f"{repair.call}/proof")
    context = phone(chromium, address, color_scheme=scheme, service_workers="block")
    page = context.new_page()
    errors = listened(page)
    page.goto(repair.call)
    tapped(page.get_by_role("link", name="Proof", exact=True))
    settled(page)
    expect(page.locator(".verdict")).to_contain_text("Proven.")
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    result = Axe().run(page)
    assert [(v["id"], v["nodes"][0]["html"][:200]) for v in result.response["violations"]] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert errors == []
    context.close()


def test_a_verdict_that_was_seen_opens_again_without_a_connection_and_is_kept_once_there_is_one(
    client: Client, address: str, repair: Repair, chromium: Browser
) -> None:
    path = repair.proof("wet")
    client.wait_for(path)
    context = phone(chromium, address)
    page = context.new_page()
    page.goto(path)
    kept(page)
    page.reload()
    in_cache(page, path)
    context.set_offline(True)
    page.goto(path)
    expect(page.locator(".verdict")).to_contain_text("Not proven.")
    expect(page.locator("#kept-at")).to_contain_text("As kept on this phone")
    tapped(page.get_by_role("button", name="Keep this verdict with the call"))
    expect(page.locator("#queue")).to_contain_text("proof: not proven")
    context.set_offline(False)
    until(page, "window.wringoutQueue.all().then((entries) => entries.length === 0)")
    page.reload()
    expect(page.locator(".kept")).to_have_text("Kept with the call.")
    context.close()
