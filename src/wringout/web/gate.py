"""What every request passes: which hosts and devices may come in, forms that are ours, headers that keep
pages to themselves."""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from wringout.web.desk import Writer
from wringout.web.pages import NOBODY, Session, Shared

__all__ = ["COOKIE", "Gate", "POLICY"]

COOKIE = "wringout"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "manifest-src 'self'; worker-src 'self'; font-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "geolocation=(), microphone=(self), camera=(self)",
}
MAX_BODY = 26_000_000
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
OPEN = ("/static/", "/pair", "/trust", "/authority.crt", "/manifest.webmanifest", "/sw.js", "/icon")
LOCAL = ("127.0.0.1", "::1", "localhost", "testserver")


class _TooLarge(Exception):
    """More was sent than any form may hold."""


class Gate:
    """ASGI middleware; see the module."""

    def __init__(self, app: ASGIApp, shared: Shared) -> None:
        self.app, self.shared = app, shared

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope, receive)
        refused, who = self._look(request)
        started = False

        async def with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                self._dress(request, who, message)
            await send(message)

        if refused is not None:
            await refused(scope, receive, with_headers)
            return
        scope.setdefault("state", {})["session"] = who
        taken = 0

        async def bounded() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > MAX_BODY:
                raise _TooLarge
            return message

        try:
            await self.app(scope, bounded, with_headers)
        except _TooLarge:
            if not started:
                await _words(request, 413, "That is more than is taken at once: 25 MB.")(
                    scope, receive, with_headers
                )

    # --------------------------------------------------------------------------------------- refusal

    def _look(self, request: Request) -> tuple[Response | None, Session]:
        token = request.cookies.get(COOKIE, "")
        if not 20 <= len(token) <= 100 or not token.isascii():
            token = ""
        device = self.shared.devices.of(token)
        who = Session(token, device)
        if device is not None:
            who.writer = Writer(device.person or NOBODY, device.name)
            self.shared.devices.visited(device)
        host = (request.url.hostname or "").strip("[]")
        if host not in (*LOCAL, *self.shared.addresses):
            # a name of somebody else's that leads here: pages of theirs would otherwise read ours
            return _words(request, 421, "This server does not answer to that name."), who
        if int(request.headers.get("content-length") or 0) > MAX_BODY:
            return _words(request, 413, "That is more than is taken at once: 25 MB."), who
        path = request.url.path
        open_to_all = any(path == way.rstrip("/") or path.startswith(way) for way in OPEN)
        if self.shared.lan and device is None and not open_to_all:
            if path.startswith("/api/"):
                return _words(request, 401, "This device is not paired: open /pair on it first."), who
            return RedirectResponse("/pair", 303), who
        if request.method not in SAFE:
            refused = self._foreign(request, path)
            if refused is not None:
                return refused, who
        if not token:
            who.token, who.new = secrets.token_urlsafe(32), True
        return None, who

    def _foreign(self, request: Request, path: str) -> Response | None:
        """A form sent from another site's page is not ours."""
        site = request.headers.get("sec-fetch-site", "same-origin")
        origin = request.headers.get("origin")
        own = f"{request.url.scheme}://{request.headers.get('host', '')}"
        if site not in ("same-origin", "none") or (origin not in (None, own)):
            return _words(request, 403, "That came from another site's page and was not taken.")
        kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        if path.startswith("/api/") and kind in (
            "application/x-www-form-urlencoded",
            "multipart/form-data",
            "text/plain",
        ):
            return _words(request, 415, "The API takes application/json.")
        return None

    # --------------------------------------------------------------------------------------- headers

    def _dress(self, request: Request, who: Session, message: Message) -> None:
        headers = MutableHeaders(scope=message)
        for name, value in HEADERS.items():
            headers[name] = value
        if "cache-control" not in headers:
            headers["cache-control"] = "no-store" if request.url.path.startswith("/api/") else "no-cache"
        if who.new and not request.url.path.startswith(("/static/", "/api/")):
            headers.append("set-cookie", cookie(who.token, request.url.scheme == "https"))


def cookie(token: str, secure: bool, age: int = 400 * 86400) -> str:
    """The session's cookie: for this host alone, and never for scripts."""
    flags = "; Secure" if secure else ""
    return f"{COOKIE}={token}; Path=/; HttpOnly; SameSite=Lax; Max-Age={age}{flags}"


def _words(request: Request, status: int, words: str) -> Response:
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": words}, status)
    return PlainTextResponse(words, status)


Handler = Callable[[Request], Awaitable[Response]]
