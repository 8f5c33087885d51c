"""Columns of a log chosen by hand: what is refused and why, and the mapping file that comes of it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from sample_documents import RECLAIM
from wringout.documents.load import unit_from_text
from wringout.errors import InputError
from wringout.trends.choosing import Choice, Fault, chosen_text, faults
from wringout.trends.mapping import load_table, mapping_beside
from wringout.trends.reading import read_trend_file

START = datetime(2029, 7, 8)
Stamp = Callable[[datetime], str]


def written(path: Path, heads: str, stamp: Stamp, cells: str = "70.5,40.0,55.2") -> Path:
    moments = [START + timedelta(minutes=5 * k) for k in range(40)]
    path.write_text("\n".join([heads, *(f"{stamp(at)},{cells}" for at in moments)]), encoding="utf-8")
    return path


def iso(at: datetime) -> str:
    return at.isoformat(" ")


def test_of_two_columns_with_one_point_the_later_choice_is_at_fault_and_names_the_other() -> None:
    found = faults([Choice("RAT", "return.t", "degF"), Choice("MAT", "return.t", "degC")])
    told = '"RAT" is taken for return air before outdoor air joins it already; leave one of the two out'
    assert found == {"MAT": Fault("point", told)}


def test_columns_that_are_left_out_are_never_at_fault() -> None:
    assert faults([Choice("A", "", ""), Choice("B", "", "degF")]) == {}


@pytest.mark.parametrize(
    ("choice", "field", "told"),
    [
        (Choice("RH", "supply.rh", "degF"), "unit", '"degF" is a unit of temperature; fraction is written'),
        (Choice("T", "return.t", "%"), "unit", '"%" is a unit of fraction; temperature is written'),
        (Choice("T", "return.t", "elbows"), "unit", 'unknown unit "elbows"; temperature is written'),
        (Choice("T", "return.t", ""), "unit", "say in which unit its numbers are"),
        (Choice("T", "return.air", "degF"), "point", 'there is no point "return.air"'),
        (Choice("T", "chilled.water_in", "degF"), "point", "this unit has no chilled.water_in"),
    ],
)
def test_a_choice_that_cannot_be_says_what_would_be_right(choice: Choice, field: str, told: str) -> None:
    found = faults([Choice("OAT", "outdoor.t", "degF"), choice], unit_from_text(RECLAIM))
    assert list(found) == [choice.column]
    assert found[choice.column].field == field
    assert found[choice.column].words.startswith(told)
    assert "line" not in found[choice.column].words, "nobody saw a document"


def test_a_point_whose_numbers_have_one_unit_needs_none() -> None:
    assert Choice("Stages", "shown.stages_called", "").settled().unit == "count"
    assert Choice("RH", "space.rh", "").settled().unit == "%"
    assert Choice("T", "space.t", "").settled().unit == "", "degF and degC are worlds apart"
    assert Choice("T", "", "degF").settled() == Choice("T", "", "")
    assert Choice("T", "nowhere", "").settled().unit == "", "what is wrong with it is said elsewhere"


def test_what_was_chosen_is_a_mapping_file_like_any_other(tmp_path: Path) -> None:
    log = written(tmp_path / "log.csv", "When,A,B,C", iso)
    choices = [Choice("A", "space.t", "degF"), Choice("B", "", ""), Choice("C", "shown.dew_point", "degF")]
    text = chosen_text(choices, log.name, "When", "%Y-%m-%d %H:%M:%S")
    mapping_beside(log).write_text(text, encoding="utf-8")
    table, _, guesses = load_table(None, mapping_beside(log))
    assert guesses is None
    assert table.columns == {"space.t": "A", "shown.dew_point": "C"}
    assert table["space.t"][0] == pytest.approx((70.5 - 32.0) / 1.8)
    assert '# left out: "B"' in text


def test_a_log_of_which_every_column_is_left_out_has_no_mapping_file() -> None:
    with pytest.raises(InputError, match="name at least one column"):
        chosen_text([Choice("A", "", "")], "log.csv", "When", "%Y-%m-%d %H:%M:%S")


WRITINGS: dict[str, tuple[str, Stamp]] = {
    "one column": ("When", iso),
    "seconds": ("When", lambda at: f"{(at - datetime(1970, 1, 1)).total_seconds():.0f}"),
    "days of a spreadsheet": (
        "When", lambda at: f"{(at - datetime(1899, 12, 30)).total_seconds() / 86400.0:.7f}",
    ),
    "with its zone": ("When", lambda at: f"{at.isoformat()}Z"),
    "date and time": ("Date,Clock", lambda at: f"{at:%m/%d/%Y,%I:%M %p}"),
    "a calendar": ("Year,Month,Day,Hour,Minute", lambda at: f"{at:%Y,%m,%d,%H,%M}"),
}  # fmt: skip


@pytest.mark.parametrize("writing", WRITINGS)
def test_a_log_is_read_by_its_mapping_as_without_one_however_its_times_are_written(
    tmp_path: Path, writing: str
) -> None:
    heads, stamp = WRITINGS[writing]
    log = written(tmp_path / "log.csv", f"{heads},A,B,C", stamp)
    plain = read_trend_file(log)
    text = chosen_text([Choice("A", "space.t", "degF")], log.name, plain.time_column, plain.time_format)
    mapping_beside(log).write_text(text, encoding="utf-8")
    _, raw, _ = load_table(log, mapping_beside(log))
    assert np.array_equal(raw.time, plain.time)
    assert raw.dirt == plain.dirt


def test_an_output_that_is_only_ever_nothing_or_one_is_shut_or_open(tmp_path: Path) -> None:
    log = written(tmp_path / "log.csv", "When,A,B,C", iso, "70.5,1,55.2")
    choices = [Choice("A", "space.t", "degF"), Choice("B", "shown.reheat_command", "%")]
    text = chosen_text(choices, log.name, "When", "%Y-%m-%d %H:%M:%S")
    mapping_beside(log).write_text(text, encoding="utf-8")
    table, _, _ = load_table(log, mapping_beside(log))
    assert set(table["shown.reheat_command"]) == {1.0}, "not one per cent"
