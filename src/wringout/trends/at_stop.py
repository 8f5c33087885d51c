"""Outputs that stand at their stop: what they do cannot be seen there, and that they do is worth knowing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from wringout.documents.unit import Unit
from wringout.quantity import Dimension
from wringout.trends.finding import Finding, Show, measured
from wringout.trends.signals import Mask, regular_pieces, spans_of
from wringout.trends.states import cooling_on, dehumidifier, fan_on
from wringout.trends.table import HOUR, Array, Span, TrendTable

__all__ = ["AtStop", "at_stop_findings"]

STOP = 0.005  # of the travel, within which a command stands at 0 or at 100 %
LEAST_SHARE = 0.9  # of the time it is asked; what moves more tells its action
LEAST_HOURS = 3.0  # a start-up or a warm afternoon is no lasting state
OFF = 1.0  # K off the room's set point that count
_NAMES = {"shown.reheat_command": "reheat command", "cooling.command": "cooling command"}


@dataclass(frozen=True, kw_only=True)
class AtStop(Finding):
    """A command that stood at 0 or at 100 % for as good as all the time it had something to do."""

    kind: ClassVar[str] = "at_stop"
    title: ClassVar[str] = "An output stands at its stop"

    full: bool  # at 100 %, not at 0
    drying: bool  # whether the hours in which the unit cools were counted, and not all of the fan's
    hours: float = measured(Dimension.TIME)
    share: float = measured(Dimension.FRACTION)
    space_off: float | None = measured(Dimension.TEMPERATURE_DIFFERENCE)  # of the room from its set point
    too_wet: float | None = measured(Dimension.FRACTION)  # of those hours over the dew-point limit

    def says(self, show: Show) -> str:
        f, t, d = Dimension.FRACTION, Dimension.TIME, Dimension.TEMPERATURE_DIFFERENCE
        what = _NAMES[self.points[0]]
        while_ = "the unit cooled" if self.drying else "the fan ran"
        text = (
            f"The {what} stood at {show(1.0 if self.full else 0.0, f)} for {show(self.hours, t)}, "
            f"{show(self.share, f)} of the time {while_}: what it does to the air cannot be seen there."
        )
        if self.space_off is not None:
            side = "under" if self.space_off < 0.0 else "over"
            text += f" The room was {show(abs(self.space_off), d)} {side} its set point meanwhile."
        if self.too_wet is not None and self.too_wet > 0.0:
            text += f" It was too wet for {show(self.too_wet, f)} of those hours."
        return text

    def means(self) -> str:
        heats = self.points[0] == "shown.reheat_command"
        if self.short and heats:
            meaning = (
                "Control asks for all the heat there is, and the room stays cold or wet: look at source, "
                "water, valve and coil, and at what cools the room. "
            )
        elif self.short:
            meaning = "Control asks for all the cooling there is, and it does not suffice. "
        elif self.full:
            meaning = "Nothing is left to give if load or weather ask for more. "
        else:
            meaning = "The room is warm without it, or its sensor reads high, or the output is held. "
        return meaning + "To see what the output does, force it to 0 and to 100 % for a quarter of an hour."

    @property
    def short(self) -> bool:
        """Whether all is asked for and the room is not what it should be."""
        if not self.full:
            return False
        off = self.space_off or 0.0
        wrong_way = off < -OFF if self.points[0] == "shown.reheat_command" else off > OFF
        return wrong_way or (self.too_wet or 0.0) > 0.5


def at_stop_findings(table: TrendTable, unit: Unit | None = None) -> list[AtStop]:
    """Reheat and cooling commands that stood at a stop for as good as all the time.

    Parameters
    ----------
    table : TrendTable
    unit : Unit, optional
        For the room's set points; without it, logged ones.

    Returns
    -------
    list of AtStop
        Reheat counts while the unit cools, where it is a drying one, and else while the fan runs. A command
        at 0 is only told of reheat in a drying unit: elsewhere nothing is asked for half the year.
    """
    found = []
    for point in _NAMES:
        if point not in table:
            continue
        dries = point == "shown.reheat_command" and dehumidifier(table) and cooling_on(table) is not None
        for full in (True, False) if dries else (True,):
            one = _at(table, unit, point, full, dries)
            if one is not None:
                found.append(one)
    return found


def _at(table: TrendTable, unit: Unit | None, point: str, full: bool, dries: bool) -> AtStop | None:
    asked = stood = 0.0
    limit = unit.control.dew_point + unit.control.dew_point_band if unit is not None else None
    spans: list[Span] = []
    room: list[Array] = []
    dew: list[Array] = []
    for piece in regular_pieces(table):
        runs = _runs(piece, dries)
        command = piece[point]
        there = runs & np.isfinite(command)
        at = there & ((command >= 1.0 - STOP) if full else (command <= STOP))
        asked += float(there.sum()) * piece.step
        stood += float(at.sum()) * piece.step
        spans += spans_of(at, piece.time, least=0.5 * HOUR, join=0.25 * HOUR)
        room.append(_over(piece, "shown.space_t", _space(piece, unit), at))
        dew.append(_over(piece, "shown.dew_point", limit, at))
    if stood < LEAST_HOURS * HOUR or stood < LEAST_SHARE * asked:
        return None
    off, over = np.concatenate(room), np.concatenate(dew)
    one = AtStop(
        points=(point,),
        spans=tuple(spans),
        wrong=False,
        full=full,
        drying=dries,
        hours=stood,
        share=stood / asked,
        space_off=float(np.median(off)) if len(off) else None,
        too_wet=float(np.mean(over > 0.0)) if len(over) else None,
    )
    return replace(one, weight=0.5 if one.short else 0.2)


def _runs(piece: TrendTable, dries: bool) -> Mask:
    on = cooling_on(piece) if dries else None
    return fan_on(piece) if on is None else on


def _space(piece: TrendTable, unit: Unit | None) -> Array | float | None:
    logged = piece.get("shown.setpoint_space_t")
    return logged if logged is not None else unit.control.space_t if unit is not None else None


def _over(piece: TrendTable, point: str, level: Array | float | None, where: Mask) -> Array:
    if point not in piece or level is None:
        return np.zeros(0)
    off = (piece[point] - level)[where]
    return np.asarray(off[np.isfinite(off)], dtype=float)
