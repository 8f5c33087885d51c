"""A practice session: what was done one after the other, how long it took, and what the machine answered."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal, get_args

from wringout.catalogue.causes import applies, causes
from wringout.catalogue.points import has_point, point, points_of, shown, sigma
from wringout.documents.call import ITEMS
from wringout.documents.fields import nearest
from wringout.documents.overview import system_of
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.machine import motion
from wringout.machine.motion_trace import Trace
from wringout.practising.hidden import Hidden, values_with
from wringout.quantity import Dimension
from wringout.weighing.likelihood import SLIP_SCALE
from wringout.weighing.next_check import SETTLE_MINUTES

__all__ = [
    "Act",
    "KINDS",
    "NOT_HAD",
    "REPAIR_MINUTES",
    "Session",
    "WALK_UP",
    "act",
    "exact",
    "held",
    "mended",
    "minutes_of",
    "spent",
    "walked_up",
]

WALK_UP = (
    "shown.dew_point",
    "shown.setpoint_dew_point",
    "shown.space_t",
    "shown.supply_t",
    "shown.dehumidifying",
    "shown.stages_called",
    "shown.reheat_command",
    "return.t",
    "return.rh",
    "supply.t",
    "supply.rh",
    "outdoor.t",
    "outdoor.rh",
)
REPAIR_MINUTES = 30.0  # of any repair: judgement; the catalogue has no times for repairs
LONGEST_WAIT = 24.0 * 60.0
MOST_ACTS = 400
STEP = 10.0  # s
SLIP_SHARE = 0.03  # of readings by hand that are slips, where a session has them; as weighing takes it
NOT_HAD = "not to be had"

Kind = Literal["read", "force", "release", "wait", "mend", "name"]
KINDS: tuple[Kind, ...] = get_args(Kind)
_SURE = (Dimension.YES_NO, Dimension.COUNT)


@dataclass(frozen=True)
class Act:
    """One thing that was done: ``what`` is a point, an item, minutes, a cause or causes; ``to`` the share at
    which an item is held [0..1]; ``shown`` what the instrument showed."""

    kind: Kind
    what: str = ""
    to: float = 0.0
    shown: str = ""


@dataclass(frozen=True)
class Session:
    """A unit with its document as a plain tree; the number, level and count by which what is hidden was
    drawn; everything done so far."""

    unit: Unit
    unit_document: Mapping[str, Any]
    seed: int
    level: int
    count: int | None
    acts: tuple[Act, ...] = ()

    @property
    def ended(self) -> bool:
        """Whether the causes have been named."""
        return any(one.kind == "name" for one in self.acts)


def minutes_of(one: Act) -> float:
    """What an act costs of the technician's time.

    Parameters
    ----------
    one : Act

    Returns
    -------
    float, [min]
        A reading what the catalogue says of its point; holding and giving back their wait; naming nothing.
    """
    if one.kind == "read":
        return point(one.what).minutes
    if one.kind in ("force", "release"):
        return SETTLE_MINUTES
    if one.kind == "wait":
        return float(one.what)
    return REPAIR_MINUTES if one.kind == "mend" else 0.0


def spent(session: Session) -> float:
    """Minutes that a session has taken so far.

    Parameters
    ----------
    session : Session

    Returns
    -------
    float, [min]
    """
    return sum(minutes_of(one) for one in session.acts)


def held(session: Session) -> tuple[str, float] | None:
    """The item held by hand at the end of a session and its share [0..1], or None.

    Parameters
    ----------
    session : Session

    Returns
    -------
    (str, float) or None
    """
    now: tuple[str, float] | None = None
    for one in session.acts:
        if one.kind == "force":
            now = one.what, one.to
        elif one.kind == "release":
            now = None
    return now


def mended(session: Session) -> frozenset[str]:
    """Causes that were dealt with, whether they were there or not.

    Parameters
    ----------
    session : Session

    Returns
    -------
    frozenset of str
    """
    return frozenset(one.what for one in session.acts if one.kind == "mend")


def walked_up(session: Session, hidden: Hidden) -> Session:
    """The session after the walk-up readings, which nobody is asked for.

    Parameters
    ----------
    session : Session
    hidden : Hidden

    Returns
    -------
    Session
    """
    for name in WALK_UP:
        session = act(session, hidden, Act("read", name))
    return session


def act(session: Session, hidden: Hidden, one: Act) -> Session:
    """Do one thing, and let the machine answer.

    Parameters
    ----------
    session : Session
    hidden : Hidden
        As drawn for this session.
    one : Act
        Without ``shown``.

    Returns
    -------
    Session
        With the act at its end; a reading has its answer in ``shown``.

    Raises
    ------
    InputError
        For what cannot be done; the session stays as it was.
    """
    if session.ended:
        raise InputError("the causes are named and the session is over; begin another one")
    if len(session.acts) >= MOST_ACTS:
        raise InputError(f"{MOST_ACTS} things were done; name the causes now")
    _refuse(session, one)
    if one.kind == "read":
        after = replace(session, acts=(*session.acts, one))
        one = replace(one, shown=_answer(after, hidden, one.what))
    return replace(session, acts=(*session.acts, one))


def _refuse(session: Session, one: Act) -> None:
    if one.kind == "read":
        has_point(session.unit, one.what)
    elif one.kind == "force":
        if one.what not in ITEMS:
            raise InputError(f'"{one.what[:40]}" cannot be held; {" and ".join(ITEMS)} can')
        if not 0.0 <= one.to <= 1.0 or (one.what == "cooling.call" and one.to not in (0.0, 1.0)):
            taken = "0 % or 100 %" if one.what == "cooling.call" else "0 % to 100 %"
            raise InputError(f"{one.what} is held at {taken}")
        now = held(session)
        if now is not None and now[0] != one.what:
            raise InputError(f"{now[0]} is still held; release it first")
    elif one.kind == "release":
        if held(session) is None:
            raise InputError("nothing is held")
    elif one.kind == "wait":
        if not 0.0 < float(one.what) <= LONGEST_WAIT:
            raise InputError(f"{one.what} min is out of range; wait up to {LONGEST_WAIT:.0f} min at once")
    else:
        for cause in one.what.split():
            _known(session.unit, cause)
        if one.kind == "mend" and one.what in mended(session):
            raise InputError(f"{one.what} was dealt with before")


def _known(unit: Unit, cause: str) -> None:
    known = [name for name in causes() if applies(name, unit)]
    if cause not in known:
        reason = "this unit cannot have" if cause in causes() else "there is no cause"
        raise InputError(f'{reason} "{cause[:60]}"{nearest(cause, known, listed=False)}')


def _schedule(session: Session, hidden: Hidden) -> Iterator[motion.Event]:
    """What was held, given back and altered, at seconds after the start."""
    at = 0.0
    gone: frozenset[str] = frozenset()
    item = ""
    for one in session.acts:
        seconds = max(60.0 * at, STEP)  # the machine starts at rest with nothing held
        if one.kind == "force":
            item = one.what
            yield motion.Hold(seconds, item, one.to)
        elif one.kind == "release":
            yield motion.Release(seconds, item)
        at += minutes_of(one)
        if one.kind == "mend":
            gone |= {one.what}
            yield motion.Alter(60.0 * at, values_with(hidden, gone))


def _run(session: Session, hidden: Hidden) -> Trace:
    """The hidden machine from its settled start to the end of a session, which is its last time."""
    duration = max(60.0 * spent(session), STEP)
    return motion.run(
        hidden.design,
        values_with(hidden, frozenset()),
        hidden.weather,
        hidden.loads,
        tuple(_schedule(session, hidden)),
        start=hidden.rest,
        duration=duration,
        step=STEP,
        record=duration,
    )


def exact(session: Session, hidden: Hidden) -> dict[str, float]:
    """What exact instruments would read now, by point.

    Parameters
    ----------
    session : Session
    hidden : Hidden

    Returns
    -------
    dict of float, [SI of the point]
        Gauges on a stage that stands still are left out.
    """
    trace = _run(session, hidden)
    points = {name: float(value[0, -1]) for name, value in trace.points(at=slice(-1, None)).items()}
    for name in points_of(session.unit):
        if name.startswith("stage.") and not name.endswith(".current"):
            stage = session.unit.stage_ids.index(name.split(".")[1])
            if (
                trace.states[f"on.{stage}"][-1, 0] < 0.5
                or points[f"{name.rpartition('.')[0]}.current"] <= 0.0
            ):
                del points[name]
    return points


def _answer(session: Session, hidden: Hidden, name: str) -> str:
    """What the instrument shows at the last act's point, in the words of a call document."""
    points = exact(session, hidden)
    if name not in points:
        return NOT_HAD
    value, entry = points[name], point(name)
    if entry.dimension in _SURE:
        value = float(round(value))
    else:
        # an error of its own for each reading of each point, whatever else is read before
        before = sum(one.kind == "read" and one.what == name for one in session.acts)
        rng = hidden.chance([session.seed, *name.encode(), before])
        error, slipped = float(rng.standard_normal()), float(rng.random()) < SLIP_SHARE
        if hidden.slips and slipped and entry.by != "display":
            error *= SLIP_SCALE
        value += sigma(name, value) * error
    return shown(name, min(max(value, entry.low), entry.high), system_of(session.unit))
