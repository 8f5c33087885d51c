"""Live points of invented units as a recording would hold them: machines in time with causes, noise, last
digits, rows that are missing, and a technician who forces a state."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motion_cases import healthy, machine, with_causes
from wringout.machine.design import Design
from wringout.machine.motion import Event, Hold, Loads, Release, Trace, Weather, run

STATES = (("reheat.command", 0.0), ("reheat.command", 1.0), ("cooling.call", 0.0), ("cooling.call", 1.0))
SHOWN = (
    "shown.dew_point", "shown.space_t", "shown.supply_t", "shown.dehumidifying", "shown.stages_called",
    "shown.reheat_command", "shown.setpoint_dew_point",
)  # fmt: skip
FIELD = ("supply.t", "reheat.stem", "reheat.signal", "reheat.water_out", "source.water_in")
# one standard deviation from row to row, and the last digit [SI]
GRAIN = {"t": (0.05, 0.1), "stem": (0.01, 0.01), "signal": (0.02, 0.01), "command": (0.0, 0.001)}


@dataclass(frozen=True)
class Live:
    """What a recording holds, and what was so: `forced` [s] when the state was forced."""

    time: np.ndarray
    values: dict[str, np.ndarray]
    forced: float
    released: float
    trace: Trace
    sample: int
    design: Design


def live(
    kind: str,
    item: str,
    to: float,
    rng: np.random.Generator,
    samples: int = 4,
    causes: tuple[str, ...] = (),
    before: float = 1200.0,
    after: float = 900.0,
    release: bool = False,
    step: float = 5.0,
    force: bool = True,
) -> list[Live]:
    """Recordings of some machines of one kind, all forced at the same time."""
    d = machine(kind)
    values = healthy(d, samples, rng)
    if causes:
        values, _ = with_causes(d, values, causes, rng)
    day = d.unit.space.design_day
    dry = day.outdoor_t - rng.uniform(0.0, 6.0, (samples, 1))
    wet = np.minimum(day.outdoor_dew_point - rng.uniform(0.0, 5.0, (samples, 1)), dry - 0.5)
    loads = Loads.of(rng.uniform(0.6, 1.2, (samples, 1)), rng.uniform(0.4, 0.8, (samples, 1)))
    warm_up = 1800.0
    at = warm_up + before + float(rng.uniform(0.0, 60.0))
    schedule: list[Event] = [Hold(at, item, to)] if force else []
    if release:
        schedule.append(Release(at + after, item))
    duration = at + (2.0 if release else 1.0) * after
    trace = run(d, values, Weather.of(dry, wet), loads, schedule, duration=duration, step=step, rng=rng)
    names = [*SHOWN, *FIELD] if d.hot_water else [*SHOWN, *FIELD[:3]]
    names += [f"stage.{stage}.current" for stage in d.unit.stage_ids]
    points = trace.points(names)
    if not d.dx:
        points["cooling.command"] = trace.states["modulation"].T
        names.append("cooling.command")
    found = []
    for k in range(samples):
        every = float(rng.choice([5.0, 10.0, 30.0]))
        rows = np.unique(np.searchsorted(trace.time, np.arange(warm_up, duration + 0.1, every) - 1e-6))
        rows = rows[rows < len(trace.time)]
        rows = rows[rng.random(len(rows)) > 0.02]
        log = {name: grained(name, points[name][k][rows], rng) for name in names}
        missing = rng.random(len(rows)) < 0.02
        log["shown.supply_t"] = np.where(missing, np.nan, log["shown.supply_t"])
        found.append(Live(trace.time[rows], log, at, at + after, trace, k, d))
    return found


def grained(name: str, values: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """What the controller shows of it."""
    if name in ("shown.dehumidifying", "shown.stages_called"):
        return np.round(values)
    noise, digit = next((g for end, g in GRAIN.items() if name.endswith(end)), (0.0, 0.0))
    if name.endswith("current"):
        noise, digit = 0.1, 0.1
    elif digit == 0.0:
        noise, digit = GRAIN["t"]
    return np.round((values + rng.normal(0.0, 1.0, len(values)) * noise) / digit) * digit
