"""A recording only grows, survives what happens on site, and is a trend file like any other."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from wringout.capture.recording import (
    TIME_FORMAT,
    Recording,
    append,
    append_cells,
    begin,
    follow,
    go_on,
    mapping_path,
    read,
    time_heading,
)
from wringout.catalogue.calls import load_trend
from wringout.errors import InputError
from wringout.trends.mapping import load_table

START = 1_815_004_800.0  # 2027-07-08 00:00 by the clock of the place
COLUMNS = ("Space temp (degF)", "Reheat out (%)", "Stages on", "Stray, unnamed")
POINTS = {"shown.space_t": 23.25, "shown.reheat_command": 0.42, "shown.stages_called": 2.0}


def mapping(file: str = "live.csv", offset: float = -18000.0) -> str:
    return f"""\
format: wringout-trend/1
file: {file}
time: {{column: "{time_heading(offset)}", format: "{TIME_FORMAT}"}}
columns:
  "Space temp (degF)": {{point: shown.space_t, unit: degF}}
  "Reheat out (%)": {{point: shown.reheat_command, unit: "%"}}
  "Stages on": {{point: shown.stages_called, unit: count}}
"""


def begun(folder: Path, offset: float = -18000.0) -> Recording:
    return begin(folder / "live.csv", COLUMNS, mapping(offset=offset), offset)


def test_what_is_put_in_comes_out_in_si(tmp_path: Path) -> None:
    with begun(tmp_path) as recording:
        assert append(recording, START, POINTS)
        assert append(recording, START + 10.0, {"shown.space_t": float("nan"), "shown.stages_called": 1.0})
    time, values = read(recording.path)
    assert time.tolist() == [START, START + 10.0]
    np.testing.assert_allclose(values["shown.space_t"], [23.25, np.nan], rtol=1e-6)
    np.testing.assert_allclose(values["shown.reheat_command"], [0.42, np.nan])
    np.testing.assert_allclose(values["shown.stages_called"], [2.0, 1.0])


def test_the_file_holds_the_units_of_the_controller(tmp_path: Path) -> None:
    with begun(tmp_path) as recording:
        append(recording, START, POINTS)
        append_cells(recording, START + 10.0, {"Space temp (degF)": 74.5, "Stray, unnamed": 9.0})
    lines = recording.path.read_text(encoding="utf-8").splitlines()
    assert lines[0] == 'time (UTC-05:00),Space temp (degF),Reheat out (%),Stages on,"Stray, unnamed"'
    assert lines[1:] == ["2027-07-08 00:00:00,73.85,42,2,", "2027-07-08 00:00:10,74.5,,,9"]


def test_it_is_a_trend_file_like_any_other(tmp_path: Path) -> None:
    with begun(tmp_path) as recording:
        for k in range(40):
            append(recording, START + 60.0 * k, {**POINTS, "shown.space_t": 20.0 + 0.1 * k})
    table, _, guesses = load_table(None, mapping_path(recording.path))
    time, values = read(recording.path)
    assert guesses is None
    assert table.time.tolist() == time.tolist()
    assert set(table.values) == set(values)
    for point, series in values.items():
        np.testing.assert_allclose(table[point], series, rtol=1e-12)


def test_what_has_come_since_is_read_from_the_end(tmp_path: Path) -> None:
    with begun(tmp_path) as recording:
        pass
    with recording.path.open("a", encoding="utf-8") as stream:  # longer than what is looked at first
        moments = (datetime.fromtimestamp(START + k, UTC).strftime(TIME_FORMAT) for k in range(4000))
        stream.writelines(f"{moment},70,50,1,\n" for moment in moments)
    with go_on(recording.path) as recording:
        recording.write(START + 4000, ["80.6", "", "", ""])
    assert recording.path.stat().st_size > 2 * 65_536 / 1.2
    (late,) = follow(recording.path, START + 3999)
    assert late[0] == START + 4000
    assert late[1] == {"shown.space_t": pytest.approx(27.0)}
    assert len(follow(recording.path, START + 10)) == 3990
    assert len(follow(recording.path, 0.0)) == 4001
    assert follow(recording.path, START + 4000) == []


@pytest.mark.parametrize("cut", [1, 5, 14, 28])
def test_a_line_cut_at_the_end_is_no_value_and_is_taken_off(tmp_path: Path, cut: int) -> None:
    with begun(tmp_path) as recording:
        append(recording, START, POINTS)
        append(recording, START + 10.0, {**POINTS, "shown.space_t": 25.0})
    path = recording.path
    os.truncate(path, path.stat().st_size - cut)
    assert read(path)[0].tolist() == [START]
    with go_on(path) as again:
        assert again.last == START
        append(again, START + 20.0, POINTS)
    time, values = read(path)
    assert time.tolist() == [START, START + 20.0]
    np.testing.assert_allclose(values["shown.space_t"], 23.25, rtol=1e-6)


def test_no_time_stands_there_twice(tmp_path: Path) -> None:
    with begun(tmp_path) as recording:
        assert append(recording, START + 5.9, POINTS)
        assert not append(recording, START + 5.2, POINTS)
        assert not append(recording, START - 3600.0, POINTS)  # the machine's clock was set back
    with go_on(recording.path) as again:
        assert not append(again, START + 5.0, POINTS)
        assert append(again, START + 6.0, POINTS)
    assert read(recording.path)[0].tolist() == [START + 5.0, START + 6.0]


def test_a_recording_goes_on_by_the_clock_it_was_begun_with(tmp_path: Path) -> None:
    with begun(tmp_path, offset=5.5 * 3600.0):
        pass
    with go_on(tmp_path / "live.csv") as recording:
        assert recording.offset == 5.5 * 3600.0
        assert recording.now(1000.0) == 1000.0 + 5.5 * 3600.0
        assert recording.last is None
    assert time_heading(-12600.0) == "time (UTC-03:30)"


def test_two_cannot_write_at_once(tmp_path: Path) -> None:
    with begun(tmp_path) as recording:
        code = f"from wringout.capture.recording import go_on; go_on({str(recording.path)!r})"
        other = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert other.returncode != 0
    assert "is being recorded on by another process" in other.stderr
    go_on(recording.path).close()


def test_a_mapping_that_a_person_has_written_is_left(tmp_path: Path) -> None:
    own = mapping().replace("shown.space_t", "return.t")
    (tmp_path / "live.yaml").write_text(own, encoding="utf-8")
    with begun(tmp_path) as recording:
        assert set(recording.mapping) == {"return.t", "shown.reheat_command", "shown.stages_called"}
        (tmp_path / "live.yaml").write_text(mapping(), encoding="utf-8")
        recording.follow_mapping()
        assert "shown.space_t" in recording.mapping
    assert {c.point for c in load_trend(tmp_path / "live.yaml").columns} == set(POINTS)


def test_what_is_no_recording_is_refused(tmp_path: Path) -> None:
    with begun(tmp_path) as recording, pytest.raises(InputError, match=r"no column for return\.t"):
        append(recording, START, {"return.t": 20.0})
    with pytest.raises(InputError, match="is there already"):
        begun(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        read(tmp_path / "none.csv")
    (tmp_path / "log.csv").write_text("Date/Time,x\n2027-07-08 00:00,1\n", encoding="utf-8")
    with pytest.raises(InputError, match="is no recording"):
        go_on(tmp_path / "log.csv")
    with pytest.raises(InputError, match="cannot be written"):
        begin(tmp_path / "no" / "live.csv", COLUMNS, mapping())
    (tmp_path / "live.yaml").write_text(mapping().replace("Stages on", "Stages"), encoding="utf-8")
    with pytest.raises(InputError, match=r'live\.csv has no column "Stages"'):
        read(tmp_path / "live.csv")
