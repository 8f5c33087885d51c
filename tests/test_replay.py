"""The replay without a cause, against the machine in time run without it: its own days, known in truth."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from click.testing import CliRunner

from answered_once import once
from motion_cases import UNITS, unit
from motion_trends import DAY, START, loads_of, made
from trend_samples import with_values, without
from wringout.cli.main import group
from wringout.errors import InputError
from wringout.proof.replay import Replay, replay
from wringout.proof.replay_finding import replay_finding
from wringout.trends.finding import shower
from wringout.trends.table import TrendTable

KIND = "modulating reclaim"


@once
def days(causes: tuple[tuple[str, float], ...] = (), moisture: float = 1.0) -> TrendTable:
    return made(KIND, causes, 2.0, loads=loads_of(2.0, moisture))


@once
def ran(cause: str, there: bool = True, moisture: float = 1.0) -> Replay:
    table = days(((cause, 0.5),) if there else (), moisture)
    return replay(table, unit(KIND), cause, np.random.default_rng(0), 16, 160)


@pytest.mark.parametrize(("cause", "moisture"), [("compressor-out", 1.0), ("doors-open", 0.8)])
def test_it_follows_its_own_log_and_finds_the_days_without_the_cause(cause: str, moisture: float) -> None:
    found = ran(cause, True, moisture)
    assert found.apart < 0.6, "with the cause, the machines do what was logged"
    truth = days((), moisture)
    _, _, without_it = found.mean("shown.dew_point")
    dew = float(truth["shown.dew_point"].mean())
    assert without_it.low - 0.25 <= dew <= without_it.high + 0.25
    logged, _, _ = found.mean("shown.dew_point")
    assert logged - dew > 1.0, "the cause made a difference, or the test says nothing"
    command = float(truth["shown.reheat_command"].mean())
    assert found.mean("shown.reheat_command")[2].middle == pytest.approx(command, abs=0.1)


def test_hours_over_the_limit_go_away_with_the_cause() -> None:
    found = ran("compressor-out")
    logged, with_it, without_it = found.hours_over()
    assert logged > 40.0
    assert with_it.middle > 40.0
    assert without_it.high < 0.6 * logged
    assert without_it.low <= without_it.middle <= without_it.high


def test_a_cause_that_moves_no_moisture_keeps_no_room_dry() -> None:
    found = replay_finding(
        replay(
            days((("compressor-out", 0.5),)), unit(KIND), "supply-sensor-off", np.random.default_rng(0), 8, 80
        )
    )
    assert found.hours_over_low > 0.5 * found.hours_over
    assert "would have kept the room dry" not in found.means()


def test_as_a_finding_it_has_figures_words_and_a_picture() -> None:
    found = replay_finding(ran("compressor-out"))
    assert found.heading() == "Without compressor-out"
    assert not found.wrong
    for system in ("ip", "si"):
        text = found.says(shower(system))  # type: ignore[arg-type]
        assert text.endswith(".")
        assert "compressor-out" in text
        picture = found.draw(system)  # type: ignore[arg-type]
        assert picture.startswith("<svg")
        assert "without, 95 %" in picture
    document = found.as_document("si")
    assert set(document["figures"]) == set(found.figures())


def test_what_it_takes_is_said_where_it_is_missing() -> None:
    rng = np.random.default_rng(0)
    with pytest.raises(InputError, match=r"does not log outdoor\.t"):
        replay(without(days(), "outdoor.t"), unit(KIND), "compressor-out", rng)
    with pytest.raises(InputError, match="cannot have gremlins"):
        replay(days(), unit(KIND), "gremlins", rng)
    with pytest.raises(InputError, match=r"must log shown\.dew_point"):
        replay(without(days(), "shown.supply_t"), unit(KIND), "compressor-out", rng)
    swapped = with_values(days(), shown__dew_point=days()["shown.outdoor_dew_point"])
    with pytest.raises(InputError, match="is the outdoor one"):
        replay(swapped, unit(KIND), "compressor-out", rng)


# ----------------------------------------------------------------------------------------- the command


def written(folder: Path, table: TrendTable) -> list[str]:
    units = {"shown.reheat_command": '"%"', "shown.stages_called": "count"}
    moments = (pl.Series(table.time.astype(np.int64)) * 1_000_000).cast(pl.Datetime("us"))
    columns = {"Time": moments.dt.strftime("%Y-%m-%d %H:%M")}
    for name, values in table.values.items():
        columns[name] = pl.Series(100.0 * values if name == "shown.reheat_command" else values)
    pl.DataFrame(columns).write_csv(folder / "log.csv")
    lines = "\n".join(
        f'  "{name}": {{point: {name}, unit: {units.get(name, "degC")}}}' for name in table.values
    )
    (folder / "trend.yaml").write_text(
        "format: wringout-trend/1\nfile: log.csv\n"
        f'time: {{column: "Time", format: "%Y-%m-%d %H:%M"}}\ncolumns:\n{lines}\n'
    )
    (folder / "unit.yaml").write_text(UNITS[KIND])
    return ["trend", str(folder / "log.csv"), "--unit", str(folder / "unit.yaml"), "--without"]


def test_the_command_answers_first_what_was_asked(tmp_path: Path) -> None:
    asked = written(tmp_path, days((("compressor-out", 0.5),)))
    pictures = tmp_path / "pictures"
    result = CliRunner().invoke(group, [*asked, "compressor-out", "--json", "--pictures", str(pictures)])
    assert result.exit_code == 0, result.output
    first = json.loads(result.output)["findings"][0]
    assert first["kind"] == "without_cause"
    assert first["figures"]["hours_over"]["value"] > first["figures"]["hours_over_high"]["value"]
    assert Path(first["picture"]).read_text(encoding="utf-8").startswith("<svg")


@pytest.mark.parametrize(
    ("cause", "match"), [("boiler-low", "cannot have boiler-low"), ("compresor-out", "compressor-out")]
)
def test_a_cause_that_cannot_be_is_named(tmp_path: Path, cause: str, match: str) -> None:
    asked = written(tmp_path, days().between(START, START + 0.6 * DAY))
    result = CliRunner().invoke(group, [*asked, cause])
    assert isinstance(result.exception, InputError)
    assert match in str(result.exception)
    without_unit = CliRunner().invoke(group, [asked[0], asked[1], "--without", "pump-off"])
    assert "needs --unit" in str(without_unit.exception)
