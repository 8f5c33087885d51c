"""Trends: a controller's log taken in, what it shows, and its plots."""

from __future__ import annotations

import re
from typing import Any

from markupsafe import Markup
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from wringout.documents.call import Change
from wringout.errors import InputError
from wringout.records.logs import Log, logs_of
from wringout.showing.words import pretty
from wringout.web.call_pages import begin
from wringout.web.desk import Here, now_text
from wringout.web.jobs import Failed
from wringout.web.log_files import log_named, on_disk
from wringout.web.pages import Problem, back, form_of, page, session, shared, system_for, text_of
from wringout.web.weigher import Job

__all__ = ["inline", "series", "trend", "trend_keep", "trends"]

MOST = 25_000_000
MARK = "trend"


async def trends(request: Request, problems: tuple[Problem, ...] = ()) -> Response:
    """The logs of a call, and the form for another."""
    here = shared(request).desk.here(request.path_params["call"])
    return page(
        request,
        "trends.html",
        status=422 if problems else 200,
        here=here,
        tab="call",
        title="Trends",
        files=logs_of(here.folded),
        problems=problems,
    )


async def trend_keep(request: Request) -> Response:
    """Take a log in."""
    form = await form_of(request, files=1)
    call_id = request.path_params["call"]
    upload = form.get("file")
    everything, who = shared(request), session(request).writer
    try:
        if not isinstance(upload, UploadFile) or not upload.filename:
            raise InputError("Choose the controller's log, a CSV or Parquet file.", "file")
        data = await upload.read(MOST + 1)
        if len(data) > MOST:
            raise InputError("more than 25 MB; take fewer days or fewer columns", "file")
        kept = everything.desk.attach(
            call_id,
            data,
            upload.filename,
            who,
            at=text_of(form, "at", 40) or now_text(),
            id=text_of(form, "id", 40),
        )
    except InputError as error:
        return await trends(request, (Problem(error.message, "file"),))
    begin(request, call_id)
    return back(f"/calls/{call_id}/trends/{kept}", request)


def _job(request: Request, here: Here) -> tuple[Job, Log]:
    """The work on one log."""
    everything = shared(request)
    log = log_named(here, request.path_params["sha256"])
    document = everything.desk.store.unit_text(here.folded.unit_id or "")
    system = system_for(request, here.call.unit)
    more = on_disk(everything.desk, log)
    return everything.weigher.job("trend", f"{here.id} {log.sha256}", document, system, more), log


async def trend(request: Request) -> Response:
    """What one log shows."""
    here = shared(request).desk.here(request.path_params["call"])
    part = "hx-request" in request.headers
    job, log = _job(request, here)
    problems: tuple[Problem, ...] = ()
    found: dict[str, Any] | None = None
    try:
        found = await job.within(8.0 if part else 0.25)
    except Failed as error:
        problems = (Problem(error.message),)
    pictures = [Markup(inline(f["picture"], k)) for k, f in enumerate(found["findings"])] if found else []
    return page(
        request,
        "trend_part.html" if part else "trend.html",
        here=here,
        tab="call",
        title=f"Trend {log.name}",
        chosen=log.mapping is not None,
        found=found,
        pictures=pictures,
        pending=found is None and not problems,
        as_part=part,
        changed=any(isinstance(event, Change) for event in here.call.events),
        sha256=log.sha256,
        seconds=job.seconds,
        part=f"/calls/{here.id}/trends/{log.sha256}",
        problems=problems,
    )


def inline(picture: str, number: int) -> str:
    """A picture within a page: its ids made its own, and no address in it."""
    text = picture.replace(' xmlns="http://www.w3.org/2000/svg"', "")
    text = re.sub(r">([^<]+)<", lambda words: f">{pretty(words[1])}<", text)
    for old in ("t", "d", "h"):
        text = text.replace(f'id="{old}"', f'id="p{number}{old}"').replace(
            f"url(#{old})", f"url(#p{number}{old})"
        )
    return text.replace('aria-labelledby="t d"', f'aria-labelledby="p{number}t p{number}d"')


async def series(request: Request) -> Response:
    """The thinned series of one log, for the plot that can be zoomed."""
    here = shared(request).desk.here(request.path_params["call"])
    job, _ = _job(request, here)
    try:
        found = await job.within(2.0)
    except Failed as error:
        return JSONResponse({"error": error.message}, 422)
    if found is None:
        return JSONResponse({"error": "still being read"}, 503)
    return JSONResponse(found["series"])
