"""A client as a browser without scripts would be: follows redirects, sends forms with their tokens, and looks
at every page it fetches."""

from __future__ import annotations

import re
import time
from html.parser import HTMLParser
from types import TracebackType
from typing import Any

import httpx
import yaml

from web.server import DEMO

VOID = {"area", "base", "br", "col", "hr", "img", "input", "link", "meta", "source", "wbr"}
FIRST, AFTER = 150_000, 25_000  # bytes on the wire
# of a call, behind its address
PAGES = [
    "",
    "/readings",
    "/next",
    "/suspects",
    "/ledger",
    "/chart",
    "/wait",
    "/change",
    "/unit",
    "/trends",
    "/proof",
    "/history",
    "/manuals",
    "/live",
]


class Page(HTMLParser):
    """What a page holds, as far as every page must hold it."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.stack: list[str] = []
        self.faults: list[str] = []
        self.ids: list[str] = []
        self.h1: list[str] = []
        self.title = ""
        self.labels: set[str] = set()
        self.fields: list[dict[str, str]] = []
        self.links: list[str] = []
        self.words: list[str] = []
        self.feed(text)
        if self.stack:
            self.faults.append(f"not closed: {self.stack}")

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if "id" in given:
            self.ids.append(given["id"])
        if "style" in given or any(name.startswith("on") for name in given):
            self.faults.append(f"<{tag}> holds style or script: {given}")
        if tag == "label":
            self.labels.add(given.get("for", ""))
        if tag in ("input", "select", "textarea") and given.get("type") != "hidden":
            self.fields.append({"tag": tag, "in_label": str("label" in self.stack), **given})
        self.links += [given[name] for name in ("href", "src", "action", "hx-get") if name in given]
        if tag == "button" and not given.get("aria-label"):
            self.words.append("")
        if tag == "h1":
            self.h1.append("")
        if tag not in VOID and not (self.get_starttag_text() or "").endswith("/>"):
            self.stack.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.stack and self.stack[-1] == tag:
            self.stack.pop()
        elif (tag in VOID) or tag in self.stack:
            self.faults.append(f"</{tag}> closes {self.stack[-1:]}")

    def handle_data(self, data: str) -> None:
        if self.stack[-1:] == ["title"] and "svg" not in self.stack:
            self.title += data
        if "h1" in self.stack:
            self.h1[-1] += data

    def look(self) -> list[str]:
        """Everything that is wrong with a whole page."""
        found = list(self.faults)
        if len(self.h1) != 1 or not self.h1[0].strip():
            found.append(f"h1: {self.h1}")
        if not self.title.strip():
            found.append("no title")
        twice = {name for name in self.ids if self.ids.count(name) > 1}
        if twice:
            found.append(f"ids given twice: {sorted(twice)}")
        for field in self.fields:
            named = field.get("id") in self.labels or field.get("aria-label") or field["in_label"] == "True"
            if not named:
                found.append(f"no label: {field}")
        found += [f"leads off this host: {link}" for link in self.links if re.match(r"(?:[a-z]+:)?//", link)]
        return found


class Client:
    """See the module."""

    def __init__(self, address: str, **options: Any) -> None:
        self.http = httpx.Client(base_url=address, timeout=60, **options)
        self.token = ""
        self.seen: list[str] = []

    def __enter__(self) -> Client:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.http.close()

    def get(self, path: str, status: int = 200, **options: Any) -> str:
        """Fetch a page, look at it, and give its text."""
        answer = self.http.get(path, follow_redirects=True, **options)
        return self._looked_at(answer, path, status)

    def part(self, path: str) -> str:
        """Fetch the part of a page that a script would put in its place."""
        answer = self.http.get(path, headers={"hx-request": "true"})
        assert answer.status_code == 200, answer.text
        assert Page(answer.text).faults == [], path
        return answer.text

    def post(
        self, path: str, status: int = 200, files: Any = None, headers: Any = None, **fields: str
    ) -> str:
        """Send a form and follow where it leads."""
        if not self.token:
            self.get("/")
        answer = self.http.post(
            path, data={"csrf": self.token, **fields}, files=files, headers=headers, follow_redirects=False
        )
        if answer.status_code == 303:
            return self._looked_at(
                self.http.get(answer.headers["location"], follow_redirects=True), path, status
            )
        return self._looked_at(answer, path, status)

    def wait_for(self, path: str) -> str:
        """A page whose work is done: the server waits a while for each part, a loaded machine takes long."""
        until = time.monotonic() + 90.0
        while time.monotonic() < until:
            text = self.part(path)
            if 'class="working"' not in text:
                return text
        raise AssertionError(f"{path} is still worked on")

    def _looked_at(self, answer: httpx.Response, path: str, status: int) -> str:
        assert answer.status_code == status, f"{path}: {answer.status_code}\n{answer.text[:2000]}"
        self.seen.append(str(answer.url.path))
        if answer.headers.get("content-type", "").startswith("text/html"):
            assert Page(answer.text).look() == [], path
            assert _wire(answer) <= AFTER, f"{path}: {_wire(answer)} bytes"
            found = re.search(r'name="csrf" content="([^"]+)"', answer.text)
            if found:
                self.token = found[1]
        return answer.text

    # ------------------------------------------------------------------------------------- calls

    def open_call(self, complaint: str = "Cold fog over the ice.") -> str:
        """Open a call on the demo's invented ice hall; its address."""
        self.post("/calls/new", complaint=complaint, unit="new", files=_demo_unit())
        return self.seen[-1].removesuffix("/readings")

    def read(self, call: str, events: list[dict[str, str]]) -> None:
        """Tap in the readings of a document."""
        for event in events:
            if event["kind"] == "reading":
                self.post(f"{call}/tapped", point=event["point"], value=event["value"], at=event["at"])


def _demo_unit() -> dict[str, tuple[str, bytes]]:
    return {"document": ("unit.yaml", (DEMO / "unit.yaml").read_bytes())}


def demo_events(name: str = "call-1-walk-up.yaml") -> list[dict[str, str]]:
    """The events of one of the demo's call documents."""
    tree = yaml.load((DEMO / name).read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    events: list[dict[str, str]] = tree["events"]
    return events


def _wire(answer: httpx.Response) -> int:
    """Bytes of the body as they came over the wire."""
    return answer.num_bytes_downloaded


def first_view(address: str, path: str) -> int:
    """Bytes on the wire of a page with all its files, to a phone that has none of them yet."""
    with httpx.Client(base_url=address, timeout=60) as http:
        page = http.get(path)
        assert page.status_code == 200, path
        total = _wire(page)
        files = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', page.text))
        assert len(files) >= 4, files
        for file in files:
            answer = http.get(file)
            assert "immutable" in answer.headers["cache-control"], "kept, so that later views do not fetch it"
            total += _wire(answer)
    return total
