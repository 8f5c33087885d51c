"""Columns of a log: what each was taken for, and a form that says what it is. What is chosen is kept with the
call as the log's mapping file, the same that ``wringout trend --map`` takes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Any

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from wringout.catalogue.points import points_of
from wringout.catalogue.trend_points import TREND_POINTS, measure_of
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.quantity import PREFERRED, UnitSystem, units_of
from wringout.records.attachments import sha256_of
from wringout.records.bundle import export_names
from wringout.records.logs import Log
from wringout.trends.choosing import Choice, chosen_text, faults
from wringout.trends.mapping import mapping_beside
from wringout.web.call_pages import begin, written_by
from wringout.web.column_job import STATES
from wringout.web.desk import Here, now_text
from wringout.web.jobs import Failed
from wringout.web.log_files import log_named, on_disk
from wringout.web.pages import Problem, back, form_of, page, session, shared, system_for, text_of
from wringout.web.reading_pages import GROUPS, short_name
from wringout.web.weigher import Job

__all__ = ["columns", "columns_keep"]

AT_ONCE, PATIENT = 0.25, 8.0  # seconds that a page, and that its part, wait for the log to be read
LONG = 60.0  # and that the keeping of a choice does
MOST = 60  # columns of one form
ANEW = "the columns are guessed anew"


@dataclass(frozen=True)
class _Sent:
    """What a form said and what is wrong with it, by the column's place in the log."""

    points: Mapping[int, str]
    units: Mapping[int, str]
    problems: Mapping[int, Problem]
    first: int


def _job(request: Request, here: Here, log: Log) -> Job:
    everything = shared(request)
    document = everything.desk.store.unit_text(here.folded.unit_id or "")
    system = system_for(request, here.call.unit)
    return everything.weigher.job(
        "columns", f"{here.id} {log.sha256}", document, system, on_disk(everything.desk, log)
    )


async def columns(
    request: Request, problems: tuple[Problem, ...] = (), sent: _Sent | None = None
) -> Response:
    """What each column was taken for, with the form to say otherwise."""
    everything = shared(request)
    here = everything.desk.here(request.path_params["call"])
    log = log_named(here, request.path_params["sha256"])
    part = "hx-request" in request.headers
    job = _job(request, here, log)
    found: dict[str, Any] | None = None
    status = 422 if problems else 200
    try:
        found = await job.within(PATIENT if part else AT_ONCE)
    except Failed as error:
        problems = (*problems, Problem(error.message))
    first = sent.first if sent is not None else _first(request.query_params.get("from", ""), found)
    one = f"/calls/{here.id}/trends/{log.sha256}"
    return page(
        request,
        "columns_part.html" if part else "columns.html",
        status=status,
        here=here,
        tab="call",
        title=f"Columns of {log.name}",
        found=found,
        rows=_shown(found["columns"], first, sent) if found else [],
        counts=_counts(found["columns"] if found else []),
        starts=range(0, len(found["columns"]), MOST) if found else (),
        first=first,
        most=MOST,
        points=_points(here.call.unit),
        units=_units(here.call.unit, system_for(request, here.call.unit)),
        given=_given(request, log),
        pending=found is None and not problems,
        seconds=job.seconds,
        as_part=part,
        trend=one,
        part=f"{one}/columns?from={first}",
        problems=problems,
    )


def _first(text: str, found: dict[str, Any] | None) -> int:
    """The first column of the form: that of a page of them."""
    wanted = int(text) if text.isdecimal() and len(text) < 6 else 0
    most = len(found["columns"]) - 1 if found and found["columns"] else wanted
    return min(wanted, most) // MOST * MOST


def _shown(rows: list[dict[str, Any]], first: int, sent: _Sent | None) -> list[dict[str, Any]]:
    """The rows of one form; what was sent stands in them in place of what counts."""
    shown = []
    for place, row in enumerate(rows[first : first + MOST], first):
        chosen = {"place": place, "chosen": row["point"], "in": row["unit"], "fault": None}
        if sent is not None and place in sent.points:
            fault = sent.problems.get(place)
            chosen |= {"chosen": sent.points[place], "in": sent.units[place], "fault": fault}
        shown.append({**row, **chosen})
    return shown


def _counts(rows: list[dict[str, Any]]) -> dict[str, int]:
    return {state: sum(row["state"] == state for row in rows) for state in STATES}


def _given(request: Request, log: Log) -> dict[str, str]:
    """Who chose the columns, and when."""
    if log.mapping is None:
        return {}
    names = shared(request).desk.store.names()
    at = str(log.mapping.body.get("at") or log.mapping.event.recorded.isoformat())
    return {"author": written_by(log.mapping.event.author, names), "at": at[:19]}


def _points(unit: Unit) -> list[tuple[str, str]]:
    """Every point that a log of this unit may hold, with its place first."""
    names = [*points_of(unit), *TREND_POINTS]
    return [
        (name, f"{'Controller' if name.startswith(('shown.', 'cooling.')) else heading}: {short_name(name)}")
        for starts, heading in GROUPS
        for name in names
        if name.startswith(tuple(starts.split()))
    ]


def _units(unit: Unit, system: UnitSystem) -> list[str]:
    """Every unit that one of those points may be written in, the reader's own first."""
    names = [name for name, _ in _points(unit)]
    dimensions = list(dict.fromkeys(measure_of(name).dimension for name in names))
    own = [PREFERRED[dimension][system] for dimension in dimensions]
    return list(dict.fromkeys([*own, *(one for dimension in dimensions for one in units_of(dimension))]))


async def columns_keep(request: Request) -> Response:
    """Keep what was chosen as the log's mapping file, or go back to guessing."""
    form = await form_of(request)
    everything, who = shared(request), session(request).writer
    here = everything.desk.here(request.path_params["call"])
    log = log_named(here, request.path_params["sha256"])
    there = f"/calls/{here.id}/trends/{log.sha256}"
    events = everything.desk.store.events(here.id)
    id = _unused(text_of(form, "id", 40), events)
    if text_of(form, "guess", 10):
        acts = [("withdrawn", {"of": line.id, "reason": ANEW}) for line in log.mappings]
        everything.desk.keep(here.id, acts, who, id or None)
        begin(request, here.id)
        return back(f"{there}/columns", request)
    try:
        found = await _job(request, here, log).within(LONG)
    except Failed as error:
        return await columns(request, (Problem(error.message),))
    if found is None:
        return await columns(request, (Problem("The log is still being read; send this once more."),))
    if text_of(form, "of", 20) != found["of"]:
        return await columns(request, (Problem("The log is read otherwise by now: look at it once more."),))
    chosen, problems = _chosen(form, found["columns"], here.call.unit)
    file = _exported(events, here, log)
    text = ""
    if not problems:
        try:
            text = chosen_text(chosen, file, found["time_column"], found["time_format"])
        except InputError as error:
            problems = (Problem(error.message),)
    if problems:
        return await columns(request, problems, _sent(form, found, problems))
    data = text.encode()
    if log.mapping is not None and log.mapping.body["sha256"] == sha256_of(data):
        return back(there, request)  # sent twice, or nothing was altered
    taken = sum(bool(one.point) for one in chosen)
    everything.desk.attach(
        here.id,
        data,
        mapping_beside(file).name,
        who,
        text=f"Columns of {log.name} as chosen: {taken} of {len(chosen)}",
        at=text_of(form, "at", 40) or now_text(),
        id=id,
        to=log.id,
        instead_of=[line.id for line in log.mappings],
    )
    begin(request, here.id)
    return back(there, request)


def _chosen(
    form: FormData, rows: list[dict[str, Any]], unit: Unit
) -> tuple[list[Choice], tuple[Problem, ...]]:
    """What every column is to be, the form's or, for one that it does not show, what stands; and what is
    wrong with it."""
    standing = [Choice(row["column"], row["point"], row["unit"]).settled() for row in rows]
    chosen = [
        Choice(row["column"], text_of(form, f"p{k}", 80), text_of(form, f"u{k}", 20)).settled()
        if f"p{k}" in form
        else standing[k]
        for k, row in enumerate(rows)
    ]
    # what was altered is set against what stood there before
    order = sorted(range(len(rows)), key=lambda k: chosen[k] != standing[k])
    wrong = faults([chosen[k] for k in order], unit)
    return chosen, tuple(
        Problem(f"{row['column']}: {fault.words}", f"{fault.field[0]}{k}")
        for k, row in enumerate(rows)
        if (fault := wrong.get(row["column"])) is not None
    )


def _sent(form: FormData, found: dict[str, Any], problems: tuple[Problem, ...]) -> _Sent:
    """What a form said, to be shown again with what is wrong beside it."""
    places = [k for k in range(len(found["columns"])) if f"p{k}" in form]
    return _Sent(
        {k: text_of(form, f"p{k}", 80) for k in places},
        {k: text_of(form, f"u{k}", 20) for k in places},
        {int(problem.field[1:]): problem for problem in problems if problem.field},
        _first(text_of(form, "from", 6), found),
    )


def _unused(id: str, events: Iterable[Any]) -> str:
    """The identifier made on the device, unless its page was sent before: then this is another choice."""
    return "" if any(event.id == id for event in events) else id


def _exported(events: Iterable[Any], here: Here, log: Log) -> str:
    """What the log is called in an export of the call, where its mapping file lies beside it."""
    names = export_names(events, {line.id for line in here.folded.withdrawn})
    return next(PurePosixPath(name).name for name, sha256 in names.items() if sha256 == log.sha256)
