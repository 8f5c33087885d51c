"""Pictures of every page for docs/app.md, on a phone of 390 x 844 points, from the demo's invented ice hall.

Run after a change that shows: .venv/bin/python scripts/make_screenshots.py; names after it make those alone.
The same data, the same clock on server and phone, and the same code to pair: the same pages give the same
pictures.
"""

from __future__ import annotations

import contextlib
import socket
import struct
import sys
import tempfile
import threading
import time
import zlib
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

import numpy as np
import uvicorn
from numpy.typing import NDArray
from playwright.sync_api import BrowserContext, Page
from starlette.applications import Starlette

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from motion_cases import UNITS, machine, nominal  # noqa: E402
from motion_trends import loads_of, made, weather_of  # noqa: E402
from proof_samples import in_per_cent, written  # noqa: E402
from shelf_samples import manual  # noqa: E402
from test_trends_cli import write  # noqa: E402
from web.browsing import browser, phone, settled, until  # noqa: E402
from web.client import Client, demo_events  # noqa: E402
from web.server import DEMO  # noqa: E402
from wringout.machine.motion import Alter  # noqa: E402
from wringout.records import store as records_store  # noqa: E402
from wringout.records.store import open_store  # noqa: E402
from wringout.shelf.shelf import open_shelf  # noqa: E402
from wringout.trends.table import TrendTable  # noqa: E402
from wringout.web import desk, work_pages  # noqa: E402
from wringout.web.app import create_app  # noqa: E402

OUT = ROOT / "docs" / "pictures" / "app"
DAY = datetime(2029, 8, 21)
CODE = "40718263"
WIRE = "W9"  # in the invented manual
PORT = 8734  # it stands in the picture of pairing
LINE = "supply 64 and a half F, return 57 and 69 percent, valve signal 5.27 volts, reheat 40"
COLOURS = 64  # paper, ink, and what lies between them at the edge of a letter


class Clock(datetime):
    """The time of the pictures, for the server."""

    at = DAY

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
        """The time that was set."""
        return cls.at if tz is None else cls.at.replace(tzinfo=UTC)


def clock(hour: int, minute: int) -> None:
    """Set the time of the pictures."""
    Clock.at = DAY.replace(hour=hour, minute=minute)


@contextlib.contextmanager
def serving(app: Starlette, port: int = 0) -> Iterator[str]:
    """Serve an app from this process, whose clock stands; its address."""
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listening.bind(("127.0.0.1", port))
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
    thread.start()
    try:
        while not server.started:
            time.sleep(0.05)
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join()


# ---------------------------------------------------------------------------------- pictures


def smaller(data: bytes) -> bytes:
    """The same picture with few colours, so that many of them fit into a repository."""
    image = _decoded(data)
    coarse = (image >> 3).astype(np.int64)
    keys = (coarse[..., 0] << 10) | (coarse[..., 1] << 5) | coarse[..., 2]
    found, counts = np.unique(keys, return_counts=True)
    channels = np.stack([found >> 10, (found >> 5) & 31, found & 31])
    worth = counts * (1 + np.ptp(channels, axis=0) ** 2)  # a mark is small and in colour, letters are neither
    kept = found[np.argsort(-worth, kind="stable")[:COLOURS]]
    flat, flat_keys = image.reshape(-1, 3).astype(float), keys.ravel()
    palette = np.array([np.round(flat[flat_keys == key].mean(axis=0)) for key in kept])
    centres = np.stack([found >> 10, (found >> 5) & 31, found & 31], axis=1) * 8.0 + 4.0
    nearest = np.array(
        [np.argmin(((palette - centre) ** 2).sum(axis=1)) for centre in centres], dtype=np.uint8
    )
    indices = nearest[np.searchsorted(found, keys)]
    height, width = indices.shape
    lines = np.zeros((height, 1 + width), dtype=np.uint8)
    lines[:, 1:] = indices
    head = struct.pack(">IIBBBBB", width, height, 8, 3, 0, 0, 0)
    chunks = (
        (b"IHDR", head),
        (b"PLTE", palette.astype(np.uint8).tobytes()),
        (b"IDAT", zlib.compress(lines.tobytes(), 9)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in chunks
    )


def _decoded(data: bytes) -> NDArray[np.uint8]:
    """Red, green, blue of a PNG of 8 bits as browsers write them (ISO/IEC 15948, filters of clause 9)."""
    width, height, _, kind = struct.unpack(">IIBB", data[16:26])
    channels = {2: 3, 6: 4}[kind]
    at, body = 8, b""
    while at < len(data):
        length = struct.unpack(">I", data[at : at + 4])[0]
        if data[at + 4 : at + 8] == b"IDAT":
            body += data[at + 8 : at + 8 + length]
        at += 12 + length
    raw = np.frombuffer(zlib.decompress(body), dtype=np.uint8).reshape(height, 1 + channels * width)
    image = np.zeros((height, width * channels), dtype=np.int64)
    above = np.zeros(width * channels, dtype=np.int64)
    for row in range(height):
        filtered, line = int(raw[row, 0]), raw[row, 1:].astype(np.int64)
        if filtered == 2:
            line = (line + above) & 255
        elif filtered:
            for k in range(len(line)):
                left = int(line[k - channels]) if k >= channels else 0
                up, corner = int(above[k]), int(above[k - channels]) if k >= channels else 0
                line[k] = (int(line[k]) + _guess(filtered, left, up, corner)) & 255
        image[row] = above = line
    return image.reshape(height, width, channels)[..., :3].astype(np.uint8)


def _guess(filtered: int, left: int, up: int, corner: int) -> int:
    if filtered == 1:
        return left
    if filtered == 3:
        return (left + up) // 2
    estimate = left + up - corner
    return min((left, up, corner), key=lambda one: abs(estimate - one))


# ---------------------------------------------------------------------------------- what is shown


class Album:
    """Takes the pictures that are asked for."""

    def __init__(self, context: BrowserContext, only: set[str], ending: str = "") -> None:
        self.page: Page = context.new_page()
        self.only, self.ending = only, ending

    def take(
        self,
        name: str,
        path: str,
        down: str = "",
        before: Callable[[Page], None] | None = None,
        more: int = -12,
    ) -> None:
        """One picture: a page, what is done on it first, what is brought to its top, and points beyond."""
        if self.only and name + self.ending not in self.only:
            return
        page = self.page
        page.clock.set_fixed_time(Clock.at)
        page.goto(path)
        settled(page)
        if before is not None:
            before(page)
            settled(page)
        # how long the weighing took is another machine's business
        page.evaluate(
            "for (const c of document.querySelectorAll('table.sets caption'))"
            " c.textContent = c.textContent.replace(/, in [0-9.]+ s/, '')"
        )
        page.evaluate("document.activeElement.blur()")
        to = (
            f"document.querySelector({down!r}).getBoundingClientRect().top + scrollY + {more}"
            if down
            else "0"
        )
        page.evaluate(f"scrollTo(0, {to})")
        page.wait_for_timeout(250)
        (OUT / f"{name}{self.ending}.png").write_bytes(smaller(page.screenshot()))


def understood(page: Page) -> None:
    """A line is said."""
    page.get_by_label("Say or write what you read").fill(LINE)
    page.get_by_role("button", name="Understand").tap()
    page.get_by_role("heading", name="As understood").wait_for()


def unsent(page: Page) -> None:
    """A note is written where there is no connection."""
    page.route("**/notes", lambda route: route.abort())
    page.get_by_label("What should be remembered").fill("bypass handle stands across the pipe")
    page.get_by_role("button", name="Keep the note").tap()
    until(page, "!document.getElementById('queue').hidden")


def drawn(page: Page) -> None:
    """The plots of a log are there."""
    until(page, "document.querySelectorAll('#plots canvas').length > 0")


def first_column(page: Page) -> None:
    """What the first column of a log is, and why it was taken for that."""
    page.locator("summary").first.tap()


def two_devices(app: Starlette) -> list[tuple[str, str]]:
    """A phone and the machine in the van, paired; cookies of the phone."""
    devices = app.state.shared.devices
    for person, name in (("Bo Tarn", "van machine"), ("Ann Orlow", "phone")):
        token = devices.pair(devices.code(), person=person, device=name)
    devices.name(token, person="Ann Orlow", device="phone", units="ip")
    devices._code, devices._made = CODE, time.monotonic()
    return [("wringout", token)]


def filled(client: Client, folder: Path) -> tuple[str, str, str]:
    """A call with readings and a log, and a call on a unit that was told in few words."""
    client.post("/settings", person="Ann Orlow", device="phone", units="ip")
    clock(9, 40)
    client.post(
        "/calls/new",
        complaint="Windows wet every morning.",
        unit="new",
        name="Small hall",
        airflow="5000 cfm",
    )
    other = client.seen[-1].removesuffix("/readings")
    clock(14, 55)
    call = client.open_call("Cold fog over the ice from noon on; the boards drip.")
    events = demo_events("call-5.yaml")
    client.read(call, events[:-1])
    client.wait_for(f"{call}/suspects")
    client.read(call, events[-1:])
    client.post(f"{call}/notes", text="cover screw of the coil panel is missing", at="2029-08-21T14:40:00")
    log = write(hall(DAY - timedelta(days=2), 2.6), folder / "log.csv").read_bytes()
    client.post(f"{call}/trends", files={"file": ("hall-log.csv", log, "text/csv")}, at="2029-08-21T14:10:00")
    return call, other, client.seen[-1]


def hall(first: datetime, days: float, mended: datetime | None = None) -> TrendTable:
    """A log of the demo's ice hall, its bypass shut by hand until it is mended."""
    UNITS["hall"] = (DEMO / "unit.yaml").read_text(encoding="utf-8")
    d, first = machine("hall"), first.replace(tzinfo=UTC)
    events = [] if mended is None else [Alter((mended - first).total_seconds(), nominal(d))]
    shut, weather = [("bypass-shut", 0.5)], weather_of(d, days)
    return made("hall", shut, days, weather, loads_of(days), events, start=first.timestamp())


def proven(client: Client, call: str, folder: Path) -> None:
    """The bypass is opened, and four days later a log of six is taken in."""
    first = datetime(2029, 8, 20, tzinfo=UTC)
    repair = first.replace(day=21, hour=15, minute=13)
    written(folder, in_per_cent(hall(first, 6.0, repair)))
    Clock.at = datetime(2029, 8, 26, 9, 5)
    words = "opened the bypass leg's balancing valve to its mark"
    client.post(f"{call}/change", cause="bypass-shut", text=words, at=f"{repair:%Y-%m-%dT%H:%M:%S}")
    log = (folder / "log.csv").read_bytes()
    client.post(f"{call}/trends", files={"file": ("hall-six-days.csv", log, "text/csv")})
    client.wait_for(f"{call}/proof")


def filled_shelf(folder: Path) -> Path:
    """A shelf with the invented manual."""
    (folder / "air-handler.pdf").write_bytes(manual(30))
    with open_shelf(folder / "shelf.sqlite") as shelf:
        shelf.add(folder / "air-handler.pdf", "Rink air handler")
    return folder / "shelf.sqlite"


def first_hit(page: Page) -> None:
    """The page of what was found first."""
    page.locator("ul.cards a").first.tap()
    until(page, "document.querySelector('.sheet img')?.naturalWidth > 0")


def main() -> None:
    """Serve a record, fill it, and take the pictures, light and dark."""
    only = set(sys.argv[1:])
    OUT.mkdir(parents=True, exist_ok=True)
    for module in (desk, work_pages, records_store):
        module.datetime = Clock  # type: ignore[attr-defined]
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        store = stack.enter_context(open_store(folder / "record.sqlite"))
        shelf = filled_shelf(folder)
        address = stack.enter_context(serving(create_app(store, shelf=shelf)))
        client = stack.enter_context(Client(address))
        call, other, trend = filled(client, folder)
        for path in (f"{call}/suspects", f"{call}/ledger", trend):
            client.wait_for(path)
        made = stack.enter_context(browser())
        cookies = [(c.name, c.value or "") for c in client.http.cookies.jar]

        def album(scheme: str, at: str, known: list[tuple[str, str]], ending: str = "") -> Album:
            options = {"color_scheme": scheme, "service_workers": "block", "timezone_id": "UTC"}
            context = phone(made, at, device_scale_factor=1.25, **options)
            context.add_cookies([{"name": n, "value": v, "url": at} for n, v in known])  # type: ignore[misc]
            return Album(context, only, ending)

        light = album("light", address, cookies)
        for name, path in (("calls", "/"), ("new", "/calls/new"), ("settings", "/settings")):
            light.take(name, path)
        for name in ("", "readings", "next", "suspects", "ledger", "chart", "change"):
            light.take(name or "call", f"{call}/{name}".rstrip("/"))
        light.take("understood", f"{call}/readings", before=understood)
        light.take("points", f"{call}/readings", down="#work .group:nth-of-type(3)")
        light.take("evidence", f"{call}/suspects", down=".suspect")
        light.take("ledger-water", f"{call}/ledger", down="svg.drawing", more=480)
        light.take("unit", f"{other}/unit")
        light.take("history", f"{call}/history")
        light.take("manuals", f"{call}/manuals?q={WIRE}")
        light.take("manual", f"{call}/manuals?q={WIRE}", before=first_hit)
        light.take("trend", trend, before=drawn)
        light.take("trend-plots", trend, down="#plots", before=drawn)
        light.take("columns", f"{trend}/columns", before=first_column)
        dark = album("dark", address, cookies, "-dark")
        for name in ("readings", "suspects", "ledger"):
            dark.take(name, f"{call}/{name}")
        dark.take("columns", f"{trend}/columns", before=first_column)
        album("light", address, cookies).take("unsent", call, before=unsent)
        clock(15, 3)
        client.post(f"{call}/force", item="reheat.command", hold="0 %", at="2029-08-21T15:00:00")
        client.wait_for(f"{call}/wait")
        light.take("wait", f"{call}/wait")
        proven(client, call, folder)
        light.take("proof", f"{call}/proof")
        light.take("proof-open", f"{call}/proof", down="main .group")
        light.take("proof-before", f"{call}/proof?log=")
        clock(15, 3)
        lan = create_app(
            store, devices=folder / "devices.json", lan=True, addresses=("192.0.2.7",), authority=b"-"
        )
        there = stack.enter_context(serving(lan, PORT))
        paired = album("light", there, two_devices(lan))
        paired.take("devices", "/devices")
        paired.take("trust", "/trust")
        album("light", there, []).take("pair", f"/pair?code={CODE}")


if __name__ == "__main__":
    main()
