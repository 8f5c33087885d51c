"""A trend beside the readings: its settled moments become situations like those of a visit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Protocol

import numpy as np

from wringout.catalogue.points import points_of
from wringout.documents.call import Call, Change, Force, Release
from wringout.documents.unit import Unit
from wringout.weighing.situation import Observation, Problem, Situation

__all__ = ["LoggedMoment", "LoggedTrend", "clock", "mended_by", "with_moments"]

MOST_MOMENTS = 3
SETTLE = timedelta(minutes=45)  # after a held item is let go, until a log shows the unit by itself again
DISPLAY_SLIP = 0.003


class LoggedMoment(Protocol):
    """A settled picture of a log: means over some minutes."""

    @property
    def at(self) -> float:
        """Its middle [s since 1970, the log's own clock]."""

    @property
    def values(self) -> Mapping[str, float]:
        """By point [SI]."""

    @property
    def spread(self) -> Mapping[str, float]:
        """Standard deviation of the samples within it, by point [SI]."""

    @property
    def dehumidifying(self) -> bool:
        """Whether cooling was called."""


class LoggedTrend(Protocol):
    """What weighing takes from a trend; the summary that reading a trend gives has all of it.

    Numbers are NaN where the trend cannot tell.
    """

    @property
    def moments(self) -> Sequence[LoggedMoment]:
        """Settled pictures, in order of time."""

    @property
    def start(self) -> float:
        """Its first row [s since 1970, the log's own clock]."""

    @property
    def end(self) -> float:
        """Its last row [s since 1970, the log's own clock]."""

    @property
    def hours(self) -> float:
        """Hours of data."""

    @property
    def share_on(self) -> float:
        """Share of the time in which the unit dehumidifies."""

    @property
    def command_low(self) -> float:
        """Share of that time with the reheat command at 0 %."""

    @property
    def command_high(self) -> float:
        """Share of that time with the reheat command at 100 %."""

    @property
    def command_travel(self) -> float:
        """How far the command moved over all hours [0..1]."""

    @property
    def command_median(self) -> float:
        """Of the command while dehumidifying [0..1]."""

    @property
    def swing_command(self) -> float:
        """Standard deviation of the reheat command, slow parts taken off [0..1]."""

    @property
    def swing_period(self) -> float:
        """Period of that swing [s]."""

    @property
    def follows_on(self) -> float:
        """Share of the time in which the shown dew point is the outdoor one, while dehumidifying."""

    @property
    def follows_off(self) -> float:
        """The same while not dehumidifying."""


def clock(at: float) -> datetime:
    """Give a time of a log, by the log's own clock.

    Parameters
    ----------
    at : float
        [s since 1970].

    Returns
    -------
    datetime
        Without a time zone.
    """
    return datetime.fromtimestamp(at, UTC).replace(tzinfo=None)


def with_moments(
    what: Problem, call: Call, trend: LoggedTrend, sigma: Callable[[str, float], float]
) -> Problem:
    """Put a trend's settled moments before the situations of a call.

    Parameters
    ----------
    what : Problem
        Of the call alone.
    call : Call
    trend : LoggedTrend
    sigma : callable
        One standard deviation [SI] of a reading, from point id and value.

    Returns
    -------
    Problem
        Each moment has weather, room and control of its own, as a visit has; machine and sensors are those
        of the readings.

    Notes
    -----
    What the equations miss at one moment they miss at the next: every moment's errors are widened by the
    square root of their number, so that all of them together tell as much as one look at the machine does,
    in weather and load of several.
    """
    known = set(points_of(call.unit))
    chosen = most_different([m for m in trend.moments if not _held(m, call)], MOST_MOMENTS)
    visits = 1 + max((s.visit for s in what.situations), default=0)
    index = what.count
    added: list[Situation] = []
    for k, moment in enumerate(chosen):
        observations: list[Observation] = []
        for name, value in moment.values.items():
            if name in known and np.isfinite(value):
                error = float(np.hypot(sigma(name, value), 0.5 * moment.spread.get(name, 0.0)))
                observations.append(Observation(name, value, error, DISPLAY_SLIP, index))
                index += 1
        if "shown.dehumidifying" not in moment.values and not unclear(moment, call.unit):
            active = float(moment.dehumidifying)
            observations.append(Observation("shown.dehumidifying", active, 0.01, DISPLAY_SLIP, index))
            index += 1
        added.append(
            Situation(
                "auto",
                None,
                0.0,
                visits + k,
                0,
                mended_by(moment.at, call),
                tuple(observations),
                clock(moment.at),
                float(np.sqrt(len(chosen))),
            )
        )
    return replace(what, situations=(*added, *what.situations))


def unclear(moment: LoggedMoment, unit: Unit) -> bool:
    """Whether stages may have run for the temperature alone, so that nothing says if the unit dried.

    Parameters
    ----------
    moment : LoggedMoment
    unit : Unit

    Returns
    -------
    bool
    """
    warm = moment.values.get("shown.space_t", unit.control.space_t) - unit.control.space_t
    reheats = moment.values.get("shown.reheat_command", 0.0) > 0.02
    return moment.dehumidifying and warm > 0.5 and not reheats


# what counts as different between two moments: judgement, the order of what shows in supply air
_SCALES = {
    "shown.reheat_command": 0.2,
    "shown.stages_called": 0.7,
    "shown.supply_t": 3.0,
    "outdoor.t": 4.0,
    "shown.outdoor_dew_point": 4.0,
    "shown.dew_point": 1.0,
}


def most_different(moments: Sequence[LoggedMoment], most: int) -> list[LoggedMoment]:
    """Pick the moments that differ most from each other, the last one first.

    Parameters
    ----------
    moments : sequence of LoggedMoment
        In order of time.
    most : int

    Returns
    -------
    list of LoggedMoment
        In order of time.
    """
    if not moments:
        return []
    table = np.array([[m.values.get(p, np.nan) / scale for p, scale in _SCALES.items()] for m in moments])
    table = np.where(np.isfinite(table), table, 0.0)
    chosen = [len(moments) - 1]
    while len(chosen) < min(most, len(moments)):
        away = np.abs(table[:, None, :] - table[chosen][None, :, :]).sum(axis=2).min(axis=1)
        away[chosen] = -1.0
        chosen.append(int(np.argmax(away)))
    return [moments[k] for k in sorted(chosen)]


def _held(moment: LoggedMoment, call: Call) -> bool:
    """Whether somebody held an item by hand, on a visit, at the time of a moment or shortly before."""
    at = clock(moment.at)
    since: datetime | None = None
    for event in call.events:
        when = event.at.replace(tzinfo=None)
        if isinstance(event, Force):
            since = since or when
        elif isinstance(event, Release) and since is not None:
            if since <= at <= when + SETTLE:
                return True
            since = None
    return since is not None and at >= since


def mended_by(at: float, call: Call) -> frozenset[str]:
    """Give the causes that changes of a call have dealt with by a time.

    Parameters
    ----------
    at : float
        [s since 1970, the log's own clock]; NaN before everything.
    call : Call

    Returns
    -------
    frozenset of str
    """
    if not np.isfinite(at):
        return frozenset()
    changes: Iterable[Change] = (event for event in call.events if isinstance(event, Change))
    return frozenset(
        c.cause for c in changes if c.cause is not None and c.at.replace(tzinfo=None) <= clock(at)
    )
