"""Healthy machines in time are quiet: on none of their days anything is called wrong."""

from __future__ import annotations

import numpy as np
import pytest

from motion_cases import UNITS, healthy, machine, unit
from motion_trends import loads_of, made, weather_of
from wringout.trends.findings import findings_of

EXTRA = ("mixed.t", "coil_leaving.t", "return.t", "supply.rh")


@pytest.mark.parametrize("kind", sorted(UNITS))
def test_two_days_of_a_healthy_machine_of_any_kind_are_quiet(kind: str) -> None:
    """Machines off their schedule as healthy ones are, people and weather that wander, a loop tuned by hand;
    and a building that brings in no more than its document says. Nor less heat: where it does, reheat
    stands at its stop with nothing left to give while the room goes cold, and that is not to be quiet about.
    """
    d = machine(kind)
    rng = np.random.default_rng(17)
    values = healthy(d, 1, rng)
    values["moisture_ratio"] = np.ones(1)
    values["sensible_shift"] = np.zeros(1)
    table = made(
        kind, days=2.0, weather=weather_of(d, 2.0, 6.0, 6.0, seed=3), loads=loads_of(2.0, 0.5),
        extra=EXTRA, seed=5, values=values,
    )  # fmt: skip
    assert [(f.kind, f.figures()) for f in findings_of(table, unit(kind)) if f.wrong] == []
