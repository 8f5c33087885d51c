"""Readings: one line that takes what one would say, how it was understood, every point with its last
value."""

from __future__ import annotations

import json
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from wringout.catalogue.points import point, points_of
from wringout.documents.call import ITEMS, Reading
from wringout.errors import InputError
from wringout.quantity import Dimension, UnitSystem, units_of
from wringout.showing.expected import last_readings
from wringout.showing.words import pretty, reading_words
from wringout.web.call_pages import begin
from wringout.web.desk import SAID, UNREADABLE, Here, now_text
from wringout.web.earlier import known_job
from wringout.web.jobs import Failed
from wringout.web.pages import Problem, back, form_of, page, session, shared, system_for, text_of
from wringout.web.spoken.understand import understand
from wringout.web.spoken.understood import Understood
from wringout.web.spoken.units import usual_unit
from wringout.web.weighed import begin_weighing
from wringout.weighing.evidence_words import plain, state_words

__all__ = [
    "GROUPS",
    "force_keep",
    "readings",
    "readings_keep",
    "said_keep",
    "short_name",
    "tapped_keep",
    "understand_line",
]

MOST_READINGS = 60
# beginning of ids -> heading; in the order in which one walks around the unit
GROUPS = (
    ("shown. cooling.", "Shown by the controller"),
    ("outdoor.", "Outdoor air"),
    ("return.", "Return air"),
    ("mixed.", "Mixed air"),
    ("coil_leaving.", "Behind the cooling coil"),
    ("supply.", "Supply air"),
    ("space.", "Space"),
    ("filter. fan. condensate.", "Filter, fan, drain"),
    ("stage.", "Compressor stages"),
    ("chilled.", "Chilled water"),
    ("reheat.signal reheat.stem", "Reheat valve"),
    ("reheat.water", "Reheat water"),
    ("loop. pump. strainer.", "Loop"),
    ("source.", "Heat source"),
    ("reclaim.", "Recovered heat"),
)
_SHORT = {
    "t": "temperature",
    "rh": "relative humidity",
    "airflow": "airflow",
    "drop": "pressure drop",
    "speed": "drive frequency",
    "current": "current",
    "rate": "water by bucket and watch",
    "superheat": "superheat",
    "condensing_over_outdoor": "condensing over outdoor",
    "signal": "control signal",
    "stem": "position shown",
    "flow": "flow in the main",
    "water_flow": "flow through the coil",
    "water_in": "water in",
    "water_out": "water out",
    "head": "pump head",
    "gas_in": "gas in",
    "gas_out": "refrigerant out",
    "dew_point": "dew point",
    "outdoor_dew_point": "outdoor dew point",
    "space_t": "space temperature",
    "supply_t": "supply temperature",
    "setpoint_dew_point": "dew-point set point",
    "dehumidifying": "dehumidifying",
    "stages_called": "stages called",
    "reheat_command": "reheat command",
    "reheat_in_hand": "reheat held by hand",
    "setpoint_space_t": "space set point",
    "setpoint_supply_t": "supply set point",
    "occupied": "in use by the calendar",
}


def short_name(name: str) -> str:
    """A point's name under the heading of its group."""
    *parents, leaf = name.split(".")
    words = _SHORT.get(leaf, leaf.replace("_", " "))
    if parents and parents[0] == "stage":
        return f"{parents[1]}: {words}"
    if name.startswith(("filter.", "fan.", "cooling.")):
        return f"{parents[0]}: {words}"
    return f"{parents[0]} {words}" if name == "strainer.drop" else words


def _groups(here: Here, bands: dict[str, Any], system: Any) -> list[dict[str, Any]]:
    last = last_readings(here.call)
    names = points_of(here.call.unit)
    found = []
    for starts, heading in GROUPS:
        rows = []
        for name in names:
            if name.startswith(tuple(starts.split())):
                reading = last.get(name)
                band = bands.get(name)
                rows.append(
                    {
                        "point": name,
                        "name": short_name(name),
                        "value": reading_words(reading, system) if reading else "",
                        "at": f"{reading.at:%H:%M}" if reading else "",
                        "band": band["words"] if band else "",
                        "off": _off(reading, band),
                        "yes_no": point(name).dimension is Dimension.YES_NO,
                        "units": _units(name, system),
                        "unreadable": name in here.unreadable,
                    }
                )
        if rows:
            read = sum(bool(row["value"]) for row in rows)
            found.append({"heading": heading, "rows": rows, "read": read})
    return found


def _units(name: str, system: Any) -> list[str]:
    entry = point(name)
    if entry.dimension is Dimension.YES_NO:
        return []
    usual = usual_unit(entry.dimension, entry.unit, system)
    return [
        usual,
        *(unit for unit in units_of(entry.dimension) if unit != usual and unit not in ("psig", "barg")),
    ]


def _off(reading: Reading | None, band: dict[str, Any] | None) -> str:
    if reading is None or band is None:
        return ""
    if point(reading.point).dimension in (Dimension.YES_NO, Dimension.COUNT):
        return ""
    return "under" if reading.value < band["low"] else "over" if reading.value > band["high"] else ""


async def readings(request: Request, problems: tuple[Problem, ...] = (), line: str = "") -> Response:
    """The page of readings."""
    everything = shared(request)
    here = everything.desk.here(request.path_params["call"])
    system = system_for(request, here.call.unit)
    part = "hx-request" in request.headers and request.query_params.get("part") == "points"
    patience = 5.0 if part else 0.3
    job = await known_job(everything, "book", here, system, seconds=patience)
    try:
        booked = await job.within(patience) if job is not None else None
    except Failed as error:
        booked, problems = {"bands": {}}, (*problems, Problem(error.message))
    return page(
        request,
        "readings_points.html" if part else "readings.html",
        status=422 if problems else 200,
        here=here,
        tab="readings",
        title="Readings",
        groups=_groups(here, booked["bands"] if booked else {}, system),
        pending=booked is None,
        seconds=job.seconds if job is not None else 0.0,
        booked=booked,
        state=here.state,
        state_words=state_words(here.state),
        problems=problems,
        line=line,
        kept=request.query_params.get("kept", ""),
    )


async def understand_line(request: Request) -> Response:
    """How a line was understood, before it is kept."""
    form = await form_of(request)
    call_id = request.path_params["call"]
    here = shared(request).desk.here(call_id)
    try:
        line = text_of(form, "line", 1000, needed="Say or write what was read, for example: supply 58.5.")
    except InputError as error:
        return await readings(request, (Problem(error.message, "line"),))
    system = system_for(request, here.call.unit)
    found = understand(line, here.call.unit, system)
    _begin_to_weigh(request, here, found, text_of(form, "at", 40))
    return page(
        request,
        "understood.html",
        here=here,
        tab="readings",
        title="As understood",
        line=line,
        of=text_of(form, "of", 40),
        at=text_of(form, "at", 40),
        **_shown(found, here, system),
    )


def _begin_to_weigh(request: Request, here: Here, found: Understood, at: str) -> None:
    """Weigh a clear line while it is looked at, as it will stand in the call once it is kept as it is."""
    if not (at and found.clear and found.said) or found.held:
        return
    tree = json.loads(here.document)
    new = [{"at": at, "kind": "reading", "point": s.point, "value": s.value} for s in found.said]
    tree["events"] = sorted([*tree.get("events", ()), *new], key=lambda event: str(event["at"]))
    unreadable = tuple(u.point for u in found.unreadable)
    system = system_for(request, here.call.unit)
    document = json.dumps(tree, ensure_ascii=False)
    begin_weighing(shared(request), here, system, unreadable=unreadable, document=document, ahead=True)


def _shown(found: Understood, here: Here, system: UnitSystem) -> dict[str, Any]:
    last = last_readings(here.call)
    return {
        "said": [
            {
                "point": s.point,
                "what": plain(s.point),
                "value": s.value,
                "shown": pretty(s.value),
                "words": s.words,
                "note": pretty(s.note),
                "before": reading_words(last[s.point], system) if s.point in last else "",
            }
            for s in found.said
        ],
        "unreadable": [
            {"point": u.point, "what": plain(u.point), "words": u.words} for u in found.unreadable
        ],
        "held": [
            {
                "item": h.item,
                "to": h.to,
                "words": h.words,
                "what": "reheat command" if h.item == "reheat.command" else "cooling call",
            }
            for h in found.held
        ],
        "questions": [
            {
                "words": q.words,
                "why": q.why,
                "choices": [
                    {"point": c.point, "value": c.value, "what": plain(c.point), "shown": pretty(c.value)}
                    for c in q.choices
                ],
            }
            for q in found.questions
        ],
        "unknown": found.unknown,
        "nothing": not (found.said or found.unreadable or found.held or found.questions),
    }


async def readings_keep(request: Request) -> Response:
    """Keep readings as they were understood and chosen."""
    form = await form_of(request)
    call_id = request.path_params["call"]
    at = text_of(form, "at", 40) or now_text()
    try:
        events = _chosen(form, at)
        of = text_of(form, "of", 40)
        if of:
            events.append(("withdrawn", {"of": of, "reason": "sorted into readings"}))
        if not events:
            raise InputError("Nothing was chosen to be kept.", "line")
        shared(request).desk.keep(call_id, events, session(request).writer, text_of(form, "id", 40) or None)
    except InputError as error:
        return await readings(request, (Problem(error.message, "line"),), text_of(form, "line", 1000))
    begin(request, call_id)
    return back(f"/calls/{call_id}/readings?kept={len(events)}", request)


def _chosen(form: Any, at: str) -> list[tuple[str, dict[str, Any]]]:
    """Fields ``r0``, ``r1``, ...: ``point|value``; ``u...`` a point; ``h...`` an item and where it is
    held."""
    events: list[tuple[str, dict[str, Any]]] = []
    for key, value in form.multi_items():
        if not isinstance(value, str) or not value or not key[1:].isdecimal() or key[0] not in "ruh":
            continue
        if len(events) >= MOST_READINGS:
            raise InputError(f"more than {MOST_READINGS} at once", "line")
        name, _, rest = value.partition("|")
        if key[0] == "r":
            events.append(("reading", {"at": at, "point": name, "value": rest}))
        elif key[0] == "u":
            point(name)
            events.append(("note", {"at": at, "text": UNREADABLE + name}))
        elif rest:
            events.append(("force", {"at": at, "item": name, "to": rest}))
        else:
            events.append(("release", {"at": at, "item": name}))
    return events


async def tapped_keep(request: Request) -> Response:
    """Keep one reading that was tapped in at its point."""
    form = await form_of(request)
    call_id = request.path_params["call"]
    name = text_of(form, "point", 60)
    try:
        value = "not readable" if text_of(form, "unreadable", 4) else text_of(form, "value", 40)
        if not value:
            raise InputError("Write the value that was read.", "value")
        unit = text_of(form, "unit", 20)
        if value == "not readable":
            point(name)
            event: tuple[str, dict[str, Any]] = ("note", {"at": _at(form), "text": UNREADABLE + name})
        else:
            written = f"{value} {unit}" if unit and not any(c.isalpha() or c == "%" for c in value) else value
            event = ("reading", {"at": _at(form), "point": name, "value": written})
        shared(request).desk.keep(call_id, [event], session(request).writer, text_of(form, "id", 40) or None)
    except InputError as error:
        return await readings(request, (Problem(error.message, f"v-{name}"),))
    begin(request, call_id)
    return back(f"/calls/{call_id}/readings?kept=1", request)


async def said_keep(request: Request) -> Response:
    """Keep a line that was said without a connection: its readings where it is clear, else to be sorted."""
    form = await form_of(request)
    call_id = request.path_params["call"]
    everything = shared(request)
    here = everything.desk.here(call_id)
    line, at = text_of(form, "line", 1000, needed="empty"), _at(form)
    found = understand(line, here.call.unit, system_for(request, here.call.unit))
    events: list[tuple[str, dict[str, Any]]] = [("note", {"at": at, "text": SAID + line})]
    if found.clear:
        events = [("reading", {"at": at, "point": s.point, "value": s.value}) for s in found.said]
        events += [("note", {"at": at, "text": UNREADABLE + u.point}) for u in found.unreadable]
        events += [
            ("force", {"at": at, "item": h.item, "to": h.to})
            if h.to
            else ("release", {"at": at, "item": h.item})
            for h in found.held
        ]
    everything.desk.keep(call_id, events, session(request).writer, text_of(form, "id", 40) or None)
    begin(request, call_id)
    return back(f"/calls/{call_id}/readings", request)


async def force_keep(request: Request) -> Response:
    """Hold an item, or give it back."""
    form = await form_of(request)
    call_id = request.path_params["call"]
    item, to = text_of(form, "item", 40), text_of(form, "hold", 20)
    at = _at(form)
    here = shared(request).desk.here(call_id)
    try:
        if item not in ITEMS:
            raise InputError(f"cannot be held; {' and '.join(ITEMS)} can", "item")
        events: list[tuple[str, dict[str, Any]]] = []
        held = here.state.partition("=")[0]
        if to and held not in ("auto", item):
            events.append(("release", {"at": at, "item": held}))
        events.append(
            ("force", {"at": at, "item": item, "to": to}) if to else ("release", {"at": at, "item": item})
        )
        shared(request).desk.keep(call_id, events, session(request).writer, text_of(form, "id", 40) or None)
    except InputError as error:
        return await readings(request, (Problem(error.message, "hold"),))
    begin(request, call_id)
    return back(f"/calls/{call_id}/{'wait' if to else 'readings'}", request)


def _at(form: Any) -> str:
    return text_of(form, "at", 40) or now_text()
