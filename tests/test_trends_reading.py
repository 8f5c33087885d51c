"""Trend files come as controllers write them: every kind of dirt is read, and said."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wringout.errors import DataError, InputError
from wringout.trends.reading import read_trend_file
from wringout.trends.table import RawTable

START = datetime(2027, 7, 14, 10, 0, tzinfo=UTC)
SECONDS = START.timestamp()


@pytest.fixture
def written(tmp_path: Path) -> Callable[[str | bytes], Path]:
    def write(text: str | bytes) -> Path:
        path = tmp_path / "log.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
        return path

    return write


def rows(
    head: str,
    form: str = "%m/%d/%Y %H:%M",
    delimiter: str = ",",
    count: int = 12,
    row: str = "{t}{d}{a}{d}{b}",
) -> str:
    """Twelve minutes of two columns: a counts up from 70.0 by 0.5, b is 10 times the minute."""
    lines = [head]
    for k in range(count):
        moment = (START + timedelta(minutes=k)).strftime(form)
        lines.append(row.format(t=moment, d=delimiter, a=70.0 + 0.5 * k, b=10 * k))
    return "\n".join(lines) + "\n"


def kinds(raw: RawTable) -> set[str]:
    return {dirt.kind for dirt in raw.dirt}


def check(raw: RawTable, first: str = "A", second: str = "B") -> None:
    assert raw.time == pytest.approx(SECONDS + 60.0 * np.arange(12))
    a, b = raw.column(first), raw.column(second)
    assert a is not None
    assert b is not None
    assert a.values == pytest.approx(70.0 + 0.5 * np.arange(12))
    assert b.values == pytest.approx(10.0 * np.arange(12))


# ------------------------------------------------------------------------------ layout and numbers


def test_a_plain_file_has_no_dirt(written: Callable[[str | bytes], Path]) -> None:
    raw = read_trend_file(written(rows("Time,A,B")))
    check(raw)
    assert raw.dirt == ()
    assert (raw.time_column, raw.time_format) == ("Time", "%m/%d/%Y %H:%M")


@pytest.mark.parametrize("delimiter", [";", "\t", "|"])
def test_any_delimiter(written: Callable[[str | bytes], Path], delimiter: str) -> None:
    raw = read_trend_file(written(rows(f"Time{delimiter}A{delimiter}B", delimiter=delimiter)))
    check(raw)
    assert kinds(raw) == {"delimiter"}


def test_cells_parted_by_blanks(written: Callable[[str | bytes], Path]) -> None:
    text = rows("Time      A     B", form="%Y-%m-%dT%H:%M:%S", delimiter="   ")
    check(read_trend_file(written(text)))


def test_decimal_commas(written: Callable[[str | bytes], Path]) -> None:
    text = rows("Zeit;A;B", form="%d.%m.%Y %H:%M", delimiter=";").replace(".5", ",5").replace(".0;", ",0;")
    raw = read_trend_file(written(text))
    check(raw)
    assert "decimal_comma" in kinds(raw)


def test_decimal_commas_in_quotes_between_commas(written: Callable[[str | bytes], Path]) -> None:
    lines = rows("Time,A,B", row='{t}{d}"{a}"{d}{b}').splitlines()
    text = "\n".join([lines[0], *(line.replace(".5", ",5").replace(".0", ",0") for line in lines[1:])])
    check(read_trend_file(written(text)))


def test_thousands_are_no_decimal_commas(written: Callable[[str | bytes], Path]) -> None:
    raw = read_trend_file(written(rows("Time,A,B", row='{t}{d}"1,2{a}"{d}{b}')))
    a = raw.column("A")
    assert a is not None
    assert a.values[:2] == pytest.approx([1270.0, 1270.5])


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_a_byte_order_mark(written: Callable[[str | bytes], Path], encoding: str) -> None:
    raw = read_trend_file(written(rows("Time,A,B").encode(encoding)))
    check(raw)
    assert kinds(raw) & {"byte_order_mark", "encoding"}


def test_a_degree_sign_of_another_encoding(written: Callable[[str | bytes], Path]) -> None:
    raw = read_trend_file(written(rows("Time,A (°F),B").encode("cp1252")))
    check(raw, "A (°F)")


def test_line_ends_of_other_systems(written: Callable[[str | bytes], Path]) -> None:
    check(read_trend_file(written(rows("Time,A,B").replace("\n", "\r\n"))))
    check(read_trend_file(written(rows("Time,A,B").replace("\n", "\r"))))


def test_lines_before_the_header_and_several_header_lines(written: Callable[[str | bytes], Path]) -> None:
    head = "Hall trend log\nPrinted 07/15/2027,by the front end\n\nTime,Unit 2,Unit 2\n,A,B"
    raw = read_trend_file(written(rows(head)))
    check(raw)
    assert {"preamble"} <= kinds(raw)


def test_units_in_a_row_of_their_own(written: Callable[[str | bytes], Path]) -> None:
    raw = read_trend_file(written(rows("Time,A,B\n,degF,%")))
    check(raw)
    assert [column.unit for column in raw.columns] == ["degF", "%"]


def test_a_first_line_that_names_the_delimiter(written: Callable[[str | bytes], Path]) -> None:
    check(read_trend_file(written(rows("sep=;\nTime;A;B", delimiter=";"))))


def test_no_header(written: Callable[[str | bytes], Path]) -> None:
    raw = read_trend_file(written("\n".join(rows("x").splitlines()[1:])))
    check(raw, "column 2", "column 3")
    assert "no_header" in kinds(raw)


def test_a_header_with_one_name_too_few(written: Callable[[str | bytes], Path]) -> None:
    raw = read_trend_file(written(rows('"Time","A","B"', row='"7"{d}"{t}"{d}{a}{d}{b}')))
    check(raw)


def test_trailing_blanks_in_names_and_names_that_come_twice(written: Callable[[str | bytes], Path]) -> None:
    check(read_trend_file(written(rows("Time,A  , B "))))
    check(read_trend_file(written(rows("Time,A,A"))), "A", "A (2)")


def test_short_and_long_rows(written: Callable[[str | bytes], Path]) -> None:
    lines = rows("Time,A,B").splitlines()
    lines[4] = ",".join(lines[4].split(",")[:2])
    lines[6] += ",,stray"
    raw = read_trend_file(written("\n".join(lines)))
    b = raw.column("B")
    assert b is not None
    assert np.isnan(b.values[3])
    assert np.isfinite(b.values).sum() == 11


def test_a_footer_is_left_out(written: Callable[[str | bytes], Path]) -> None:
    raw = read_trend_file(written(rows("Time,A,B") + "\nEnd of report\nLegend: A is A,\n"))
    check(raw)
    assert "no_time" in kinds(raw)


def test_cells_that_hold_no_value(written: Callable[[str | bytes], Path]) -> None:
    lines = rows("Time,A,B").splitlines()
    for line, word in ((2, "#VALUE!"), (5, "---"), (7, "NaN"), (9, "bad")):
        cells = lines[line].split(",")
        lines[line] = ",".join([cells[0], word, cells[2]])
    raw = read_trend_file(written("\n".join(lines)))
    a = raw.column("A")
    assert a is not None
    assert np.flatnonzero(np.isnan(a.values)).tolist() == [1, 4, 6, 8]
    dirt = next(dirt for dirt in raw.dirt if dirt.kind == "bad_cells")
    assert "'#VALUE!'" in dirt.text


def test_numbers_that_stand_for_no_value(written: Callable[[str | bytes], Path]) -> None:
    lines = rows("Time,A,B").splitlines()
    lines[3] = lines[3].rsplit(",", 2)[0] + ",-9999,20"
    raw = read_trend_file(written("\n".join(lines)))
    a = raw.column("A")
    assert a is not None
    assert np.isnan(a.values[2])
    assert "sentinels" in kinds(raw)


def test_numbers_with_their_unit(written: Callable[[str | bytes], Path]) -> None:
    raw = read_trend_file(written(rows("Time,A,B", row="{t}{d}{a} °F{d}{b} %")))
    check(raw)
    assert [column.unit for column in raw.columns] == ["degF", "%"]


@pytest.mark.parametrize(
    ("yes", "no"), [("On", "Off"), ("TRUE", "FALSE"), ("Active", "Inactive"), ("open", "closed")]
)
def test_words_for_states(written: Callable[[str | bytes], Path], yes: str, no: str) -> None:
    lines = ["Time,A,Fan"]
    for k in range(12):
        lines.append(f"07/14/2027 10:{k:02d},{70 + k},{yes if k % 3 else no}")
    raw = read_trend_file(written("\n".join(lines)))
    fan = raw.column("Fan")
    assert fan is not None
    assert fan.values.tolist() == [float(bool(k % 3)) for k in range(12)]
    assert fan.words


# ------------------------------------------------------------------------------------------- times


@pytest.mark.parametrize(
    "form", [ "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S", "%d.%m.%Y %H:%M", "%d/%m/%Y %H:%M",
    "%m/%d/%y %H:%M", "%m/%d/%Y %I:%M %p", "%m/%d/%Y %I:%M:%S %p", "%d-%b-%Y %H:%M:%S",
    "%b %d %Y %H:%M", "%Y%m%d:%H%M", "%a %m/%d/%Y %H:%M", "%Y-%m-%d %H:%M:%S.%f",
    "%Y-%m-%d %H:%M:%S+00:00", "%Y-%m-%dT%H:%M:%SZ", "%Y-%m-%d %H:%M:%S CEST", ],
)  # fmt: skip
def test_times_in_many_writings(written: Callable[[str | bytes], Path], form: str) -> None:
    check(read_trend_file(written(rows("Time,A,B", form=form))))


def test_small_letters_and_points_for_twelve_hours(written: Callable[[str | bytes], Path]) -> None:
    text = rows("Time,A,B", form="%m/%d/%Y %I:%M %p")
    check(read_trend_file(written(text.replace("AM", "am").replace("PM", "pm"))))
    check(read_trend_file(written(text.replace("AM", "a.m.").replace("PM", "p.m."))))


def test_twelve_hours_around_noon_and_midnight(written: Callable[[str | bytes], Path]) -> None:
    lines = ["Time,A", "07/14/2027 11:59 AM,1", "07/14/2027 12:00 PM,2", "07/14/2027 12:01 PM,3"]
    raw = read_trend_file(written("\n".join(lines)))
    assert np.diff(raw.time).tolist() == [60.0, 60.0]


def test_day_and_month_are_told_apart_by_the_whole_file(written: Callable[[str | bytes], Path]) -> None:
    days = [f"{day:02d}/07/2027 {hour:02d}:00,{hour}" for day in range(1, 20) for hour in range(24)]
    raw = read_trend_file(written("\n".join(["Time,A", *days])))
    assert np.all(np.diff(raw.time) == 3600.0)
    first = [
        f"0{month}/0{day}/2027 {hour:02d}:00,{hour}"
        for month in (7,)
        for day in range(1, 9)
        for hour in range(24)
    ]
    raw = read_trend_file(written("\n".join(["Time,A", *first])))
    assert np.all(np.diff(raw.time) == 3600.0), "the reading in which time runs evenly counts"


def test_date_and_time_in_two_columns(written: Callable[[str | bytes], Path]) -> None:
    raw = read_trend_file(written(rows("Date,Time,A,B", form="%m/%d/%Y,%H:%M")))
    check(raw)
    assert "two_time_columns" in kinds(raw)


def test_the_calendar_spread_over_columns(written: Callable[[str | bytes], Path]) -> None:
    check(read_trend_file(written(rows("Year,Month,Day,Hour,Minute,A,B", form="%Y,%m,%d,%H,%M"))))


@pytest.mark.parametrize(
    ("scale", "shift"),
    [(1.0, 0.0), (1000.0, 0.0), (1.0 / 86400.0, 25569.0)],
    ids=["s", "ms", "spreadsheet days"],
)
def test_times_as_numbers(written: Callable[[str | bytes], Path], scale: float, shift: float) -> None:
    lines = ["Time,A,B"]
    for k in range(12):
        at = (SECONDS + 60.0 * k) * scale + shift
        lines.append(f"{at:.8f},{70 + 0.5 * k},{10 * k}" if shift else f"{at:.0f},{70 + 0.5 * k},{10 * k}")
    check(read_trend_file(written("\n".join(lines))))


def test_twenty_four_o_clock(written: Callable[[str | bytes], Path]) -> None:
    lines = ["Time,A", *(f"07/14/2027 {hour:02d}:00,{hour}" for hour in range(1, 25))]
    raw = read_trend_file(written("\n".join(lines)))
    assert len(raw.time) == 24
    assert np.all(np.diff(raw.time) == 3600.0)


def test_newest_first_and_out_of_order(written: Callable[[str | bytes], Path]) -> None:
    lines = rows("Time,A,B").splitlines()
    raw = read_trend_file(written("\n".join([lines[0], *lines[:0:-1]])))
    check(raw)
    assert kinds(raw) == {"reversed"}
    raw = read_trend_file(written("\n".join([lines[0], *lines[7:], *lines[1:7]])))
    check(raw)
    assert kinds(raw) == {"out_of_order"}


def test_repeated_rows_count_once(written: Callable[[str | bytes], Path]) -> None:
    lines = rows("Time,A,B").splitlines()
    raw = read_trend_file(written("\n".join([*lines[:5], lines[4], *lines[5:]])))
    check(raw)
    assert kinds(raw) == {"repeated_rows"}


def test_of_two_rows_with_one_time_the_later_counts(written: Callable[[str | bytes], Path]) -> None:
    lines = rows("Time,A,B").splitlines()
    other = lines[4].rsplit(",", 2)[0] + ",99.0,99"
    raw = read_trend_file(written("\n".join([*lines[:4], other, *lines[4:]])))
    check(raw)
    assert kinds(raw) == {"repeated_times"}


def test_gaps_are_said(written: Callable[[str | bytes], Path]) -> None:
    lines = rows("Time,A,B", count=400).splitlines()
    raw = read_trend_file(written("\n".join([*lines[:100], *lines[280:]])))
    gap = next(dirt for dirt in raw.dirt if dirt.kind == "gaps")
    assert gap.count == 1
    assert "3.0 h" in gap.text
    assert "2027-07-14 11:38" in gap.text


def _clock(first: datetime, minutes: list[int]) -> str:
    lines = ["Time,A"]
    lines += [
        f"{(first + timedelta(minutes=m)).strftime('%m/%d/%Y %H:%M')},{k}" for k, m in enumerate(minutes)
    ]
    return "\n".join(lines)


def test_the_clock_set_back_repeats_an_hour_and_time_runs_on(written: Callable[[str | bytes], Path]) -> None:
    first = datetime(2027, 11, 7, 0, 0)
    raw = read_trend_file(written(_clock(first, [*range(0, 120, 5), *range(60, 300, 5)])))
    assert np.all(np.diff(raw.time) == 300.0)
    assert "clock_change" in kinds(raw)
    assert len(raw.time) == 72, "no row is thrown away as a repetition"


def test_the_clock_set_on_leaves_no_gap(written: Callable[[str | bytes], Path]) -> None:
    first = datetime(2027, 3, 14, 0, 0)
    raw = read_trend_file(written(_clock(first, [*range(0, 120, 5), *range(180, 400, 5)])))
    assert np.all(np.diff(raw.time) == 300.0)
    assert "clock_change" in kinds(raw)


def test_an_hour_missing_on_another_day_is_a_gap(written: Callable[[str | bytes], Path]) -> None:
    first = datetime(2027, 6, 16, 0, 0)
    raw = read_trend_file(written(_clock(first, [*range(0, 120, 5), *range(180, 400, 5)])))
    assert np.diff(raw.time).max() == 3900.0
    assert kinds(raw) == {"gaps"}


# --------------------------------------------------------------------------------- other and refused


def test_parquet(tmp_path: Path) -> None:
    moments = [START.replace(tzinfo=None) + timedelta(minutes=k) for k in range(12)]
    frame = pl.DataFrame(
        {
            "Time": moments,
            "A": [70.0 + 0.5 * k for k in range(12)],
            "B": list(range(0, 120, 10)),
            "On": [True] * 12,
        }
    )
    frame.write_parquet(tmp_path / "log.parquet")
    raw = read_trend_file(tmp_path / "log.parquet")
    check(raw)
    on = raw.column("On")
    assert on is not None
    assert on.unit == "yes/no"


def test_what_the_mapping_file_says_about_time_counts(written: Callable[[str | bytes], Path]) -> None:
    text = rows("Time,A,B", form="%d/%m/%Y %H:%M").replace("14/07", "04/07")
    raw = read_trend_file(written(text), "Time", "%m/%d/%Y %H:%M")
    assert datetime.fromtimestamp(raw.time[0], UTC).month == 4
    raw = read_trend_file(written(rows("Time,A,B")), "Time", "%Y-%m-%d %H:%M")
    check(raw)
    assert "time_format" in kinds(raw), "a format that does not fit is found anew, and that is said"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        ("\n\n  \n", "empty"),
        ("only words here\nand here\n", "no rows of numbers"),
        (b"\x00\x01\x02\x03" * 50, "no text file"),
        ("A,B\n1,2\n3,4\n5,6\n", "no column of dates and times"),
        (b"PAR1 but nothing more", "cannot be read"),
    ],
)
def test_files_that_are_no_trends(
    written: Callable[[str | bytes], Path], text: str | bytes, message: str
) -> None:
    with pytest.raises(DataError, match=message):
        read_trend_file(written(text))


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_trend_file(tmp_path / "none.csv")
    with pytest.raises(InputError, match="folder"):
        read_trend_file(tmp_path)


def test_a_missing_extra_says_what_to_install(
    written: Callable[[str | bytes], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(rows("Time,A,B"))
    monkeypatch.setitem(sys.modules, "polars", None)
    with pytest.raises(InputError, match=r"wringout\[trends\]"):
        read_trend_file(path)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    values=st.lists(
        st.floats(-400.0, 400.0, allow_nan=False).map(lambda v: round(v, 2)), min_size=8, max_size=30
    ),
    delimiter=st.sampled_from([",", ";", "\t", "|"]),
    form=st.sampled_from(["%Y-%m-%d %H:%M:%S", "%d.%m.%Y %H:%M", "%m/%d/%Y %I:%M:%S %p", "%Y-%m-%dT%H:%M"]),
    comma=st.booleans(),
    mark=st.booleans(),
)
def test_what_was_written_is_what_is_read(
    tmp_path: Path, values: list[float], delimiter: str, form: str, comma: bool, mark: bool
) -> None:
    comma = comma and delimiter != ","
    lines = [delimiter.join(("When", "Zone temperature", "Other"))]
    for k, value in enumerate(values):
        number = f"{value:.2f}".replace(".", ",") if comma else f"{value:.2f}"
        moment = (START + timedelta(minutes=5 * k)).strftime(form)
        lines.append(delimiter.join((moment, number, f"{k % 3}")))
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8-sig" if mark else "utf-8")
    raw = read_trend_file(path)
    column = raw.column("Zone temperature")
    assert column is not None
    assert raw.time == pytest.approx(SECONDS + 300.0 * np.arange(len(values)))
    # numbers that makers write for "no value" may stand for that
    there = np.isfinite(column.values)
    assert column.values[there] == pytest.approx(np.array(values)[there])
    assert there.sum() >= len(values) - 1
