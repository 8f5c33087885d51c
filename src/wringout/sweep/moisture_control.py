"""Whether a unit loses moisture control, for how many hours, and since when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wringout.documents.unit import Unit
from wringout.trends.changes import Changed
from wringout.trends.finding import Finding
from wringout.trends.following import Following
from wringout.trends.moisture import TooWet
from wringout.trends.moisture_balance import BLOCK, Blocks
from wringout.trends.table import DAY, HOUR

__all__ = ["Control", "Since", "control_of", "since_when", "spell"]

Mask = NDArray[np.bool_]
State = Literal["lost", "weather", "kept", "unknown"]
WET_DAY = 2.0  # [h] over the limit that make a day a wet one
PAUSE = 3 * DAY  # days without one that end a spell
BEFORE, AFTER = (
    36.0 * HOUR,
    12.0 * HOUR,
)  # of a spell's first hour, in which a change is taken to belong to it


@dataclass(frozen=True)
class Since:
    """When the present spell began [s since 1970, the file's own clock].

    ``from_start`` says that it was so when the trend began; ``change`` is a change of level or setting
    around that time.
    """

    at: float
    from_start: bool
    change: Changed | None


@dataclass(frozen=True)
class Control:
    """Moisture control over a trend.

    ``state`` is ``lost`` (on one day at least, for two hours), ``weather`` (so too, but outdoors over the
    design day), ``kept`` or ``unknown``, with the reason in that case. ``over`` are hours over set point and
    band, ``over_set_point`` those over the set point itself, ``seen`` hours with a dew point [h]; ``worst``
    [degC]; ``whose`` matter it is, as the finding says; ``days`` hours over the limit by day
    [(s since 1970, h)], of days with data.
    """

    state: State
    reason: str
    over: float
    over_set_point: float
    seen: float
    worst: float
    whose: str
    since: Since | None
    last: float | None
    days: tuple[tuple[float, float], ...]

    @property
    def share(self) -> float:
        """Share of the hours seen that were over the limit."""
        return self.over / self.seen if self.seen > 0.0 else 0.0


def control_of(blocks: Blocks, findings: Sequence[Finding], unit: Unit) -> Control:
    """Judge moisture control.

    Parameters
    ----------
    blocks : Blocks
        Half-hour means of the trend.
    findings : sequence of Finding
        Of the same trend.
    unit : Unit
        Its set point and band are the measure, whatever the controller was told.

    Returns
    -------
    Control
    """
    dew = blocks.get("shown.dew_point")
    there = np.isfinite(dew)
    limit = unit.control.dew_point + unit.control.dew_point_band
    with np.errstate(invalid="ignore"):
        over, above = dew > limit, dew > unit.control.dew_point
    hours = BLOCK / HOUR
    reason = _unknown(there, findings)
    wet = next((f for f in findings if isinstance(f, TooWet)), None)
    state: State = "kept"
    if reason:
        state, over, above = "unknown", np.zeros_like(over), np.zeros_like(above)
    elif wet is not None and spell(over, blocks) is not None:
        state = "weather" if wet.whose == "weather" else "lost"
    lost = state in {"lost", "weather"}
    return Control(
        state=state,
        reason=reason,
        over=float(over.sum()) * hours,
        over_set_point=float(above.sum()) * hours,
        seen=float(there.sum()) * hours if not reason else 0.0,
        worst=float(np.nanmax(dew)) if there.any() and not reason else np.nan,
        whose=wet.whose if wet is not None and lost else "",
        since=since_when(over, blocks, findings) if lost else None,
        last=float(blocks.time[np.flatnonzero(over)[-1]]) if lost and over.any() else None,
        days=_by_day(over, there, blocks) if lost else (),
    )


def _by_day(mask: Mask, there: Mask, blocks: Blocks) -> tuple[tuple[float, float], ...]:
    days, place = np.unique(np.floor(blocks.time[there] / DAY), return_inverse=True)
    hours = np.bincount(place, weights=mask[there].astype(float), minlength=len(days)) * BLOCK / HOUR
    return tuple((float(day) * DAY, float(count)) for day, count in zip(days, hours, strict=True))


def _unknown(there: Mask, findings: Sequence[Finding]) -> str:
    if float(there.sum()) * BLOCK < 12.0 * HOUR:
        return "the trend holds no dew point of the room, or less than twelve hours of it"
    outdoor = any(
        isinstance(f, Following) and f.points[0] == "shown.dew_point" and f.share > 0.5 for f in findings
    )
    return "the shown dew point is the outdoor one" if outdoor else ""


def since_when(mask: Mask, blocks: Blocks, findings: Sequence[Finding]) -> Since | None:
    """Find when the last spell of a state began, and what changed then.

    Parameters
    ----------
    mask : array of bool, (blocks,)
        Half hours in which the state holds.
    blocks : Blocks
    findings : sequence of Finding

    Returns
    -------
    Since or None
        None where no day has two hours of it.
    """
    at = spell(mask, blocks)
    if at is None:
        return None
    changes = [f for f in findings if isinstance(f, Changed) and -BEFORE <= f.at - at <= AFTER]
    change = min(changes, key=lambda f: abs(f.at - at), default=None)
    return Since(at, at - float(blocks.time[0]) < DAY and change is None, change)


def spell(mask: Mask, blocks: Blocks) -> float | None:
    """Begin of the last spell [s since 1970]: days with two such hours, no three days with data between them
    without."""
    if not mask.any():
        return None
    day = np.floor(blocks.time / DAY).astype(np.int64)
    days, place = np.unique(day, return_inverse=True)
    wet = np.bincount(place, weights=mask.astype(float)) * BLOCK >= WET_DAY * HOUR
    if not wet.any():
        return None
    first = last = int(np.flatnonzero(wet)[-1])
    for k in range(last, -1, -1):
        if wet[k]:
            first = k
        elif first - k > PAUSE / DAY:
            break
    inside = np.flatnonzero(mask & (day == days[first]))
    return float(blocks.time[inside[0]]) - 0.5 * BLOCK
