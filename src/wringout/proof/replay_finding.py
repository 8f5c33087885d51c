"""The replay as a finding of a trend: its figures, what it means, and its picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wringout.proof.replay import Replay
from wringout.quantity import PREFERRED, Dimension, UnitSystem, from_si
from wringout.trends.finding import Finding, Show, measured, shower
from wringout.trends.plot import Line, Panel, plot
from wringout.trends.table import HOUR, Array, Span

__all__ = ["WithoutCause", "replay_finding"]

FOLLOWS = 0.8  # K between log and replay, root mean square, over which the replay is worth little; judgement


@dataclass(frozen=True, kw_only=True)
class WithoutCause(Finding):
    """How the unit would have done with a cause removed, in the weather and with the loads of the trend."""

    kind: ClassVar[str] = "without_cause"
    title: ClassVar[str] = "Without the cause"

    replay: Replay
    hours_over: float = measured(Dimension.TIME)
    hours_over_without: float = measured(Dimension.TIME)
    hours_over_low: float = measured(Dimension.TIME)
    hours_over_high: float = measured(Dimension.TIME)
    dew_point: float = measured(Dimension.TEMPERATURE)
    dew_point_without: float = measured(Dimension.TEMPERATURE)
    dew_point_low: float = measured(Dimension.TEMPERATURE)
    dew_point_high: float = measured(Dimension.TEMPERATURE)
    command: float = measured(Dimension.FRACTION)
    command_without: float = measured(Dimension.FRACTION)
    follows_within: float = measured(Dimension.TEMPERATURE_DIFFERENCE)
    limit: float = measured(Dimension.TEMPERATURE)

    def heading(self) -> str:
        """The finding in a few words."""
        return f"Without {self.replay.cause}"

    def says(self, show: Show) -> str:
        t, time, f = Dimension.TEMPERATURE, Dimension.TIME, Dimension.FRACTION
        text = (
            f"Over {show(self.limit, t)} were {show(self.hours_over, time)}; without {self.replay.cause} "
            f"they would have been {show(self.hours_over_low, time)} to {show(self.hours_over_high, time)}. "
            f"Mean dew point {show(self.dew_point, t)}; without it {show(self.dew_point_low, t)} to "
            f"{show(self.dew_point_high, t)}."
        )
        if np.isfinite(self.command) and np.isfinite(self.command_without):
            text += (
                f" Mean reheat command {show(self.command, f)}; without it about "
                f"{show(self.command_without, f)}."
            )
        return text

    def means(self) -> str:
        apart = f"{self.follows_within:.1f} K"
        if self.follows_within > FOLLOWS:
            return (
                f"With {self.replay.cause}, the machine follows this log no closer than {apart}: it is not "
                "the whole story, or it was not there all the time. Take the figures as a rough guess."
            )
        if self.hours_over < 0.5 * HOUR:
            return "The room was dry anyway: mending it changes other things than the dew point."
        if self.hours_over_high <= 0.25 * self.hours_over:
            return f"Mending {self.replay.cause} alone would have kept the room dry in this weather."
        if self.hours_over_low >= 0.75 * self.hours_over:
            return (
                f"Mending {self.replay.cause} alone would not have kept the room dry: something else does it."
            )
        return f"Mending {self.replay.cause} helps; how far, the machines do not agree on."

    def draw(self, system: UnitSystem) -> str:
        """Log, and the band of nine machines in ten without the cause, as SVG."""
        r = self.replay
        low, middle, high = r.band("shown.dew_point")

        def shown(values: Array, dimension: Dimension) -> Array:
            return np.asarray(from_si(values, PREFERRED[dimension][system], dimension), dtype=float)

        t, f = Dimension.TEMPERATURE, Dimension.FRACTION
        rows = (
            ("logged", r.logged["shown.dew_point"]),
            ("without, middle", middle),
            ("without, 5 %", low),
            ("without, 95 %", high),
            ("limit", np.full(len(r.time), r.limit)),
        )
        lines = tuple(Line(name, shown(values, t)) for name, values in rows)
        panels = [Panel(f"dew point, {PREFERRED[t][system]}", lines)]
        command = r.logged["shown.reheat_command"]
        if np.isfinite(command).any():
            both = (
                Line("logged", shown(command, f)),
                Line("without", shown(r.band("shown.reheat_command")[1], f)),
            )
            panels.append(Panel(f"reheat, {PREFERRED[f][system]}", both, 0.0, 100.0))
        return plot(r.time, panels, self.heading(), self.says(shower(system)))


def replay_finding(r: Replay) -> WithoutCause:
    """Turn a replay into a finding.

    Parameters
    ----------
    r : Replay

    Returns
    -------
    WithoutCause
    """
    hours, _, without = r.hours_over()
    dew, _, dew_without = r.mean("shown.dew_point")
    command, _, command_without = r.mean("shown.reheat_command")
    return WithoutCause(
        points=("shown.dew_point", "shown.reheat_command"),
        spans=(Span(float(r.time[0]), float(r.time[-1])),),
        weight=0.3,
        wrong=False,
        replay=r,
        hours_over=hours * HOUR,
        hours_over_without=without.middle * HOUR,
        hours_over_low=without.low * HOUR,
        hours_over_high=without.high * HOUR,
        dew_point=dew,
        dew_point_without=dew_without.middle,
        dew_point_low=dew_without.low,
        dew_point_high=dew_without.high,
        command=command,
        command_without=command_without.middle,
        follows_within=r.apart,
        limit=r.limit,
    )
