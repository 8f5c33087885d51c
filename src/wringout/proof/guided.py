"""A guided test: is the wanted state there, what still settles, what may be read."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from wringout.documents.states import forced
from wringout.documents.unit import Unit
from wringout.machine.design import Design
from wringout.machine.parameters import Array
from wringout.proof.machine_waits import LEAST_TAU, MachineWait, transit
from wringout.proof.recognition import Shown, recognise
from wringout.proof.steadiness import WINDOWS, steadiness

__all__ = ["Guidance", "PointNow", "Request", "guide", "taken_at_all"]

PATIENCE = 3.0  # times the wait that healthy machines need
LEAST_PATIENCE = 1200.0  # s
SWING_AFTER = 300.0  # s after the wait, from which a swing is called one
STALE = 90.0  # s without a value, or three rows
FURTHEST = 4.0  # times the design's transit that a slow loop is waited for
_WATERY = ("source.", "reclaim.", "reheat.water_in", "reheat.water_out")


@dataclass(frozen=True, slots=True)
class PointNow:
    """One live point. ``kind``: ``settled``, ``settling``, ``swings``, ``overdue`` (still moving long after a
    healthy machine has come to rest) or ``missing``. ``last`` and ``age`` [s] of the last value; ``value``
    the mean that may be taken, ``uncertainty`` one standard deviation with the instrument's (0 for counts);
    ``left`` [s] until it should be settled; ``drift`` [unit/s]; ``period`` [s] of a swing."""

    point: str
    kind: str
    last: float
    age: float
    value: float
    uncertainty: float
    left: float
    drift: float
    period: float


@dataclass(frozen=True, slots=True)
class Guidance:
    """What a guided test says now. ``phase``:

    ``unseen`` no live point shows the item; ``force`` the state is to be forced; ``changing`` it is on its
    way; ``doubt`` it stands there, which control may have done; ``not_reached`` it is held but did not get
    through; ``settling``; ``ready`` what is needed is settled; ``stuck`` what is needed does not settle.
    """

    phase: str
    wanted: str
    shown: Shown
    rows: tuple[PointNow, ...]
    needed: tuple[str, ...]
    left: float
    at: float

    @property
    def ready(self) -> tuple[PointNow, ...]:
        """The points that may be taken."""
        return tuple(row for row in self.rows if row.kind == "settled")


@dataclass(frozen=True)
class Request:
    """What a test wants. ``waits`` as from machine_waits (none for ``auto``); ``sigma`` gives one standard
    deviation of a reading from point and value; ``exact`` are counts and yes or no; ``needed`` points that
    must settle (every live one if none); ``said`` and ``asked`` [s] as recognise takes them; ``insist``
    goes on though the state did not get through."""

    wanted: str
    waits: Mapping[str, MachineWait]
    sigma: Callable[[str, float], float]
    exact: Collection[str] = ()
    needed: Sequence[str] = ()
    said: float | None = None
    asked: float | None = None
    insist: bool = False


def guide(
    time: Array,
    values: Mapping[str, Array],
    unit: Unit,
    design: Design,
    points: Sequence[str],
    request: Request,
    now: float | None = None,
) -> Guidance:
    """Say where a guided test stands.

    Parameters
    ----------
    time : array, (rows,), [s]
        Increasing.
    values : mapping of array, (rows,)
        Point to its values in SI; NaN where there was none.
    unit : Unit
    design : Design
        The unit's.
    points : sequence of str
        Live points that may be read into a call.
    request : Request
    now : float, optional, [s]
        By the clock of the recording; the last row if not given.

    Returns
    -------
    Guidance

    Notes
    -----
    A point is settled when nine healthy machines in ten would have settled it, the room standing, and its own
    numbers say so (`steadiness`); never before the first of the change can have reached it. Stages that come
    or go by themselves begin the wait anew.
    """
    at = float(time[-1]) if now is None and len(time) else (now or 0.0)
    shown = _shown(time, values, unit, request)
    there = _there(shown, request)
    since = shown.disturbed if there and math.isfinite(shown.disturbed) else shown.since
    rows = tuple(
        _point(name, time, values, unit, design, request, since if there else math.inf, at) for name in points
    )
    live = [row.point for row in rows if row.kind != "missing"]
    needed = tuple(name for name in request.needed if name in live) or tuple(live)
    phase = _phase(shown, request)
    wanted = [row for row in rows if row.point in needed]
    left = max((row.left for row in wanted if math.isfinite(row.left)), default=0.0)
    if phase == "settling":
        kinds = {row.kind for row in wanted}
        if kinds and kinds <= {"settled"}:
            phase = "ready"
        elif kinds & {"swings", "overdue"} and "settling" not in kinds:
            phase = "stuck"
    return Guidance(phase, request.wanted, shown, rows, needed, left, at)


def _shown(time: Array, values: Mapping[str, Array], unit: Unit, request: Request) -> Shown:
    found = recognise(time, values, unit, request.wanted, request.said, request.asked)
    if request.wanted == "auto" and found.kind == "control" and request.said is not None and len(time):
        since = min(max(request.said, float(time[0])), float(time[-1]))
        return Shown("auto", "control", since, disturbed=since)
    return found


def _there(shown: Shown, request: Request) -> bool:
    if request.wanted == "auto":
        return shown.state == "auto" and shown.kind in ("control", "unseen")
    return shown.state == request.wanted and (shown.kind == "held" and (request.insist or not shown.against))


def _phase(shown: Shown, request: Request) -> str:
    if _there(shown, request):
        return "settling"
    if shown.kind == "unseen":
        return "unseen"
    if shown.state != request.wanted:
        return "changing" if shown.kind == "changing" and shown.state == "auto" else "force"
    if shown.kind == "changing":
        return "changing"
    return "not_reached" if shown.kind == "held" else "doubt"


def _point(
    name: str,
    time: Array,
    values: Mapping[str, Array],
    unit: Unit,
    design: Design,
    request: Request,
    since: float,
    at: float,
) -> PointNow:
    series = values[name]
    there = np.flatnonzero(np.isfinite(series))
    if not len(there):
        return PointNow(name, "missing", math.nan, math.inf, math.nan, math.nan, math.inf, math.nan, math.nan)
    last, age = float(series[there[-1]]), at - float(time[there[-1]])
    step = float(np.median(np.diff(time))) if len(time) > 1 else 0.0
    if age > max(STALE, 3.0 * step):
        return PointNow(name, "missing", last, age, math.nan, math.nan, math.inf, math.nan, math.nan)
    wait = request.waits.get(name)
    least, dead, tau = (wait.late, wait.dead, wait.tau) if wait is not None else (0.0, 0.0, LEAST_TAU)
    if wait is not None and wait.moves and name.startswith(_WATERY) and "loop.flow" in values:
        least = max(least, _slow_loop(values["loop.flow"], design))
    if not math.isfinite(since):  # the state is not there: what would be read is that of another state
        return PointNow(
            name, "settling", last, age, math.nan, math.nan, least + WINDOWS[0], math.nan, math.nan
        )
    passed = float(time[-1]) - since
    reading = request.sigma(name, last)
    exact = name in request.exact
    found = steadiness(time, series, since + dead, reading, tau, exact)
    kind, left = "settling", max(least - passed, found.left if math.isfinite(found.left) else 0.0)
    if passed >= least and found.kind == "steady":
        kind, left = "settled", 0.0
    elif passed >= least + SWING_AFTER and found.kind == "swings":
        kind, left = "swings", math.inf
    elif passed >= max(PATIENCE * least, LEAST_PATIENCE) and found.kind in ("moving", "swings"):
        kind, left = "overdue", math.inf
    elif left <= 0.0 or found.kind == "few":
        left = max(left, WINDOWS[0] - passed + dead, 30.0)
    spread = 0.0 if exact else math.hypot(reading, found.spread)
    return PointNow(name, kind, last, age, found.value, spread, left, found.drift, found.period)


def _slow_loop(flow: Array, design: Design) -> float:
    """Both pipes at the flow that is there, for a loop that is slower than meant."""
    some = flow[np.isfinite(flow)]
    if not len(some):
        return 0.0
    return min(transit(design, float(np.median(some[-5:]))), FURTHEST * transit(design))


def taken_at_all(state: str, points: Sequence[str]) -> tuple[str, ...]:
    """Points that mean something in a state: that a forced output is in hand is no finding."""
    held = forced(state)
    out = {"shown.reheat_in_hand"} if held is not None and held[0] == "reheat.command" else set()
    return tuple(name for name in points if name not in out)
