"""A live guided test end to end: a technician at a simulated controller, and the page that looks on."""

from __future__ import annotations

import re
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from web.browsing import browser, listened, phone, tapped, until
from web.client import Client
from web.live_site import recorded
from web.server import DEMO, served
from wringout.records.store import open_store

STATE = "reheat.command=100 %"


def test_a_live_guided_test_from_forcing_to_suspects(tmp_path: Path) -> None:
    recordings = tmp_path / "recordings"
    recordings.mkdir()
    with (
        recorded(recordings, DEMO / "unit.yaml", ("bypass-shut",), speed=60.0) as site,
        served(tmp_path, "--live", str(recordings)) as address,
        Client(address) as client,
        browser() as chromium,
    ):
        call = client.open_call()
        client.post(f"{call}/tapped", point="filter.drop", value="70 Pa", at="2026-01-05T10:00:00")
        before = client.wait_for(f"{call}/suspects")
        assert f'href="{call}/live"' in client.wait_for(f"{call}/next").partition("The check")[2]
        context = phone(chromium, address)
        page = context.new_page()
        errors = listened(page)
        until_recorded(page, recordings)
        page.goto(f"{call}/live?state={STATE}".replace(" ", "%20").replace("=100", "%3D100"))
        expect(page.get_by_role("heading", name="Hold the reheat command at 100 %")).to_be_visible()
        expect(page.get_by_role("heading", name="Cautions first")).to_be_visible()
        expect(page.get_by_text("Not held yet.")).to_be_visible()
        assert violations(page) == []

        site.order("force reheat.command 100 %")  # the technician, at the controller
        expect(page.get_by_text(re.compile("Recognised"))).to_be_visible()
        expect(page.get_by_role("heading", name=re.compile(r"Taken: \d+ readings"))).to_be_visible()
        assert violations(page) == []
        tapped(page.get_by_role("link", name="See the suspects"))
        page.wait_for_url("**/suspects")
        after = client.wait_for(f"{call}/suspects")
        assert re.findall(r"\d+ %", after) != re.findall(r"\d+ %", before)

        page.goto(f"{call}/live")
        site.order("release reheat.command")
        expect(page.get_by_role("heading", name=re.compile("Taken"))).to_be_hidden()
        until(page, "!document.body.innerText.includes('Give the reheat command back')")
        assert errors == []
        context.close()
    with open_store(tmp_path / "record.sqlite", create=False) as store:
        lines = store.call(call.rpartition("/")[2]).lines
    kinds = [line.event.kind for line in lines]
    assert kinds.count("force") == kinds.count("release") == 1
    begun, ended = kinds.index("force"), kinds.index("release")
    taken = [line.body for line in lines[begun:ended] if line.event.kind == "reading"]
    names = [body["point"] for body in taken]
    assert len(names) == len(set(names)), "each once"
    assert {"shown.supply_t", "shown.reheat_command", "reheat.water_out"} <= set(names)
    assert "shown.reheat_in_hand" not in names
    assert all(body["accuracy"] for body in taken if body["point"].endswith("_t"))
    assert next(b["value"] for b in taken if b["point"] == "shown.reheat_command").startswith("100")


def until_recorded(page: Page, folder: Path) -> None:
    """Wait until a few rows are there."""
    for _ in range(300):
        path = folder / "live.csv"
        if path.exists() and len(path.read_text().splitlines()) > 5:
            return
        page.wait_for_timeout(100)
    raise AssertionError("nothing was recorded")


def violations(page: Page) -> list[str]:
    return [one["id"] for one in Axe().run(page).response["violations"]]


def test_without_a_recording_the_page_says_how_to_begin(client: Client) -> None:
    call = client.open_call()
    assert "wringout listen" in client.get(f"{call}/live")
    client.post(f"{call}/live", status=422, do="take")
