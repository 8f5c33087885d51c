"""The conditions found: weather, room and what control asks for, drawn from what was read or, where nothing
was, from a stated distribution."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from wringout.documents.states import forced
from wringout.ledger.readings import Seen
from wringout.ledger.transfer_laws import moisture_at_share
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design
from wringout.machine.parameters import Array
from wringout.physics.moist_air import dew_or_frost_point

__all__ = ["Drawn", "draw_conditions", "even_normals"]

# what is not read lies about here; judgement, wide enough that a reading always decides
OUTDOOR_T = (-4.0, 6.0)  # K against the design day: mean, standard deviation
OUTDOOR_DEW = (-3.5, 4.0)
SPACE_T = (0.0, 2.5)  # K against the set point
SPACE_DEW = (0.5, 2.5)
STAGES_SLACK = 0.25  # of the band: how loosely stages follow the dew point, as least on and off times allow
MODULATION_SLACK = 0.15
DRIEST = 2e-5  # kg/kg, a frost point about -55 degC


def even_normals(rng: np.random.Generator, samples: int, columns: int) -> Array:
    """Standard normal numbers whose means, variances and covariances are exactly 0, 1 and 0.

    Parameters
    ----------
    rng : numpy.random.Generator
    samples : int
        More than columns + 1.
    columns : int

    Returns
    -------
    array, (samples, columns), [-]

    Notes
    -----
    Made even by Gram and Schmidt, so that a few hundred samples give a reading back its own standard
    deviation and nothing goes together by chance.
    """
    z = rng.standard_normal((samples, columns))
    z = z - z.mean(axis=0)
    # one column after the other, by sums and not by matrix products: for so little work the threads of a
    # linear algebra library cost more than they give
    for k in range(columns):
        before = z[:, :k]
        z[:, k] -= np.einsum("ij,j->i", before, np.einsum("ij,i->j", before, z[:, k]) / (samples - 1.0))
        z[:, k] *= np.sqrt((samples - 1.0) / np.einsum("i,i->", z[:, k], z[:, k]))
    return np.asarray(z)


@dataclass
class Drawn:
    """Conditions as samples.

    ``points`` holds the samples of those readings that the conditions were taken from; ``return_rise`` [K]
    and ``fan_speed`` where readings fix them.
    """

    conditions: Conditions
    points: dict[str, Array] = field(default_factory=dict)
    return_rise: Array | None = None


class _Draw:
    """Draws from readings, once each, and keeps what it drew."""

    def __init__(self, seen: Seen, normals: Iterator[Array], pressure: float) -> None:
        self.seen, self.normals, self.pressure = seen, normals, pressure
        self.points: dict[str, Array] = {}

    def point(self, name: str) -> Array | None:
        if name not in self.seen:
            return None
        if name not in self.points:
            read = self.seen[name]
            self.points[name] = read.value + read.sigma * next(self.normals)
        return self.points[name]

    def about(self, mean: float | Array, sigma: float) -> Array:
        return np.asarray(mean + sigma * next(self.normals))

    def dew(self, t: Array, share: str) -> Array | None:
        """Dew point from a relative humidity that was read."""
        rh = self.point(share)
        if rh is None:
            return None
        # a dew point needs some moisture; the lower end of a reading of 2 % may have none
        ratio = np.maximum(moisture_at_share(t, np.maximum(rh, 0.01), self.pressure), DRIEST)
        return dew_or_frost_point(ratio, self.pressure)


def draw_conditions(
    design: Design, seen: Seen, state: str, offsets: dict[str, Array], normals: Iterator[Array]
) -> Drawn:
    """Draw the conditions of one operating state.

    Parameters
    ----------
    design : Design
    seen : Seen
    state : str
        Name of the operating state.
    offsets : dict of array
        Parameters of a healthy machine: its sensors' offsets and the return duct's rise.
    normals : iterator of array, each (samples,)
        Standard normal numbers, as many as are needed.

    Returns
    -------
    Drawn

    Notes
    -----
    Handheld readings count before the controller's, the room's own before the return duct's. A command that
    was not read is taken from the signal, then from the stem, and else is anything; stages and modulation
    follow the shown dew point across the band.
    """
    d = _Draw(seen, normals, design.pressure)
    unit = design.unit
    day, control = unit.space.design_day, unit.control
    outdoor_t = d.point("outdoor.t")
    if outdoor_t is None:
        outdoor_t = d.about(day.outdoor_t + OUTDOOR_T[0], OUTDOOR_T[1])
    outdoor_dew = d.dew(outdoor_t, "outdoor.rh")
    if outdoor_dew is None and (shown := d.point("shown.outdoor_dew_point")) is not None:
        outdoor_dew = shown - offsets["outdoor_dew_offset"]
    if outdoor_dew is None:
        outdoor_dew = d.about(day.outdoor_dew_point + OUTDOOR_DEW[0], OUTDOOR_DEW[1])
        outdoor_dew = np.minimum(outdoor_dew, day.outdoor_dew_point)  # beyond the design day is no default
    return_t = d.point("return.t")
    space_t = d.point("space.t")
    if space_t is None and return_t is not None:
        space_t = return_t - offsets["return_rise"]
    if space_t is None and (shown := d.point("shown.space_t")) is not None:
        space_t = shown - offsets["space_t_offset"]
    if space_t is None:
        space_t = d.about(control.space_t + SPACE_T[0], SPACE_T[1])
    rise = return_t - space_t if return_t is not None else None
    around = return_t if return_t is not None else space_t + offsets["return_rise"]
    # the unit draws the return air, so that its moisture decides
    space_dew = d.dew(around, "return.rh")
    if space_dew is None:
        space_dew = d.dew(space_t, "space.rh")
    if space_dew is None and (shown := d.point("shown.dew_point")) is not None:
        space_dew = shown - offsets["dew_offset"]
    if space_dew is None:
        space_dew = d.about(control.dew_point + SPACE_DEW[0], SPACE_DEW[1])
    command, stages, modulation, idle = _called(design, seen, state, space_dew, d)
    count = space_t.shape[0]
    rewetting = np.clip(0.5 + 0.3 * next(normals), 0.0, 1.0) if idle else np.zeros(count)
    conditions = Conditions(
        outdoor_t, outdoor_dew, space_t, space_dew, command, stages, modulation, rewetting
    )
    return Drawn(conditions, d.points, rise)


def _called(
    design: Design, seen: Seen, state: str, space_dew: Array, d: _Draw
) -> tuple[Array, Array, Array, bool]:
    """Reheat command, stages, modulation, and whether cooling is held off by hand."""
    unit = design.unit
    count = space_dew.shape[0]
    most = float(len(design.stage_share)) if design.dx else 1.0
    held = forced(state)
    called = seen["shown.dehumidifying"].value >= 0.5 if "shown.dehumidifying" in seen else None
    if "shown.stages_called" in seen and seen["shown.stages_called"].value >= 0.5:
        called = True
    dew = space_dew
    if "shown.dew_point" in seen:
        dew = np.full(count, seen["shown.dew_point"].value)  # what control acts on, right or wrong
    band = unit.control.dew_point_band
    place = (dew - (unit.control.dew_point - 0.5 * band)) / band
    modulation = np.clip(d.about(place, MODULATION_SLACK), 0.0, 1.0)
    if held is not None and held[0] == "cooling.call":
        stages = np.full(count, most if held[1] >= 0.5 else 0.0)
        modulation = np.ones(count)
    elif "shown.stages_called" in seen:
        stages = np.full(count, min(seen["shown.stages_called"].value, most))
    elif called is False:
        stages = np.zeros(count)
    elif design.dx:
        stages = np.clip(np.ceil(most * d.about(place, STAGES_SLACK)), 1.0 if called else 0.0, most)
    else:
        stages = np.ones(count) if called else np.clip(np.ceil(d.about(place, STAGES_SLACK)), 0.0, 1.0)
    idle = held == ("cooling.call", 0.0)
    return _command(design, seen, held, called, d, count), stages, modulation, idle


def _command(
    design: Design,
    seen: Seen,
    held: tuple[str, float] | None,
    called: bool | None,
    d: _Draw,
    count: int,
) -> Array:
    """What control asks of the reheat [0..1]."""
    signal = design.unit.reheat.valve.signal
    if held is not None and held[0] == "reheat.command":
        return np.full(count, held[1])
    if (shown := d.point("shown.reheat_command")) is not None:
        return np.clip(shown, 0.0, 1.0)
    if called is False and held is None:
        return np.zeros(count)
    if (volts := d.point("reheat.signal")) is not None:
        travel = np.clip((volts - signal.low) / (signal.high - signal.low), 0.0, 1.0)
        return travel if signal.coil_open_at == "high" else 1.0 - travel
    if (stem := d.point("reheat.stem")) is not None:
        return np.clip(stem, 0.0, 1.0)
    # anything between shut and open, evenly: the logistic curve stands in for the normal distribution
    return np.asarray(1.0 / (1.0 + np.exp(-1.702 * next(d.normals))))
