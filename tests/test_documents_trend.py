"""A trend document says which column is which point, in which unit, and how time is written."""

from __future__ import annotations

from pathlib import Path

import pytest

from sample_documents import TREND
from wringout.catalogue.calls import load_trend
from wringout.documents.trend import Trend
from wringout.errors import InputError
from wringout.quantity import Dimension


def loaded(folder: Path, text: str = TREND) -> Trend:
    (folder / "trend.yaml").write_text(text, encoding="utf-8")
    return load_trend(folder / "trend.yaml")


def test_columns_and_time_are_read(tmp_path: Path) -> None:
    trend = loaded(tmp_path)
    assert trend.file == tmp_path / "trend.csv"
    assert (trend.time_column, trend.time_format) == ("Date/Time", "%m/%d/%Y %H:%M")
    assert [(c.column, c.point, c.unit, c.dimension) for c in trend.columns] == [
        ("AI 4 Raum", "shown.space_t", "degC", Dimension.TEMPERATURE),
        ("AI 5", "shown.dew_point", "degF", Dimension.TEMPERATURE),
        ("AO 1 %", "shown.reheat_command", "%", Dimension.FRACTION),
    ]


@pytest.mark.parametrize(
    "written",
    ["%Y-%m-%d %H:%M:%S", "%d.%m.%Y %H:%M", "%Y-%m-%dT%H:%M:%S", "%m/%d/%y %I:%M %p", "%d-%b-%Y %H:%M"],
)
def test_usual_ways_to_write_time_are_taken(tmp_path: Path, written: str) -> None:
    assert loaded(tmp_path, TREND.replace("%m/%d/%Y %H:%M", written)).time_format == written


WRONG = {
    "no file": ("file: trend.csv\n", "", "file: missing"),
    "file elsewhere": ("trend.csv", "../trend.csv", "path beside this document"),
    "no time": ('time: {column: "Date/Time", format: "%m/%d/%Y %H:%M"}\n', "", "time: missing"),
    "no time column": ('column: "Date/Time", ', "", "time.column: missing"),
    "time without hour": ("%m/%d/%Y %H:%M", "%m/%d/%Y", "does not tell a date and time"),
    "time without year": ("%m/%d/%Y %H:%M", "%m/%d %H:%M", "does not tell a date and time"),
    "twelve hours": ("%m/%d/%Y %H:%M", "%m/%d/%Y %I:%M", "does not tell a date and time"),
    "no directive": ("%m/%d/%Y %H:%M", "MM/DD/YYYY", "does not tell a date and time"),
    "bad directive": ("%m/%d/%Y %H:%M", "%Q %Y", "does not tell a date and time"),
    "point": ("shown.space_t", "shown.space", "nearest known one is shown.space_t"),
    "unit": ("unit: degC", "unit: gpm", "unit of water flow.*degF or degC"),
    "number": ("unit: degC", "unit: 3", "unknown unit"),
    "same point": ("shown.dew_point", "shown.space_t", "is shown.space_t already"),
    "extra": ("unit: degC}", "unit: degC, scale: 3}", "unknown field"),
    "no unit": (", unit: degC", "", "unit: missing"),
    "columns": (TREND[TREND.index("columns:") :], "columns: {}\n", "empty; name at least one column"),
}


@pytest.mark.parametrize("what", WRONG)
def test_what_is_wrong_is_named(what: str, tmp_path: Path) -> None:
    old, new, words = WRONG[what]
    assert old in TREND
    with pytest.raises(InputError, match=words) as caught:
        loaded(tmp_path, TREND.replace(old, new, 1))
    assert str(caught.value).startswith(str(tmp_path / "trend.yaml"))
