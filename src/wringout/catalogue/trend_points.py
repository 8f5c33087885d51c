"""Points that only a trend file has: commands, set points and states that a controller logs and nobody goes
to read.

They stand beside the test points in a trend document. A call cannot name them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from wringout.catalogue.points import POINTS, has_point, point
from wringout.documents.measure import Measure
from wringout.documents.unit import Unit
from wringout.quantity import Dimension

__all__ = ["TREND_POINTS", "TrendPoint", "measure_of", "trend_measure", "what_of"]


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """A point of trend files alone: what it is, and what its numbers measure."""

    id: str
    what: str
    measure: Measure


_T, _F = Dimension.TEMPERATURE, Dimension.FRACTION


def _listed() -> tuple[TrendPoint, ...]:
    share = Measure(_F, 0.0, 1.0, ip="%", si="%")
    state = Measure(Dimension.YES_NO, 0.0, 1.0)
    warm = Measure(_T, -60.0, 80.0)
    return (
        TrendPoint(
            "cooling.command", "how far control asks for cooling (chilled-water valve, compressors)", share
        ),
        TrendPoint("fan.running", "the supply fan runs", state),
        TrendPoint("fan.command", "how fast control asks the supply fan to run", share),
        TrendPoint("outdoor.damper", "how far the outdoor air damper is asked to open", share),
        TrendPoint("supply.dew_point", "dew point of the supply air", warm),
        TrendPoint("return.dew_point", "dew point of the return air", warm),
        TrendPoint("shown.setpoint_space_t", "set point of the space temperature", warm),
        TrendPoint("shown.setpoint_supply_t", "set point of the supply temperature", warm),
        TrendPoint("space.occupied", "the space is in use by the controller's calendar", state),
    )


TREND_POINTS: Mapping[str, TrendPoint] = {entry.id: entry for entry in _listed()}


def trend_measure(name: str, unit: Unit | None) -> Measure:
    """What the numbers of a trend's column must be.

    Parameters
    ----------
    name : str
        Id of a test point, or of a point that only trends have.
    unit : Unit or None
        The unit's document; None where only the id is in question.

    Returns
    -------
    Measure
        Dimension and limits.

    Raises
    ------
    InputError
        For an id that is not known, or a point that this unit lacks.
    """
    if (entry := TREND_POINTS.get(name)) is not None:
        return entry.measure
    has_point(unit, name)
    return point(name).measure


def measure_of(name: str) -> Measure:
    """What a known point's numbers are.

    Parameters
    ----------
    name : str
        Id of a test point or of a trend point.

    Returns
    -------
    Measure
        Dimension, limits and the units it is shown in.
    """
    return trend_measure(name, None)


def what_of(name: str) -> str:
    """The place or state that a point means, in the words of the trade.

    Parameters
    ----------
    name : str
        Id of a test point or of a trend point.

    Returns
    -------
    str
        A phrase without full stop.
    """
    if (entry := TREND_POINTS.get(name)) is not None:
        return entry.what
    return POINTS[name].what if name in POINTS else point(name).what
