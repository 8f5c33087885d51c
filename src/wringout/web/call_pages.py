"""Pages of calls: the list, a new one, and one call with its people and its time line."""

from __future__ import annotations

import json
from typing import Any

from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import Response

from wringout.catalogue.causes import applies, causes
from wringout.documents.draft import QUESTIONS, draft
from wringout.documents.overview import kind_in_words
from wringout.errors import DataError, InputError
from wringout.quantity import UnitSystem
from wringout.records.from_documents import FROM_DOCUMENT
from wringout.records.identifiers import checked
from wringout.showing.words import pretty, value_words
from wringout.web.desk import SAID, UNREADABLE, Here, now_text
from wringout.web.earlier import begun
from wringout.web.pages import Problem, back, form_of, page, session, shared, system_for, text_of
from wringout.web.weighed import begin_weighing, log_told
from wringout.weighing.evidence_words import plain, title

__all__ = [
    "calls",
    "call",
    "call_begin",
    "call_new",
    "change",
    "change_keep",
    "note_keep",
    "photo_keep",
    "attachment",
    "withdraw",
    "complaint_keep",
]

MAX_DOCUMENT = 200_000


async def calls(request: Request) -> Response:
    """The list of calls."""
    store = shared(request).desk.store
    found = store.calls()
    names = store.names()
    sites = {unit.unit_id: unit.site for unit in store.units()}
    people = {c.call_id: ", ".join(written_by(author, names) for author in c.authors) for c in found}
    return page(request, "calls.html", calls=found, people=people, sites=sites, title="Calls")


def _units(request: Request) -> list[dict[str, str]]:
    return [
        {"id": unit.unit_id, "name": unit.name, "site": unit.site}
        for unit in shared(request).desk.store.units()
    ]


async def call_new(request: Request, problems: tuple[Problem, ...] = (), given: Any = None) -> Response:
    """The form of a new call: the complaint, and a unit that is known, described by answers, or a
    document."""
    return page(
        request,
        "call_new.html",
        status=422 if problems else 200,
        title="New call",
        units=_units(request),
        questions=QUESTIONS,
        given=given or {},
        problems=problems,
    )


async def call_begin(request: Request) -> Response:
    """Open a call."""
    form = await form_of(request, files=1)
    everything, who = shared(request), session(request).writer
    store = everything.desk.store
    try:
        sent = text_of(form, "id", 40)
        complaint = text_of(form, "complaint", needed="Say what is wrong, in the words of who complains.")
        if sent and everything.desk.is_open(checked(sent, "call")):
            if everything.desk.is_open(sent, complaint):
                return back(f"/calls/{sent}/readings", request)  # sent twice: one call
            sent = ""  # the same page filled in anew, after going back: another call
        known = text_of(form, "unit")
        unit_id = text = ""
        upload = form.get("document")
        if known and known != "new":
            store.unit_text(known)
            unit_id = known
        elif isinstance(upload, UploadFile) and upload.filename:
            text = _decoded(await upload.read(MAX_DOCUMENT + 1))
        else:
            answers = {q.key: text_of(form, q.key, 200) for q in QUESTIONS if text_of(form, q.key, 200)}
            text = draft(answers)
        call_id, _ = everything.desk.open_call(
            complaint, who, unit_id=unit_id, document=text, id=sent or None
        )
    except InputError as error:
        given = {key: value for key, value in form.items() if isinstance(value, str)}
        return await call_new(request, (Problem(str(error), error.place or "document"),), given)
    return back(f"/calls/{call_id}/readings", request)


def _decoded(data: bytes) -> str:
    if len(data) > MAX_DOCUMENT:
        raise InputError(f"more than {MAX_DOCUMENT // 1000} kB; a unit document is a page or two", "document")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("is no text; a unit document is YAML or JSON", "document") from None


# ------------------------------------------------------------------------------------------- one call


def written_by(author: str, names: dict[str, str]) -> str:
    """Who wrote something; a call document does not say."""
    return "writer not stated" if author == FROM_DOCUMENT else names.get(author, author)


def time_line(here: Here, names: dict[str, str], system: UnitSystem) -> list[dict[str, Any]]:
    """What happened, the newest first, as rows for the page."""
    rows = [
        *((line, "") for line in here.folded.lines),
        *((line, "withdrawn") for line in here.folded.withdrawn),
        *((line, "set aside") for line in here.folded.set_aside),
        *((line, "") for line in here.folded.attachments),
    ]
    found = []
    for line, mark in rows:
        body = line.body
        at = str(body.get("at") or line.event.recorded.isoformat())
        words, value, written = _row_words(line.event.kind, body, system)
        found.append(
            {
                "id": line.id,
                "at": at[:19],
                "kind": line.event.kind,
                "words": words,
                "value": value,
                "written": written,
                "mark": mark,
                "why": line.why,
                "author": written_by(line.event.author, names),
                "corrected": any(act.kind == "corrected" for act in line.acts),
                "sha256": body.get("sha256", ""),
                "image": str(body.get("type", "")).startswith("image/"),
            }
        )
    return sorted(found, key=lambda row: (row["at"], row["id"]), reverse=True)


def _row_words(kind: str, body: Any, system: UnitSystem) -> tuple[str, str, str]:
    """What, its value for this reader, and as it was written where that is another unit."""
    if kind == "reading":
        value, written = value_words(body["point"], body["value"], system)
        try:
            return plain(body["point"]), value, written
        except InputError:
            return body["point"], value, written
    words, value = _other_words(kind, body)
    return words, value, ""


def _other_words(kind: str, body: Any) -> tuple[str, str]:
    if kind == "force":
        return f"{_item(body['item'])} held at", pretty(body["to"])
    if kind == "release":
        return f"{_item(body['item'])} given back to control", ""
    if kind == "change":
        cause = body.get("cause")
        named = f"Change: {title(cause)}" if cause in causes() else "Change"
        return ": ".join(part for part in (named, body.get("text", "")) if part), ""
    if kind == "note":
        text = str(body["text"])
        if text.startswith(UNREADABLE):
            return f"Not readable: {plain(text.removeprefix(UNREADABLE))}", ""
        return (f"Said, to be sorted: {text.removeprefix(SAID)}" if text.startswith(SAID) else text), ""
    if kind == "attached":
        return str(body.get("text") or body.get("name", "file")), ""
    return kind, ""


def _item(item: str) -> str:
    return "Reheat command" if item == "reheat.command" else "Cooling call"


async def call(request: Request, problems: tuple[Problem, ...] = ()) -> Response:
    """One call."""
    everything = shared(request)
    here = everything.desk.here(request.path_params["call"])
    names = everything.desk.store.names()
    return page(
        request,
        "call.html",
        status=422 if problems else 200,
        here=here,
        tab="call",
        title=here.call.unit.name,
        kind_in_words=kind_in_words(here.call.unit),
        rows=time_line(here, names, system_for(request, here.call.unit)),
        people=[written_by(author, names) for author in here.folded.authors],
        problems=problems,
    )


async def note_keep(request: Request) -> Response:
    """Keep a note."""
    form = await form_of(request)
    call_id = request.path_params["call"]
    try:
        text = text_of(form, "text", needed="Write a few words.")
        _keep(request, form, [("note", {"at": _at(form), "text": text})])
    except InputError as error:
        return await call(request, (Problem(str(error.message), "text"),))
    return back(f"/calls/{call_id}", request)


async def photo_keep(request: Request) -> Response:
    """Keep a photo or another file of a known type."""
    form = await form_of(request, files=1)
    call_id = request.path_params["call"]
    upload = form.get("file")
    everything, who = shared(request), session(request).writer
    try:
        if not isinstance(upload, UploadFile) or not upload.filename:
            raise InputError("Choose a photo or take one.", "file")
        data = await upload.read()
        everything.desk.attach(
            call_id,
            data,
            upload.filename,
            who,
            text=text_of(form, "text", 400),
            at=_at(form),
            id=text_of(form, "id", 40),
        )
    except InputError as error:
        return await call(request, (Problem(error.message, "file"),))
    return back(f"/calls/{call_id}", request)


async def attachment(request: Request) -> Response:
    """The bytes of an attachment; only pictures are shown, everything else is handed over as a file."""
    content = shared(request).desk.content(request.path_params["sha256"])
    headers = {"cache-control": "private, max-age=31536000, immutable"}
    if not content.type.startswith("image/") or content.type == "image/svg+xml":
        headers["content-disposition"] = "attachment"
    return Response(content.data, media_type=content.type, headers=headers)


async def withdraw(request: Request) -> Response:
    """Take an event back; it stays in the record, struck out."""
    form = await form_of(request)
    call_id = request.path_params["call"]
    event = request.path_params["event"]
    here = shared(request).desk.here(call_id)
    if event not in {line.id for line in (*here.folded.lines, *here.folded.attachments)}:
        return await call(request, (Problem("That line is not there any more."),))
    reason = text_of(form, "reason", 200)
    body = {"of": event, **({"reason": reason} if reason else {})}
    _keep(request, form, [("withdrawn", body)])
    return back(text_of(form, "to", 100) or f"/calls/{call_id}", request)


async def complaint_keep(request: Request) -> Response:
    """Correct the complaint."""
    form = await form_of(request)
    call_id = request.path_params["call"]
    try:
        complaint = text_of(form, "complaint", needed="Say what is wrong.")
        opening = shared(request).desk.here(call_id).folded.opening
        if opening is None:
            raise DataError("the beginning of this call has not arrived here")
        _keep(request, form, [("corrected", {"of": opening.id, "body": {"complaint": complaint}})])
    except InputError as error:
        return await call(request, (Problem(error.message, "complaint"),))
    return back(f"/calls/{call_id}", request)


async def change(request: Request, problems: tuple[Problem, ...] = ()) -> Response:
    """The form for something that was altered."""
    here = shared(request).desk.here(request.path_params["call"])
    unit = here.call.unit
    options = [(id, cause.title, cause.group) for id, cause in causes().items() if applies(id, unit)]
    groups: dict[str, list[tuple[str, str]]] = {}
    for id, words, group in options:
        groups.setdefault(group.replace("_", " "), []).append((id, words))
    return page(
        request,
        "change.html",
        status=422 if problems else 200,
        here=here,
        tab="call",
        title="Note a change",
        groups=groups,
        chosen=request.query_params.get("cause", ""),
        problems=problems,
    )


async def change_keep(request: Request) -> Response:
    """Keep a change."""
    form = await form_of(request)
    call_id = request.path_params["call"]
    try:
        cause, text = text_of(form, "cause", 60), text_of(form, "text")
        if not cause and not text:
            raise InputError("Say what was altered: choose what it mends, or write it.", "text")
        body = {"at": _at(form), **({"cause": cause} if cause else {}), **({"text": text} if text else {})}
        _keep(request, form, [("change", body)])
    except InputError as error:
        return await change(request, (Problem(error.message, "text"),))
    return back(f"/calls/{call_id}/wait", request)


# ---------------------------------------------------------------------------------------------- shared


def _at(form: Any) -> str:
    """When it happened: as the phone says, else now."""
    return text_of(form, "at", 40) or now_text()


def _keep(request: Request, form: Any, events: list[tuple[str, dict[str, Any]]]) -> None:
    everything = shared(request)
    call_id = request.path_params["call"]
    everything.desk.keep(call_id, events, session(request).writer, text_of(form, "id", 40) or None)
    begin(request, call_id)


def begin(request: Request, call_id: str) -> None:
    """Begin to weigh a call as soon as it has changed."""
    everything = shared(request)
    here = everything.desk.here(call_id)
    system = system_for(request, here.call.unit)
    begun(everything, "book", here, system)
    if here.folded.lines:
        begin_weighing(everything, here, system)
    else:
        log_told(everything, here)


def as_json(value: Any) -> str:
    """JSON for a page."""
    return json.dumps(value, ensure_ascii=False)
