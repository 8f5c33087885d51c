"""What a healthy machine would show now at every point, and the states of its air."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.catalogue.points import points_of, sigma
from wringout.documents.call import Call, Reading
from wringout.documents.states import Snapshot, operating_states, state_left
from wringout.ledger.conditions import draw_conditions, even_normals
from wringout.ledger.readings import Seen, seen
from wringout.machine.design import Design, design
from wringout.machine.known import KnownMachine, healthy
from wringout.machine.parameters import Array, neutral, spreads
from wringout.machine.steady import Settled, read_points, settle
from wringout.weighing.discrepancy import model_spread

__all__ = ["PointBand", "Scene", "bands", "scene"]

SAMPLES = 300
DRAWS = 64  # columns of chance for the conditions
BAND = (0.05, 0.95)


@dataclass(frozen=True)
class Scene:
    """An operating state of a call: what was read in it, and healthy machines under its conditions."""

    design: Design
    state: str
    snapshot: Snapshot | None
    seen: Seen
    machines: Settled


@dataclass(frozen=True)
class PointBand:
    """Where nine readings of ten would fall at a healthy machine [SI], and its middle."""

    low: float
    middle: float
    high: float


def scene(
    call: Call, rng: np.random.Generator, snapshot: Snapshot | None = None, known: KnownMachine | None = None
) -> Scene:
    """Let healthy machines settle under the conditions found in an operating state, the present one if none
    is given: any machines of the kind, or this one as far as it is ``known``."""
    constants = design(call.unit)
    state = snapshot.state if snapshot is not None else state_left(call)[0]
    if snapshot is None:
        read_in = operating_states(call)
        same = [s for s in read_in if s.state == state and s.machine_epoch == read_in[-1].machine_epoch]
        snapshot = same[-1] if same and same[-1].visit == read_in[-1].visit else None
    read = seen(snapshot, sigma) if snapshot is not None else {}
    conditions = dict(read) if read else _weather_of(call)
    rows = spreads(constants)
    z = even_normals(rng, SAMPLES, len(rows) + DRAWS)
    normals = iter(z[:, len(rows) :].T)
    values = neutral(constants) | healthy(rows, known).values(z[:, : len(rows)])
    drawn = draw_conditions(constants, conditions, state, values, normals)
    if drawn.return_rise is not None:
        values = values | {"return_rise": drawn.return_rise}
    return Scene(constants, state, snapshot, read, settle(constants, values, drawn.conditions))


def _weather_of(call: Call) -> Seen:
    """Before anything is read in a new state: weather and room of the former one."""
    known = operating_states(call)
    if not known:
        return {}
    kept = ("outdoor.", "space.", "return.", "shown.outdoor_dew_point", "shown.space_t", "shown.dew_point")
    return {name: read for name, read in seen(known[-1], sigma).items() if name.startswith(kept)}


def bands(at: Scene, rng: np.random.Generator, ends: tuple[float, float] = BAND) -> dict[str, PointBand]:
    """The band of every point that the machine determines, between two quantiles: spread of healthy units, of
    the equations and of a careful reading together."""
    held = at.state.partition("=")[0] if at.state != "auto" else None
    predicted = read_points(at.machines)
    found: dict[str, PointBand] = {}
    for name in points_of(at.design.unit):
        if name not in predicted:
            continue
        values: Array = np.broadcast_to(np.asarray(predicted[name], dtype=float), (SAMPLES,))
        if not np.isfinite(values).all():
            continue
        model = np.broadcast_to(np.asarray(model_spread(name, values, at.machines, held)), values.shape)
        middle = float(np.median(values))
        noise = np.hypot(model, sigma(name, middle)) * rng.standard_normal(SAMPLES)
        low, high = np.quantile(values + noise, ends)
        found[name] = PointBand(float(low), middle, float(high))
    return found


def last_readings(call: Call) -> dict[str, Reading]:
    """The last reading of every point."""
    return {event.point: event for event in call.events if isinstance(event, Reading)}
