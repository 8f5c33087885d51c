"""What a phone keeps for when there is no connection: files of the app, its manifest and its service
worker."""

from __future__ import annotations

import json
import re
from functools import cache

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from wringout.web.pages import asset, page, static_bytes

__all__ = ["ROUTES"]

TYPES = {
    "js": "text/javascript; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "svg": "image/svg+xml",
    "png": "image/png",
    "txt": "text/plain; charset=utf-8",
}
SHIPPED = (
    "wringout.css",
    "wringout.js",
    "queue.js",
    "plot.js",
    "htmx-4.0.1.min.js",
    "uplot-1.6.32.min.js",
    "uplot-1.6.32.min.css",
    "icon.svg",
    "icon-192.png",
    "icon-512.png",
    "licences/htmx.txt",
    "licences/uplot.txt",
)
# what every page needs is kept on the phone from the first visit on
SHELL = ("wringout.css", "wringout.js", "queue.js", "htmx-4.0.1.min.js", "icon.svg")


async def static(request: Request) -> Response:
    """A file of the app; its address changes with its content."""
    name = request.path_params["name"]
    if name not in SHIPPED:
        raise HTTPException(404)
    ending = name.rpartition(".")[2]
    return Response(
        static_bytes(name),
        media_type=TYPES[ending],
        headers={"cache-control": "public, max-age=31536000, immutable"},
    )


async def manifest(request: Request) -> Response:
    """What makes the app installable."""
    return JSONResponse(
        {
            "name": "Wringout",
            "short_name": "Wringout",
            "description": "From a building that will not dry out to a proven repair.",
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": "#f4f1ea",
            "theme_color": "#1d3b3a",
            "icons": [
                {"src": asset("icon.svg"), "sizes": "any", "type": "image/svg+xml", "purpose": "any"},
                {"src": asset("icon-192.png"), "sizes": "192x192", "type": "image/png"},
                {"src": asset("icon-512.png"), "sizes": "512x512", "type": "image/png"},
            ],
        },
        media_type="application/manifest+json",
    )


@cache
def _worker() -> bytes:
    text = static_bytes("worker.js").decode("utf-8")
    shell = json.dumps(["/offline", *(asset(name) for name in SHELL)])
    version = re.sub(r"\W", "", "".join(asset(name).split("/")[2] for name in SHELL))
    return text.replace('"SHELL"', shell).replace("VERSION", version).encode("utf-8")


async def worker(request: Request) -> Response:
    """The service worker; it must come from the root to see every page."""
    return Response(_worker(), media_type=TYPES["js"], headers={"service-worker-allowed": "/"})


async def offline_page(request: Request) -> Response:
    """What is shown for a page that was never opened while there was a connection."""
    return page(request, "offline.html", title="No connection")


ROUTES = (
    ("/static/{version}/{name:path}", static),
    ("/manifest.webmanifest", manifest),
    ("/sw.js", worker),
    ("/offline", offline_page),
)
