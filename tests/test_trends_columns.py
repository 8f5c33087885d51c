"""Columns are guessed to points by name, unit, range and behaviour, and every guess can be corrected."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sample_documents import RECLAIM
from trend_samples import Unit, simulate
from wringout.catalogue.calls import load_trend
from wringout.catalogue.trend_points import TREND_POINTS, measure_of, what_of
from wringout.documents.load import unit_from_text
from wringout.errors import InputError
from wringout.trends.guessing import guess_columns
from wringout.trends.mapping import USED_FROM, guesses_for, load_table, mapping_text, table_of
from wringout.trends.reading import read_trend_file
from wringout.trends.roles import ROLES, tags_of, unit_in_name
from wringout.trends.table import RawColumn, RawTable, TrendTable

FAHRENHEIT = {"shown.dew_point", "shown.outdoor_dew_point", "shown.space_t", "shown.supply_t", "outdoor.t"}
FAHRENHEIT |= {"mixed.t", "return.t", "coil_leaving.t"}

NAMINGS = {
    "long": {
        "shown.dew_point": "Space Dew Point",
        "shown.outdoor_dew_point": "Outdoor Dew Point",
        "shown.space_t": "Space Temperature",
        "shown.supply_t": "Supply Air Temperature",
        "shown.reheat_command": "Reheat Valve Command",
        "shown.stages_called": "Cooling Stages",
        "outdoor.t": "Outdoor Air Temperature",
        "return.t": "Return Air Temperature",
        "mixed.t": "Mixed Air Temperature",
        "coil_leaving.t": "Coil Leaving Temperature",
    },
    "short": {
        "shown.dew_point": "RmDewPt",
        "shown.outdoor_dew_point": "OA-DP",
        "shown.space_t": "RM-T",
        "shown.supply_t": "SAT",
        "shown.reheat_command": "HtgVlv",
        "shown.stages_called": "Clg Stg",
        "outdoor.t": "OAT",
        "return.t": "RAT",
        "mixed.t": "MAT",
        "coil_leaving.t": "CoilLvgT",
    },
    "other order": {
        "shown.dew_point": "dewpoint_zone",
        "shown.outdoor_dew_point": "dewpoint_outside",
        "shown.space_t": "temp_zone",
        "shown.supply_t": "temp_discharge",
        "shown.reheat_command": "out_reheat",
        "shown.stages_called": "stages_compressor",
        "outdoor.t": "temp_outside",
        "return.t": "temp_return",
        "mixed.t": "temp_mixed",
        "coil_leaving.t": "temp_coil_leaving",
    },
}


def as_raw(table: TrendTable, names: dict[str, str], fahrenheit: bool, percent: bool) -> RawTable:
    """The table as a file would hold it."""
    columns = []
    for point, values in table.values.items():
        shown = values * 1.8 + 32.0 if fahrenheit and point in FAHRENHEIT else values
        if point == "shown.reheat_command" and percent:
            shown = values * 100.0
        columns.append(RawColumn(names[point], shown))
    return RawTable("log.csv", table.time, tuple(columns), (), "Time", "%Y-%m-%d %H:%M")


@pytest.fixture(scope="module")
def table() -> TrendTable:
    return simulate(2.0, 4, Unit(), extra=True)


@pytest.mark.parametrize("naming", NAMINGS)
@pytest.mark.parametrize("fahrenheit", [True, False])
@pytest.mark.parametrize("percent", [True, False])
def test_names_that_speak_are_understood(
    table: TrendTable, naming: str, fahrenheit: bool, percent: bool
) -> None:
    raw = as_raw(table, NAMINGS[naming], fahrenheit, percent)
    guesses = {guess.column: guess for guess in guess_columns(raw)}
    for point, name in NAMINGS[naming].items():
        if point not in table:
            continue
        assert guesses[name].point == point, name
        assert guesses[name].confidence > 0.6
    read = table_of(raw, list(guesses.values()))
    for point in table.values:
        assert read[point] == pytest.approx(table[point], abs=1e-6), "the unit was found as well"


@pytest.mark.parametrize("seed", range(4, 10))
def test_numbers_for_names_are_told_apart_by_what_they_do(seed: int) -> None:
    """Dew points known as such, all else called by number and unit: what is sure enough to be used is right.

    Two temperatures a few kelvin apart may stay undecided between room, return and supply; then none is used.
    """
    trend = simulate(2.0, seed, Unit(), extra=True)
    names = {point: f"AI-{k + 11} (°F)" for k, point in enumerate(trend.values)}
    names |= {
        "shown.dew_point": "AI-11 DP",
        "shown.outdoor_dew_point": "AI-12 DP",
        "shown.reheat_command": "AO-1 %",
        "shown.stages_called": "BO-1 n",
    }
    kept = {p: v for p, v in trend.values.items() if p not in {"mixed.t", "return.t", "coil_leaving.t"}}
    raw = as_raw(TrendTable(trend.time, kept), names, True, True)
    points = {name: point for point, name in names.items()}
    used = {g.column: g.point for g in guess_columns(raw) if g.confidence >= USED_FROM}
    assert used == {column: points[column] for column in used}
    sure = {"shown.dew_point", "shown.outdoor_dew_point", "outdoor.t", "shown.reheat_command"}
    assert sure <= set(used.values())


def test_what_has_nothing_to_do_with_air_is_left_out(table: TrendTable) -> None:
    names = dict(NAMINGS["long"])
    raw = as_raw(table, names, True, True)
    rng = np.random.default_rng(0)
    strange = tuple(
        RawColumn(name, rng.normal(mean, spread, len(table.time)))
        for name, mean, spread in (
            ("CO2 (ppm)", 700.0, 60.0),
            ("Lux", 300.0, 90.0),
            ("Energy price", 0.1, 0.01),
        )
    )
    raw = RawTable(raw.name, raw.time, (*raw.columns, *strange), (), "Time", "%Y-%m-%d %H:%M")
    assert {g.column for g in guess_columns(raw)} <= set(names.values())


@pytest.mark.parametrize("lacks", ["shown.reheat_command", "outdoor.t"])
def test_a_point_that_the_unit_lacks_is_not_proposed(table: TrendTable, lacks: str) -> None:
    raw = as_raw(table, NAMINGS["long"], True, True)
    assert lacks not in {guess.point for guess in guess_columns(raw, [lacks])}


def test_every_point_is_given_once_and_confidence_is_a_share(table: TrendTable) -> None:
    guesses = guess_columns(as_raw(table, NAMINGS["short"], True, True))
    assert len({guess.point for guess in guesses}) == len(guesses)
    assert all(0.0 < guess.confidence < 1.0 for guess in guesses)
    assert all(guess.because for guess in guesses)


def test_a_table_without_columns_gives_no_guess() -> None:
    assert guess_columns(RawTable("x", np.arange(3.0), (), (), "Time", "%H:%M")) == ()


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("Zone Temp (°F)", "degF"),
        ("SA-T [degC]", "degC"),
        ("SupplyAirTemp_F", "degF"),
        ("Reheat (%)", "%"),
        ("YV-201 %", "%"),
        ("Block C", None),
        ("Supply flow, cfm", "cfm"),
        ("Room temperature", None),
    ],
)
def test_units_in_names(name: str, unit: str | None) -> None:
    assert unit_in_name(name) == unit


@pytest.mark.parametrize(
    ("name", "tags"),
    [
        ("SpaceDewPoint", {"space", "dew_point"}),
        ("oadew", {"outdoor", "dew_point"}),
        ("AHU: Cooling Coil Valve Control Signal", {"cooling", "coil", "output"}),
        ("Discharge Air Temp", {"supply", "temperature"}),
        ("Raumtemperatur Sollwert", {"space", "temperature", "setpoint"}),
    ],
)
def test_what_names_speak_of(name: str, tags: set[str]) -> None:
    assert tags <= tags_of(name)


def test_roles_are_points_of_the_catalogue() -> None:
    for role in ROLES.values():
        assert measure_of(role.point).dimension is role.dimension
        assert what_of(role.point)
    assert set(TREND_POINTS) <= set(ROLES)


# --------------------------------------------------------------------------------- mapping files


def csv_of(table: TrendTable, names: dict[str, str], path: Path) -> None:
    raw = as_raw(table, names, True, True)
    lines = [",".join(["Time", *(column.name for column in raw.columns)])]
    for k, at in enumerate(raw.time[:900]):
        moment = str(np.datetime64(int(at), "s")).replace("T", " ")[:16]
        lines.append(",".join([moment, *(f"{column.values[k]:.6g}" for column in raw.columns)]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_a_written_mapping_reads_the_same_trend(table: TrendTable, tmp_path: Path) -> None:
    csv_of(table, NAMINGS["long"], tmp_path / "log.csv")
    guessed, raw, guesses = load_table(tmp_path / "log.csv")
    assert guesses is not None
    (tmp_path / "trend.yaml").write_text(mapping_text(raw, guesses), encoding="utf-8")
    told = load_trend(tmp_path / "trend.yaml")
    assert told.file == tmp_path / "log.csv"
    assert {c.point for c in told.columns} == {g.point for g in guesses if g.confidence >= USED_FROM}
    read, _, none = load_table(None, tmp_path / "trend.yaml")
    assert none is None
    assert read.values.keys() == guessed.values.keys()
    for point in read.values:
        assert read[point] == pytest.approx(guessed[point], nan_ok=True)


def test_a_mapping_corrects_a_guess(table: TrendTable, tmp_path: Path) -> None:
    csv_of(table, NAMINGS["long"], tmp_path / "log.csv")
    (tmp_path / "trend.yaml").write_text(
        "format: wringout-trend/1\nfile: log.csv\ntime: {column: Time, format: '%Y-%m-%d %H:%M'}\n"
        'columns:\n  "Return Air Temperature": {point: shown.space_t, unit: degF}\n'
        '  "Reheat Valve Command": {point: cooling.command, unit: "%"}\n',
        encoding="utf-8",
    )
    read, _, _ = load_table(None, tmp_path / "trend.yaml")
    assert set(read.values) == {"shown.space_t", "cooling.command"}
    assert read.columns["shown.space_t"] == "Return Air Temperature"
    assert read["shown.space_t"] == pytest.approx(table["return.t"][:900], abs=1e-3)


def test_a_mapping_that_names_a_column_the_file_lacks(table: TrendTable, tmp_path: Path) -> None:
    csv_of(table, NAMINGS["long"], tmp_path / "log.csv")
    (tmp_path / "trend.yaml").write_text(
        "format: wringout-trend/1\nfile: log.csv\ntime: {column: Time, format: '%Y-%m-%d %H:%M'}\n"
        'columns:\n  "Zone T": {point: shown.space_t, unit: degF}\n',
        encoding="utf-8",
    )
    with pytest.raises(InputError, match='no column "Zone T" of numbers; it has "Space Dew Point"'):
        load_table(None, tmp_path / "trend.yaml")


def test_values_that_a_point_cannot_have_are_left_out_and_said(table: TrendTable, tmp_path: Path) -> None:
    csv_of(table, NAMINGS["long"], tmp_path / "log.csv")
    text = (tmp_path / "log.csv").read_text(encoding="utf-8").splitlines()
    cells = text[10].split(",")
    cells[text[0].split(",").index("Space Temperature")] = "812.0"
    text[10] = ",".join(cells)
    (tmp_path / "log.csv").write_text("\n".join(text), encoding="utf-8")
    read, _, _ = load_table(tmp_path / "log.csv")
    assert np.isnan(read["shown.space_t"][9])
    assert "out_of_range" in {dirt.kind for dirt in read.dirt}


def test_a_unit_document_helps_to_guess(table: TrendTable, tmp_path: Path) -> None:
    csv_of(table, NAMINGS["long"], tmp_path / "log.csv")
    raw = read_trend_file(tmp_path / "log.csv")
    unit = unit_from_text(RECLAIM)
    points = {guess.point for guess in guesses_for(raw, unit)}
    assert "shown.space_t" in points
    assert not points & {"chilled.water_in", "chilled.water_out"}, "a dx unit has no chilled water"
