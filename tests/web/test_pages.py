"""Pages without a script: each is whole, labelled, light, and leads nowhere off this host; every task can be
finished on them."""

from __future__ import annotations

import asyncio
import re
from pathlib import Path

import httpx
import pytest
from starlette.applications import Starlette

from web.at_once import Counting
from web.client import FIRST, PAGES, Client, demo_events, first_view
from web.server import DEMO
from wringout.catalogue.calls import vocabulary
from wringout.records.from_documents import events_of_document
from wringout.records.store import Store, open_store
from wringout.web.app import create_app
from wringout.web.desk import following_id


@pytest.fixture(scope="module")
def call(address: str) -> str:
    """A call with the walk-up readings of the demo."""
    with Client(address) as client:
        made = client.open_call()
        client.read(made, demo_events())
    return made


def ask(app: Starlette, path: str) -> str:
    """A page of the app as it is, without a server around it."""

    async def go() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://localhost") as http:
            return await http.get(path)

    answer = asyncio.run(go())
    assert answer.status_code == 200, answer.text
    return answer.text


@pytest.mark.parametrize("page", PAGES)
def test_every_page_of_a_call_is_whole(client: Client, call: str, page: str) -> None:
    client.get(call + page)


@pytest.mark.parametrize("page", ["/", "/calls/new", "/settings", "/devices", "/pair", "/trust", "/offline"])
def test_every_other_page_is_whole(client: Client, page: str) -> None:
    client.get(page)


@pytest.mark.parametrize("page", PAGES)
def test_a_first_view_with_all_its_files_stays_under_150_kilobytes(
    address: str, call: str, page: str
) -> None:
    assert 0 < first_view(address, call + page) <= FIRST


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


def test_the_history_of_a_unit_tells_earlier_visits_and_what_differs(client: Client) -> None:
    first = client.open_call("Fog again.")
    client.read(first, demo_events())
    assert "first visit in the record" in client.wait_for(f"{first}/history")
    # a new unit's identifier follows that of the call it was described in
    client.post(
        "/calls/new", complaint="Fog for the third year.", unit=following_id(first.rsplit("/", 1)[1], 1)
    )
    call = client.seen[-1].removesuffix("/readings")
    later = [event | {"at": event["at"].replace("2029", "2030")} for event in demo_events()]
    for event in later:
        if event.get("point") == "shown.setpoint_dew_point":
            event["value"] = "4.0 degC"
    client.read(call, later)
    text = client.wait_for(f"{call}/history")
    assert "Found otherwise than left on 2029-08-21" in text
    assert "was left at" in text
    assert text.index("Fog for the third year.") < text.index("Fog again.")


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


def test_what_is_set_aside_stays_in_the_time_line_with_the_reason(client: Client) -> None:
    call = client.open_call()
    for minute, item, to in ((0, "reheat.command", "0 %"), (5, "cooling.call", "100 %")):
        sent = {"kind": "force", "at": f"2027-08-21T15:0{minute}:00", "item": item, "to": to}
        assert client.http.post(f"/api{call}/events", json=sent).status_code == 201
    text = client.get(call)
    assert re.search(
        r"Cooling call held at.*?set aside: another item was still held at that time", text, re.S
    )
    assert "another item" not in text[: text.index("Cooling call held at")], "the first stands"


def test_a_call_from_a_document_does_not_name_the_document_as_its_writer(tmp_path: Path) -> None:
    with open_store(tmp_path / "record.sqlite") as store:
        read = events_of_document(DEMO / "call-1-walk-up.yaml", vocabulary())
        store.append(read.events)
        app = create_app(store)
        pages = [ask(app, path) for path in ("/", f"/calls/{read.call_id}")]
    for text in pages:
        assert "writer not stated" in text
        assert not re.search(r"<small>\s*document", text)
        assert ", document" not in text


def test_a_unit_s_form_changes_what_was_written_and_leaves_what_others_wrote(client: Client) -> None:
    call = client.open_call()
    shown = client.get(f"{call}/unit")
    fields = _as_given(shown)
    base = re.search(r'name="base" value="([^"]+)"', shown)
    assert base is not None
    # one device writes a filter, another, that still shows the form of before, a speed and an older clock
    client.post(f"{call}/unit", **fields | {"base": base[1], "air.filter_drop": "111 Pa"})
    late = fields | {
        "base": base[1],
        "air.supply_fan.speed": "47 Hz",
        "id": "01801111-0000-7000-8000-000000000001",
    }
    for _ in range(2):  # and the answer to the second got lost
        text = client.post(f"{call}/unit", **late)
    assert 'value="111 Pa"' in text
    assert 'value="47 Hz"' in text
    assert "Kept." in text


def test_a_difference_of_temperatures_is_written_in_plain_degrees(client: Client) -> None:
    call = client.open_call()
    shown = client.get(f"{call}/unit")
    assert "delta_" not in re.sub(r"<option.*?</option>", "", shown)
    text = client.post(f"{call}/unit", **_as_given(shown) | {"air.supply_fan.heat_rise": "2.5 °F"})
    assert 'value="2.5 °F"' in text
    document = client.http.get(f"/api{call}").json()
    assert document["unit"]["air"]["supply_fan"]["heat_rise"] == "2.5 delta_degF"


def test_the_next_check_counts_the_wait_for_a_state_that_is_not_held(client: Client, call: str) -> None:
    text = client.wait_for(f"{call}/next")
    for entry in re.findall(r"<small>(with the [^<]*)</small>", text):
        minutes = re.search(r"(\d+) min", entry)
        assert minutes is not None
        assert int(minutes[1]) > 15, entry
    client.post(f"{call}/force", item="cooling.call", hold="100 %")
    text = client.wait_for(f"{call}/next")
    own = text[: text.index("Instead")]
    minutes = re.search(r"<dt>How long</dt><dd>(\d+) min", own)
    assert minutes is not None
    assert int(minutes[1]) > 15, "held a moment ago, or another state is to be held: either way a wait"
    assert "the wait in it" in own
    client.post(f"{call}/force", item="cooling.call", hold="")


def test_a_clear_line_is_weighed_while_it_is_looked_at_and_a_note_begins_no_work(tmp_path: Path) -> None:
    async def go(store: Store) -> None:
        weigher = Counting()
        transport = httpx.ASGITransport(create_app(store, weigher=weigher))
        async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as http:
            unit = (DEMO / "unit.yaml").read_text(encoding="utf-8")
            made = await http.post("/api/calls", json={"complaint": "fog", "unit": unit})
            call = f"/calls/{made.json()['id']}"
            found = re.search(r'name="csrf" content="([^"]+)"', (await http.get(call)).text)
            assert found is not None
            own = {"csrf": found[1], "at": "2027-08-21T15:00:00"}
            before = len(weigher.begun)
            shown = await http.post(f"{call}/understand", data={**own, "line": "supply 18 C and 42 percent"})
            assert weigher.begun[before:] == ["weigh"], "while it is looked at"
            fields = dict(re.findall(r'name="(r\d+)" value="([^"]+)" checked', shown.text))
            assert len(fields) == 2
            kept = await http.post(f"{call}/readings", data={**own, **fields})
            assert kept.status_code == 303
            assert weigher.begun[before:] == ["weigh", "book"], "that very work is what is waited for"
            await http.post(f"{call}/notes", data={**own, "text": "the cover screw is missing"})
            assert weigher.begun[before:] == ["weigh", "book"]
            await http.post(f"{call}/tapped", data={**own, "point": "return.t", "value": "14 degC"})
            assert weigher.begun[before:] == ["weigh", "book", "book", "weigh"]

    with open_store(tmp_path / "record.sqlite") as store:
        asyncio.run(go(store))


def test_what_cannot_be_read_is_noted_at_its_point_with_a_thumb(client: Client) -> None:
    call = client.open_call()
    client.post(f"{call}/tapped", point="loop.flow", value="", unit="gpm", unreadable="yes")
    assert "Not readable: flow in the loop" in client.get(call)
    assert "Write the value" in client.post(
        f"{call}/tapped", status=422, point="loop.flow", value="", unit="gpm"
    )


def test_several_technicians_write_in_one_call_and_each_line_names_its_own(address: str) -> None:
    with Client(address) as ann, Client(address) as bo:
        ann.post("/settings", person="Ann Orlow", device="phone", units="ip")
        bo.post("/settings", person="Bo Tarn", device="tablet", units="si")
        call = ann.open_call()
        ann.post(f"{call}/tapped", point="supply.t", value="64.5 degF")
        bo.get("/")
        bo.post(f"{call}/tapped", point="return.t", value="14 degC")
        text = ann.get(call)
        assert "With Ann Orlow, Bo Tarn." in text
        assert re.search(r"64.5&nbsp;°F</b>\s*<small>Ann Orlow", text)
        assert re.search(r"57.2&nbsp;°F</b>\s*<small>written 14&nbsp;°C, Bo Tarn", text), "in Ann's units"
        assert "14&nbsp;°C</b>" in bo.get(call)
