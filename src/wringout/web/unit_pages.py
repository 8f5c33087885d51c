"""The unit document as a form that says what is given and what is assumed, and why."""

from __future__ import annotations

import json
import typing
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from wringout.documents.load import unit_from_text
from wringout.documents.measure import Part
from wringout.documents.overview import Entry, kind_in_words, overview
from wringout.documents.unit import UNIT_FORMAT, Unit
from wringout.errors import DataError, InputError
from wringout.showing.words import pretty
from wringout.web.call_pages import begin
from wringout.web.pages import Problem, back, form_of, page, session, shared, system_for

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
    )


def _row(entry: Entry, given: dict[str, str] | None) -> dict[str, Any]:
    value = given.get(entry.path, "") if given is not None else entry.shown if entry.given else ""
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
    """Keep the document that the form makes, as the newest of this unit."""
    form = await form_of(request)
    call_id = request.path_params["call"]
    here = shared(request).desk.here(call_id)
    given = {
        key: value.strip()
        for key, value in form.items()
        if isinstance(value, str) and value.strip() and key not in ("csrf", "id", "at")
    }
    known = {entry.path for entry in overview(here.call.unit, system_for(request, here.call.unit))}
    given = {path: value for path, value in given.items() if path in known}
    try:
        text = json.dumps(_tree(given, here.call.unit), ensure_ascii=False, indent=1)
        unit_from_text(text, "unit")
        who = session(request).writer
        if here.folded.unit_id is None:
            raise DataError("the event that opens this call has not arrived here")
        shared(request).desk.store.save_unit(
            text, author=who.author, device=who.device, unit_id=here.folded.unit_id
        )
    except InputError as error:
        return await unit(request, (_problem(error, known),), given)
    begin(request, call_id)
    return back(f"/calls/{call_id}/unit", request)


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
