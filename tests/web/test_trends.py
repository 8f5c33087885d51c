"""A controller's log in the app: taken in, its findings, its columns, and its series for the plot."""

from __future__ import annotations

from pathlib import Path

import pytest

from test_trends_cli import write
from trend_samples import simulate
from web.browsing import browser, listened, phone, settled, until
from web.client import Client

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
    assert {"degF", "degC"} & {s["unit"] for s in found["series"]}


def test_the_list_of_logs_leads_to_each(client: Client, trend: str) -> None:
    assert trend in client.get(trend[: trend.rindex("/")])


def test_what_is_no_log_is_refused_in_words(client: Client, trend: str) -> None:
    there = trend[: trend.rindex("/")]
    assert "Choose the controller" in client.post(there, 422)
    client.post(there, files={"file": ("log.csv", b"a note, not a log", "text/csv")})
    assert "To mend" in client.wait_for(client.seen[-1]), "also where a script puts the part in its place"


def test_the_plot_draws_and_zooms_under_the_policy(address: str, trend: str) -> None:
    with browser() as made:
        context = phone(made, address)
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
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert errors == []
        context.close()
