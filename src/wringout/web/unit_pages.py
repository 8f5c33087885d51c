"""The unit document as a form that says what is given and what is assumed, and why."""

from __future__ import annotations

import json
import re
import typing
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from wringout.documents.load import unit_from_text
from wringout.documents.measure import Part
from wringout.documents.overview import Entry, kind_in_words, overview
from wringout.documents.unit import UNIT_FORMAT, Unit
from wringout.errors import DataError, InputError
from wringout.quantity import UnitSystem
from wringout.showing.words import pretty
from wringout.web.call_pages import begin
from wringout.web.pages import Problem, back, form_of, page, session, shared, system_for, text_of

__all__ = ["unit", "unit_keep"]

HEADINGS = {
    "": "Unit",
    "site": "Site",
    "air": "Air",
    "cooling": "Cooling",
    "reheat": "Reheat",
    "loop": "Loop",
    "source": "Heat source",
    "space": "Space",
    "control": "Control",
}
MOST_STAGES = 12


async def unit(
    request: Request, problems: tuple[Problem, ...] = (), given: dict[str, str] | None = None
) -> Response:
    """The form."""
    here = shared(request).desk.here(request.path_params["call"])
    system = system_for(request, here.call.unit)
    entries = overview(here.call.unit, system)
    shown = shared(request).desk.described(here.folded.unit_id or "")
    sections: dict[str, list[dict[str, Any]]] = {}
    for entry in entries:
        head = entry.path.split(".")[0] if "." in entry.path else ""
        sections.setdefault(head, []).append(_row(entry, given))
    return page(
        request,
        "unit.html",
        status=422 if problems else 200,
        here=here,
        tab="call",
        title="Unit",
        sections=[(HEADINGS.get(head, head), rows) for head, rows in sections.items()],
        assumed=sum(not entry.given for entry in entries),
        count=len(entries),
        kind_in_words=kind_in_words(here.call.unit),
        problems=problems,
        base=shown.id if shown is not None else "",
        kept=request.query_params.get("kept", ""),
    )


def _row(entry: Entry, given: dict[str, str] | None) -> dict[str, Any]:
    value = given.get(entry.path, "") if given is not None else entry.shown if entry.given else ""
    if "delta_" in entry.shown:
        value = pretty(value)
    return {
        "path": entry.path,
        "name": entry.path.split(".", 1)[-1].replace("_", " ").replace(".", ", "),
        "value": value,
        "given": entry.given,
        "assumed": "" if entry.given else pretty(entry.shown),
        "spread": pretty(entry.spread),
        "rule": entry.provenance.rule,
        "choices": _choices(entry.path),
    }


def _choices(path: str) -> tuple[str, ...]:
    """The words that a field of few words takes."""
    model: Any = Unit
    annotation: Any = None
    for name in path.split("."):
        fields = getattr(model, "model_fields", {})
        if name not in fields:
            if path.endswith(".modulating"):
                return ("yes", "no")
            return ()
        annotation = fields[name].annotation
        parts = [annotation, *typing.get_args(annotation)]
        model = next((p for p in parts if isinstance(p, type) and issubclass(p, Part)), None)
    found: list[str] = []
    for option in (annotation, *typing.get_args(annotation)):
        if typing.get_origin(option) is typing.Literal:
            found += [str(word) for word in typing.get_args(option)]
    return tuple(found)


async def unit_keep(request: Request) -> Response:
    """Keep what the form changes, as the newest document of this unit.

    The form says which document it showed: what others have changed since then stays.
    """
    form = await form_of(request)
    call_id = request.path_params["call"]
    desk = shared(request).desk
    here = desk.here(call_id)
    sent = {
        key: value.strip()
        for key, value in form.items()
        if isinstance(value, str) and value.strip() and key not in ("csrf", "id", "at", "base")
    }
    system = system_for(request, here.call.unit)
    now = overview(here.call.unit, system)
    known = {entry.path for entry in now}
    sent = {entry.path: _written(sent[entry.path], entry) for entry in now if entry.path in sent}
    try:
        if here.folded.unit_id is None:
            raise DataError("the event that opens this call has not arrived here")
        before = _base(request, text_of(form, "base", 40), here.folded.unit_id, system)
        given = {entry.path: entry.shown for entry in now if entry.given}
        if before is None:
            before = given
        changed = {path for path in before.keys() | sent if sent.get(path) != before.get(path)}
        merged = {path: value for path, value in given.items() if path not in changed}
        merged |= {path: value for path, value in sent.items() if path in changed}
        as_sent, as_merged = (
            json.dumps(_tree(one, here.call.unit), ensure_ascii=False, indent=1) for one in (sent, merged)
        )
        for text in (as_sent, as_merged):
            unit_from_text(text, "unit")
        made = text_of(form, "id", 40) or None
        desk.describe(here.folded.unit_id, as_sent, as_merged, session(request).writer, made)
    except InputError as error:
        return await unit(request, (_problem(error, known),), sent)
    begin(request, call_id)
    return back(f"/calls/{call_id}/unit?kept=1", request)


def _base(request: Request, event_id: str, unit_id: str, system: UnitSystem) -> dict[str, str] | None:
    """What was given in the document that the form showed, if that document is here."""
    for event in shared(request).desk.store.events_outside_calls():
        if event.id == event_id and event.kind == "unit_described" and event.unit_id == unit_id:
            entries = overview(unit_from_text(str(event.body["document"]), "unit"), system)
            return {entry.path: entry.shown for entry in entries if entry.given}
    return None


def _written(value: str, entry: Entry) -> str:
    """A difference of temperatures, shown in plain degrees, as a document writes it."""
    if "delta_" not in entry.shown or "delta_" in value:
        return value
    return re.sub(r"\s*(?:°|deg)?\s*([FC])$", r" delta_deg\1", value)


def _problem(error: InputError, known: set[str]) -> Problem:
    """The message with its field; the line of a document that nobody saw says nothing."""
    words = error.message
    field, _, rest = words.partition(": ")
    if field not in known:
        return Problem(words)
    return Problem(f"{field.replace('_', ' ').replace('.', ', ')}: {rest}", field)


def _tree(given: dict[str, str], unit: Unit) -> dict[str, Any]:
    tree: dict[str, Any] = {"format": UNIT_FORMAT}
    stages: dict[str, dict[str, str]] = {stage.id: {"id": stage.id} for stage in unit.cooling.stages}
    for path, value in given.items():
        if path.startswith("cooling.stages."):
            _, _, stage, field = path.split(".")
            if stage in stages and field != "id":
                stages[stage][field] = value
            continue
        *parents, leaf = path.split(".")
        place = tree
        for parent in parents:
            place = place.setdefault(parent, {})
        place[leaf] = value
    if stages and given.get("cooling.kind", unit.cooling.kind) == "dx":
        tree.setdefault("cooling", {})["stages"] = list(stages.values())
    return tree
