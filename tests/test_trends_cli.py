"""``wringout trend``: findings first, readable on a phone, correctable, with pictures that need no colour."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from sample_documents import RECLAIM
from test_trends_columns import NAMINGS, as_raw
from trend_samples import Unit, hall, simulate
from wringout.catalogue.calls import load_trend
from wringout.cli.main import main
from wringout.trends.change_points import change_points, jump_statistic
from wringout.trends.findings import findings_of
from wringout.trends.pictures import picture_of
from wringout.trends.plot import DASHES, Line, Panel, plot
from wringout.trends.signals import moving_mean
from wringout.trends.table import Span, TrendTable

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def swinging() -> TrendTable:
    return simulate(1.5, 2, Unit(gain=2.5, integral=300.0))


def write(table: TrendTable, path: Path) -> Path:
    raw = as_raw(table, NAMINGS["long"], True, True)
    lines = [";".join(["Date/Time", *(column.name for column in raw.columns)])]
    for k, at in enumerate(raw.time):
        moment = str(np.datetime64(int(at), "s")).replace("T", " ")
        lines.append(";".join([moment, *(f"{column.values[k]:.6g}" for column in raw.columns)]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as stopped:
        main(["trend", *arguments])
    return int(stopped.value.code or 0)


def test_findings_come_first(
    swinging: TrendTable, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = write(swinging, tmp_path / "log.csv")
    assert run(str(log)) == 0
    out = capsys.readouterr().out
    assert out.index("1 Swinging control") < out.index("Worth knowing") < out.index("Columns, as guessed")
    assert out.index("Columns, as guessed") < out.index("In the file")
    assert "cells are parted by semicolons" in out


def test_a_healthy_trend_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(str(write(simulate(1.5, 2), tmp_path / "log.csv"))) == 0
    out = capsys.readouterr().out
    assert "Nothing is amiss that this trend could show." in out
    assert "It acts the way it should." in out


@pytest.mark.parametrize("columns", [32, 40, 80, 200])
def test_it_fits_a_phone_and_never_goes_over_eighty(
    swinging: TrendTable,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    columns: int,
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    log = write(swinging, tmp_path / "log.csv")
    assert run(str(log)) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(len(line) for line in lines) <= min(columns, 80)
    # no line of a finding ends between a number and its unit
    told = lines[: lines.index(next(line for line in lines if line.startswith("Columns")))]
    assert not [line for line in told if re.match(r"\s*(%|deg[FC])(\W|$)", line)]


def test_json(swinging: TrendTable, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = write(swinging, tmp_path / "log.csv")
    unit = tmp_path / "unit.yaml"
    unit.write_text(RECLAIM, encoding="utf-8")
    assert run(str(log), "--unit", str(unit), "--json", "--units", "si") == 0
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == "wringout-trend-findings/1"
    assert document["rows"] == len(swinging.time)
    first = document["findings"][0]
    assert first["kind"] == "swinging"
    assert first["wrong"] is True
    assert first["figures"]["period"]["unit"] == "s"
    assert first["figures"]["supply_amplitude"]["unit"] == "delta_degC"
    assert first["spans"][0]["from"].startswith("2027-07-08T")
    fields = {"column", "point", "unit", "confidence", "used", "because", "rival"}
    assert fields == set(document["columns"][0])
    assert {entry["kind"] for entry in document["dirt"]} == {"delimiter"}


def test_the_mapping_is_written_read_and_never_written_over(
    swinging: TrendTable, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = write(swinging, tmp_path / "log.csv")
    assert run(str(log), "--write-map") == 0
    mapping = tmp_path / "trend.yaml"
    assert {column.point for column in load_trend(mapping).columns} == set(swinging.values)
    assert "sure" in mapping.read_text(encoding="utf-8")
    capsys.readouterr()

    assert run(str(log)) == 0
    out = capsys.readouterr().out
    assert "trend.yaml says" in " ".join(out.split())
    assert "as guessed" not in out
    assert run(str(mapping)) == 0, "the mapping file names its trend"
    capsys.readouterr()

    text = mapping.read_text(encoding="utf-8").replace("shown.supply_t", "coil_leaving.t")
    mapping.write_text(text, encoding="utf-8")
    assert run(str(log), "--json") == 0
    points = {entry["point"] for entry in json.loads(capsys.readouterr().out)["columns"]}
    assert "coil_leaving.t" in points
    assert run(str(log), "--write-map") == 2
    assert "mapping file" in capsys.readouterr().err


def test_a_mapping_beside_that_belongs_to_another_log_is_said(
    swinging: TrendTable, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = write(swinging, tmp_path / "log.csv")
    (tmp_path / "trend.yaml").write_text(
        "format: wringout-trend/1\nfile: other.csv\ntime: {column: t, format: '%Y-%m-%d %H:%M'}\n"
        'columns:\n  "x": {point: shown.space_t, unit: degF}\n',
        encoding="utf-8",
    )
    assert run(str(log)) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "does not fit this file" in out
    assert "columns were guessed" in out
    assert run(str(log), "--map", str(tmp_path / "trend.yaml")) == 2, "one that was asked for must fit"


def test_a_log_s_own_mapping_goes_before_the_one_for_the_folder(
    swinging: TrendTable, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = write(swinging, tmp_path / "log.csv")
    assert run(str(log), "--write-map") == 0
    own = (tmp_path / "trend.yaml").read_text(encoding="utf-8").replace("shown.supply_t", "coil_leaving.t")
    (tmp_path / "log.trend.yaml").write_text(own, encoding="utf-8")
    capsys.readouterr()
    assert run(str(log), "--json") == 0
    document = json.loads(capsys.readouterr().out)
    assert document["notes"] == [f"Columns as {tmp_path / 'log.trend.yaml'} says."]
    assert "coil_leaving.t" in {entry["point"] for entry in document["columns"]}
    assert run(str(log), "--write-map") == 2
    assert "log.trend.yaml: a mapping file was followed already" in capsys.readouterr().err
    (tmp_path / "log.trend.yaml").write_text("format: wringout-trend/1\n", encoding="utf-8")
    assert run(str(log), "--json") == 0
    document = json.loads(capsys.readouterr().out)
    assert document["notes"] == [f"Columns as {tmp_path / 'trend.yaml'} says."], "the next one that fits"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        (
            "Time,CO2\n2027-01-01 00:00,400\n2027-01-01 00:01,401\n2027-01-01 00:02,402\n",
            "no column was recognised",
        ),
    ],
)
def test_what_is_theirs_to_mend(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, message: str
) -> None:
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    assert run(str(tmp_path / "log.csv")) == 2
    error = capsys.readouterr().err
    assert message in error
    assert "Traceback" not in error
    assert run(str(tmp_path / "none.csv")) == 2


# -------------------------------------------------------------------------------------- pictures


def test_pictures_are_written_one_a_finding(
    swinging: TrendTable, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = write(swinging, tmp_path / "log.csv")
    assert run(str(log), "--pictures", str(tmp_path / "pictures")) == 0
    files = sorted(path.name for path in (tmp_path / "pictures").iterdir())
    assert files == ["01-swinging.svg", "02-action.svg"]
    assert "01-swinging.svg" in "".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    "wrong",
    [
        {"gain": 2.5, "integral": 300.0},
        {"action": -1.0},
        {"dew_from_outdoor": "always"},
        {"heat": 0.2},
        {"locked_out": True},
    ],
)
def test_a_picture_can_be_read_without_colour_and_without_eyes(wrong: dict[str, float | str | bool]) -> None:
    table = simulate(2.0, 3, Unit(**wrong))  # type: ignore[arg-type]
    found = findings_of(table, hall())
    assert found
    for finding in found:
        text = picture_of(finding, table, "si")
        root = ET.fromstring(text)
        assert root.tag == f"{SVG}svg"
        title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
        assert title is not None
        assert title.text
        assert description is not None
        assert description.text
        colours = set(re.findall(r'(?:fill|stroke)="(#[0-9a-f]+)"', text))
        assert colours <= {"#000", "#fff", "#333"}
        assert not re.findall(r"https?://(?!www\.w3\.org/2000/svg)", text)
        assert "script" not in text
        assert len(text) < 120_000


def test_lines_of_one_panel_differ_by_dash_and_carry_their_names() -> None:
    time = np.arange(0.0, 7200.0, 60.0)
    lines = tuple(Line(f"line {k}", np.sin(time / 900.0 + k)) for k in range(4))
    text = plot(time, [Panel("degC", lines)], "Title & more", "What <it> shows", [Span(600.0, 1200.0)])
    root = ET.fromstring(text)
    paths = [p for p in root.iter(f"{SVG}path") if p.get("stroke-linejoin") == "round"]
    assert [p.get("stroke-dasharray") for p in paths] == [dash or None for dash in DASHES[:4]]
    words = [t.text for t in root.iter(f"{SVG}text")]
    assert {"line 0", "line 1", "line 2", "line 3", "Title & more", "degC"} <= set(words)
    assert any(r.get("fill") == "url(#h)" for r in root.iter(f"{SVG}rect"))


def test_missing_values_break_a_line() -> None:
    time = np.arange(0.0, 6000.0, 60.0)
    values = np.ones(100)
    values[40:60] = np.nan
    text = plot(time, [Panel("%", (Line("x", values),))], "t", "d")
    path = next(p for p in ET.fromstring(text).iter(f"{SVG}path") if p.get("stroke-linejoin") == "round")
    assert (path.get("d") or "").count("M") == 2


def test_long_trends_make_small_pictures_that_keep_peaks() -> None:
    time = 60.0 * np.arange(500_000.0)
    values = np.zeros(500_000)
    values[123_456] = 1.0
    text = plot(time, [Panel("%", (Line("x", values),))], "t", "d")
    assert len(text) < 30_000
    path = next(p for p in ET.fromstring(text).iter(f"{SVG}path") if p.get("stroke-linejoin") == "round")
    heights = {float(y) for y in re.findall(r"[ML][\d.]+ ([\d.]+)", path.get("d") or "")}
    assert len(heights) == 2, "the peak of one minute is still there"


# ------------------------------------------------------------------------ change points and means


@pytest.mark.parametrize("seed", range(5))
def test_planted_changes_are_found_within_two_blocks(seed: int) -> None:
    rng = np.random.default_rng(seed)
    planted = np.sort(rng.choice(np.arange(40, 960), 8, replace=False))
    while np.min(np.diff(planted)) < 30:
        planted = np.sort(rng.choice(np.arange(40, 960), 8, replace=False))
    levels = np.cumsum(rng.choice([-1.0, 1.0], 9) * rng.uniform(1.5, 3.0, 9))
    values = np.repeat(levels, np.diff([0, *planted, 1000])) + rng.normal(0.0, 0.4, 1000)
    found = change_points(values, 3.0 * 0.4**2 * np.log(1000.0))
    assert len(found) == 8
    assert np.max(np.abs(np.array(found) - planted)) <= 2


@pytest.mark.parametrize("seed", range(5))
def test_noise_has_no_change_points(seed: int) -> None:
    values = np.random.default_rng(seed).normal(0.0, 1.0, 1000)
    assert change_points(values, 3.0 * np.log(1000.0)) == []
    assert change_points(values[:3], 1.0) == []


def test_change_points_are_the_best_there_are() -> None:
    """Against every way to cut a short series."""
    rng = np.random.default_rng(3)
    values = np.repeat([0.0, 2.0, -1.0], [5, 4, 5]) + rng.normal(0.0, 0.3, 14)

    def cost(edges: list[int]) -> float:
        parts = [values[a:b] for a, b in zip([0, *edges], [*edges, 14], strict=True)]
        return sum(float(((p - p.mean()) ** 2).sum()) for p in parts) + 1.5 * len(edges)

    cuts = ([a for a in range(1, 14) if mask & 1 << a] for mask in range(0, 1 << 14, 2))
    allowed = (c for c in cuts if all(b - a >= 2 for a, b in zip([0, *c], [*c, 14], strict=True)))
    assert change_points(values, 1.5) == min(allowed, key=cost)


def test_too_many_blocks_are_refused() -> None:
    with pytest.raises(ValueError, match="3001 blocks"):
        change_points(np.zeros(3001), 1.0)


def test_the_jump_statistic_is_the_difference_of_two_means() -> None:
    values = np.random.default_rng(0).normal(0.0, 1.0, 50)
    jumps = jump_statistic(values, 6)
    assert jumps[20] == pytest.approx(values[20:26].mean() - values[14:20].mean())
    assert np.isnan(jumps[:6]).all()
    assert np.isnan(jumps[-5:]).all()


@pytest.mark.parametrize("length", [3, 10, 11, 50, 101])
@pytest.mark.parametrize("width", [2, 3, 9, 10, 51])
def test_the_moving_mean_is_the_mean_of_what_is_around(length: int, width: int) -> None:
    values = np.random.default_rng(length).normal(0.0, 1.0, length)
    half = max(width // 2, 1)
    expected = [values[max(k - half, 0) : k + half + 1].mean() for k in range(length)]
    assert moving_mean(values, width) == pytest.approx(expected)
