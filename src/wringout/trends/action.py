"""Which way an output acts and over what span, as a finding."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wringout.quantity import Dimension
from wringout.trends.finding import Finding, Show, measured
from wringout.trends.identification import Identified, identify
from wringout.trends.table import Array, Span, TrendTable

__all__ = ["Action", "action_findings"]


@dataclass(frozen=True, kw_only=True)
class Action(Finding):
    """Which way an output acts and over what span."""

    kind: ClassVar[str] = "action"
    title: ClassVar[str] = "What an output does"

    verdict: str  # as_meant, reversed, nothing, cannot_tell
    route: str  # steps, wandering
    gain: float = measured(Dimension.TEMPERATURE_DIFFERENCE)
    sigma: float = measured(Dimension.TEMPERATURE_DIFFERENCE)
    time_constant: float = measured(Dimension.TIME)
    dead_time: float = measured(Dimension.TIME)
    command_low: float = measured(Dimension.FRACTION)
    command_high: float = measured(Dimension.FRACTION)
    t_value: float = 0.0

    def heading(self) -> str:
        return {
            "reversed": "An output acts the wrong way round",
            "nothing": "An output moves nothing",
        }.get(self.verdict, self.title)

    def says(self, show: Show) -> str:
        what, result = _NAMES.get(self.points[0], self.points[0]), _NAMES.get(self.points[1], self.points[1])
        f, d, t = Dimension.FRACTION, Dimension.TEMPERATURE_DIFFERENCE, Dimension.TIME
        span = f"between {show(self.command_low, f)} and {show(self.command_high, f)}"
        if self.verdict == "cannot_tell":
            return f"The {what} moved {span}, and that is not enough to tell what it does to the {result}."
        size = f"{show(abs(self.gain), d)} over its whole travel (+- {show(2.0 * self.sigma, d)})"
        if self.verdict == "nothing":
            most = show(abs(self.gain) + 2.0 * self.sigma, d)
            return (
                f"The {what} moved {span}, and the {result} did not follow: over the whole travel {most} at "
                "most."
            )
        way = "warms" if self.gain > 0.0 else "cools"
        speed = f"after {show(self.dead_time + self.time_constant, t)} two thirds of it are there"
        return f"More {what} {way} the {result}: {size}; {speed}. Seen {span}."

    def means(self) -> str:
        if self.verdict == "reversed":
            return (
                "It acts the wrong way round: control drives it further off the more it tries. Check "
                "the action of the "
                "output and of the actuator."
            )
        if self.verdict == "nothing":
            return (
                "The output is not connected to the air: held in hand, stuck, no medium behind it, or "
                "nothing to give."
            )
        if self.verdict == "cannot_tell":
            return "Force the output to 0 and to 100 % for a quarter of an hour each, and look again."
        return "It acts the way it should."


_NAMES = {
    "shown.reheat_command": "reheat command",
    "cooling.command": "cooling command",
    "shown.supply_t": "supply air",
    "supply.t": "supply air",
}


def action_findings(table: TrendTable) -> list[Action]:
    """What reheat and cooling outputs do to the supply air."""
    result = table.first_of("shown.supply_t", "supply.t")
    if result is None:
        return []
    before = table.first_of("coil_leaving.t", "mixed.t")
    found = []
    for command, meant in (("shown.reheat_command", 1.0), ("cooling.command", -1.0)):
        if command not in table:
            continue
        rivals = ("shown.stages_called", "cooling.command", "shown.reheat_command", "outdoor.damper")
        beside = tuple(p for p in rivals if p in table and p != command and not _still(table[p]))
        ahead = before if command == "shown.reheat_command" else table.first_of("mixed.t")
        seen = identify(table, command, result, beside, ahead)
        if seen is not None:
            found.append(_action(table, seen, command, result, meant))
    return found


def _still(values: Array) -> bool:
    finite = values[np.isfinite(values)]
    return not len(finite) or float(finite.std()) < 1e-6


def _action(table: TrendTable, seen: Identified, command: str, result: str, meant: float) -> Action:
    if seen.known:
        verdict = "as_meant" if seen.gain * meant > 0.0 else "reversed"
    elif seen.nothing:
        verdict = "nothing"
    else:
        verdict = "cannot_tell"
    wrong = verdict in {"reversed", "nothing"}
    weight = {"reversed": 0.95, "nothing": 0.85, "as_meant": 0.25, "cannot_tell": 0.15}[verdict]
    return Action(
        points=(command, result),
        spans=(Span(float(table.time[0]), float(table.time[-1])),) if wrong else (),
        weight=weight,
        wrong=wrong,
        verdict=verdict,
        route="steps" if seen.steps >= 2 else "wandering",
        gain=seen.gain,
        sigma=seen.sigma,
        time_constant=seen.time_constant,
        dead_time=seen.dead_time,
        command_low=seen.low,
        command_high=seen.high,
        t_value=seen.t_value,
    )
