"""Forms of many fields on a phone: nothing that was written in one is lost, with a connection or without,
taken or not."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from web.browsing import in_cache, kept, phone, tapped, until
from web.client import Client
from web.server import served
from wringout.records.store import Store, open_store

SPEED = "air.supply_fan.speed"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(tmp_path_factory.mktemp("forms"))


@pytest.fixture(scope="module")
def at(folder: Path) -> Iterator[str]:
    with served(folder) as address:
        yield address


@pytest.fixture(scope="module")
def call(at: str) -> str:
    with Client(at) as client:
        return client.open_call()


@pytest.fixture
def context(chromium: Browser, at: str) -> Iterator[BrowserContext]:
    opened = phone(chromium, at)
    yield opened
    opened.close()


@pytest.fixture
def record(folder: Path, at: str) -> Iterator[Store]:
    with open_store(folder / "record.sqlite", create=False) as store:
        yield store


def descriptions(record: Store) -> list[str]:
    """The documents of units, in their order."""
    events = record.events_outside_calls()
    return [str(event.body["document"]) for event in events if event.kind == "unit_described"]


def unsent(page: Page, count: int) -> None:
    until(page, f"window.wringoutQueue.all().then((entries) => entries.length === {count})")


def test_a_unit_written_without_a_connection_is_kept_on_the_phone_and_arrives_once(
    context: BrowserContext, record: Store, call: str
) -> None:
    page = context.new_page()
    page.goto(f"{call}/unit")
    kept(page)
    page.goto(f"{call}/unit")
    in_cache(page, f"{call}/unit")
    before = descriptions(record)
    context.set_offline(True)
    page.locator(f'[id="f-{SPEED}"]').fill("41 Hz")
    tapped(page.get_by_role("button", name="Keep the unit"))
    unsent(page, 1)
    expect(page.locator("#queue")).to_contain_text("1 not yet sent")
    expect(page.locator("#queue")).to_contain_text(f"{SPEED} 41 Hz")
    expect(page.locator(f'[id="f-{SPEED}"]')).to_have_value("41 Hz")
    assert descriptions(record) == before
    page.close()  # the phone is put away
    page = context.new_page()
    page.goto(f"{call}/unit")
    context.set_offline(False)
    page.evaluate("window.wringoutQueue.flush()")
    unsent(page, 0)
    page.evaluate("window.wringoutQueue.flush()")
    after = descriptions(record)
    assert len(after) == len(before) + 1
    assert "41 Hz" in after[-1]
    page.goto(f"{call}/unit")
    expect(page.locator(f'[id="f-{SPEED}"]')).to_have_value("41 Hz")


def test_a_unit_that_is_not_taken_stays_in_its_form_with_what_to_mend(
    context: BrowserContext, record: Store, call: str
) -> None:
    page = context.new_page()
    page.goto(f"{call}/unit")
    before = descriptions(record)
    page.locator(f'[id="f-{SPEED}"]').fill("43")
    page.locator('[id="f-air.filter_drop"]').fill("99 Pa")
    tapped(page.get_by_role("button", name="Keep the unit"))
    problem = page.get_by_role("alert")
    expect(problem).to_contain_text("bare number")
    assert problem.get_by_role("link").get_attribute("href") == f"#f-{SPEED}"
    expect(page.locator('[id="f-air.filter_drop"]')).to_have_value("99 Pa")
    assert descriptions(record) == before
    page.locator(f'[id="f-{SPEED}"]').fill("43 Hz")
    tapped(page.get_by_role("button", name="Keep the unit"))
    page.wait_for_url("**/unit?kept=1")
    expect(page.locator(f'[id="f-{SPEED}"]')).to_have_value("43 Hz")
    expect(page.locator('[id="f-air.filter_drop"]')).to_have_value("99 Pa")


def test_what_is_refused_later_comes_back_into_its_form_to_be_mended(
    context: BrowserContext, record: Store, call: str
) -> None:
    page = context.new_page()
    page.goto(f"{call}/readings")
    kept(page)
    page.goto(f"{call}/readings")
    in_cache(page, f"{call}/readings")
    context.set_offline(True)
    page.goto(f"{call}/readings#f-v-supply.t")
    row = page.locator('[id="f-v-supply.t"]')
    row.get_by_label("Supply air, temperature: value").fill("580")
    tapped(row.get_by_role("button", name="Keep", exact=True))
    unsent(page, 1)
    context.set_offline(False)
    page.goto(call)
    page.evaluate("window.wringoutQueue.flush()")
    expect(page.locator("#queue")).to_contain_text("Not taken")
    tapped(page.get_by_role("button", name="Mend it"))
    page.wait_for_url("**/readings#mend-*")
    field = page.get_by_label("Supply air, temperature: value")
    expect(field).to_have_value("580")
    expect(page.get_by_role("alert")).to_be_visible()
    field.fill("58")
    tapped(page.locator('[id="f-v-supply.t"]').get_by_role("button", name="Keep", exact=True))
    unsent(page, 0)
    events = [event for event in record.events(call.rpartition("/")[2]) if event.kind == "reading"]
    assert [event.body["value"].partition(" ")[0] for event in events] == ["58"]


def test_a_call_begun_without_a_connection_is_opened_once_when_it_is_back(
    context: BrowserContext, record: Store
) -> None:
    page = context.new_page()
    page.goto("/calls/new")
    kept(page)
    page.goto("/calls/new")
    in_cache(page, "/calls/new")
    context.set_offline(True)
    page.get_by_label("What is wrong").fill("The ceiling drips over lane three.")
    tapped(page.get_by_role("button", name="Open the call"))
    unsent(page, 1)
    expect(page.locator("#queue")).to_contain_text("The ceiling drips")
    context.set_offline(False)
    page.evaluate("window.wringoutQueue.flush()")
    unsent(page, 0)
    assert [c.complaint for c in record.calls()].count("The ceiling drips over lane three.") == 1


def test_a_form_that_cannot_wait_says_that_it_was_not_sent_and_keeps_what_was_written(
    context: BrowserContext,
) -> None:
    page = context.new_page()
    page.goto("/settings")
    context.set_offline(True)
    page.get_by_label("Your name").fill("Bo Tarn")
    tapped(page.get_by_role("button", name="Keep"))
    expect(page.get_by_role("alert")).to_contain_text("Not sent: no connection")
    expect(page.get_by_label("Your name")).to_have_value("Bo Tarn")
    context.set_offline(False)
    tapped(page.get_by_role("button", name="Keep"))
    page.wait_for_url(re.compile("kept=1"))
