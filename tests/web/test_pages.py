"""Pages without a script: each is whole, labelled, light, and leads nowhere off this host; every task can be
finished on them."""

from __future__ import annotations

import re

import httpx
import pytest

from web.client import FIRST, Client, demo_events
from web.server import DEMO


@pytest.fixture(scope="module")
def call(address: str) -> str:
    """A call with the walk-up readings of the demo."""
    with Client(address) as client:
        made = client.open_call()
        client.read(made, demo_events())
    return made


PAGES = ["", "/readings", "/next", "/suspects", "/ledger", "/chart", "/wait", "/change", "/unit", "/trends"]


@pytest.mark.parametrize("page", PAGES)
def test_every_page_of_a_call_is_whole(client: Client, call: str, page: str) -> None:
    client.get(call + page)


@pytest.mark.parametrize("page", ["/", "/calls/new", "/settings", "/devices", "/pair", "/trust", "/offline"])
def test_every_other_page_is_whole(client: Client, page: str) -> None:
    client.get(page)


def test_a_first_view_with_all_its_files_stays_under_150_kilobytes(address: str, call: str) -> None:
    total = 0
    with httpx.Client(base_url=address, timeout=60) as http:
        page = http.get(f"{call}/readings")
        total += page.num_bytes_downloaded
        files = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text))
        assert len(files) >= 4
        for file in files:
            answer = http.get(file)
            assert "immutable" in answer.headers["cache-control"], "kept, so that later views do not fetch it"
            total += answer.num_bytes_downloaded
    assert 0 < total <= FIRST


def test_pages_are_compressed(address: str) -> None:
    answer = httpx.get(f"{address}/calls/new")
    assert answer.headers["content-encoding"] == "gzip"


def test_suspects_carry_probability_evidence_and_what_would_tell(client: Client, call: str) -> None:
    text = client.wait_for(f"{call}/suspects")
    assert "From 12 readings" in text or re.search(r"From \d+ readings", text)
    assert re.search(r"\d+ %", text)
    assert "What would tell" in text
    assert "for <span" in text


def test_the_next_check_begins_with_its_cautions(client: Client, call: str) -> None:
    text = client.wait_for(f"{call}/next")
    assert 0 <= text.index("Cautions first") < text.index("How long")
    for word in ("How", "How long", "Why"):
        assert f"<dt>{word}</dt>" in text


def test_the_ledger_is_drawn_from_the_unit_with_what_moves_and_what_should(client: Client, call: str) -> None:
    text = client.wait_for(f"{call}/ledger")
    for words in (
        "Outdoor and return air",
        "Cooling coil",
        "Reheat coil",
        "Three-way diverting valve",
        "R513A",
    ):
        assert words in text
    assert re.search(r"moves \d", text)
    assert re.search(r"should \d", text)


def test_a_line_is_shown_as_understood_before_it_is_kept(client: Client) -> None:
    client.post("/settings", person="Ann", device="bench", units="ip")
    call = client.open_call()
    line = "supply 58 and a half, return 71 and 48 percent, valve signal 4.4 volts, water into the coil 104"
    shown = client.post(f"{call}/understand", line=line)
    fields = dict(re.findall(r'name="([ruh]\d+)" value="([^"]+)" checked', shown))
    assert list(fields.values()) == [
        "supply.t|58.5 degF",
        "return.t|71 degF",
        "return.rh|48 %",
        "reheat.signal|4.4 V",
        "reheat.water_in|104 degF",
    ]
    assert "58.5&nbsp;°F" not in client.get(call), "not kept yet"
    client.post(f"{call}/readings", **fields)
    assert "58.5&nbsp;°F" in client.get(call)


def test_the_same_form_sent_twice_is_kept_once(client: Client) -> None:
    call = client.open_call()
    sent = {"point": "supply.t", "value": "58.5 degF", "id": "01a213b6-f0b7-74a4-808e-82f566ac1f9b"}
    client.post(f"{call}/tapped", **sent)
    client.post(f"{call}/tapped", **sent)
    assert client.get(call).count("supply air behind fan") == 2  # the line, and the name of its button


def test_a_slip_is_told_at_the_top_and_linked_to_its_field(client: Client) -> None:
    call = client.open_call()
    text = client.post(f"{call}/tapped", status=422, point="supply.t", value="585 degF")
    assert text.index("To mend") < text.index("Say or write")
    assert 'href="#f-v-supply.t"' in text
    assert 'id="f-v-supply.t"' in text


def test_a_change_is_noted_and_leads_to_the_wait(client: Client, call: str) -> None:
    text = client.post(f"{call}/change", cause="bypass-shut", text="opened the balancing valve")
    assert client.seen[-1].endswith("/wait")
    assert "Wait" in text


def test_what_is_assumed_of_the_unit_is_said(client: Client) -> None:
    client.post("/calls/new", complaint="fog", unit="new", name="Small hall", airflow="5000 cfm")
    call = client.seen[-1].removesuffix("/readings")
    text = client.get(f"{call}/unit")
    assert re.search(r"<b>\d+ of \d+</b> values are assumed", text)
    assert 'placeholder="' in text
    text = client.post(f"{call}/unit", **_as_given(text), **{"air.filter_drop": "0.5 inWC"})
    assert 'value="0.5 inWC"' in text
    text = client.post(f"{call}/unit", status=422, **_as_given(text) | {"air.filter_drop": "0.5"})
    assert 'href="#f-air.filter_drop"' in text


def _as_given(text: str) -> dict[str, str]:
    fields = dict(re.findall(r'name="([a-z_.0-9]+)" value="([^"]+)" placeholder', text))
    for name, body in re.findall(r'<select id="[^"]+" name="([a-z_.0-9]+)"[^>]*>(.*?)</select>', text, re.S):
        chosen = re.search(r'value="([^"]+)" selected', body)
        if chosen:
            fields[name] = chosen[1]
    return fields


def test_both_unit_systems(client: Client, call: str) -> None:
    client.post("/settings", person="Ann", device="bench", units="ip")
    assert "°F" in client.wait_for(f"{call}/readings?part=points")
    client.post("/settings", person="Ann", device="bench", units="si")
    part = client.wait_for(f"{call}/readings?part=points")
    assert "°F" not in re.sub(r"<option.*?</option>", "", part)


def test_what_was_written_says_who_wrote_it(client: Client) -> None:
    call = client.open_call()
    client.post("/settings", person="Ann Orlow", device="bench", units="")
    client.post(f"{call}/notes", text="cover screw missing")
    text = client.get(call)
    assert re.search(r"cover screw missing.*?Ann Orlow", text, re.S)


def test_a_line_taken_back_stays_in_the_record_struck_out(client: Client) -> None:
    call = client.open_call()
    client.post(f"{call}/notes", text="wrong unit")
    event = re.search(rf"{call}/withdraw/([0-9a-f-]+)", client.get(call))
    assert event is not None
    text = client.post(f"{call}/withdraw/{event[1]}")
    assert "<s>wrong unit</s>" in text


def test_a_call_sent_twice_is_one_and_the_page_filled_in_anew_is_another(client: Client) -> None:
    sent = {"complaint": "Drips on the boards.", "unit": "new", "id": "019aa000-0000-7000-8000-000000000001"}
    files = {"document": ("unit.yaml", (DEMO / "unit.yaml").read_bytes())}
    for complaint in (sent["complaint"], sent["complaint"], "Another hall."):
        client.post("/calls/new", files=files, **{**sent, "complaint": complaint})
    first, second, third = client.seen[-3:]
    assert first == second
    assert third != first
    assert "Another hall." in client.get(third.removesuffix("/readings"))
