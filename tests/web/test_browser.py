"""Whole calls on a phone: from complaint to answer, the connection cut in the middle, nothing lost or
doubled; no accessibility violation on any page; a first view within a second."""

from __future__ import annotations

import re
import struct
import time
import zlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from web.browsing import TOO_SMALL, in_cache, kept, listened, phone, settled, tapped, until
from web.client import PAGES, Client, demo_events
from web.server import DEMO, served
from wringout.records.store import Store, open_store

OTHERS = ["/", "/calls/new", "/settings", "/devices", "/pair", "/trust", "/offline", "/nothing"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return Path(tmp_path_factory.mktemp("phone"))


@pytest.fixture(scope="module")
def at(folder: Path) -> Iterator[str]:
    """A server whose record the tests look into."""
    with served(folder) as address:
        yield address


@pytest.fixture
def context(chromium: Browser, at: str) -> Iterator[BrowserContext]:
    made = phone(chromium, at)
    yield made
    made.close()


@pytest.fixture
def record(folder: Path, at: str) -> Iterator[Store]:
    with open_store(folder / "record.sqlite", create=False) as store:
        yield store


@pytest.fixture(scope="module")
def call(at: str) -> str:
    """A call with readings, a held state, and a change: every page has something to show."""
    with Client(at) as client:
        made = client.open_call()
        client.read(made, demo_events("call-4.yaml"))
        client.post(f"{made}/force", item="reheat.command", hold="100 %")
        client.post(f"{made}/force", item="reheat.command", hold="")
        client.post(f"{made}/notes", text="cover screw missing")
    return made


def open_call(page: Page, complaint: str) -> str:
    page.goto("/")
    tapped(page.get_by_role("link", name="New call"))
    page.get_by_label("What is wrong").fill(complaint)
    page.get_by_label("Unit", exact=True).select_option("new")
    page.get_by_label("Or take a unit document").set_input_files(str(DEMO / "unit.yaml"))
    tapped(page.get_by_role("button", name="Open the call"))
    page.wait_for_url("**/readings")
    return re.sub(r"^https?://[^/]+|/readings$", "", page.url)


def written(record: Store, call: str) -> list[tuple[str, str]]:
    """What stands in the record of a call, in its order: kind, and what it says."""
    lines = sorted(record.call(call.rpartition("/")[2]).lines, key=lambda line: line.id)
    told = []
    for line in lines:
        body = line.body
        told.append(
            (
                line.event.kind,
                str(body.get("value") or body.get("text") or body.get("to") or body.get("item")),
            )
        )
    return told


def await_unsent(page: Page, count: int) -> None:
    until(page, f"window.wringoutQueue.all().then((entries) => entries.length === {count})")


def picture(path: Path) -> Path:
    """A small PNG of one colour."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = b"".join(b"\0" + bytes([40, 90, 80] * 32) for _ in range(32))
    head = struct.pack(">IIBBBBB", 32, 32, 8, 2, 0, 0, 0)
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )
    return path


def test_a_whole_call_with_the_connection_cut_in_the_middle(
    context: BrowserContext, record: Store, tmp_path: Path
) -> None:
    page = context.new_page()
    errors = listened(page)
    call = open_call(page, "Fog over the ice every afternoon.")
    kept(page)

    # with a connection: say it, see how it was understood, keep it
    page.get_by_label("Say or write what you read").fill(
        "display dew point 8.5 degrees C, space 13.8 C, two stages called, reheat command 52.6 percent"
    )
    tapped(page.get_by_role("button", name="Understand"))
    expect(page.get_by_role("heading", level=1)).to_have_text("As understood")
    expect(page.get_by_text("8.5 °C")).to_be_visible()
    assert written(record, call) == [], "nothing is kept before it was confirmed"
    tapped(page.locator("#understood").get_by_role("button", name="Keep"))
    page.wait_for_url("**/readings?kept=4")
    assert len(written(record, call)) == 4

    for part in ("", "/readings", "/next", "/suspects", "/change"):
        page.goto(call + part)
        in_cache(page, call + part)

    # on the roof: no connection; every page seen opens, everything entered is kept on the phone
    context.set_offline(True)
    page.goto(f"{call}/readings")
    expect(page.get_by_role("heading", level=1)).to_have_text("Readings")
    expect(page.locator("#kept-at")).to_contain_text("As kept on this phone")
    page.get_by_label("Say or write what you read").fill(
        "return 14 C and 69.4 percent, supply 18 C and 42.2 percent"
    )
    tapped(page.get_by_role("button", name="Understand"))
    await_unsent(page, 1)
    expect(page.locator("#queue")).to_contain_text("1 not yet sent")
    page.goto(f"{call}/readings#f-v-source.water_in")
    row = page.locator('[id="f-v-source.water_in"]')
    row.get_by_label("Heat source, water in: value").fill("30.2")
    row.get_by_label("Heat source, water in: unit").select_option("degC")
    tapped(row.get_by_role("button", name="Keep"))
    await_unsent(page, 2)
    page.goto(call)
    page.get_by_label("What should be remembered").fill("bypass handle looks wrong")
    tapped(page.get_by_role("button", name="Keep the note"))
    await_unsent(page, 3)
    tapped(page.get_by_text("Photo or file"))
    page.get_by_label("Photo, PDF or text").set_input_files(str(picture(tmp_path / "valve.png")))
    page.get_by_label("What it shows").fill("the valve")
    tapped(page.get_by_role("button", name="Keep it"))
    await_unsent(page, 4)
    page.goto(f"{call}/change?cause=")
    page.goto(f"{call}/change")
    page.get_by_label("What was done").fill("opened the balancing valve")
    tapped(page.get_by_role("button", name="Keep the change"))
    await_unsent(page, 5)
    expect(page.locator("#queue")).to_contain_text("5 not yet sent")
    assert len(written(record, call)) == 4, "the server has seen nothing of it"

    # the phone is put away and taken out again
    page.close()
    page = context.new_page()
    errors += listened(page)
    page.goto(call)
    expect(page.locator("#queue")).to_contain_text("5 not yet sent")

    context.set_offline(False)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    await_unsent(page, 0)
    told = written(record, call)
    assert told[4:] == [
        ("reading", "14 degC"),
        ("reading", "69.4 %"),
        ("reading", "18 degC"),
        ("reading", "42.2 %"),
        ("reading", "30.2 degC"),
        ("note", "bypass handle looks wrong"),
        ("change", "opened the balancing valve"),
    ], "in order, each once"
    assert len(record.call(call.rpartition("/")[2]).attachments) == 1

    # and the answer
    page.goto(f"{call}/suspects")
    settled(page)
    expect(page.locator("table.sets")).to_contain_text("From 9 readings")
    tapped(page.get_by_role("link", name="What to check next"))
    settled(page)
    expect(page.get_by_role("heading", level=1)).to_have_text("Next check")
    assert errors == []


def test_an_answer_lost_on_the_way_doubles_nothing(chromium: Browser, at: str, record: Store) -> None:
    # what a service worker sends cannot be lost on purpose here, and one may take over at any moment
    context = phone(chromium, at, service_workers="block")
    page = context.new_page()
    page.clock.install()
    call = open_call(page, "The answer gets lost.")
    page.goto(call)
    lost = 0

    def lose(route: Route) -> None:
        nonlocal lost
        if lost < 2:
            lost += 1
            route.fetch()  # it arrives and is kept
            route.abort()  # but the phone never hears of it
        else:
            route.continue_()

    page.route("**/notes", lose)
    page.get_by_label("What should be remembered").fill("only once")
    tapped(page.get_by_role("button", name="Keep the note"))
    for wanted in (1, 2):  # the note has to reach the queue before the queue can be empty again
        for _ in range(300):
            if lost >= wanted:
                break
            page.wait_for_timeout(100)
        page.clock.fast_forward(15_000)  # the queue tries again by itself, every quarter of a minute
    until(page, "window.wringoutQueue.flush().then(() => window.wringoutQueue.all()).then((e) => !e.length)")
    assert lost == 2
    assert written(record, call) == [("note", "only once")]
    context.close()


def test_what_the_server_cannot_take_is_told_and_stays_in_sight(
    context: BrowserContext, record: Store
) -> None:
    page = context.new_page()
    call = open_call(page, "A slip of the thumb.")
    page.goto(f"{call}/readings#f-v-supply.t")
    row = page.locator('[id="f-v-supply.t"]')
    row.get_by_label("Supply air, temperature: value").fill("900")
    tapped(row.get_by_role("button", name="Keep"))
    expect(page.locator("#queue")).to_contain_text("Not taken")
    assert written(record, call) == []
    tapped(page.get_by_role("button", name="Discard it"))
    await_unsent(page, 0)


def test_every_task_ends_without_scripts(chromium: Browser, at: str, record: Store) -> None:
    plain = phone(chromium, at, java_script_enabled=False)
    page = plain.new_page()
    call = open_call(page, "No scripts on this phone.")
    page.get_by_label("Say or write what you read").fill(
        "supply 18 C and 42 percent, return 14 C and 69 percent"
    )
    tapped(page.get_by_role("button", name="Understand"))
    tapped(page.locator("#understood").get_by_role("button", name="Keep"))
    page.wait_for_url("**/readings?kept=4")
    page.goto(f"{call}/suspects")
    for _ in range(60):  # the page itself asks again every two seconds
        if page.locator("table.sets").count():
            break
        page.wait_for_timeout(1000)
    expect(page.locator("table.sets")).to_contain_text("From 4 readings")
    page.goto(f"{call}/change")
    page.get_by_label("What was done").fill("nothing yet")
    tapped(page.get_by_role("button", name="Keep the change"))
    page.wait_for_url("**/wait")
    assert [kind for kind, _ in written(record, call)] == ["reading"] * 4 + ["change"]
    plain.close()


def test_axe_finds_no_violation_on_any_page_light_or_dark(chromium: Browser, at: str, call: str) -> None:
    """Each page is opened once and turned dark where it stands: nothing but the style sheet asks for that."""
    made = phone(chromium, at)
    page = made.new_page()
    errors = listened(page)
    axe = Axe()
    found = {}
    for path in [*OTHERS, *(call + p for p in PAGES)]:
        page.emulate_media(color_scheme="light")
        page.goto(path)
        settled(page)
        page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            result = axe.run(page)
            told = [
                (v["id"], [n["html"][:160] for n in v["nodes"][:3]]) for v in result.response["violations"]
            ]
            if told:
                found[f"{path}, {scheme}"] = told
        wide = page.evaluate("document.documentElement.scrollWidth")
        if wide > 390:
            found[f"{path} is too wide"] = wide
    assert found == {}
    assert errors == []
    made.close()


def test_what_a_thumb_hits_is_large_enough(context: BrowserContext, call: str) -> None:
    page = context.new_page()
    small = {}
    for part in PAGES:
        page.goto(call + part)
        settled(page)
        sizes = page.evaluate(TOO_SMALL)
        if sizes:
            small[part] = sizes
    assert small == {}


def test_the_first_view_comes_within_a_second_on_a_slow_phone(chromium: Browser, at: str, call: str) -> None:
    """Contentful paint on loopback with the processor slowed down four times."""
    times = []
    for _ in range(12):  # other tests run beside it: one undisturbed view is what is asked for
        made = phone(chromium, at, service_workers="block")
        page = made.new_page()
        made.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": 4})
        page.goto(f"{call}/readings", wait_until="load")
        until(page, "performance.getEntriesByName('first-contentful-paint').length > 0")
        times.append(
            page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime") / 1000
        )
        made.close()
        if times[-1] <= 1.0:
            break
        time.sleep(0.5)
    assert min(times) <= 1.0, times


def test_a_page_answers_while_its_work_goes_on(at: str) -> None:
    with Client(at) as client:
        call = client.open_call()
        client.read(call, demo_events()[:6])
        assert client.get(f"{call}/suspects")
        assert "From 6 readings" in client.wait_for(f"{call}/suspects")


def test_no_page_is_wider_than_the_smallest_phone(chromium: Browser, at: str, call: str) -> None:
    made = phone(chromium, at, viewport={"width": 320, "height": 640}, service_workers="block")
    page = made.new_page()
    wide = {}
    for path in [*OTHERS, *(call + part for part in PAGES)]:
        page.goto(path)
        settled(page)
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > 320:
            wide[path] = width
    assert wide == {}
    made.close()
