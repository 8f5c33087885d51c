"""The page Live: points as they are, the wanted state recognised by itself, readings taken in time."""

from __future__ import annotations

import json
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from wringout.catalogue.points import shown, sigma
from wringout.catalogue.steps import Step, cautions_of
from wringout.documents.states import forced
from wringout.errors import DataError, InputError
from wringout.machine.design import design
from wringout.proof.guided import Guidance, guide
from wringout.proof.guided import Request as Wanted
from wringout.proof.machine_waits import MachineWait
from wringout.proof.recognition import CANDIDATES
from wringout.showing.live import (
    call_seconds,
    exact_points,
    live_points,
    phase_words,
    point_words,
    readings_of,
    state_events,
    state_of,
    taken_since,
)
from wringout.showing.words import pretty, reading_words
from wringout.web.call_pages import begin
from wringout.web.desk import Here
from wringout.web.jobs import Failed
from wringout.web.live_feed import Feed, Rows, Test
from wringout.web.pages import Problem, back, form_of, page, session, shared, system_for, text_of
from wringout.web.weighed import log_told, weigh_job
from wringout.weighing.evidence_words import plain, state_words

__all__ = ["act", "live"]

THERE = ("settling", "ready", "stuck")  # phases in which the wanted state stands
PATIENT = 0.3  # s that a look waits for work under way
UNKNOWN = (1e9, 0.0, 60.0, True)  # a wait that is not worked out yet
LATEST = 300.0  # s that a reading may lie before the state that it is taken in


async def live(request: Request) -> Response:
    """The page, or its part."""
    return await _shown(request)


async def _shown(request: Request, problems: tuple[Problem, ...] = ()) -> Response:
    everything = shared(request)
    here = everything.desk.here(request.path_params["call"])
    part = "hx-request" in request.headers
    values: dict[str, Any] = {
        "now": None,
        "name": "",
        "names": (),
        "states": [],
        "wanted": "",
    }
    feed = everything.live
    try:
        values["names"] = feed.names() if feed is not None else ()
        values |= await _look(request, here)
    except (InputError, DataError) as error:
        problems = (*problems, Problem(str(error)))
    return page(
        request,
        "live_part.html" if part else "live.html",
        status=422 if problems and not part else 200,
        here=here,
        tab="next",
        title="Live",
        part=f"/calls/{here.id}/live",
        problems=problems,
        **values,
    )


async def _look(request: Request, here: Here) -> dict[str, Any]:
    """Everything that the page shows of a recording."""
    feed = shared(request).live
    if feed is None or not feed.names():
        return {"names": ()}
    names = feed.names()
    asked_for = request.query_params.get("from", "")
    if asked_for in names:
        feed.chosen[here.id] = asked_for
    name = feed.chosen.get(here.id, names[0])
    rows = await run_in_threadpool(feed.rows, name)
    test, pending = await _test(request, here, feed, rows)
    now, waiting = await _guided(request, here, rows, test)
    if test.state == here.state == "auto":
        found = now.shown.state if now.shown.kind == "held" else "auto"
        if found == "auto" and test.insist:
            feed.tests.pop(here.id, None)  # what was given back is seen to be
        elif found != "auto" and not test.insist:  # held, though nobody asked for it
            test = feed.tests[here.id] = Test(found)
            now, waiting = await _guided(request, here, rows, test)
    system = system_for(request, here.call.unit)
    taken = _taken(here, now)
    fresh = [row for row in now.ready if row.point not in taken]
    item = forced(test.state)
    return {
        "names": names,
        "name": name,
        "now": now,
        "wanted": test.state,
        "wanted_words": state_words(test.state),
        "item": {"reheat.command": "the reheat command", "cooling.call": "the cooling call"}.get(
            item[0] if item else "", ""
        ),
        "to": f"{100.0 * item[1]:.6g} %" if item else "",
        "words": "Recognised. Working out how long a healthy unit needs."
        if waiting and now.phase in THERE
        else phase_words(now),
        "point": plain(test.point) if test.point else "",
        "point_id": test.point,
        "by_hand": bool(test.point) and test.point not in rows.values,
        "cares": [
            {"title": c.title, "text": list(c.text)}
            for c in cautions_of(Step(points=(test.point,) if test.point else (), state=test.state))
        ],
        "states": [(state, state_words(state)) for state in ("auto", *CANDIDATES) if state != test.state],
        "held": here.state,
        "rows": [
            {
                "point": row.point,
                "what": plain(row.point),
                "value": pretty(shown(row.point, row.last, system)),
                "state": point_words(row, system) if now.phase in THERE or row.kind == "missing" else "",
                "age": round(row.age) if row.age == row.age and row.age < 1e6 else None,
                "taken": pretty(reading_words(taken[row.point], system)) if row.point in taken else "",
                "needed": row.point == test.point,
            }
            for row in now.rows
        ],
        "fresh": len(fresh),
        "taken": len(taken),
        "weighing": pending,
        "do": _do(here, now, test, len(taken), len(fresh)),
    }


def _taken(here: Here, now: Guidance) -> dict[str, Any]:
    """What was read in the state as it stands, by point."""
    if here.state != now.wanted or now.phase not in (*THERE, "force", "changing"):
        return {}
    _, since = state_of(here.call)
    return taken_since(here.call, since) if since is not None else {}


def _do(here: Here, now: Guidance, test: Test, taken: int, fresh: int) -> str:
    """What the page does by itself next: nothing, or the name of an act."""
    if now.phase in ("settling", "ready", "stuck") and test.state != "auto" and here.state != test.state:
        return "recognised"
    if now.phase == "ready" and fresh and here.state == test.state:
        return "take"
    if now.phase == "force" and taken and here.state == test.state != "auto":
        return "released"
    return ""


async def _test(request: Request, here: Here, feed: Feed, rows: Rows) -> tuple[Test, bool]:
    """The state that is waited for: chosen, or that in which the unit is, or that of the next check."""
    chosen = request.query_params.get("state", "")
    if chosen in ("auto", *CANDIDATES):
        feed.tests[here.id] = Test(chosen, asked=float(rows.time[-1]))
        return feed.tests[here.id], False
    test = feed.tests.get(here.id)
    if here.state != "auto":
        if test is None or test.state != here.state:
            test = feed.tests[here.id] = Test(here.state)
        return test, False
    if test is not None:
        return test, False
    if here.folded.lines:
        system = system_for(request, here.call.unit)
        logged = log_told(shared(request), here)
        job = await weigh_job(shared(request), here, system, logged, seconds=PATIENT)
        try:
            found = await job.within(PATIENT) if job is not None else None
        except Failed:
            found = None
        if found is None:
            return Test("auto"), job is None or not job.future.done()
        for check in found["checks"][:1]:
            feed.tests[here.id] = Test(check["state"], check["point"], float(rows.time[-1]))
            return feed.tests[here.id], False
    return Test("auto"), False


async def _guided(request: Request, here: Here, rows: Rows, test: Test) -> tuple[Guidance, bool]:
    """Where the test stands, and whether the times of a healthy unit are still being worked out."""
    unit = here.call.unit
    found: dict[str, Any] | None = None
    names = live_points(unit, rows.values, test.state)
    waits: dict[str, MachineWait] = {}
    if test.state != "auto":
        document = json.dumps({**json.loads(here.document), "events": []}, sort_keys=True)
        more = {"state": test.state, "points": names}
        job = shared(request).weigher.job(f"live {test.state}", here.id, document, "si", more)
        try:
            found = await job.within(PATIENT)
        except Failed as error:
            raise InputError(error.message) from None
        rows_of = found["waits"] if found is not None else dict.fromkeys(names, UNKNOWN)
        waits = {name: MachineWait(name, *row) for name, row in rows_of.items()}
    state, since = state_of(here.call)
    wanted = Wanted(
        test.state,
        waits,
        sigma,
        exact_points(names),
        (test.point,) if test.point in names else (),
        said=since if state == test.state else None,
        asked=test.asked,
        insist=test.insist,
    )
    waiting = bool(waits) and found is None
    now = await run_in_threadpool(guide, rows.time, rows.values, unit, design(unit), names, wanted, rows.now)
    return now, waiting


async def act(request: Request) -> Response:
    """Keep what was recognised, said or taken. Sent twice it is kept once: what stands is not kept again."""
    form = await form_of(request)
    call_id = request.path_params["call"]
    everything = shared(request)
    feed = everything.live
    if feed is None or not feed.names():
        raise InputError("nothing is being recorded here", "live")
    do = text_of(form, "do", 20)
    before = everything.desk.here(call_id)
    rows = await run_in_threadpool(feed.rows, feed.chosen.get(call_id, feed.names()[0]))
    test, _ = await _test(request, before, feed, rows)
    now, _ = await _guided(request, before, rows, test)
    here = everything.desk.here(call_id)  # nothing is waited for from here to the keeping
    system = system_for(request, here.call.unit)
    at = float(rows.time[-1])
    events: list[tuple[str, dict[str, Any]]] = []
    if do == "insist":
        test.insist = True
    elif do == "recognised" and now.phase in ("settling", "ready", "stuck"):
        events = state_events(here.call, test.state, now.shown.since)
    elif do == "held":
        events = state_events(here.call, test.state, at)
    elif do in ("released", "free"):
        events = state_events(here.call, "auto", at)
        feed.tests.pop(call_id, None)
        if do == "free":
            feed.tests[call_id] = Test("auto", insist=True)
    elif do in ("take", "early") and here.state == test.state:
        taken = _taken(here, now)
        picked = [row for row in now.rows if row.point not in taken or do == "early"]
        events = readings_of(picked, at, system, early=do == "early")
    if events:
        last = here.call.events[-1].at if here.call.events else None
        if last is not None and do in ("take", "early") and call_seconds(last) > at + LATEST:
            raise InputError("the recording's clock is behind the call's last event", "live")
        everything.desk.keep(call_id, events, session(request).writer)
        begin(request, call_id)
    if "hx-request" in request.headers:
        return await _shown(request)
    return back(f"/calls/{call_id}/live", request)
