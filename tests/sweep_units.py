"""Many invented units run through summer days at once, each with causes of its own, for sweeps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from motion_cases import UNITS, healthy, machine, nominal
from wringout.machine.acts import ACTS, variants
from wringout.machine.motion import Loads, Weather, run
from wringout.trends.table import DAY, HOUR, TrendTable

__all__ = ["LOGGED", "NAMES", "START", "TRUE", "Run", "fleet", "frame", "write"]

START = 1_814_400_000.0  # 2027-06-30 00:00
LOGGED = (
    "shown.dew_point", "shown.space_t", "shown.supply_t", "shown.reheat_command", "shown.stages_called",
    "shown.outdoor_dew_point", "outdoor.t",
)  # fmt: skip
TRUE = ("coil_leaving.t", "supply.t", "supply.rh", "supply.airflow")


@dataclass(frozen=True)
class Run:
    """A unit's causes, its trend as a controller logs it, and what an exact instrument would have read."""

    wrong: tuple[str, ...]
    trend: TrendTable
    true: TrendTable


def fleet(
    kind: str,
    wrong: Sequence[Sequence[str]],
    days: float,
    seed: int = 0,
    severity: float | None = 0.7,
    step: float = 30.0,
    record: float = 300.0,
    under: float = 3.5,
    alike: bool = False,
) -> list[Run]:
    """Run units of one kind, one for each entry of ``wrong`` (``valve-stuck``, or ``setpoint-wrong/1`` for
    its second way), in weather whose dew point stays so many
    kelvins under the design day's on average, and log their displays in tenths. Units that are ``alike`` are
    at their schedule: nothing but their causes tells them apart."""
    rng = np.random.default_rng(seed)
    d = machine(kind)
    count = len(wrong)
    if alike:
        values = {name: np.repeat(array, count) for name, array in nominal(d).items()}
    else:
        values = healthy(d, count, rng)
    values["hand_command"] = np.full(count, 0.6)
    for i, causes in enumerate(wrong):
        for cause, _, way in (told.partition("/") for told in causes):
            drawn = [np.full(1, rng.random() if severity is None else severity)] * ACTS[cause].severities
            moved = ACTS[cause].move(
                lambda n, i=i: values[n][i : i + 1], variants(cause, d.unit)[int(way or 0)], drawn
            )
            for name, array in moved.items():
                if values[name].shape[0] == 1:
                    values[name] = np.repeat(values[name], count)
                values[name][i] = array[0]
    time = np.arange(0.0, days * DAY + 1.0, 600.0)
    hour = (time / HOUR) % 24.0
    day = d.unit.space.design_day
    slow = np.interp(time, np.arange(0.0, time[-1] + DAY, DAY / 2), rng.normal(0.0, 0.6, int(2 * days) + 2))
    outdoor = day.outdoor_t - 7.0 + 5.0 * np.cos(2.0 * np.pi * (hour - 15.0) / 24.0) + slow
    dew = np.minimum(np.minimum(day.outdoor_dew_point - under + slow, day.outdoor_dew_point), outdoor - 0.5)
    busy = 1.0 / (1.0 + np.exp(-(hour - 8.0) * 3.0)) - 1.0 / (1.0 + np.exp(-(hour - 20.0) * 3.0))
    trace = run(
        d, values, Weather.of(outdoor, dew, time), Loads.of(0.35 + 0.5 * busy, 0.5 + 0.35 * busy, time),
        duration=days * DAY, step=step, rng=rng, record=record,
    )  # fmt: skip
    points = trace.points([*LOGGED, *TRUE])
    at = START + trace.time
    out = []
    for i in range(count):
        log = {}
        for name in LOGGED:
            line = points[name][i]
            if name.endswith(("_t", ".t", "dew_point")):
                line = np.round(line + rng.normal(0.0, 0.05, len(line)), 1)
            log[name] = np.round(line, 2) if name == "shown.reheat_command" else line
        true = {name: points[name][i] for name in TRUE}
        out.append(Run(tuple(wrong[i]), TrendTable(at, log), TrendTable(at, true)))
    return out


NAMES = {
    "shown.dew_point": "Space Dew Point (degF)",
    "shown.space_t": "Space Temp (degF)",
    "shown.supply_t": "Supply Air Temp (degF)",
    "shown.outdoor_dew_point": "Outdoor Dew Point (degF)",
    "outdoor.t": "Outdoor Temp (degF)",
    "coil_leaving.t": "Coil Leaving Temp (degF)",
    "shown.reheat_command": "Reheat Valve Cmd (%)",
    "shown.stages_called": "Cooling Stages",
}


def frame(trend: TrendTable) -> pl.DataFrame:
    """A trend as a controller would export it."""
    moments = pl.Series((trend.time * 1e6).astype(np.int64)).cast(pl.Datetime("us"))
    columns: dict[str, object] = {"Date/Time": moments.dt.strftime("%m/%d/%Y %H:%M")}
    for point, name in NAMES.items():
        if point in trend:
            values = trend[point]
            if "degF" in name:
                values = np.round(values * 1.8 + 32.0, 1)
            columns[name] = np.round(100.0 * values) if "%" in name else values
    return pl.DataFrame(columns)


def write(folder: Path, run: Run, kind: str, files: int = 1, ending: str = ".csv") -> None:
    """A folder of one unit: its document, and its trend in so many files."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "unit.yaml").write_text(UNITS[kind], encoding="utf-8")
    whole = frame(run.trend)
    rows = -(-whole.height // files)
    for k in range(files):
        part, path = whole.slice(k * rows, rows), folder / f"log-{k + 1}{ending}"
        if ending == ".csv":
            part.write_csv(path)
        else:
            part.write_parquet(path)
