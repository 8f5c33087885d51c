"""Days before and after a repair, made with the machine in time, and as files beside a call."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl

from answered_once import once
from motion_cases import UNITS, machine, nominal, one_cause
from motion_trends import DAY, START, loads_of, made, weather_of
from trend_samples import with_values
from wringout.machine.motion import Alter
from wringout.trends.table import TrendTable

KIND = "modulating reclaim"
MENDED = START + DAY
"""When the repair was made, seconds since 1970."""
END = MENDED + 1.5 * DAY
MENDED_AT = datetime.fromtimestamp(MENDED, UTC).replace(tzinfo=None)
FAULT = "compressor-out"


@once
def days(left: tuple[str, ...] = (), asks: bool = True, moisture: float = 0.75) -> TrendTable:
    """A day with a compressor out, then one and a half with what is left of it, or of something else."""
    d = machine(KIND)
    mended = nominal(d)
    for cause in left:
        mended = one_cause(d, mended, cause)
    length = (END - START) / DAY
    weather = weather_of(d, length) if asks else weather_of(d, length, 10.0, 12.0)
    return made(
        KIND, [(FAULT, 0.5)], length, weather, loads_of(length, moisture), [Alter(MENDED - START, mended)]
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
