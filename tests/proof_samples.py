"""Days before and after a repair, made with the machine in time, and as files beside a call."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
import polars as pl

from motion_cases import UNITS, machine, nominal, one_cause
from motion_trends import DAY, START, loads_of, made, weather_of
from trend_samples import with_values
from wringout.machine.motion import Alter
from wringout.trends.table import TrendTable

KIND = "modulating reclaim"
MENDED_AT = datetime.fromtimestamp(START + 2.0 * DAY, UTC).replace(tzinfo=None)
FAULT = "compressor-out"


@cache
def days(left: tuple[str, ...] = (), asks: bool = True, moisture: float = 0.75) -> TrendTable:
    """Two days with a compressor out, then two with what is left of it, or of something else."""
    d = machine(KIND)
    mended = nominal(d)
    for cause in left:
        mended = one_cause(d, mended, cause)
    weather = weather_of(d, 4.0) if asks else weather_of(d, 4.0, 10.0, 12.0)
    return made(
        KIND, [(FAULT, 0.5)], 4.0, weather, loads_of(4.0, moisture), [Alter(2.0 * DAY, mended)]
    )  # fmt: skip


def written(
    folder: Path, table: TrendTable, cause: str = f"cause: {FAULT}", before: str = "", after: str = ""
) -> list[str]:
    (folder / "unit.yaml").write_text(UNITS[KIND])
    (folder / "call.yaml").write_text(
        "format: wringout-call/1\nunit: unit.yaml\nevents:\n"
        f"{before}  - {{at: {MENDED_AT.isoformat()}, kind: change, {cause}}}\n{after}"
    )
    moments = pl.Series(table.time.astype(np.int64)).cast(pl.Int64) * 1_000_000
    columns = {"Time": moments.cast(pl.Datetime("us")).dt.strftime("%Y-%m-%d %H:%M")}
    columns |= {name: pl.Series(values) for name, values in table.values.items()}
    pl.DataFrame(columns).write_csv(folder / "log.csv")
    lines = "\n".join(f'  "{name}": {{point: {name}, unit: {_unit(name)}}}' for name in table.values)
    (folder / "trend.yaml").write_text(
        "format: wringout-trend/1\nfile: log.csv\n"
        f'time: {{column: "Time", format: "%Y-%m-%d %H:%M"}}\ncolumns:\n{lines}\n'
    )
    return ["prove", str(folder / "call.yaml"), "--trend", str(folder / "log.csv")]


def _unit(name: str) -> str:
    return {"shown.reheat_command": '"%"', "shown.stages_called": "count"}.get(name, "degC")


def in_per_cent(table: TrendTable) -> TrendTable:
    return with_values(table, shown__reheat_command=100.0 * table["shown.reheat_command"])
