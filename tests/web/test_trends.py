"""A controller's log in the app: taken in, its findings, its columns, and its series for the plot."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from test_trends_cli import write
from trend_samples import simulate
from web.browsing import listened, phone, settled, tapped, until
from web.client import AFTER, FIRST, Client, first_view

DRAWN = """(() => {
  const c = document.querySelector('#plots canvas');
  const data = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
  return data.reduce((n, v, k) => n + (k % 4 === 3 && v > 0), 0);
})()"""
PICTURE = """(() => {
  const text = document.querySelector('#plots canvas').toDataURL();
  return [...text].reduce((n, c) => (n * 31 + c.charCodeAt(0)) | 0, 7);
})()"""


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Two days of an invented unit, minute by minute, as a controller would write them."""
    folder = tmp_path_factory.mktemp("log")
    return write(simulate(2.0, 1), Path(folder) / "log.csv").read_bytes()


@pytest.fixture(scope="module")
def trend(address: str, log: bytes) -> str:
    """The address of a log that was taken in."""
    with Client(address) as client:
        call = client.open_call()
        client.post(f"{call}/trends", files={"file": ("log.csv", log, "text/csv")})
        return client.seen[-1]


def test_a_log_shows_its_findings_and_how_its_columns_were_taken(client: Client, trend: str) -> None:
    text = client.wait_for(trend)
    assert "2880 rows" in text
    assert "<section" in text
    assert "Columns, as guessed" in text
    assert "98%" in text
    assert "<svg" in text
    client.get(trend)


def test_the_series_for_the_plot_are_thin_and_whole(client: Client, trend: str) -> None:
    client.wait_for(trend)
    found = client.http.get(f"{trend}/series.json").json()
    assert len(found["time"]) == 700
    assert found["time"] == sorted(found["time"])
    assert all(len(s["values"]) == 700 and s["unit"] for s in found["series"])
    assert {"°F", "°C"} & {s["unit"] for s in found["series"]}


def test_a_log_s_page_is_light_too(address: str, client: Client, trend: str) -> None:
    client.wait_for(trend)
    series = client.http.get(f"{trend}/series.json").num_bytes_downloaded
    assert first_view(address, trend) + series <= FIRST
    assert series <= AFTER


def test_the_list_of_logs_leads_to_each(client: Client, trend: str) -> None:
    assert trend in client.get(trend[: trend.rindex("/")])


def test_what_is_no_log_is_refused_in_words(client: Client, trend: str) -> None:
    there = trend[: trend.rindex("/")]
    assert "Choose the controller" in client.post(there, 422)
    client.post(there, files={"file": ("log.csv", b"a note, not a log", "text/csv")})
    assert "To mend" in client.wait_for(client.seen[-1]), "also where a script puts the part in its place"


def test_the_plot_draws_and_zooms_under_the_policy(chromium: Browser, address: str, trend: str) -> None:
    context = phone(chromium, address)
    page = context.new_page()
    errors = listened(page)
    page.goto(trend)
    settled(page)
    until(page, "document.querySelectorAll('#plots canvas').length > 0")
    before = page.evaluate(DRAWN)
    assert before > 500, "lines are on the canvas"
    over = page.locator("#plots .u-over").first
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    assert box is not None
    labels = page.evaluate(PICTURE)
    page.mouse.move(box["x"] + 60, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + 160, box["y"] + 60, steps=5)
    page.mouse.up()
    until(page, f"({PICTURE}) !== {labels!r}")
    expect(page.locator("#plots .u-legend").first).to_contain_text("dew point on which the controller acts")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert errors == []
    context.close()


def test_a_finger_and_large_buttons_zoom_all_plots_by_the_log_s_own_clock(
    chromium: Browser, address: str, trend: str
) -> None:
    context = phone(chromium, address, timezone_id="Pacific/Auckland")
    page = context.new_page()
    page.goto(trend)
    settled(page)
    said = page.locator("#plots [role=status]")
    expect(said).to_contain_text("08 Jul, 00:00 to 09 Jul, 23:5")
    over = page.locator("#plots .u-over").first
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    assert box is not None
    finger = context.new_cdp_session(page)
    y = box["y"] + 80

    def touch(kind: str, share: float | None) -> None:
        at = [] if share is None else [{"x": box["x"] + share * box["width"], "y": y}]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": at})

    touch("touchStart", 0.25)
    for step in (0.35, 0.45, 0.5):
        touch("touchMove", step)
    touch("touchEnd", None)
    expect(said).to_contain_text(re.compile(r"08 Jul, 1[12]:\d\d to (?:08 Jul, 23:|09 Jul, 00:)"))
    page.wait_for_timeout(500)  # a tap right after it would belong to the same gesture
    tapped(page.get_by_role("button", name="All"))
    expect(said).to_contain_text("08 Jul, 00:00 to 09 Jul, 23:5")
    for button in page.locator(".zoom button").all():
        size = button.bounding_box()
        assert size is not None
        assert size["height"] >= 44
    tapped(page.get_by_role("button", name="Closer"))
    expect(said).to_contain_text("08 Jul, 11:")
    tapped(page.get_by_role("button", name="Later"))
    expect(said).to_contain_text("09 Jul, 23:5")
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_violation_on_a_log_s_page_and_its_pictures_are_dark_on_white(
    chromium: Browser, address: str, trend: str, scheme: str
) -> None:
    context = phone(chromium, address, color_scheme=scheme)
    page = context.new_page()
    page.goto(trend)
    settled(page)
    until(page, "document.querySelectorAll('#plots canvas').length > 0")
    result = Axe().run(page)
    assert [(v["id"], v["nodes"][0]["html"][:200]) for v in result.response["violations"]] == []
    strokes = page.evaluate(
        "[...document.querySelectorAll('.finding svg path')].map((e) => getComputedStyle(e).stroke)"
    )
    assert "rgb(0, 0, 0)" in strokes
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    context.close()
