"""Weighing a call: its readings, and with them its newest log from when on that has been read."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from wringout.errors import DataError, InputError
from wringout.records.logs import Log, logs_of
from wringout.web.earlier import begun, known_job
from wringout.web.jobs import WITH_LOG, Failed
from wringout.web.log_files import on_disk
from wringout.web.weigher import Job

if TYPE_CHECKING:
    from wringout.quantity import UnitSystem
    from wringout.web.desk import Here
    from wringout.web.pages import Shared

__all__ = ["Logged", "begin_weighing", "log_read", "log_told", "weigh_job", "weighed_words"]


@dataclass(frozen=True, slots=True)
class Logged:
    """The newest log of a call (None without one), and how far it has come: the work of ``reading`` or
    weighing it while that goes on, ``why`` it cannot be used, or what it ``told`` for weighing. It may be
    ``left_out``."""

    log: Log | None = None
    reading: Job | None = None
    why: str = ""
    left_out: bool = False
    told: dict[str, Any] = field(default_factory=dict)

    @property
    def kind(self) -> str:
        """Which work weighs a call with it."""
        return WITH_LOG if self.told else "weigh"

    def more(self, here: Here, unreadable: tuple[str, ...] = ()) -> dict[str, Any]:
        """What that work is told, with points that cannot be read beside those of the call."""
        return {"unreadable": [*here.unreadable, *unreadable], **self.told}


def log_told(everything: Shared, here: Here, *, unread: bool = False) -> Logged:
    """What the newest log tells weighing; to read it is begun if it was not, unless it is left ``unread``.

    It goes by the content of log, mapping file and unit's document alone: a reading begins nothing anew.
    """
    logs = logs_of(here.folded)
    if not logs:
        return Logged()
    log = logs[-1]
    if unread:
        return Logged(log, left_out=True)
    try:
        unit = everything.desk.store.unit_text(here.folded.unit_id or "")
        files = on_disk(everything.desk, log)
        job = everything.weigher.job("log", f"{here.id} {log.sha256}", unit, "si", files)
        found = job.result
    except (InputError, Failed) as error:
        return Logged(log, why=error.message)
    except DataError as error:
        return Logged(log, why=str(error))
    if found is None:
        return Logged(log, job)
    return Logged(log, told={"log": {"name": log.name, "evidence": found["evidence"]}})


async def log_read(everything: Shared, here: Here, seconds: float) -> Logged:
    """`log_told`, after so many seconds at the most in which it may have been read."""
    found = log_told(everything, here)
    if found.reading is None or not seconds:
        return found
    with contextlib.suppress(Failed):  # told by asking once more
        await found.reading.within(seconds)
    return log_told(everything, here)


async def weigh_job(
    everything: Shared, here: Here, system: UnitSystem, logged: Logged, *, seconds: float
) -> Job | None:
    """The work of weighing a call with what its log told; None while earlier visits are learned from."""
    return await known_job(everything, logged.kind, here, system, logged.more(here), seconds=seconds)


def begin_weighing(
    everything: Shared,
    here: Here,
    system: UnitSystem,
    *,
    unreadable: tuple[str, ...] = (),
    document: str = "",
    ahead: bool = False,
) -> None:
    """Begin to weigh a call, or what it may be soon (``document``, and what is ``unreadable`` besides).

    Its readings alone, which is quick, and beside that with its log, where that has been read.
    """
    logged = log_told(everything, here)
    for one in (Logged(), logged) if logged.told else (logged,):
        more = one.more(here, unreadable)
        begun(everything, one.kind, here, system, more, document=document, ahead=ahead)


def weighed_words(logged: Logged, found: dict[str, Any]) -> str:
    """What an answer rests on, where the call has a log; empty where it has none."""
    if logged.log is None:
        return ""
    name, of = logged.log.name, found["log"]
    if logged.left_out:
        return f"Readings alone, without the log {name}"
    if logged.why:
        return f"Readings alone; the log {name} could not be used: {logged.why.removeprefix(f'{name}: ')}"
    if not of:
        return f"Readings alone; the log {name} is being {'weighed' if logged.told else 'read'}"
    if not of["tells"]:
        return f"Readings alone; the log {name}, {of['days']}, could not be used: nothing in it has settled"
    return f"Readings and the log {name}, {of['days']}"
