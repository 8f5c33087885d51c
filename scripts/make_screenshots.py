"""Pictures of every page for docs/app.md, on a phone of 390 x 844 points, from the demo's invented ice hall.

Run after a change that shows: .venv/bin/python scripts/make_screenshots.py
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from web.browsing import browser, phone, settled  # noqa: E402
from web.client import Client, demo_events  # noqa: E402
from web.server import served  # noqa: E402

OUT = ROOT / "docs" / "pictures" / "app"
LINE = "supply 64 and a half F, return 57 and 69 percent, valve signal 5.27 volts, reheat 40"
# name -> path behind the call, what is opened first, how far down
PAGES = (
    ("call", "", 0),
    ("readings", "/readings", 0),
    ("points", "/readings", 560),
    ("next", "/next", 0),
    ("suspects", "/suspects", 0),
    ("evidence", "/suspects", 620),
    ("ledger", "/ledger", 0),
    ("ledger-water", "/ledger", 620),
    ("chart", "/chart", 0),
    ("change", "/change", 0),
    ("wait", "/wait", 0),
    ("unit", "/unit", 0),
)


def main() -> None:
    """Serve a record, fill it, and take the pictures, light and dark."""
    only = set(sys.argv[1:])
    OUT.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as address:
        with Client(address) as client:
            client.post("/settings", person="Ann Orlow", device="bench", units="ip")
            call = client.open_call("Cold fog over the ice from noon on; the boards drip.")
            events = demo_events("call-4.yaml")
            client.read(call, events)
            last = events[-1]["at"][:11]
            for at, held in ((f"{last}15:00:00", "0 %"), (f"{last}15:25:00", "")):
                client.post(f"{call}/force", item="reheat.command", hold=held, at=at)
            cookies = [
                {"name": c.name, "value": c.value or "", "url": address} for c in client.http.cookies.jar
            ]
            for path in ("/suspects", "/ledger", "/wait"):
                client.wait_for(call + path)
        with browser() as made:
            for scheme in ("light", "dark"):
                context = phone(
                    made, address, color_scheme=scheme, device_scale_factor=1.05, service_workers="block"
                )
                context.add_cookies(cookies)  # type: ignore[arg-type]
                page = context.new_page()
                for name, path, down in (("calls", "", 0), ("new", "", 0), ("understood", "", 0), *PAGES):
                    if (only and name not in only) or (scheme == "dark" and name != "readings"):
                        continue
                    page.goto({"calls": "/", "new": "/calls/new"}.get(name, call + path))
                    if name == "understood":
                        page.goto(f"{call}/readings")
                        page.get_by_label("Say or write what you read").fill(LINE)
                        page.get_by_role("button", name="Understand").tap()
                        page.get_by_role("heading", name="As understood").wait_for()
                    settled(page)
                    page.evaluate(f"scrollTo(0, {down})")
                    page.wait_for_timeout(150)
                    ending = "" if scheme == "light" else "-dark"
                    page.screenshot(path=str(OUT / f"{name}{ending}.png"))
                context.close()


if __name__ == "__main__":
    main()
