"""The outdoor air damper against its command: the mixed air tells how much outdoor air there really is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wringout.quantity import Dimension
from wringout.trends.finding import Finding, Show, measured, when
from wringout.trends.signals import days_of, regular_pieces, settled
from wringout.trends.states import fan_on
from wringout.trends.table import HOUR, Span, TrendTable

__all__ = ["DamperAgainstCommand", "damper_findings"]

LEAST_DIFFERENCE = 4.0  # K between return and outdoor air: with less, the share is noise
SETTLE = 900.0  # [s]
LEAST = 1800.0  # [s] of settled running in a day
# (command from, to), share beyond which the air contradicts it: a shut damper leaks, an open one is no whole
# duct
SHUT, SHUT_SHARE = (0.0, 0.02), 0.22
OPEN, OPEN_SHARE = (0.95, 1.0), 0.6
HALF, HALF_SHARE = (0.7, 0.95), 0.15


@dataclass(frozen=True, kw_only=True)
class DamperAgainstCommand(Finding):
    """Outdoor air that comes in, or stays out, whatever its damper is told."""

    kind: ClassVar[str] = "damper_against_command"
    title: ClassVar[str] = "Outdoor air does not follow its damper"

    command: float = measured(Dimension.FRACTION)
    share: float = measured(Dimension.FRACTION)
    hours: float = measured(Dimension.TIME)

    def says(self, show: Show) -> str:
        f = Dimension.FRACTION
        return (
            f"With the outdoor air damper commanded to {show(self.command, f)}, outdoor air is "
            f"{show(max(self.share, 0.0), f)} of the mixed air, over {show(self.hours, Dimension.TIME)} "
            "of settled "
            f"running: {when(self.spans)}."
        )

    def means(self) -> str:
        if self.command < 0.5:
            return (
                "Outdoor air comes in that nobody asks for, and brings its moisture: a damper that is "
                "stuck, has "
                "slipped on its shaft, or does not close. Or the mixed-air sensor sits in the outdoor stream."
            )
        return (
            "Outdoor air stays out though it is asked for: a damper that is stuck, has slipped on its "
            "shaft, or "
            "is driven the wrong way. Or the mixed-air sensor sits in the return stream."
        )


def damper_findings(table: TrendTable) -> list[DamperAgainstCommand]:
    """Days on which the share of outdoor air contradicts the damper's command."""
    if not {"outdoor.damper", "mixed.t", "return.t", "outdoor.t"} <= table.values.keys():
        return []
    gathered: dict[bool, list[tuple[Span, float, float, float]]] = {}
    for piece in regular_pieces(table):
        if piece.step > 900.0:
            continue
        command = piece["outdoor.damper"]
        difference = piece["outdoor.t"] - piece["return.t"]
        clear = fan_on(piece) & (np.abs(difference) >= LEAST_DIFFERENCE)
        share = (piece["mixed.t"] - piece["return.t"]) / np.where(clear, difference, np.nan)
        for (low, high), limit, shut in (
            (SHUT, SHUT_SHARE, True),
            (OPEN, OPEN_SHARE, False),
            (HALF, HALF_SHARE, False),
        ):
            state = settled((command >= low) & (command <= high), max(int(SETTLE / piece.step), 1))
            for day in days_of(piece):
                chosen = np.flatnonzero((state & np.isfinite(share))[day]) + day.start
                if len(chosen) * piece.step < LEAST:
                    continue
                middle = float(np.median(share[chosen]))
                if (middle > limit) if shut else (middle < limit):
                    span = Span(float(piece.time[chosen[0]]), float(piece.time[chosen[-1]]) + piece.step)
                    hits = gathered.setdefault(shut, [])
                    hits.append((span, len(chosen) * piece.step, middle, float(np.median(command[chosen]))))
    return [_finding(hits) for hits in gathered.values()]


def _finding(hits: list[tuple[Span, float, float, float]]) -> DamperAgainstCommand:
    total = sum(hit[1] for hit in hits)
    return DamperAgainstCommand(
        points=("outdoor.damper", "mixed.t", "return.t", "outdoor.t"),
        spans=tuple(sorted((hit[0] for hit in hits), key=lambda span: span.start)),
        weight=min(0.78, 0.65 + 0.01 * total / HOUR),
        command=sum(hit[1] * hit[3] for hit in hits) / total,
        share=sum(hit[1] * hit[2] for hit in hits) / total,
        hours=total,
    )
