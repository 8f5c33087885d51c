"""The app: one function that makes it from a record, and its table of addresses."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from wringout.errors import DataError, InputError, WringoutError
from wringout.records.store import Store
from wringout.web import (
    api,
    call_pages,
    column_pages,
    device_pages,
    live_pages,
    offline,
    proof_pages,
    reading_pages,
    shelf_pages,
    trend_pages,
    unit_pages,
    work_pages,
)
from wringout.web.desk import Desk
from wringout.web.devices import Devices
from wringout.web.gate import Gate
from wringout.web.live_feed import Feed
from wringout.web.pages import Problem, Shared, page
from wringout.web.weigher import Weigher

__all__ = ["create_app"]

Handler = Callable[[Request], Awaitable[Response]]
MISSING = ("there is no such", "nothing of that name")


def create_app(
    store: Store,
    *,
    devices: Path | None = None,
    lan: bool = False,
    addresses: tuple[str, ...] = (),
    authority: bytes | None = None,
    weigher: Weigher | None = None,
    shelf: Path | None = None,
    live: Path | None = None,
) -> Starlette:
    """Make the app.

    Parameters
    ----------
    store : Store
        The record.
    devices : Path, optional
        File of the devices that may come in; without it they are forgotten when the server ends.
    lan : bool
        Whether other devices may come in, each after it was paired.
    addresses : tuple of str
        Hosts beside this machine under which the server answers.
    authority : bytes, optional
        Certificate of the server's own authority, handed out on its page.
    weigher : Weigher, optional
        Where longer work is done; the app starts and stops it.
    shelf : Path, optional
        The file with manuals, if there is one.
    live : Path, optional
        Folder of the recordings that guided tests look at.

    Returns
    -------
    Starlette
    """
    shared = Shared(
        desk=Desk(store),
        devices=Devices(devices),
        weigher=weigher or Weigher(),
        lan=lan,
        addresses=addresses,
        authority=authority,
        shelf=shelf,
        live=Feed(live) if live is not None else None,
    )

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        shared.weigher.start()
        try:
            yield
        finally:
            shared.weigher.stop()

    app = Starlette(
        routes=_routes(),
        middleware=[Middleware(GZipMiddleware, minimum_size=600), Middleware(Gate, shared=shared)],
        exception_handlers={
            InputError: _theirs,
            DataError: _theirs,
            WringoutError: _ours,
            HTTPException: _http,
        },
        lifespan=lifespan,
    )
    app.state.shared = shared
    return app


def _form(handler: Handler) -> Handler:
    """A form is taken only with the token of its session."""

    async def checked(request: Request) -> Response:
        shared: Shared = request.app.state.shared
        token = request.state.session.token
        shown = request.headers.get("x-csrf", "")
        if not shown:
            form = await request.form(max_files=1, max_fields=400, max_part_size=300_000)
            shown = str(form.get("csrf", ""))
        if not shared.devices.csrf_holds(token, shown):
            raise HTTPException(
                403, "This form is from another session. Open its page anew; nothing was taken."
            )
        return await handler(request)

    return checked


def _get(path: str, handler: Handler) -> Route:
    return Route(path, handler, methods=["GET"])


def _post(path: str, handler: Handler) -> Route:
    return Route(path, _form(handler), methods=["POST"])


def _routes() -> list[Route]:
    c, r, w = call_pages, reading_pages, work_pages
    one = "/calls/{call}"
    return [
        _get("/", c.calls),
        _get("/calls/new", c.call_new),
        _post("/calls/new", c.call_begin),
        _get(one, c.call),
        _post(f"{one}/notes", c.note_keep),
        _post(f"{one}/photos", c.photo_keep),
        _post(f"{one}/complaint", c.complaint_keep),
        _post(f"{one}/withdraw/{{event}}", c.withdraw),
        _get(f"{one}/change", c.change),
        _post(f"{one}/change", c.change_keep),
        _get(f"{one}/readings", r.readings),
        _get(f"{one}/understand", r.readings),
        _post(f"{one}/understand", r.understand_line),
        _post(f"{one}/readings", r.readings_keep),
        _post(f"{one}/tapped", r.tapped_keep),
        _post(f"{one}/said", r.said_keep),
        _post(f"{one}/force", r.force_keep),
        _get(f"{one}/ledger", w.ledger),
        _get(f"{one}/chart", w.chart),
        _get(f"{one}/suspects", w.suspects),
        _get(f"{one}/next", w.next_check),
        _get(f"{one}/wait", w.wait),
        _get(f"{one}/history", w.history),
        _get(f"{one}/live", live_pages.live),
        _post(f"{one}/live", live_pages.act),
        _get(f"{one}/unit", unit_pages.unit),
        _post(f"{one}/unit", unit_pages.unit_keep),
        _get(f"{one}/manuals", shelf_pages.manuals),
        _get(f"{one}/manuals/{{hit}}", shelf_pages.manual_page),
        _get("/manuals/{hit}.png", shelf_pages.manual_picture),
        _get(f"{one}/trends", trend_pages.trends),
        _post(f"{one}/trends", trend_pages.trend_keep),
        _get(f"{one}/trends/{{sha256}}", trend_pages.trend),
        _get(f"{one}/trends/{{sha256}}/series.json", trend_pages.series),
        _get(f"{one}/trends/{{sha256}}/columns", column_pages.columns),
        _post(f"{one}/trends/{{sha256}}/columns", column_pages.columns_keep),
        _get(f"{one}/proof", proof_pages.proof),
        _post(f"{one}/proof", proof_pages.proof_keep),
        _get("/attachments/{sha256}", c.attachment),
        _get("/settings", device_pages.settings),
        _post("/settings", device_pages.settings_keep),
        _get("/devices", device_pages.devices),
        _post("/devices/revoke", device_pages.revoke),
        _get("/pair", device_pages.pair),
        _post("/pair", device_pages.pair_keep),
        _get("/trust", device_pages.trust),
        _get("/authority.crt", device_pages.authority),
        *[_get(path, handler) for path, handler in offline.ROUTES],
        *api.routes(),
    ]


# ------------------------------------------------------------------------------------------- errors


async def _told(request: Request, status: int, words: str) -> Response:
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": words}, status)
    title = "Not here" if status == 404 else "Something to mend"
    return page(request, "error.html", status=status, title=title, problems=(Problem(words),))


async def _theirs(request: Request, error: Exception) -> Response:
    missing = any(words in str(error) for words in MISSING) or getattr(error, "place", None) == "call"
    return await _told(request, 404 if missing else 422, str(error))


async def _ours(request: Request, error: Exception) -> Response:
    return await _told(request, 500, f"Our fault: {error}")


async def _http(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    words = {404: "There is no page here.", 405: "That cannot be done here."}
    return await _told(request, status, words.get(status, str(getattr(error, "detail", error))))
