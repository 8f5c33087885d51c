"""What must hold over the days after a repair: dew point, condensation, and control at rest."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import time

import numpy as np

from wringout.documents.unit import Unit
from wringout.trends.moisture_balance import Blocks, blocks_of, outdoor_dew_of
from wringout.trends.signals import Mask
from wringout.trends.swinging import short_cycling_findings, swinging_findings
from wringout.trends.table import DAY, HOUR, Array, TrendTable

__all__ = ["Criterion", "Settings", "condensation", "dew_point_held", "no_swinging", "occupied"]

FINE = 600.0  # s of the blocks in which dew point and surfaces are looked at
DEW_SIGMA = 0.35  # K, the unit's own sensor (IEC 60751 class B and humidity transmitters of 2 %)
SURE, UNSURE = 0.8, 0.2  # chance from which a criterion holds, and up to which it fails
MARGIN = 0.5  # K by which the dew point must be over a surface before water is said to stand on it
LONGEST_WET = 1800.0  # s of condensation that count; shorter is a door opened
OUTLET_FILM = 0.25  # an outlet's face between supply air and room: 8 W/(m2 K) against 25; judgement
LEAST_RUN = 6.0 * HOUR  # of dehumidifying in which swinging would show
DESIGN_SLACK_T, DESIGN_SLACK_DEW = 1.0, 0.5  # K over the design day that still count as within it

holds, fails, untested = "holds", "fails", "untested"


@dataclass(frozen=True)
class Settings:
    """What is asked for.

    ``share`` [0..1] of occupied hours with the dew point within ``band`` [K] over ``set_point`` [degC];
    ``hours`` [h] of them at least, and half as many in weather that asks for something: outdoor dew point at
    least ``demand`` [0..1] of the way from set point to design day. ``occupied`` from and to, None for all
    day or the trend's own column; ``surface`` [degC] of the coldest surface in the room, None where only
    outlets and glazing are looked at; ``temperature_factor`` [-] of the glazing (EN ISO 13788); ``skip`` [s]
    after the change that are left out, while the room settles.
    """

    set_point: float
    band: float
    share: float = 0.95
    hours: float = 24.0
    demand: float = 0.5
    occupied: tuple[time, time] | None = None
    surface: float | None = None
    temperature_factor: float = 0.7
    skip: float = 3.0 * HOUR

    @classmethod
    def of(cls, unit: Unit) -> Settings:
        """The unit document's set point and band, and the usual rest."""
        return cls(unit.control.dew_point, unit.control.dew_point_band)

    def demanding(self, unit: Unit) -> float:
        """Outdoor dew point [degC] from which weather asks for something."""
        return self.set_point + self.demand * (unit.space.design_day.outdoor_dew_point - self.set_point)


@dataclass(frozen=True)
class Criterion:
    """One thing that must hold.

    ``verdict`` holds, fails or untested; ``why`` an id of the reason; ``figures`` in SI by name; ``weather``
    [degC] the outdoor dew point from which it could be tested (NaN: weather alone does not do it); ``spans``
    [s since 1970] where it failed.
    """

    name: str
    verdict: str
    why: str
    figures: dict[str, float] = field(default_factory=dict)
    weather: float = np.nan
    spans: tuple[tuple[float, float], ...] = ()


def occupied(blocks: Blocks, settings: Settings) -> Mask:
    """Where the space is in use: by the hours asked for, else by the trend's own column, else always."""
    if settings.occupied is not None:
        start, end = (60.0 * (at.hour * 60 + at.minute) for at in settings.occupied)
        of_day = blocks.time % DAY
        if start <= end:
            return np.asarray((of_day >= start) & (of_day < end))
        return np.asarray((of_day >= start) | (of_day < end))
    column = blocks.get("space.occupied")
    return np.asarray(column > 0.5) if np.isfinite(column).any() else np.ones(len(blocks.time), dtype=bool)


def within_design(blocks: Blocks, unit: Unit, outdoor_dew: Array) -> Mask:
    """Where the weather is the design day's or milder; nowhere where it was not logged."""
    day = unit.space.design_day
    t = blocks.get("outdoor.t")
    with np.errstate(invalid="ignore"):
        mild = np.isnan(t) | (t <= day.outdoor_t + DESIGN_SLACK_T)
        return np.asarray(mild & (outdoor_dew <= day.outdoor_dew_point + DESIGN_SLACK_DEW))


def dew_point_held(table: TrendTable, unit: Unit, settings: Settings, pressure: float) -> Criterion:
    """Whether the dew point was within the band for the share asked for.

    Parameters
    ----------
    table : TrendTable
        The days after the repair.
    unit : Unit
    settings : Settings
    pressure : float, [Pa]

    Returns
    -------
    Criterion

    Notes
    -----
    The unit's sensor may be off by a constant: the chance that the share was met is taken over its spread.
    Days differ as well, so the share's own standard error over days is added as an error of the level at
    which the share would just be met.
    """
    blocks = blocks_of(table, FINE)
    dew = blocks.get("shown.dew_point")
    outdoor = outdoor_dew_of(blocks, pressure)
    counted = occupied(blocks, settings) & within_design(blocks, unit, outdoor) & np.isfinite(dew)
    limit = settings.set_point + settings.band
    over = dew[counted] - limit
    hours = float(counted.sum()) * FINE / HOUR
    asking = counted & (outdoor >= settings.demanding(unit))
    asked = float(asking.sum()) * FINE / HOUR
    figures = {"hours": hours, "demanding_hours": asked, "asked": settings.share}
    if not len(over):
        return Criterion("dew point", untested, "no_hours", figures, settings.demanding(unit))
    offsets = DEW_SIGMA * np.linspace(-2.5, 2.5, 41)
    weights = np.exp(-0.5 * np.square(offsets / DEW_SIGMA))
    shares = (over[None, :] + offsets[:, None] <= 0.0).mean(axis=1)
    chance = float(weights[shares >= settings.share].sum() / weights.sum())
    share = float((over <= 0.0).mean())
    figures |= {
        "share": share,
        "share_low": float((over + DEW_SIGMA <= 0.0).mean()),
        "share_high": float((over - DEW_SIGMA <= 0.0).mean()),
        "chance": chance,
        "worst": float(dew[counted].max()),
        "limit": limit,
    }
    missed = counted & (dew > limit)
    spans = tuple((float(a) - 0.5 * FINE, float(a) + 0.5 * FINE) for a in blocks.time[missed])
    if chance <= UNSURE and hours >= min(settings.hours, 6.0):
        return Criterion("dew point", fails, "too_wet", figures, spans=_joined(spans))
    if hours < settings.hours or asked < 0.5 * settings.hours:
        return Criterion("dew point", untested, "mild", figures, settings.demanding(unit))
    if chance >= SURE:
        return Criterion("dew point", holds, "held", figures)
    return Criterion("dew point", untested, "too_close", figures, settings.demanding(unit), _joined(spans))


def condensation(table: TrendTable, unit: Unit, settings: Settings) -> Criterion:
    """Whether water stood on the coldest surface of the room.

    Parameters
    ----------
    table : TrendTable
    unit : Unit
    settings : Settings

    Returns
    -------
    Criterion

    Notes
    -----
    Surfaces: the one given; outlets, whose face lies a quarter of the way from supply air to room; glazing,
    outdoor air plus the temperature factor's share of the difference to the room.

    References
    ----------
    EN ISO 13788, temperature factor at the internal surface; 0.7 is a usual least value (from memory).
    """
    blocks = blocks_of(table, FINE)
    dew, space, supply = (blocks.get(p) for p in ("shown.dew_point", "shown.space_t", "shown.supply_t"))
    surfaces: dict[str, Array] = {}
    if settings.surface is not None:
        surfaces["surface given"] = np.full(len(dew), settings.surface)
    surfaces["outlets"] = supply + OUTLET_FILM * (space - supply)
    outdoor = blocks.get("outdoor.t")
    surfaces["glazing"] = outdoor + settings.temperature_factor * (space - outdoor)
    seen = {name: t for name, t in surfaces.items() if np.isfinite(t + dew).any()}
    if not seen:
        return Criterion("condensation", untested, "not_logged")
    gap = {name: float(np.nanmin(t - dew)) for name, t in seen.items()}
    worst = min(gap, key=lambda name: gap[name])
    wet = np.zeros(len(dew), dtype=bool)
    for t in seen.values():
        with np.errstate(invalid="ignore"):
            wet |= dew > t + MARGIN
    spans = _joined(tuple((float(a) - 0.5 * FINE, float(a) + 0.5 * FINE) for a in blocks.time[wet]))
    long = tuple(span for span in spans if span[1] - span[0] >= LONGEST_WET)
    figures = {
        "least_gap": gap[worst],
        "hours_wet": float(wet.sum()) * FINE / HOUR,
        "hours": float(np.isfinite(dew).sum()) * FINE / HOUR,
    }
    return Criterion("condensation", fails if long else holds, worst, figures, spans=long)


def no_swinging(table: TrendTable) -> Criterion:
    """Whether control was at rest: no loop that swings, no stage that cycles.

    Parameters
    ----------
    table : TrendTable

    Returns
    -------
    Criterion
        Untested where the unit dehumidified for less than six hours.
    """
    blocks = blocks_of(table, FINE)
    ran = float(np.nansum(blocks.called)) * FINE if blocks.called is not None else 0.0
    swings = [f for f in swinging_findings(table) if f.wrong]
    cycles = short_cycling_findings(table)
    figures = {"hours": ran / HOUR}
    if swings:
        figures |= {"period": swings[0].period}
        spans = tuple((s.start, s.end) for s in swings[0].spans)
        return Criterion("control at rest", fails, "swings", figures, spans=spans)
    if cycles:
        figures |= {"starts_per_hour": cycles[0].starts_per_hour}
        spans = tuple((s.start, s.end) for s in cycles[0].spans)
        return Criterion("control at rest", fails, "cycles", figures, spans=spans)
    if ran < LEAST_RUN:
        return Criterion("control at rest", untested, "hardly_ran", figures)
    return Criterion("control at rest", holds, "rest", figures)


def _joined(spans: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    out: list[tuple[float, float]] = []
    for start, end in spans:
        if out and start - out[-1][1] < 1.0:
            out[-1] = (out[-1][0], end)
        else:
            out.append((start, end))
    return tuple(out)
