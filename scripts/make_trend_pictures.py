"""Write the pictures of docs/trends.md: one of each finding, from the invented unit of the tests.

Run from the root of the repository: ``PYTHONPATH=tests python scripts/make_trend_pictures.py``. The data are
made up.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from motion_cases import unit as motion_unit
from motion_trends import loads_of, made
from trend_samples import DAY, START, Unit, hall, simulate, with_values
from wringout.proof.replay import replay
from wringout.proof.replay_finding import replay_finding
from wringout.trends.findings import findings_of
from wringout.trends.pictures import picture_of
from wringout.trends.table import TrendTable

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "docs" / "pictures"
RECLAIM = "modulating reclaim"
SATISFIED_AT_NIGHT = {"night_load": -0.5, "moisture": 0.8}


def _air_handler() -> TrendTable:
    """Eight hours in which heating and cooling are commanded together, and a damper that does not close."""
    minutes = np.arange(480.0)
    noise = np.random.default_rng(2).normal(0.0, 0.15, (4, 480))
    return TrendTable(
        START + 60.0 * minutes,
        {
            "shown.reheat_command": 0.5 + 0.1 * np.sin(minutes / 90.0),
            "cooling.command": 0.6 - 0.1 * np.sin(minutes / 70.0),
            "shown.supply_t": 18.0 + noise[0],
            "outdoor.damper": np.zeros(480),
            "return.t": 22.0 + noise[1],
            "outdoor.t": 32.0 + np.sin(minutes / 150.0) + noise[2],
            "mixed.t": 26.0 + 0.4 * np.sin(minutes / 150.0) + noise[3],
        },
    )


def cases() -> Iterator[tuple[str, TrendTable]]:
    """A trend for each kind of finding."""
    plain = simulate(2.0, 1)
    stuck = plain["shown.supply_t"].copy()
    stuck[900:1800] = stuck[900]
    minutes = np.arange(1440)
    fast = np.where((minutes > 600) & (minutes < 1000), (minutes % 6 < 3).astype(float), 1.0)
    long = simulate(10.0, 1, extra=True)
    drift = 2.0 * (long.time - long.time[0]) / (10.0 * DAY)
    yield "action", simulate(2.0, 1, Unit(action=-1.0))
    cold = plain["shown.space_t"] - 2.0
    yield "at_stop", with_values(plain, shown__reheat_command=np.ones(len(cold)), shown__space_t=cold)
    yield "swinging", simulate(2.0, 1, Unit(gain=2.5, integral=300.0))
    yield "short_cycling", TrendTable(START + 60.0 * minutes, {"shown.stages_called": fast})
    yield "following", simulate(2.0, 1, Unit(dew_from_outdoor="while_off", **SATISFIED_AT_NIGHT))
    yield "coil_against_command", simulate(2.0, 1, Unit(heat=0.2), extra=True)
    yield "damper_against_command", _air_handler()
    yield "fighting", _air_handler()
    yield "stuck", with_values(plain, shown__supply_t=stuck)
    yield "drifting", with_values(long, shown__space_t=long["shown.space_t"] + drift)
    yield "coarse", with_values(plain, shown__supply_t=np.round(plain["shown.supply_t"]))
    yield "against_physics", with_values(plain, shown__dew_point=plain["shown.space_t"] + 2.0)
    yield "changed", simulate(5.0, 3, Unit(change_at=2.2 * DAY))
    yield "too_wet", simulate(2.0, 1, Unit(locked_out=True))
    wet = loads_of(2.0, 1.3)
    yield "moisture_days", made(RECLAIM, [("compressor-out", 0.5)], loads=wet, extra=["supply.rh"])


def replayed() -> str:
    """The replay of two days with a compressor out, without it."""
    ill = made(RECLAIM, [("compressor-out", 0.5)], loads=loads_of(2.0, 0.8))
    found = replay(ill, motion_unit(RECLAIM), "compressor-out", np.random.default_rng(0))
    return replay_finding(found).draw("si")


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for kind, table in cases():
        unit = {"at_stop": hall(), "too_wet": hall(), "moisture_days": motion_unit(RECLAIM)}.get(kind)
        finding = next(f for f in findings_of(table, unit) if f.kind == kind)
        path = FOLDER / f"trend-{kind.replace('_', '-')}.svg"
        path.write_text(picture_of(finding, table, "si"), encoding="utf-8")
        sys.stdout.write(f"{path.relative_to(ROOT)}\n")
    (FOLDER / "trend-without-cause.svg").write_text(replayed(), encoding="utf-8")


if __name__ == "__main__":
    main()
