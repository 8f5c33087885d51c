"""Calls for the tests of evidence, made by our own machine with a known cause acting."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np

from wringout.catalogue.points import point, sigma
from wringout.documents.call import Call, Event, Force, Reading
from wringout.documents.load import load_unit
from wringout.machine.acts import ACTS, variants
from wringout.machine.conditions import Conditions
from wringout.machine.design import design
from wringout.machine.parameters import healthy_values, neutral, spreads
from wringout.machine.steady import read_points, settle
from wringout.weighing.answer import Answer, weigh

DEMO = Path(__file__).resolve().parent.parent / "src" / "wringout" / "demo"
WALK_UP = (
    "shown.dew_point",
    "shown.setpoint_dew_point",
    "shown.space_t",
    "shown.supply_t",
    "shown.reheat_command",
    "return.t",
    "return.rh",
    "space.rh",
    "supply.t",
    "supply.rh",
    "outdoor.t",
    "outdoor.rh",
)
START = datetime(2028, 5, 9, 10, 0)


def made(
    folder: str,
    planted: Mapping[str, tuple[float, ...]],
    points: tuple[str, ...],
    state: str = "auto",
    command: float = 0.5,
    warmer: float = 0.0,
    variant: str = "",
    seed: int = 5,
    slip: str = "",
) -> Call:
    """A call with small instrument errors, read at a machine that is at its schedule but for the causes."""
    unit = load_unit(DEMO / folder / "unit.yaml")
    built = design(unit)
    rows = spreads(built)
    values = neutral(built) | healthy_values(rows, np.zeros((1, len(rows))))
    for cause, severities in planted.items():
        ways = variants(cause, unit)
        way = next((w for w in ways if w.label == variant), ways[0])
        values |= ACTS[cause].move(values.__getitem__, way, [np.array([u]) for u in severities])
    control = unit.control
    stages = 2.0 if built.dx else 1.0
    if state.startswith("reheat.command"):
        command = float(state.partition("=")[2].removesuffix("%")) / 100.0
    conditions = Conditions(
        *(
            np.array([value])
            for value in (
                unit.space.design_day.outdoor_t - 4.0,
                unit.space.design_day.outdoor_dew_point - 3.0,
                control.space_t + warmer - float(values["space_t_error"][0]),
                control.dew_point + 0.4 - float(values["dew_error"][0]),
                command,
                stages,
                0.75,
                0.0,
            )
        )
    )
    exact = read_points(settle(built, values, conditions))
    rng = np.random.default_rng(seed)
    events: list[Event] = [
        reading("shown.dehumidifying", 1.0, START),
        reading("shown.stages_called", stages, START),
    ]
    if state != "auto":
        item, _, _ = state.partition("=")
        events.insert(0, Force(at=START, item=item, to=command))
    for k, name in enumerate(dict.fromkeys((*WALK_UP, *points))):
        value = float(exact[name][0])
        if str(point(name).dimension) not in ("yes_no", "count"):
            value += 0.3 * sigma(name, value) * float(rng.standard_normal())
            value += 9.0 * sigma(name, value) if name == slip else 0.0
        events.append(reading(name, value, START + timedelta(minutes=k + 1)))
    return Call(unit=unit, complaint="made for a test", events=tuple(events))


def reading(name: str, value: float, at: datetime) -> Reading:
    return Reading(at=at, point=name, value=value, unit_text="", text=f"{value}", by=point(name).by)


@cache
def weighed(
    folder: str,
    cause: str,
    severities: tuple[float, ...],
    points: tuple[str, ...],
    variant: str = "",
    slip: str = "",
    command: float = 0.5,
) -> Answer:
    planted = {cause: severities} if cause else {}
    call = made(folder, planted, points, variant=variant, slip=slip, command=command)
    return weigh(call, np.random.default_rng(0), checks=False)
