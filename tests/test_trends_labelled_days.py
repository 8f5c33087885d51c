"""Open labelled air-handler days: the findings name what the air shows on labelled days, and nothing on
normal ones.

SOURCE: Granderson, Lin, Harding, Im & Chen, Building fault detection data to aid diagnostic algorithm
creation and performance testing, Scientific Data 7:65 (2020); two of its files, read where they lie beside
the repository. Ground truth in them is the last column (0 normal, 1 faulty) and nothing more; which coil or
damper is at fault on a day is read from the air itself: fan on, commands and the mean of supply less mixed
air, computed apart from this package.
"""

from __future__ import annotations

from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from wringout.trends.findings import findings_of
from wringout.trends.mapping import load_table
from wringout.trends.table import DAY, Array, TrendTable

FOLDER = Path(__file__).resolve().parents[2] / "shared" / "references" / "data" / "lbnl_fdd_v1"
FILES = ("SZCAV", "MZVAV-2-2")
# whatever lies there is read: further files of the set are held to the same
EVERY = sorted(path.stem for path in FOLDER.glob("*.csv")) if FOLDER.is_dir() else []

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason=f"the labelled days are not there ({FOLDER})")


@cache
def loaded(name: str) -> tuple[TrendTable, Array]:
    table, raw, _ = load_table(FOLDER / f"{name}.csv")
    label = raw.column("Fault Detection Ground Truth")
    assert label is not None
    return table, label.values


def day_of(name: str, day: str) -> TrendTable:
    start = datetime.fromisoformat(day).replace(tzinfo=UTC).timestamp()
    return loaded(name)[0].between(start, start + DAY)


def days(name: str, label: float) -> list[str]:
    table, labels = loaded(name)
    chosen = np.unique((table.time[labels == label] // DAY).astype(int))
    return [str(np.datetime64(int(day), "D")) for day in chosen]


def named(name: str, day: str) -> set[str]:
    """What is called wrong on a day."""
    found = [f for f in findings_of(day_of(name, day)) if f.wrong]
    return {str(getattr(f, "what", getattr(f, "verdict", f.kind))) for f in found}


@pytest.mark.parametrize("name", FILES)
def test_the_files_are_read_as_they_come(name: str) -> None:
    table, labels = loaded(name)
    assert len(table.time) == {"SZCAV": 21_600, "MZVAV-2-2": 37_440}[name]
    assert len(table.time) == len(labels)
    wanted = {"shown.supply_t", "mixed.t", "return.t", "outdoor.t", "cooling.command", "shown.reheat_command"}
    assert wanted <= table.values.keys()
    assert {"gaps", "shares"} <= {dirt.kind for dirt in table.dirt}
    assert np.nanmedian(table["return.t"]) == pytest.approx(22.0, abs=3.0), "degF, unsaid in the file"
    assert np.nanmax(table["cooling.command"]) == 1.0


def test_cells_that_are_no_numbers_are_said_and_left_out() -> None:
    table, _ = loaded("SZCAV")
    (dirt,) = [d for d in table.dirt if d.kind == "bad_cells"]
    assert (dirt.count, dirt.column) == (90, "AHU: Mixed Air Temperature")
    assert np.isnan(table["mixed.t"]).sum() == 90


@pytest.mark.parametrize(
    ("name", "day", "what"),
    [
        # heating commanded over 95 %, supply less mixed air +1.1 degF: no heat arrives
        ("SZCAV", "2017-03-24", "heat_missing"),
        # both valves shut +10.6, +13.7, +10.1 degF, cooling over 95 % +16.7, +21.0, +16.2: hot water passes
        ("SZCAV", "2017-03-23", "heat_uncommanded"),
        ("SZCAV", "2017-03-25", "heat_uncommanded"),
        ("SZCAV", "2017-03-26", "heat_uncommanded"),
        # heating over 95 %, -24.1 and -27.8 degF: a cooling coil that goes on cooling fights it
        ("MZVAV-2-2", "2007-08-31", "cold_uncommanded"),
        ("MZVAV-2-2", "2008-05-15", "cold_uncommanded"),
        # cooling over 95 %, -2.5 and +2.8 degF: no cold arrives
        ("MZVAV-2-2", "2007-09-01", "cold_missing"),
        ("MZVAV-2-2", "2008-05-06", "cold_missing"),
    ],
)
def test_what_the_air_shows_is_named(name: str, day: str, what: str) -> None:
    assert day in days(name, 1.0)
    assert what in named(name, day)


@pytest.mark.parametrize(
    ("day", "share"),
    [("2007-09-05", 0.33), ("2008-05-07", 0.30), ("2008-02-12", 0.03), ("2008-05-08", 0.28)],
)
def test_a_damper_that_does_not_follow_is_named(day: str, share: float) -> None:
    """Share of outdoor air against the command, computed apart: (mixed - return) / (outdoor - return),
    medians."""
    (found,) = [f for f in findings_of(day_of("MZVAV-2-2", day)) if f.kind == "damper_against_command"]
    assert found.figures()["share"][0] == pytest.approx(share, abs=0.05)


@pytest.mark.parametrize("name", FILES)
def test_nothing_is_called_wrong_on_any_normal_day(name: str) -> None:
    normal = days(name, 0.0)
    assert len(normal) == {"SZCAV": 1, "MZVAV-2-2": 13}[name]
    assert {day: named(name, day) for day in normal if named(name, day)} == {}


def test_most_labelled_days_are_named_for_something() -> None:
    """Not every fault shows in the air on its day; that most do is a figure to be kept."""
    faulty = [(name, day) for name in FILES for day in days(name, 1.0)]
    assert len(faulty) == 27
    assert sum(bool(named(name, day)) for name, day in faulty) >= 20


def test_a_whole_file_names_its_days_by_their_spans() -> None:
    table, _ = loaded("SZCAV")
    (missing,) = [f for f in findings_of(table) if getattr(f, "what", "") == "heat_missing"]
    assert {str(np.datetime64(int(s.start // DAY), "D")) for s in missing.spans} == {"2017-03-24"}


def in_state(day: TrendTable, heat: tuple[float, float], cool: tuple[float, float]) -> Array:
    """Rise from mixed to supply air [K] over minutes in which both commands have held for twenty minutes."""
    inside = np.ones(len(day.time), dtype=bool)
    for point, (low, high) in (("shown.reheat_command", heat), ("cooling.command", cool)):
        inside &= (day[point] >= low) & (day[point] <= high)
    inside &= day["fan.running"] > 0.5 if "fan.running" in day else True
    held = np.zeros(len(inside), dtype=bool)
    run = 0
    for k, there in enumerate(inside):
        run = run + 1 if there else 0
        held[k] = run > 20
    rise = day["shown.supply_t"] - day["mixed.t"]
    return np.asarray(rise[held & np.isfinite(rise)])


def air_shows(day: TrendTable) -> list[set[str]]:
    """What the air shows beyond doubt, worked out apart: for each state the names that fit it."""
    out = []
    rise = in_state(day, (0.95, 1.0), (0.0, 0.02))
    if len(rise) >= 60 and np.median(rise) < 0.8:
        out.append({"heat_missing", "cold_uncommanded"})
    rise = in_state(day, (0.0, 0.02), (0.0, 0.02))
    if len(rise) >= 60 and np.median(rise) > 5.0:
        out.append({"heat_uncommanded"})
    if len(rise) >= 60 and np.median(rise) < -5.0:
        out.append({"cold_uncommanded"})
    rise = in_state(day, (0.0, 0.02), (0.95, 1.0))
    if len(rise) >= 60 and np.median(rise) > 3.0:
        out.append({"heat_uncommanded", "cold_missing"})
    return out


@pytest.mark.parametrize("name", EVERY)
def test_on_every_faulty_day_what_the_air_shows_beyond_doubt_is_named(name: str) -> None:
    seen = 0
    for day in days(name, 1.0):
        for fitting in air_shows(day_of(name, day)):
            seen += 1
            assert named(name, day) & fitting, (day, fitting, named(name, day))
    assert seen >= 3 or name not in FILES, "the files that are known show it on several days"


@pytest.mark.parametrize("name", EVERY)
def test_on_no_normal_day_the_air_shows_anything_or_anything_is_named(name: str) -> None:
    for day in days(name, 0.0):
        assert air_shows(day_of(name, day)) == [], day
        assert named(name, day) == set(), day


@pytest.mark.parametrize("day", ["2017-03-24", "2017-03-25", "2017-04-01"])
def test_the_same_day_from_another_controller_is_named_the_same(day: str, tmp_path: Path) -> None:
    """Degrees Celsius, semicolons, decimal commas, 24-hour clock with seconds: the air is the same."""
    table = day_of("SZCAV", day)
    words = {
        "shown.supply_t": ("Supply Air Temp (degC)", 1.0), "mixed.t": ("Mixed Air Temp (degC)", 1.0),
        "return.t": ("Return Air Temp (degC)", 1.0), "outdoor.t": ("Outdoor Air Temp (degC)", 1.0),
        "cooling.command": ("Cooling Valve Cmd (%)", 100.0), "fan.running": ("Supply Fan Status", 1.0),
        "shown.reheat_command": ("Heating Valve Cmd (%)", 100.0),
        "outdoor.damper": ("OA Damper Cmd (%)", 100.0),
    }  # fmt: skip
    points = [p for p in words if p in table]
    lines = [";".join(["Time", *(words[p][0] for p in points)])]
    for k, at in enumerate(table.time):
        cells = [datetime.fromtimestamp(float(at), UTC).strftime("%d.%m.%Y %H:%M:%S")]
        for p in points:
            value = float(table[p][k]) * words[p][1]
            cells.append("" if np.isnan(value) else f"{value:.2f}".replace(".", ","))
        lines.append(";".join(cells))
    path = tmp_path / "day.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    again, _, _ = load_table(path)
    found = [f for f in findings_of(again) if f.wrong]
    assert {str(getattr(f, "what", getattr(f, "verdict", f.kind))) for f in found} == named("SZCAV", day)
