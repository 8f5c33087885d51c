"""Doors: which hosts and devices may come in, forms that are ours, headers, TLS of the server's own, uploads
within bounds, and how the browser of these tests is had."""

from __future__ import annotations

import asyncio
import contextlib
import re
import shutil
import ssl
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from starlette.applications import Starlette

from web.client import Client, Page
from web.server import served
from wringout.records.store import Store, open_store
from wringout.web.app import create_app
from wringout.web.authority import certificates
from wringout.web.devices import MOST_WRONG, Devices
from wringout.web.qr import qr_text

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "record.sqlite") as made:
        yield made


@pytest.fixture
def lan(store: Store, tmp_path: Path) -> Starlette:
    """The app as it stands on a network, without a server around it."""
    return create_app(store, devices=tmp_path / "devices.json", lan=True, addresses=("192.0.2.7",))


def ask(app: Starlette, method: str, path: str, host: str = "192.0.2.7", **more: Any) -> httpx.Response:
    async def go() -> httpx.Response:
        transport = httpx.ASGITransport(app)
        async with httpx.AsyncClient(transport=transport, base_url=f"https://{host}") as http:
            return await http.request(method, path, **more)

    return asyncio.run(go())


def form(answer: httpx.Response, **fields: str) -> dict[str, Any]:
    token = re.search(r'name="csrf" content="([^"]+)"', answer.text)
    assert token is not None
    cookie = answer.headers.get("set-cookie", "").partition(";")[0]
    return {"data": {"csrf": token[1], **fields}, "headers": {"cookie": cookie}}


def paired(app: Starlette, code: str) -> httpx.Response:
    page = ask(app, "GET", "/pair")
    return ask(app, "POST", "/pair", **form(page, code=code, person="Ann", device="phone"))


def test_a_device_that_is_not_paired_sees_the_pairing_page_alone(lan: Starlette) -> None:
    for path in ("/", "/calls/new", "/settings", "/devices", "/attachments/" + "0" * 64):
        answer = ask(lan, "GET", path)
        assert (answer.status_code, answer.headers.get("location")) == (303, "/pair"), path
    assert ask(lan, "GET", "/api/calls").status_code == 401
    for path in ("/pair", "/trust", "/manifest.webmanifest", "/sw.js"):
        assert ask(lan, "GET", path).status_code == 200, path


def test_a_code_lets_one_device_in_and_the_device_can_be_shut_out(lan: Starlette) -> None:
    devices: Devices = lan.state.shared.devices
    code = devices.code()
    answer = paired(lan, code)
    assert answer.status_code == 303
    cookie = answer.headers["set-cookie"]
    for flag in ("HttpOnly", "SameSite=Lax", "Secure", "Path=/"):
        assert flag in cookie
    token = {"cookie": cookie.partition(";")[0]}
    assert ask(lan, "GET", "/", headers=token).status_code == 200
    assert paired(lan, code).status_code == 422, "the code was used"
    (device,) = devices.known.values()
    assert device.person == "Ann"
    assert devices.revoke(device.id)
    assert ask(lan, "GET", "/", headers=token).status_code == 303


def test_guessing_codes_changes_the_code(lan: Starlette) -> None:
    devices: Devices = lan.state.shared.devices
    code = devices.code()
    for _ in range(MOST_WRONG):
        assert paired(lan, "00000000" if code != "00000000" else "00000001").status_code == 422
    assert devices.code() != code


def test_sessions_outlive_the_server_and_hold_no_secret_in_plain(tmp_path: Path) -> None:
    path = tmp_path / "devices.json"
    first = Devices(path)
    token = first.pair(first.code(), person="Ann", device="phone")
    assert token is not None
    assert token not in path.read_text(encoding="utf-8")
    assert path.stat().st_mode & 0o077 == 0
    again = Devices(path)
    found = again.of(token)
    assert found is not None
    assert found.person == "Ann"


def test_a_name_of_somebody_else_s_is_not_answered(lan: Starlette) -> None:
    assert ask(lan, "GET", "/pair", host="evil.example").status_code == 421


@pytest.mark.parametrize(
    "headers", [{"origin": "https://evil.example"}, {"sec-fetch-site": "cross-site"}, {"origin": "null"}]
)
def test_a_form_from_another_site_is_not_taken(lan: Starlette, headers: dict[str, str]) -> None:
    page = ask(lan, "GET", "/pair")
    sent = form(page, code=lan.state.shared.devices.code(), person="Ann")
    sent["headers"] |= headers
    assert ask(lan, "POST", "/pair", **sent).status_code == 403
    assert not lan.state.shared.devices.known


def test_a_form_without_its_token_is_not_taken(client: Client) -> None:
    call = client.open_call()
    answer = client.http.post(f"{call}/notes", data={"text": "forged"})
    assert answer.status_code == 403
    answer = client.http.post(f"{call}/notes", data={"text": "forged", "csrf": "0" * 32})
    assert answer.status_code == 403
    assert "forged" not in client.get(call)


def test_every_answer_carries_the_policy(client: Client) -> None:
    for path in ("/", "/nothing-here", "/manifest.webmanifest", "/api/calls"):
        headers = client.http.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "http" not in policy
        assert headers["x-content-type-options"] == "nosniff"


def test_errors_are_whole_pages_without_a_traceback(client: Client) -> None:
    for path in ("/nothing", "/calls/not-an-id", "/calls/01a213b6-f0b7-74a4-808e-82f566ac1f9b/suspects"):
        answer = client.http.get(path)
        assert answer.status_code == 404, path
        assert Page(answer.text).look() == []
        assert "Traceback" not in answer.text


def test_uploads_are_told_by_their_bytes_and_bounded(client: Client) -> None:
    call = client.open_call()

    def upload(data: bytes, name: str) -> int:
        client.get(call)
        answer = client.http.post(
            f"{call}/photos",
            data={"csrf": client.token},
            files={"file": (name, data)},
            follow_redirects=False,
        )
        return answer.status_code

    assert upload(b"MZ\0\0program", "photo.jpg") == 422
    assert upload(b"", "empty.jpg") == 422
    assert upload(b"\x89PNG\r\n\x1a\n" + b"0" * 30_000_000, "large.png") == 413
    assert upload(b"\xff\xd8\xff\xe0 picture", "valve.jpg") == 303
    found = re.search(r'href="(/attachments/[0-9a-f]{64})"', client.get(call))
    assert found is not None
    answer = client.http.get(found[1])
    assert answer.headers["content-type"] == "image/jpeg"
    assert upload(b"<script>alert(1)</script>", "page.html") == 303, "text, handed over as a file"
    shown = [
        client.http.get(link) for link in re.findall(r'href="(/attachments/[0-9a-f]{64})"', client.get(call))
    ]
    for one in shown:
        if one.headers["content-type"].startswith("text/"):
            assert one.headers["content-type"].startswith("text/plain")
            assert one.headers["content-disposition"] == "attachment"


# ---------------------------------------------------------------------------------------------- TLS


def test_the_authority_is_made_once_and_signs_for_the_addresses(tmp_path: Path) -> None:
    first = certificates(tmp_path, ("192.0.2.7", "localhost"))
    again = certificates(tmp_path, ("192.0.2.7",))
    assert first.authority == again.authority
    assert first.chain.read_bytes() == again.chain.read_bytes(), "still good: not made anew"
    moved = certificates(tmp_path, ("192.0.2.9",))
    assert moved.authority == first.authority, "the phone's trust outlives a new address"
    server, authority = x509.load_pem_x509_certificates(moved.chain.read_bytes())
    server.verify_directly_issued_by(authority)
    assert authority.public_bytes(serialization.Encoding.DER) == moved.authority
    assert (server.not_valid_after_utc - server.not_valid_before_utc).days <= 398
    for key in ("authority-key.pem", "server-key.pem"):
        assert (tmp_path / key).stat().st_mode & 0o077 == 0


def test_a_phone_that_trusts_the_authority_has_a_whole_way_in(tmp_path: Path) -> None:
    with served(tmp_path, "--lan", "--host", "127.0.0.1") as address:
        assert address.startswith("https://")
        authority = httpx.get(f"{address}/authority.crt", verify=False).content
        trusting = ssl.create_default_context(cadata=authority)
        with httpx.Client(base_url=address, verify=trusting) as http:
            page = http.get("/", follow_redirects=True)
            assert str(page.url).endswith("/pair")
            assert "Code that the server shows" in page.text
        with httpx.Client(base_url=address) as http, pytest.raises(httpx.ConnectError):
            http.get("/")


def test_a_link_as_a_picture_for_a_terminal() -> None:
    text = qr_text("https://192.0.2.7:8734/pair?code=12345678")
    assert len(text.splitlines()) > 12


# ------------------------------------------------------------------------------------------ set-up


def test_without_a_browser_the_set_up_says_the_command_and_fails(tmp_path: Path) -> None:
    for tool in ("bash", "cat", "id"):
        (tmp_path / tool).symlink_to(str(shutil.which(tool)))
    done = subprocess.run(
        ["bash", str(ROOT / "scripts" / "browser.sh")],
        env={"PATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert "apt-get install -y --no-install-recommends chromium" in done.stderr


def test_a_server_that_is_ended_leaves_no_process_behind(tmp_path: Path) -> None:
    def left() -> int:
        """Processes with the home that only this server and its workers have."""
        found = 0
        for place in Path("/proc").glob("[0-9]*/environ"):
            with contextlib.suppress(OSError):
                found += f"HOME={tmp_path}\0".encode() in place.read_bytes()
        return found

    def comes(true: Callable[[], bool]) -> bool:
        """Whether it is so within half a minute: the tests may share a busy machine."""
        for _ in range(300):
            if true():
                return True
            time.sleep(0.1)
        return False

    with served(tmp_path):
        assert comes(lambda: left() >= 2), "the server and a worker"
    assert comes(lambda: left() == 0)
