"""The JSON API: its description, and no server error whatever is sent."""

from __future__ import annotations

import warnings

import httpx
import pytest

from web.server import DEMO

with warnings.catch_warnings():
    # what its dependencies say of each other on import is not ours
    warnings.simplefilter("ignore")
    import schemathesis
    from hypothesis import HealthCheck, settings

from wringout.web.openapi import description

ID = "01a213b6-f0b7-74a4-808e-82f566ac1f01"
SCHEMA = schemathesis.openapi.from_dict(description())


@pytest.fixture(scope="module")
def call(address: str) -> str:
    made = httpx.post(
        f"{address}/api/calls",
        json={"complaint": "fog", "unit": (DEMO / "unit.yaml").read_text(encoding="utf-8")},
    )
    assert made.status_code == 201, made.text
    return str(made.json()["id"])


@SCHEMA.parametrize()
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_request_is_a_server_error(case: schemathesis.Case, address: str, call: str) -> None:
    if "call" in case.path_parameters and case.path_parameters["call"].__hash__():
        known = dict(case.path_parameters) | {"call": call}
        case.path_parameters = known
    answer = case.call(base_url=address, timeout=60)
    assert answer.status_code < 500, answer.text
    assert answer.headers["content-type"][0].startswith("application/json") or answer.status_code == 404


def test_the_description_names_every_address(address: str) -> None:
    from wringout.web.api import routes

    told = description()["paths"]
    for route in routes():
        if route.path != "/api/openapi.json":
            methods = {m.lower() for m in (route.methods or ()) if m != "HEAD"}
            assert methods <= set(told[route.path]), route.path
    assert httpx.get(f"{address}/api/openapi.json").json() == description()


def test_a_call_by_the_api(address: str, call: str) -> None:
    with httpx.Client(base_url=f"{address}/api/calls/{call}", timeout=90) as http:
        sent = {
            "kind": "reading",
            "point": "supply.t",
            "value": "18 degC",
            "id": "01a213b6-f0b7-74a4-808e-82f566ac1f01",
        }
        assert http.post("/events", json=sent).status_code == 201
        assert http.post("/events", json=sent).json()["new"] is False
        wrong = http.post("/events", json={"kind": "reading", "point": "supply.t", "value": "18"})
        assert wrong.status_code == 422
        assert "bare number" in wrong.json()["error"]
        assert (
            http.post("/understand", json={"line": "return 14 C"}).json()["readings"][0]["point"]
            == "return.t"
        )
        document = httpx.get(f"{address}/api/calls/{call}").json()
        assert document["format"] == "wringout-call/1"
        weighed = http.get("/weigh").json()
        assert weighed["format"] == "wringout-weighing/1"
        assert 0.0 <= weighed["healthy"] <= 1.0
        assert http.get("/ledger").json()["format"] == "wringout-ledger/1"
    missed = httpx.get(f"{address}/api/sync", params={"limit": "5"}).json()
    assert missed["events"]
    assert missed["cursor"]


def test_the_api_takes_nothing_that_a_foreign_page_could_send(address: str, call: str) -> None:
    form = httpx.post(f"{address}/api/calls/{call}/events", data={"kind": "note"})
    assert form.status_code == 415
    foreign = httpx.post(
        f"{address}/api/calls/{call}/events",
        json={"kind": "note", "text": "x"},
        headers={"origin": "https://example.org"},
    )
    assert foreign.status_code == 403


def test_a_call_opened_twice_under_its_own_identifier_is_one(address: str) -> None:
    made = "019aa000-1111-7000-8000-0000000000a1"
    sent = {"complaint": "fog", "unit": (DEMO / "unit.yaml").read_text(encoding="utf-8"), "id": made}

    def ours() -> list[str]:
        return [c["id"] for c in httpx.get(f"{address}/api/calls").json()["calls"] if c["id"] == made]

    first, again = (httpx.post(f"{address}/api/calls", json=sent) for _ in range(2))
    assert (first.status_code, first.json()) == (201, {"id": made, "new": True})
    assert (again.status_code, again.json()) == (200, {"id": made, "new": False})
    assert ours() == [made]
    other = httpx.post(f"{address}/api/calls", json={**sent, "complaint": "another hall"})
    assert other.status_code == 422
    assert "make a new one" in other.json()["error"]
    assert httpx.post(f"{address}/api/calls", json={**sent, "id": "17"}).status_code == 422
    assert ours() == [made]
