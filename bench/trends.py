"""How fast: a year of minutes, twenty columns, from the file to the findings.

Run as `make bench ARGS=trends`. The year is made up: a unit that dries and reheats, with weather, people, a
valve that sticks in June and a display that shows the outdoor dew point while the unit is satisfied.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import polars as pl

from wringout.trends.findings import findings_of
from wringout.trends.guessing import guess_columns
from wringout.trends.mapping import table_of
from wringout.trends.reading import read_trend_file

ROWS = 525_600
START = 1_798_761_600  # 2027-01-01
GOAL = 3.0  # [s]


def say(line: str) -> None:
    sys.stdout.write(line + "\n")


def lagged(values: np.ndarray, share: float) -> np.ndarray:
    """A first-order lag by convolution with its cut-off impulse response."""
    kernel = share * (1.0 - share) ** np.arange(60)
    return np.convolve(values, kernel / kernel.sum())[: len(values)]


def year(rows: int = ROWS) -> pl.DataFrame:
    """A made-up year in degF and per cent, written to a tenth."""
    rng = np.random.default_rng(4)
    minute = np.arange(rows)
    day, season = 2.0 * np.pi * minute / 1440.0, 2.0 * np.pi * minute / ROWS
    weather = lagged(rng.normal(0.0, 1.0, rows), 0.05) * 3.0
    outdoor = 60.0 - 22.0 * np.cos(season) - 9.0 * np.cos(day) + 4.0 * np.sin(day / 5.3) + weather
    outdoor_dew = np.minimum(outdoor - 2.0, 48.0 - 18.0 * np.cos(season) + 5.0 * np.sin(day / 3.7) + weather)
    load = np.clip(0.5 - 0.3 * np.cos(day) + 0.02 * (outdoor_dew - 50.0), 0.0, 1.2)
    on = load > 0.35
    stages = np.where(on, 1.0 + (load > 0.75), 0.0)
    command = np.where(
        on, np.clip(0.9 - 0.5 * load + 0.05 * lagged(rng.normal(0.0, 1.0, rows), 0.1), 0.0, 1.0), 0.0
    )
    stuck = (minute > 220_000) & (minute < 240_000)
    coil = np.where(on, 50.0 - 2.0 * stages, 68.0)
    supply = lagged(coil + 1.5 + np.where(stuck, 4.0, 30.0 * command), 0.3)
    space = 68.0 + lagged(rng.normal(0.0, 0.4, rows), 0.02)
    dew = np.where(on, 52.0 + 2.0 * load + lagged(rng.normal(0.0, 0.3, rows), 0.05), outdoor_dew)

    def tenth(values: np.ndarray, noise: float = 0.08) -> np.ndarray:
        return np.round(values + rng.normal(0.0, noise, rows), 1)

    moments = pl.Series(minute.astype(np.int64) * 60_000_000 + START * 1_000_000).cast(pl.Datetime("us"))
    columns = {
        "Date/Time": moments.dt.strftime("%m/%d/%Y %H:%M"),
        "Outdoor Temp (°F)": tenth(outdoor),
        "Outdoor Dew Point (°F)": tenth(outdoor_dew),
        "Space Temp (°F)": tenth(space),
        "Space Dew Point (°F)": tenth(dew),
        "Supply Air Temp (°F)": tenth(supply),
        "Return Air Temp (°F)": tenth(space + 0.7),
        "Coil Leaving Temp (°F)": tenth(coil),
        "Mixed Air Temp (°F)": tenth(0.85 * space + 0.15 * outdoor),
        "Reheat Valve Cmd (%)": np.round(100.0 * command),
        "Cooling Stages": stages.astype(int),
        "Dehumidifying": np.where(on, "On", "Off"),
        "Supply Fan Status": np.full(rows, "On"),
        "Supply Fan Speed (Hz)": tenth(np.full(rows, 52.0)),
        "Space RH (%)": tenth(50.0 + 5.0 * np.sin(day)),
        "Return RH (%)": tenth(49.0 + 5.0 * np.sin(day)),
        "Supply RH (%)": tenth(60.0 + 8.0 * np.sin(day / 2.0)),
        "Dew Point Setpoint (°F)": np.full(rows, 52.0),
        "Space Temp Setpoint (°F)": np.full(rows, 68.0),
        "Loop Flow (gpm)": tenth(np.full(rows, 24.0)),
        "Hot Water Supply Temp (°F)": tenth(np.full(rows, 118.0) + 2.0 * np.sin(day)),
    }
    return pl.DataFrame(columns)


def run() -> list[tuple[str, str]]:
    """Rows of (what, result); processor time beside the clock's, so that a busy machine does not count."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "year.csv"
        year().write_csv(path)
        start, cpu = time.perf_counter(), time.process_time()
        raw = read_trend_file(path)
        read = time.process_time()
        guesses = guess_columns(raw)
        table = table_of(raw, [guess for guess in guesses if guess.confidence >= 0.5])
        guessed = time.process_time()
        found = findings_of(table)
        done, end = time.process_time(), time.perf_counter()
    return [
        (f"{len(raw.time):,} rows x {len(raw.columns)} columns to {len(found)} findings",
         f"{end - start:.2f} s by the clock (aim {GOAL:.0f}), {done - cpu:.2f} s of processors"),
        ("  reading, on every core", f"{read - cpu:.2f} s of processors"),
        (f"  guessing ({len(table.values)} columns used)", f"{guessed - read:.2f} s of processors"),
        ("  findings", f"{done - guessed:.2f} s of processors"),
    ]  # fmt: skip


def main() -> None:
    for what, result in run():
        say(f"{what:56} {result}")


if __name__ == "__main__":
    main()
