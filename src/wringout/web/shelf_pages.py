"""Manuals of a call's unit: words, part and wire numbers looked for on the server's shelf, and a page's
picture with the hit marked. What was seen opens without a connection too."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from wringout.errors import InputError
from wringout.web.pages import Problem, page, shared

__all__ = ["manual_page", "manual_picture", "manuals"]

MOST_HITS = 20
SCALE = 1.6  # pixels a point: a letter of six points can be read, and more of it fits the air


async def manuals(request: Request) -> Response:
    """What is on the shelf for this unit, and what was found there."""
    here = shared(request).desk.here(request.path_params["call"])
    path, words = shared(request).shelf, " ".join(request.query_params.get("q", "").split())[:200]
    found: dict[str, Any] = {"documents": [], "hits": [], "pages": 0}
    problems: tuple[Problem, ...] = ()
    if path is not None and path.is_file():
        try:
            found = await run_in_threadpool(_look, path, here.call.unit.name, words)
        except InputError as error:
            problems = (Problem(error.message, "q"),)
    return page(
        request,
        "manuals.html",
        here=here,
        tab="call",
        title="Manuals",
        words=words,
        problems=problems,
        **found,
    )


def _look(path: Any, unit: str, words: str) -> dict[str, Any]:
    from wringout.shelf.search import search
    from wringout.shelf.shelf import open_shelf

    with open_shelf(path, create=False) as shelf:
        documents = shelf.documents(unit)
        told = search(shelf, words, unit=unit, limit=MOST_HITS) if words and documents else None
        return {
            "documents": [{"name": d.name, "pages": d.pages, "first": f"{d.short}:1"} for d in documents],
            "pages": told.pages if told else 0,
            "hits": [
                {
                    "place": str(hit.place),
                    "document": hit.document,
                    "page": hit.place.page,
                    "near": hit.nearness.told,
                    "excerpt": hit.excerpt,
                    "ocr": hit.source == "ocr",
                }
                for hit in (told.hits if told else ())
            ],
        }


async def manual_page(request: Request) -> Response:
    """One page of a manual."""
    here = shared(request).desk.here(request.path_params["call"])
    found = await run_in_threadpool(_page_of, request)
    words = " ".join(request.query_params.get("q", "").split())[:200]
    title = f"Page {found['page_number']} of {found['document']}"
    return page(request, "manual.html", here=here, tab="call", title=title, words=words, **found)


def _page_of(request: Request) -> dict[str, Any]:
    from wringout.shelf.hit import place_from
    from wringout.shelf.shelf import open_shelf

    hit = place_from(request.path_params["hit"])
    with open_shelf(_path(request), create=False) as shelf:
        document = shelf.document(hit.document)
        marked = shelf.words_of(hit)
        if not 1 <= hit.page <= document.pages:
            raise InputError(f"there is no such page; {document.name} has {document.pages}", "page")
    return {
        "document": document.name,
        "page_number": hit.page,
        "pages": document.pages,
        "marked": tuple(dict.fromkeys(marked)),
        "picture": f"/manuals/{hit}.png",
        "before": f"{document.short}:{hit.page - 1}" if hit.page > 1 else "",
        "after": f"{document.short}:{hit.page + 1}" if hit.page < document.pages else "",
    }


async def manual_picture(request: Request) -> Response:
    """A page as a picture, drawn in a process with bounds."""
    data = await run_in_threadpool(_drawn, request)
    headers = {"cache-control": "private, max-age=31536000, immutable"}  # named by the document's content
    return Response(data, media_type="image/png", headers=headers)


def _drawn(request: Request) -> bytes:
    from wringout.shelf.hit import place_from
    from wringout.shelf.picture import marked
    from wringout.shelf.shelf import open_shelf
    from wringout.web.sheet_picture import light_png

    with open_shelf(_path(request), create=False) as shelf:
        return light_png(marked(shelf.picture(place_from(request.path_params["hit"]), scale=SCALE)))


def _path(request: Request) -> Any:
    path = shared(request).shelf
    if path is None or not path.is_file():
        raise InputError("there is nothing of that name here: this server has no shelf", "manual")
    return path
