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
