"""Proof: whether the repair has held, by a log of the days since; the verdict is kept with the call."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from wringout.documents.call import Change
from wringout.errors import InputError
from wringout.history.proofs import PROOF_FORMAT
from wringout.records.attached_json import attached_json
from wringout.records.logs import logs_of
from wringout.showing.proof_words import VERDICTS
from wringout.web.desk import Here, now_text
from wringout.web.jobs import Failed
from wringout.web.log_files import log_named, on_disk
from wringout.web.pages import Problem, back, form_of, page, session, shared, system_for, text_of
from wringout.web.trend_pages import inline
from wringout.web.weigher import Job

__all__ = ["proof", "proof_keep"]

AT_ONCE, PATIENT = 0.25, 8.0  # seconds that a page, and that its part, wait for the verdict
LONG = 60.0  # and that the keeping of one does
NAME = "proof.json"


def _job(request: Request, here: Here, sha256: str) -> Job:
    """The work on the verdict by one log, or on what is to be shown where there is none."""
    everything = shared(request)
    more: dict[str, Any] = {}
    if sha256:
        more |= on_disk(everything.desk, log_named(here, sha256))
    system = system_for(request, here.call.unit)
    return everything.weigher.job("prove", here.id, here.document, system, more)


async def proof(request: Request, problems: tuple[Problem, ...] = ()) -> Response:
    """Proven, not proven or not yet testable, why, and what is still to be shown."""
    here = shared(request).desk.here(request.path_params["call"])
    part = "hx-request" in request.headers
    status = 422 if problems else 200
    files = logs_of(here.folded)
    newest = files[-1].sha256 if files else ""
    sha256 = request.query_params.get("log", newest)
    changed = any(isinstance(event, Change) for event in here.call.events)
    found: dict[str, Any] | None = None
    seconds = 0.0
    if changed:
        job = _job(request, here, sha256)
        try:
            found = await job.within(PATIENT if part else AT_ONCE)
        except Failed as error:
            problems = (*problems, Problem(error.message))
        seconds = job.seconds
    picture = Markup(inline(found["picture"], 0)) if found and found.get("picture") else ""
    data = _written(found)
    return page(
        request,
        "proof_part.html" if part else "proof.html",
        status=status,
        here=here,
        tab="call",
        title="Proof",
        nothing=not changed,
        found=found,
        picture=picture,
        pending=changed and found is None and not problems,
        seconds=seconds,
        logs=files,
        log=sha256,
        of=_sha256(data),
        is_kept=any(line.body["sha256"] == _sha256(data) for line in here.folded.attachments),
        kept=_kept(request, here),
        as_part=part,
        part=f"/calls/{here.id}/proof?log={sha256}",
        problems=problems,
    )


def _written(found: dict[str, Any] | None) -> bytes:
    """The document of a verdict as it is kept; empty where nothing was judged."""
    if not found or "document" not in found:
        return b""
    return json.dumps(found["document"], ensure_ascii=False, indent=1).encode()


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _kept(request: Request, here: Here) -> list[str]:
    """Verdicts that were kept with the call, the latest last."""
    trees = attached_json(shared(request).desk.store, here.folded, PROOF_FORMAT)
    return [_said(tree) for tree in trees]


def _said(tree: dict[str, Any]) -> str:
    verdict = VERDICTS.get(str(tree.get("verdict")), "Unknown").lower()
    days = " to ".join(str(tree.get(name, ""))[:16].replace("T", " ") for name in ("from", "to"))
    return f"{verdict}, by the log of {days}"


async def proof_keep(request: Request) -> Response:
    """Keep the verdict that was seen as the call's proof: its document, attached to the call."""
    form = await form_of(request)
    everything, who = shared(request), session(request).writer
    here = everything.desk.here(request.path_params["call"])
    sha256 = text_of(form, "log", 64)
    try:
        if not any(isinstance(event, Change) for event in here.call.events):
            raise InputError("No change is noted in this call, so there is nothing to prove.")
        try:
            found = await _job(request, here, sha256).within(LONG)
        except Failed as error:
            raise InputError(error.message) from None
        data = _written(found)
        if found is None or not data:
            raise InputError("There is no verdict to keep yet; open this page again.")
        if text_of(form, "of", 64) != _sha256(data):
            raise InputError("The verdict is another one by now: look at it once more, then keep it.")
        everything.desk.attach(
            here.id,
            data,
            NAME,
            who,
            text=f"Proof: {_said(found['document'])}",
            at=text_of(form, "at", 40) or now_text(),
            id=text_of(form, "id", 40),
        )
    except InputError as error:
        return await proof(request, (Problem(error.message),))
    return back(f"/calls/{here.id}/proof?log={sha256}", request)
