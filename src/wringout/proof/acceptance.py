"""Acceptance of a repair over the days that follow: proven, not proven, or not yet testable."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from wringout.documents.call import Call, Change
from wringout.errors import InputError
from wringout.machine.design import design
from wringout.proof.comparison import Comparison, compared
from wringout.proof.criteria import (
    Criterion,
    Settings,
    condensation,
    dew_point_held,
    fails,
    holds,
    no_swinging,
)
from wringout.proof.working import reheat_working, stages_working
from wringout.trends.following import following_findings
from wringout.trends.moisture_balance import moisture_of
from wringout.trends.moisture_days import MoistureDays, moisture_days_findings
from wringout.trends.table import HOUR, TrendTable

__all__ = ["Proof", "prove"]

LEAST_AFTER = 6.0  # h of trend after the change, or nothing is looked at


@dataclass(frozen=True)
class Proof:
    """The answer: ``verdict`` is proven, not_proven or not_yet_testable; ``change`` the repair (None: the
    whole trend counts as after it), ``cause`` what was mended if it is named, ``start`` and ``end`` [s since
    1970] the days looked at, ``settings`` what was asked for; ``moisture`` what came in and was taken out in
    those days, where the trend can tell."""

    verdict: str
    change: Change | None
    cause: str | None
    start: float
    end: float
    hours: float
    criteria: tuple[Criterion, ...]
    comparison: Comparison | None
    settings: Settings
    moisture: MoistureDays | None = None


def prove(
    call: Call,
    table: TrendTable,
    settings: Settings,
    rng: np.random.Generator,
    cause: str | None = None,
) -> Proof:
    """Judge a repair by a trend of the days after it.

    Parameters
    ----------
    call : Call
        Its last change is the repair.
    table : TrendTable
        Before and after, or after alone.
    settings : Settings
    rng : numpy.random.Generator
        Draws the machines.
    cause : str, optional
        What was mended, where the change does not name it.

    Returns
    -------
    Proof
        Proven where everything holds; not proven as soon as one thing fails; else not yet testable.

    Raises
    ------
    InputError
        For a trend that ends before the change or holds too little after it.
    """
    changes = [event for event in call.events if isinstance(event, Change)]
    change = changes[-1] if changes else None
    cause = cause or (change.cause if change is not None else None)
    if not len(table.time):
        raise InputError("the trend holds no rows", "--trend")
    first, last = float(table.time[0]), float(table.time[-1])
    since = first if change is None else _wall_clock(change.at) + settings.skip
    if change is not None and last < since:
        raise InputError(
            f"the trend ends before the repair of {change.at:%Y-%m-%d %H:%M} and the "
            f"{settings.skip / HOUR:.0f} h it needs to settle: give the log of the days after it",
            "--trend",
        )
    after = table.between(since, last + 1.0)
    before = table.between(first, since - settings.skip) if change is not None else None
    before = before if before is not None and before.hours >= 12.0 else None
    if after.hours < LEAST_AFTER:
        raise InputError(
            f"the trend holds {after.hours:.1f} h after the repair; {LEAST_AFTER:.0f} h are the least "
            "to look at",
            "--trend",
        )
    if "shown.dew_point" not in after or not np.isfinite(after["shown.dew_point"]).any():
        raise InputError(
            "the trend does not log shown.dew_point: nothing can be proven without it", "--trend"
        )
    unit = call.unit
    d = design(unit)
    if [f for f in following_findings(after) if f.points[0] == "shown.dew_point" and f.share > 0.5]:
        criteria = [Criterion("dew point", fails, "shows_outdoor")]
        return Proof("not_proven", change, cause, since, last, after.hours, tuple(criteria), None, settings)
    moisture = moisture_of(after, unit)
    criteria = [
        dew_point_held(after, unit, settings, d.pressure),
        condensation(after, unit, settings),
        no_swinging(after),
        *stages_working(after, unit, d, moisture),
        reheat_working(after, unit, moisture),
    ]
    limit = settings.set_point + settings.band
    criterion, comparison = compared(before, after, unit, cause, limit, rng)
    criteria.append(criterion)
    verdicts = {c.verdict for c in criteria}
    open_or_held = "proven" if verdicts == {holds} else "not_yet_testable"
    verdict = "not_proven" if fails in verdicts else open_or_held
    per_day = next(iter(moisture_days_findings(moisture)), None)
    return Proof(
        verdict, change, cause, since, last, after.hours, tuple(criteria), comparison, settings, per_day
    )


def _wall_clock(at: datetime) -> float:
    """Seconds since 1970 of the clock on the wall, as trend files count."""
    return at.replace(tzinfo=UTC).timestamp()
