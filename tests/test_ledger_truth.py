"""Ledgers of invented machines whose truth is known: routes lie about it as far as they say.

Readings are what the machine would show, each with a normal error of the catalogue's accuracy. The truth is
the machine's own flow of heat and moisture. Units are drawn healthy, at rest in their rooms, in weather within
their design day.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pytest
from units import UNITS, machine, most_stages, random_machine, with_cause

from wringout.catalogue.points import point, points_of, sigma
from wringout.documents.states import Snapshot
from wringout.ledger.book import ledger
from wringout.ledger.entries import Ledger
from wringout.ledger.expectation import booked
from wringout.ledger.readings import Read
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design
from wringout.machine.parameters import Array
from wringout.machine.room_side import room_balance
from wringout.machine.steady import Settled, read_points, settle
from wringout.quantity import Dimension

WALK_UP = (
    "shown.dew_point",
    "shown.space_t",
    "shown.stages_called",
    "shown.reheat_command",
    "return.t",
    "return.rh",
    "supply.t",
    "supply.rh",
    "outdoor.t",
    "outdoor.rh",
    "coil_leaving.t",
)
"""What a technician has read after half an hour."""


@dataclass(frozen=True)
class Case:
    """One machine in one state: its true amounts by line, and what every point would show."""

    design: Design
    truth: dict[str, float]
    shown: dict[str, float]

    def ledger(
        self, generator: np.random.Generator, points: tuple[str, ...] | None = None, **altered: float
    ) -> Ledger:
        """The ledger of readings with errors; ``altered`` replaces what a point shows (``supply_t=30``)."""
        shown = self.shown | {name.replace("__", "."): value for name, value in altered.items()}
        readings = {}
        for name in points_of(self.design.unit) if points is None else points:
            if name not in shown:
                continue
            spread = sigma(name, shown[name])
            value = shown[name] + spread * generator.standard_normal()
            if point(name).dimension is Dimension.FRACTION:
                value = min(max(value, 0.0), 1.0)
            readings[name] = Read(value, spread, "handheld", f"{value}")
        now = datetime(2027, 5, 4, 9)
        return ledger(self.design, Snapshot("auto", 0, 0, now, now, ()), readings, generator)


def settled(
    d: Design, count: int, generator: np.random.Generator, cause: str | None = None
) -> tuple[Settled, Array]:
    """Machines dehumidifying as their control has them, and how far their rooms are from rest."""
    day, control = d.unit.space.design_day, d.unit.control
    outdoor_t = day.outdoor_t + generator.uniform(-12.0, 2.0, count)
    outdoor_dew = np.minimum(day.outdoor_dew_point - generator.uniform(0.0, 8.0, count), outdoor_t - 0.5)
    place = generator.uniform(0.15, 1.3, count)  # in the band of the stages
    space_dew = control.dew_point + control.dew_point_band * (place - 0.5)
    values = random_machine(d, count, generator)
    if cause is not None:
        values = with_cause(d, values, cause, [np.full(count, 0.5)] * 3)
    seen = place + (values["dew_offset"] + values["dew_error"]) / control.dew_point_band
    most = most_stages(d)
    stages = np.clip(np.ceil(most * seen), 1.0, most)
    conditions = Conditions(
        outdoor_t,
        outdoor_dew,
        control.space_t + generator.uniform(-1.5, 1.5, count),
        space_dew,
        np.clip(generator.uniform(-0.1, 1.1, count), 0.0, 1.0),
        stages,
        np.clip(seen, 0.0, 1.0),
        np.zeros(count),
    )
    s = settle(d, values, conditions)
    balance = room_balance(s)
    return s, np.maximum(np.abs(balance.moisture_residual), np.abs(balance.heat_residual))


def cases(text: str, count: int, seed: int, cause: str | None = None) -> Iterator[Case]:
    """Machines at rest in their rooms; those that no room of the document would have are left out."""
    d = machine(text)
    generator = np.random.default_rng(seed)
    s, unrest = settled(d, 60 * count, generator, cause)
    truth, points = booked(s), read_points(s)
    points["shown.dehumidifying"] = np.ones_like(unrest)
    at_rest = np.flatnonzero(unrest < 1.5)
    assert at_rest.size >= count, f"only {at_rest.size} of {unrest.size} machines are at rest"
    for i in at_rest[:count]:
        yield Case(
            d,
            {name: float(np.broadcast_to(value, unrest.shape)[i]) for name, value in truth.items()},
            {name: float(np.broadcast_to(value, unrest.shape)[i]) for name, value in points.items()},
        )


def deviations(case: Case, made: Ledger) -> Iterator[tuple[str, str, float]]:
    """Line and route, mark, and standard deviations from the truth, of every amount."""
    for line in made.lines:
        for route in line.possible:
            for part in ("heat", "moisture"):
                amount = getattr(route, part)
                if amount is not None:
                    off = (amount.value - case.truth[f"{line.transfer} {part}"]) / amount.sigma
                    yield f"{line.transfer} {part} by {route.name}", route.mark, off
