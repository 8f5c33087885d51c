"""Pages whose content is worked out in another process: ledger, chart, suspects, next check, wait. Each says
at once what it has, and the rest follows."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response

from wringout.catalogue.points import point
from wringout.documents.call import Change, Force, Reading, Release
from wringout.showing.chart import chart_svg
from wringout.showing.drawing import drawing_svg
from wringout.showing.expected import last_readings
from wringout.showing.words import chance, reading_words, span
from wringout.web.desk import Here, now_text
from wringout.web.earlier import known_job, learning
from wringout.web.jobs import Failed
from wringout.web.pages import Problem, page, shared, system_for
from wringout.web.weighed import Logged, log_read, log_told, weighed_words
from wringout.web.weigher import Job
from wringout.weighing.next_check import SETTLE_MINUTES

__all__ = ["chart", "history", "ledger", "next_check", "suspects", "wait"]

AT_ONCE, PATIENT = 0.25, 8.0  # seconds that a page, and that its part, wait for the answer
GRACE = 0.5  # of these, for the answer with a log before that of the readings alone is given
SOON = 2.0 * 3600.0  # seconds for which somebody may wait beside a unit


class _Work:
    """What a page and its part have in common."""

    def __init__(self, request: Request) -> None:
        self.request = request
        self.shared = shared(request)
        self.here: Here = self.shared.desk.here(request.path_params["call"])
        self.system = system_for(request, self.here.call.unit)
        self.part = "hx-request" in request.headers
        self.patience = PATIENT if self.part else AT_ONCE
        self.without = "without" in request.query_params  # what earlier visits told
        self.alone = "alone" in request.query_params  # the readings, without the log
        self.read = any(isinstance(event, Reading) for event in self.here.call.events)

    async def job(self, kind: str, more: dict[str, Any] | None, *, known: bool) -> Job | None:
        """The work, begun if it was not; None while earlier visits are learned from."""
        if known and not self.without:
            return await known_job(self.shared, kind, self.here, self.system, more, seconds=self.patience)
        topic = f"{self.here.id} without" if known else self.here.id
        return self.shared.weigher.job(kind, topic, self.here.document, self.system, more)

    async def find(
        self, kind: str, more: dict[str, Any] | None = None, *, known: bool = False
    ) -> dict[str, Any]:
        """The result, or how long it has been worked on; what went wrong in words. ``known``: with what
        earlier visits told of the machine, unless the page was asked for without."""
        job = await self.job(kind, more, known=known)
        if job is None:
            return {"found": None, "pending": True, "problems": (), "seconds": 0.0, "before": None}
        try:
            found = await job.within(self.patience)
        except Failed as error:
            return {"found": None, "pending": False, "problems": (Problem(error.message),), "seconds": 0.0}
        return self._state(job, found)

    def _state(self, job: Job, found: dict[str, Any] | None) -> dict[str, Any]:
        before = self.shared.weigher.before(job) if found is not None else None
        pending = found is None
        return {"found": found, "pending": pending, "seconds": job.seconds, "problems": (), "before": before}

    async def weigh(self, name: str) -> dict[str, Any]:
        """The answer as `find` gives it, with what was weighed: the newest log too, where that is ready.

        Until then it is that of the readings alone, and its page asks again for the other (``log=wait``).
        """
        waits = "log" in self.request.query_params
        if self.alone:
            logged = log_told(self.shared, self.here, unread=True)
        else:
            logged = await log_read(self.shared, self.here, self.patience if waits else 0.0)
        alone = Logged().more(self.here)
        if logged.told:
            await self.job("weigh", alone, known=True)  # begun beside it, in case it is sooner
            job = await self.job(logged.kind, logged.more(self.here), known=True)
            try:
                found = (
                    await job.within(self.patience if waits else min(GRACE, self.patience)) if job else None
                )
            except Failed as error:
                logged = Logged(logged.log, why=error.message)
            else:
                if job is not None and found is not None:
                    return self._state(job, found) | {"weighed": self._weighed(name, logged, found)}
                logged = replace(logged, reading=job)
        state = await self.find("weigh", alone, known=True)
        found = state["found"]
        return state | {"weighed": self._weighed(name, logged, found) if found else None}

    def _weighed(self, name: str, logged: Logged, found: dict[str, Any]) -> dict[str, Any] | None:
        """What an answer rests on, and where else to look; None in a call without a log."""
        if logged.log is None:
            return None
        seen = f"/calls/{self.here.id}/trends/{logged.log.sha256}"
        with_it, without_it = (self._address(name, log="", n="", alone=alone) for alone in ("", "1"))
        used = bool(found["log"]) and found["log"]["tells"]
        waits = not (found["log"] or logged.why or logged.left_out)
        links = [("With it", with_it)] if self.alone else [("See the log", seen)]
        return {
            "words": weighed_words(logged, found),
            "links": [*links, ("without it", without_it)] if used else links,
            "asks": not used,
            "again": self._address(name, log="wait") if waits else "",
            "seconds": logged.reading.seconds if logged.reading is not None else 0.0,
        }

    def _address(self, name: str, **other: str) -> str:
        """The page as it was asked for, with some of that asked otherwise."""
        asked = {**self.request.query_params, **other}
        query = urlencode({key: value for key, value in asked.items() if value})
        return f"/calls/{self.here.id}/{name}{'?' if query else ''}{query}"

    def page(self, name: str, title: str, tab: str, **values: Any) -> Response:
        template = f"{name}_part.html" if self.part else f"{name}.html"
        asked = self.request.url.query  # which state, which check, without what: the part is of the same
        return page(
            self.request,
            template,
            here=self.here,
            tab=tab,
            title=title,
            read=self.read,
            without=self.without,
            alone=self.alone,
            other_visits=self._address(name, log="", n="", without="" if self.without else "1"),
            part=f"/calls/{self.here.id}/{name}{'?' if asked else ''}{asked}",
            **values,
        )


async def suspects(request: Request) -> Response:
    """What may be wrong, how probable, and why."""
    work = _Work(request)
    if not work.read:
        return work.page("suspects", "Suspects", "suspects", found=None, pending=False, problems=())
    state = await work.weigh("suspects")
    before = state.pop("before", None)
    former = {s["cause"]: s["p"] for s in before["suspects"]} if before else {}
    marginals = before["document"]["marginals"] if before else {}
    moved = {}
    if state["found"]:
        for s in state["found"]["suspects"]:
            old = marginals.get(s["cause"], former.get(s["cause"]))
            if old is not None and chance(old) != s["chance"]:
                moved[s["cause"]] = chance(old)
    return work.page("suspects", "Suspects", "suspects", moved=moved, **state)


async def next_check(request: Request) -> Response:
    """One thing to do."""
    work = _Work(request)
    if not work.read:
        nothing: dict[str, Any] = {"found": None, "pending": False, "problems": (), "which": 0, "ways": []}
        return work.page("next", "Next check", "next", **nothing)
    state = await work.weigh("next")
    state.pop("before", None)
    which = request.query_params.get("n", "0")
    checks = state["found"]["checks"] if state["found"] else []
    return work.page(
        "next",
        "Next check",
        "next",
        which=int(which) if which.isdecimal() and len(which) < 3 else 0,
        ways=[_way(work.here, check) for check in checks],
        live=work.shared.live is not None,
        **state,
    )


def _way(here: Here, check: dict[str, Any]) -> dict[str, Any]:
    """What has to be held or given back before a check, when it may be read, and the minutes of it all."""
    acts = [event for event in here.call.events if isinstance(event, Force | Release)]
    there = check["state"] == here.state
    due, left = None, 0.0 if there else SETTLE_MINUTES
    if there and acts:
        at = acts[-1].at
        passed = (datetime.now(at.tzinfo) - at).total_seconds() / 60.0
        if 0.0 <= passed < SETTLE_MINUTES:
            due, left = at + timedelta(minutes=SETTLE_MINUTES), SETTLE_MINUTES - passed
    held = "" if there or here.state == "auto" else here.state.partition("=")[0]
    return {
        "hold": check["item"] if not there else "",
        "give_back": held if check["state"] == "auto" else "",
        "due": due.isoformat() if due else "",
        "due_words": f"{due:%H:%M}" if due else "",
        "minutes": f"{left + point(check['point']).minutes:.0f}",
        "waits": left > 0.0,
    }


async def ledger(request: Request) -> Response:
    """What each part moves, drawn."""
    work = _Work(request)
    state = await work.find("book", known=True)
    state.pop("before", None)
    found = state["found"]
    which = _which(request, len(found["ledgers"]) if found else 0)
    drawing = ""
    if found:
        chosen = found["ledgers"][which] if found["ledgers"] else None
        last = {
            name: reading_words(reading, work.system)
            for name, reading in last_readings(work.here.call).items()
        }
        drawing = drawing_svg(work.here.call.unit, chosen, last, work.system)
    return work.page("ledger", "Ledger", "ledger", which=which, drawing=drawing, **state)


async def chart(request: Request) -> Response:
    """The moist-air chart."""
    work = _Work(request)
    state = await work.find("book", known=True)
    state.pop("before", None)
    found = state["found"]
    which = _which(request, len(found["charts"]) if found else 0)
    picture = ""
    table: list[dict[str, str]] = []
    if found and found["charts"]:
        picture, table = chart_svg(found["charts"][which], work.system)
    return work.page("chart", "Moist-air chart", "ledger", which=which, picture=picture, table=table, **state)


def _which(request: Request, count: int) -> int:
    text = request.query_params.get("state", "")
    return min(int(text), count - 1) if text.isdecimal() and len(text) < 4 and count else max(count - 1, 0)


async def wait(request: Request) -> Response:
    """How long until a reading means something again."""
    work = _Work(request)
    acting = [e for e in work.here.call.events if isinstance(e, Force | Release | Change)]
    if not acting:
        return work.page(
            "wait", "Wait", "next", found=None, pending=False, problems=(), nothing=True, rows=[]
        )
    state = await work.find("wait", known=True)
    state.pop("before", None)
    rows = []
    if state["found"]:
        at = datetime.fromisoformat(state["found"]["at"])
        now = datetime.now(at.tzinfo)
        for p in state["found"]["points"]:
            late = p["late"]
            due = at + timedelta(seconds=late) if late is not None else None
            rows.append(
                {
                    **p,
                    "due": due.isoformat() if due else "",
                    "due_words": f"at {due:%H:%M}"
                    if due and due.date() == at.date()
                    else f"{due:%d %b, %H:%M}"
                    if due
                    else "not within 24 h",
                    "when": "ready"
                    if due is not None and due <= now
                    else "soon"
                    if late is not None and late <= SOON
                    else "late",
                    "late_words": span(late) if late is not None else "over 24 h",
                    "half_words": span(p["half"]) if p["half"] is not None else "over 24 h",
                }
            )
    return work.page("wait", "Wait", "next", nothing=False, rows=rows, now=now_text(), **state)


async def history(request: Request) -> Response:
    """The unit's visits up to this call, which of them are proven, and what was found otherwise than left."""
    work = _Work(request)
    earlier = work.shared.earlier.of(work.here)
    if not earlier and not work.here.call.events:
        return work.page("history", "History", "call", found=None, pending=False, problems=(), nothing=True)
    learn = learning(work.shared, work.here)
    state = await work.find("history", {"earlier": [one.document for one in earlier]})
    state.pop("before", None)
    verdicts: dict[str, Any] = {}
    if learn is not None:
        try:
            learned = await learn.within(work.patience)
        except Failed as error:
            state["problems"] = (*state["problems"], Problem(error.message))
        else:
            state["pending"] = state["pending"] or learned is None
            verdicts = learned["verdicts"] if learned else {}
    return work.page("history", "History", "call", nothing=False, verdicts=verdicts, **state)
