"""The JSON API: calls, events, weighing, ledger, words understood, sync. Described in `openapi.py`."""

from __future__ import annotations

import json
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from wringout.catalogue.calls import vocabulary
from wringout.errors import InputError
from wringout.records.identifiers import checked
from wringout.records.sync import receive, since
from wringout.web.call_pages import begin
from wringout.web.desk import Here, now_text
from wringout.web.earlier import known_job
from wringout.web.jobs import Failed
from wringout.web.openapi import description
from wringout.web.pages import session, shared, system_for
from wringout.web.spoken.understand import understand
from wringout.web.weighed import Logged, log_read, weigh_job, weighed_words
from wringout.web.weigher import Job

__all__ = ["routes"]

MAX_JSON = 2_000_000
PATIENT = 60.0


async def _body(request: Request) -> Any:
    """The JSON of a request, bounded."""
    data = await request.body()
    if len(data) > MAX_JSON:
        raise InputError(f"more than {MAX_JSON // 1_000_000} MB at once", "body")
    try:
        return json.loads(data)
    except (ValueError, RecursionError):
        raise InputError("is no JSON", "body") from None


async def _fields(request: Request, **wanted: bool) -> dict[str, str]:
    """Fields of words of a JSON object: name to whether it is needed."""
    tree = await _body(request)
    if not isinstance(tree, dict):
        raise InputError("wanted an object with fields", "body")
    for name in tree:
        if name not in wanted:
            raise InputError(f"unknown field; known are {', '.join(wanted)}", str(name)[:40])
    found: dict[str, str] = {}
    for name, needed in wanted.items():
        value = tree.get(name)
        if value is None and not needed:
            continue
        if not isinstance(value, str) or (needed and not value.strip()):
            raise InputError("wanted words", name)
        found[name] = value.replace("\r\n", "\n").replace("\r", "\n")
    return found


def _here(request: Request) -> Here:
    return shared(request).desk.here(checked(request.path_params["call"], "call"))


async def openapi(request: Request) -> Response:
    """The description of this API."""
    return JSONResponse(description())


async def calls(request: Request) -> Response:
    """The list of calls."""
    found = shared(request).desk.store.calls()
    return JSONResponse(
        {
            "calls": [
                {
                    "id": c.call_id,
                    "unit": c.unit_name,
                    "complaint": c.complaint,
                    "opened": c.opened.isoformat(),
                    "last": c.last.isoformat(),
                    "events": c.events,
                }
                for c in found
            ]
        }
    )


async def call_open(request: Request) -> Response:
    """Open a call on a unit document; one with an identifier made elsewhere, sent twice, is opened once."""
    given = await _fields(request, complaint=True, unit=True, id=False)
    made, known = shared(request).desk.open_call(
        given["complaint"], session(request).writer, document=given["unit"], id=given.get("id")
    )
    return JSONResponse({"id": made, "new": not known}, 200 if known else 201)


async def call_document(request: Request) -> Response:
    """The call document, the unit document inside."""
    return JSONResponse(json.loads(_here(request).document))


async def event_keep(request: Request) -> Response:
    """Keep one event, written as in a call document."""
    tree = await _body(request)
    if not isinstance(tree, dict):
        raise InputError("wanted an object with fields", "body")
    kind, identifier = tree.get("kind"), tree.get("id")
    if kind not in ("reading", "force", "release", "change", "note"):
        raise InputError("wanted reading, force, release, change or note", "kind")
    body = {name: value for name, value in tree.items() if name not in ("kind", "id")}
    body.setdefault("at", now_text())
    here = _here(request)
    made = checked(identifier) if identifier is not None else shared(request).desk.store.new_id()
    new = shared(request).desk.keep(here.id, [(kind, body)], session(request).writer, made)
    begin(request, here.id)
    return JSONResponse({"id": made, "new": bool(new)}, 201 if new else 200)


async def words(request: Request) -> Response:
    """How a line of words is understood; nothing is kept."""
    given = await _fields(request, line=True)
    here = _here(request)
    found = understand(given["line"], here.call.unit, system_for(request, here.call.unit))
    return JSONResponse(
        {
            "readings": [{"point": s.point, "value": s.value, "note": s.note} for s in found.said],
            "unreadable": [u.point for u in found.unreadable],
            "held": [{"item": h.item, "to": h.to} for h in found.held],
            "questions": [
                {
                    "words": q.words,
                    "why": q.why,
                    "choices": [{"point": c.point, "value": c.value} for c in q.choices],
                }
                for q in found.questions
            ],
            "unknown": list(found.unknown),
        }
    )


async def weigh(request: Request) -> Response:
    """The answer on readings and newest log; where that cannot be used, on readings alone."""
    here = _here(request)
    everything, system = shared(request), system_for(request, here.call.unit)
    logged = await log_read(everything, here, PATIENT)
    if logged.reading is not None:
        return _later()
    job = await weigh_job(everything, here, system, logged, seconds=PATIENT)
    return await _answered(job, logged)


async def ledger(request: Request) -> Response:
    """Heat and moisture by every route."""
    here = _here(request)
    system = system_for(request, here.call.unit)
    return await _answered(await known_job(shared(request), "book", here, system, seconds=PATIENT))


async def _answered(job: Job | None, logged: Logged | None = None) -> Response:
    """The document that work ends in; of weighing also how long it took and what was weighed."""
    try:
        found = await job.within(PATIENT) if job is not None else None
    except Failed as error:
        return JSONResponse({"error": error.message}, 422 if error.input else 500)
    if found is None:
        return _later()
    beside: dict[str, Any] = {}
    if logged is not None:
        words = weighed_words(logged, found)
        beside = {"seconds": found["seconds"], **({"weighed": words} if words else {})}
    return JSONResponse({**found["document"], **beside})


def _later() -> Response:
    return JSONResponse({"error": "still being worked on; ask again"}, 202)


async def sync_send(request: Request) -> Response:
    """Take a queue of events from a device; each is kept before the next is looked at."""
    tree = await _body(request)
    if not isinstance(tree, dict) or not isinstance(tree.get("events"), list):
        raise InputError('wanted {"events": [...]}', "body")
    answers = receive(shared(request).desk.store, tree["events"], vocabulary())
    return JSONResponse({"answers": [answer.as_json() for answer in answers]})


async def sync_missed(request: Request) -> Response:
    """What a device has missed since its cursor."""
    limit = request.query_params.get("limit", "200")
    if not (limit.isascii() and limit.isdecimal() and len(limit) < 4 and int(limit)):
        raise InputError("wanted a number from 1 to 999", "limit")
    cursor = request.query_params.get("cursor")
    return JSONResponse(since(shared(request).desk.store, cursor or None, int(limit)).as_json())


def routes() -> list[Route]:
    """Addresses of the API."""
    one = "/api/calls/{call}"
    return [
        Route("/api/openapi.json", openapi, methods=["GET"]),
        Route("/api/calls", calls, methods=["GET"]),
        Route("/api/calls", call_open, methods=["POST"]),
        Route(one, call_document, methods=["GET"]),
        Route(f"{one}/events", event_keep, methods=["POST"]),
        Route(f"{one}/understand", words, methods=["POST"]),
        Route(f"{one}/weigh", weigh, methods=["GET"]),
        Route(f"{one}/ledger", ledger, methods=["GET"]),
        Route("/api/sync", sync_send, methods=["POST"]),
        Route("/api/sync", sync_missed, methods=["GET"]),
    ]
