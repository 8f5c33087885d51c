"""Work that takes longer than a moment says in words what is done and for how long, for eyes and ears, while
the page stays of use; checked with a worker that is slow on purpose."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, expect

from web.browsing import listened, phone, settled
from web.client import Client, demo_events
from web.server import served

SECONDS = 5.0  # a page that opens slowly on a busy machine must still find the work going on


@pytest.fixture(scope="module")
def call(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """The address of a slow server, and a call on it with a held state and a log."""
    with served(Path(tmp_path_factory.mktemp("slow")), slower=SECONDS) as address:
        with Client(address) as client:
            made = client.open_call()
            client.read(made, demo_events()[:4])
        yield address, made


@pytest.fixture(scope="module")
def context(chromium: Browser, call: tuple[str, str]) -> Iterator[BrowserContext]:
    opened = phone(chromium, call[0], service_workers="block")
    yield opened
    opened.close()


@pytest.mark.parametrize(
    ("part", "words"),
    [
        ("/suspects", "Weighing the readings against every cause"),
        ("/wait", "Running forty-eight machines through this visit"),
        ("/trends", "Reading the log"),
    ],
)
def test_what_is_worked_on_is_told_in_words_that_go_on(
    context: BrowserContext, call: tuple[str, str], part: str, words: str
) -> None:
    address, one = call
    with Client(address) as client:  # something new, so that there is something to work out
        client.post(f"{one}/tapped", point="supply.t", value="18 degC")
        if part == "/wait":
            client.post(f"{one}/force", item="reheat.command", hold="0 %")
        if part == "/trends":
            log = "\n".join(
                ["time;supply t;space t", *(f"2027-08-21 10:{m:02};61.5;70.2" for m in range(40))]
            )
            client.post(f"{one}/trends", files={"file": ("log.csv", log.encode())})
            part = client.seen[-1].removeprefix(one)
    page = context.new_page()
    errors = listened(page)
    page.goto(one + part)
    line = page.locator(".working [role=status]")
    expect(line).to_contain_text(words)
    assert line.get_attribute("aria-live") == "polite"
    seen = page.locator(".working .so-far")
    expect(seen).to_have_text(re.compile(r"^[1-5] s so far$"))
    said = int(seen.inner_text().split()[0])
    expect(seen).to_have_text(re.compile(rf"^[{said + 1}-{said + 2}] s so far$"))
    assert Axe().run(page).violations_count == 0
    expect(page.get_by_role("navigation", name="This call")).to_be_visible()  # the rest is there meanwhile
    settled(page)
    expect(page.locator(".working")).to_have_count(0)
    expect(page.locator("#work")).not_to_be_empty()
    assert errors == []
    page.close()


def test_without_scripts_each_view_says_how_long_it_has_been(call: tuple[str, str]) -> None:
    address, one = call
    with Client(address) as client:
        client.post(f"{one}/tapped", point="return.t", value="14 degC")
        text = client.get(f"{one}/suspects")
        assert "Weighing the readings against every cause" in text
        assert re.search(r"\d s so far", text)
        assert '<meta http-equiv="refresh"' in text
