"""What the API takes and gives, as an OpenAPI document."""

from __future__ import annotations

from typing import Any

from wringout import __version__

__all__ = ["description"]

_ID = "[0-9a-f]{8}-[0-9a-f]{4}-[78][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}"
_WORDS = {"type": "string", "minLength": 1, "maxLength": 4000}
_ERROR = {
    "type": "object",
    "required": ["error"],
    "properties": {"error": {"type": "string", "description": "What was found and what would be right."}},
}


def _json(schema: Any) -> dict[str, Any]:
    return {"application/json": {"schema": schema}}


def _object(**properties: Any) -> dict[str, Any]:
    return {"type": "object", "required": sorted(properties), "properties": properties}


def _operation(name: str, told: str, given: Any, *, status: str = "200", takes: Any = None) -> dict[str, Any]:
    answers: dict[str, Any] = {status: {"description": told, "content": _json(given)}}
    wrong = {"description": "Something to mend, in words.", "content": _json(_ERROR)}
    answers |= {"404": wrong, "413": wrong, "415": wrong, "422": wrong}
    made: dict[str, Any] = {"operationId": name, "summary": told, "responses": answers}
    if takes is not None:
        made["requestBody"] = {"required": True, "content": _json(takes)}
    return made


def description() -> dict[str, Any]:
    """The document.

    Returns
    -------
    dict
        OpenAPI 3.1, ready for JSON.
    """
    identifier = {"type": "string", "pattern": f"^{_ID}$"}
    call = {"name": "call", "in": "path", "required": True, "schema": identifier}
    anything = {"type": "object"}
    event = {
        "type": "object",
        "required": ["kind"],
        "properties": {
            "id": {
                **identifier,
                "description": "Made by the client, UUID version 7: sent twice, kept once",
            },
            "kind": {"enum": ["reading", "force", "release", "change", "note"]},
            "at": {"type": "string", "description": "Date and time by the clock of the place."},
            "point": {"type": "string"},
            "value": {"type": "string", "description": "With its unit: 58.5 degF."},
            "by": {"type": "string"},
            "accuracy": {"type": "string"},
            "item": {"enum": ["reheat.command", "cooling.call"]},
            "to": {"type": "string"},
            "cause": {"type": "string"},
            "text": {"type": "string", "maxLength": 4000},
        },
        "additionalProperties": False,
    }
    kept = _object(id=identifier, new={"type": "boolean"})
    event_post = _operation("keepEvent", "The event was kept.", kept, status="201", takes=event)
    event_post["responses"]["200"] = {"description": "It was there already.", "content": _json(kept)}
    limit = {"name": "limit", "in": "query", "schema": {"type": "integer", "minimum": 1, "maximum": 999}}
    cursor = {"name": "cursor", "in": "query", "schema": {"type": "string", "maxLength": 100}}
    missed = _operation("missed", "Events since a cursor.", _object(events={"type": "array"}))
    line = _object(line=_WORDS)
    begun = _object(complaint=_WORDS, unit={**_WORDS, "maxLength": 200_000})
    begun["properties"]["id"] = {
        **identifier,
        "description": "Made by the client, UUID version 7: sent twice, opened once",
    }
    opened = _object(id=identifier, new={"type": "boolean"})
    open_post = _operation("openCall", "It was opened.", opened, status="201", takes=begun)
    open_post["responses"]["200"] = {"description": "It was open already.", "content": _json(opened)}
    paths: dict[str, Any] = {
        "/api/calls": {
            "get": _operation("listCalls", "The calls.", _object(calls={"type": "array"})),
            "post": open_post,
        },
        "/api/calls/{call}": {
            "parameters": [call],
            "get": _operation("callDocument", "The call document, unit document inside.", anything),
        },
        "/api/calls/{call}/events": {"parameters": [call], "post": event_post},
        "/api/calls/{call}/understand": {
            "parameters": [call],
            "post": _operation("understand", "How a line was understood.", anything, takes=line),
        },
        "/api/calls/{call}/weigh": {
            "parameters": [call],
            "get": _slow(
                "weigh", "Causes and next checks, by readings and newest log; `weighed` says of what."
            ),
        },
        "/api/calls/{call}/ledger": {"parameters": [call], "get": _slow("ledger", "What each part moves.")},
        "/api/sync": {
            "post": _operation(
                "send",
                "What became of each event.",
                _object(answers={"type": "array"}),
                takes=_object(events={"type": "array", "maxItems": 500, "items": anything}),
            ),
            "get": {**missed, "parameters": [cursor, limit]},
        },
    }
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Wringout",
            "version": __version__,
            "description": "Calls of dehumidifying units",
        },
        "paths": paths,
    }


def _slow(name: str, told: str) -> dict[str, Any]:
    made = _operation(name, told, {"type": "object"})
    made["responses"]["202"] = {"description": "Still worked on; ask again.", "content": _json(_ERROR)}
    return made
