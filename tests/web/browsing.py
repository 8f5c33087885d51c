"""A phone: Debian's Chromium with a small screen and touch, and what is checked with it."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterator

from playwright.sync_api import Browser, BrowserContext, Error, Locator, Page, expect, sync_playwright

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE = 20_000  # ms; tests may share their machine with others
PRESSED = """window.pressed = false;
addEventListener("click", () => { window.pressed = true; }, { once: true, capture: true })"""
# what a thumb would miss
TOO_SMALL = """() => [...document.querySelectorAll(
  'button, select, textarea, summary, nav a, .card, .button, input:not([type=hidden],[type=radio])'
)].map((e) => [e.outerHTML.slice(0, 90), e.getBoundingClientRect()])
  .filter(([, r]) => r.width && (r.height < 44 || r.width < 44))
  .map(([html, r]) => `${html} ${r.width}x${r.height}`)"""
expect.set_options(timeout=PATIENCE)


def chromium() -> str:
    """The browser's path; that there is none is a failure, never a reason to skip."""
    named = os.environ.get("CHROMIUM", "")
    found = named or shutil.which("chromium") or shutil.which("chromium-browser") or ""
    assert found, "no Chromium here: `make test` installs it where it may, else scripts/browser.sh says how"
    return found


@contextlib.contextmanager
def browser() -> Iterator[Browser]:
    """A running browser."""
    with sync_playwright() as play:
        made = play.chromium.launch(executable_path=chromium(), args=FLAGS)
        try:
            yield made
        finally:
            made.close()


def phone(made: Browser, address: str, **options: object) -> BrowserContext:
    """A phone's context: 390 x 844 points, touch."""
    settings = {"viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True, **options}
    context = made.new_context(base_url=address, **settings)  # type: ignore[arg-type]
    context.set_default_timeout(PATIENCE)
    return context


def listened(page: Page) -> list[str]:
    """Errors of scripts and refusals of the policy, as they come."""
    found: list[str] = []
    page.on("pageerror", lambda error: found.append(str(error)))
    page.on(
        "console",
        lambda message: (
            found.append(message.text)
            if message.type == "error" and "Failed to load resource" not in message.text
            else None
        ),
    )
    return found


def settled(page: Page) -> None:
    """Wait until nothing is worked on."""
    until(page, "!document.querySelector('.working')")


def kept(page: Page) -> None:
    """Wait until the service worker looks after the pages of this phone."""
    until(page, "!!(navigator.serviceWorker && navigator.serviceWorker.controller)")


def tapped(target: Locator) -> None:
    """Tap, and as a thumb would, once more where the page never took the first one for a press.

    A busy browser now and then drops a tap before any script hears of it; one that was heard is never
    repeated, so that whatever it does is done once.
    """
    page = target.page
    for _ in range(3):
        page.evaluate(PRESSED)
        target.tap()
        for _ in range(30):
            try:
                if page.evaluate("window.pressed !== false"):  # or a page that came after it
                    return
            except Error as error:
                if "Execution context was destroyed" not in str(error):
                    raise
                return
            page.wait_for_timeout(100)
    raise AssertionError(f"three taps, and no press came of them: {target}")


def until(page: Page, promise: str) -> None:
    """Ask again and again until a promise of the page comes true."""
    for _ in range(PATIENCE // 100):
        try:
            if page.evaluate(promise):
                return
        except Error as error:
            if "Execution context was destroyed" not in str(error):  # a page on its way to the next one
                raise
        page.wait_for_timeout(100)
    raise AssertionError(f"never came true: {promise}")


def in_cache(page: Page, path: str) -> None:
    """Wait until the phone holds a page."""
    until(page, f"caches.open('pages').then((c) => c.match('{path}')).then((found) => !!found)")
