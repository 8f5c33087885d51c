"""Manuals on the phone: a wire number is looked for, its page seen with the hit marked, and seen again on the
roof without a connection."""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from shelf_samples import manual
from web.browsing import browser, in_cache, kept, listened, phone, tapped, until
from web.client import FIRST, Client, first_view
from web.server import served
from wringout.shelf.shelf import open_shelf
from wringout.web.sheet_picture import light_png

UNIT = "Rink air handler"  # of the demo


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """A server with an invented manual on its shelf, and a call on the unit that it belongs to."""
    folder = Path(tmp_path_factory.mktemp("manuals"))
    (folder / "handler.pdf").write_bytes(manual(6))
    with open_shelf(folder / "shelf.sqlite") as shelf:
        shelf.add(folder / "handler.pdf", UNIT)
    with served(folder) as address, Client(address) as client:
        yield address, client.open_call()


def test_a_wire_is_found_and_its_page_seen_with_the_hit_marked(place: tuple[str, str]) -> None:
    address, call = place
    with Client(address) as client:
        shown = client.get(f"{call}/manuals")
        assert "handler.pdf" in shown
        first = client.get(f"{call}/manuals?q=reheat+valve")
        assert re.search(r"On \d+ pages?", first)
        hit = re.search(rf'href="({call}/manuals/[0-9a-f]+:\d+:[^"?]+)', first)
        assert hit is not None
        text = client.get(hit[1])
        assert "Marked: <b>" in text
        address_of_it = re.search(r'src="(/manuals/[^"]+[.]png)"', text)
        assert address_of_it is not None
        picture = client.http.get(address_of_it[1])
        assert picture.content.startswith(b"\x89PNG")
        assert "immutable" in picture.headers["cache-control"]
        assert first_view(address, hit[1]) + len(picture.content) <= FIRST
        assert "Not found" in client.get(f"{call}/manuals?q=QQ9931")


def test_a_light_picture_holds_every_point_nearly_in_its_colour() -> None:
    chance = np.random.default_rng(0)
    image = chance.integers(0, 256, (40, 60, 3), dtype=np.uint8)
    data = light_png(image)
    at, chunks = 8, {}
    while at < len(data):  # a second way to read it: chunk by chunk, palette looked up
        length = struct.unpack(">I", data[at : at + 4])[0]
        body = data[at + 8 : at + 8 + length]
        assert struct.unpack(">I", data[at + 8 + length : at + 12 + length])[0] == zlib.crc32(
            data[at + 4 : at + 8] + body
        )
        chunks[data[at + 4 : at + 8]] = body
        at += 12 + length
    rows = np.frombuffer(zlib.decompress(chunks[b"IDAT"]), dtype=np.uint8).reshape(40, 61)
    palette = np.frombuffer(chunks[b"PLTE"], dtype=np.uint8).reshape(-1, 3)
    assert (rows[:, 0] == 0).all()
    assert np.abs(palette[rows[:, 1:]].astype(int) - image.astype(int)).max() <= 26


def test_what_names_no_page_is_told_in_words(place: tuple[str, str]) -> None:
    address, call = place
    with Client(address) as client:
        for name in ("nonsense", "0123456789abcdef:1"):
            answer = client.http.get(f"{call}/manuals/{name}")
            assert answer.status_code in (404, 422), name
            assert "Traceback" not in answer.text
        found = re.search(r"manuals/([0-9a-f]+):1", client.get(f"{call}/manuals"))
        assert found is not None
        assert client.http.get(f"{call}/manuals/{found[1]}:999").status_code == 422
        assert client.http.get(f"/manuals/{found[1]}:999.png").status_code == 422


def test_without_a_shelf_the_page_says_how_to_fill_it(client: Client) -> None:
    told = client.get(f"{client.open_call()}/manuals")
    assert f'wringout shelf add manual.pdf --unit "{UNIT}"' in told


def test_a_page_seen_opens_on_the_roof(place: tuple[str, str]) -> None:
    address, call = place
    with browser() as made:
        context = phone(made, address)
        page = context.new_page()
        errors = listened(page)
        page.goto(f"{call}/manuals")
        kept(page)
        page.get_by_label("Word, part or wire number").fill("strainer")
        tapped(page.get_by_role("button", name="Look for it"))
        page.wait_for_url("**/manuals?q=strainer")
        tapped(page.locator("ul.cards a").first)
        page.wait_for_url("**/manuals/*:*")
        width = "document.querySelector('.sheet img')?.naturalWidth"
        expect(page.get_by_role("heading", level=1)).to_contain_text("handler.pdf")
        until(page, f"{width} > 600")
        assert Axe().run(page).violations_count == 0
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        path = page.evaluate("location.pathname + location.search")
        in_cache(page, path)
        in_cache(page, page.evaluate("new URL(document.querySelector('.sheet img').src).pathname"))
        context.set_offline(True)
        page.goto(path)
        expect(page.locator("#kept-at")).to_contain_text("As kept on this phone")
        until(page, f"{width} > 600")
        assert errors == []
        context.close()
