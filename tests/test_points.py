"""The catalogue of test points: those of the contract, for the units that have them, with their accuracy."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
import yaml

from sample_documents import HEADS, RECLAIM
from wringout.catalogue.points import (
    INSTRUMENTS,
    KINDS,
    POINTS,
    dimension_of,
    has_point,
    point,
    points_of,
    shown,
    sigma,
)
from wringout.documents.load import unit_from_text
from wringout.errors import InputError
from wringout.quantity import Dimension, parse, units_of

CONTRACT = Path(__file__).resolve().parent.parent.parent / "shared" / "contract" / "points.yaml"
CARES = {"moving_parts", "live_power", "live_control", "pressure", "hot", "height"}


@pytest.mark.parametrize("name", POINTS)
def test_an_entry_is_complete(name: str) -> None:
    entry = POINTS[name]
    assert entry.id == name
    assert entry.what
    assert entry.what[0].islower()
    assert entry.unit in units_of(entry.dimension)
    assert entry.low < entry.high
    assert 0.5 <= entry.minutes <= 60.0
    assert set(entry.care) <= CARES
    assert entry.only is None or entry.only in KINDS
    assert entry.by in INSTRUMENTS
    exact = entry.dimension in (Dimension.COUNT, Dimension.YES_NO) or name == "shown.setpoint_dew_point"
    assert (entry.accuracy > 0.0) != exact


@pytest.mark.skipif(not CONTRACT.is_file(), reason="no ../shared/contract beside this repository")
def test_the_points_are_those_of_the_contract() -> None:
    entries = yaml.safe_load(CONTRACT.read_text(encoding="utf-8"))["points"]
    assert list(entries) == list(POINTS)
    for name, theirs in entries.items():
        ours = POINTS[name]
        assert (ours.minutes, ours.by, ours.unit) == (theirs["minutes"], theirs["by"], theirs["unit"])
        assert (list(ours.care), ours.only) == (theirs.get("care", []), theirs.get("only"))
        accuracy = theirs.get("accuracy", 0)
        if isinstance(accuracy, str):
            assert ours.relative
            assert ours.accuracy == pytest.approx(float(accuracy.removesuffix("%")) / 100)
        else:
            spread = f"delta_{theirs['unit']}" if theirs["unit"] in ("degF", "degC") else theirs["unit"]
            dimension = (
                Dimension.TEMPERATURE_DIFFERENCE
                if ours.dimension is Dimension.TEMPERATURE
                else ours.dimension
            )
            known = 0.0 if spread == "yes/no" else parse(f"{accuracy} {spread}", dimension).value
            assert not ours.relative
            assert ours.accuracy == pytest.approx(known)


def test_a_unit_has_the_points_of_its_kind() -> None:
    reclaim = points_of(unit_from_text(RECLAIM))
    assert [name for name in reclaim if name.startswith("stage.")] == [
        f"stage.{stage}.{what}"
        for what in ("current", "superheat", "condensing_over_outdoor")
        for stage in ("a1", "a2")
    ]
    assert {"fan.speed", "reclaim.gas_in", "loop.flow"} <= set(reclaim)
    assert not {"chilled.stem", "chilled.water_in"} & set(reclaim)
    assert len(reclaim) == len(set(reclaim))
    gas = points_of(unit_from_text(HEADS["dx hot gas"]))
    assert not {"loop.flow", "source.water_in", "reclaim.gas_in", "fan.speed", "pump.head"} & set(gas)
    assert {"reheat.signal", "reheat.stem", "stage.c3.current"} <= set(gas)
    chilled = points_of(unit_from_text(HEADS["chilled boiler two-way"]))
    assert {"chilled.stem", "loop.flow"} <= set(chilled)
    assert not [name for name in chilled if name.startswith(("stage.", "reclaim."))]


@pytest.mark.parametrize("head", HEADS)
def test_the_points_of_a_unit_are_those_it_accepts(head: str) -> None:
    unit = unit_from_text(HEADS[head])
    mine = points_of(unit)
    for name in mine:
        has_point(unit, name)
    for name in POINTS:
        concrete = name.replace("<id>", "c1")
        if concrete not in mine:
            with pytest.raises(InputError, match="this unit has no"):
                has_point(unit, concrete)


@pytest.mark.parametrize(
    "name", ["", "supply", "stage.c1", "stage.C1.current", "stage.c1.current.x", "stage..current"]
)
def test_what_is_no_point_is_refused(name: str) -> None:
    with pytest.raises(InputError, match="there is no point"):
        point(name)


def test_a_stage_has_a_point_whatever_its_id() -> None:
    assert point("stage.rack-2_b.current") is POINTS["stage.<id>.current"]
    assert dimension_of("stage.x.superheat") is Dimension.TEMPERATURE_DIFFERENCE


@pytest.mark.parametrize(
    ("name", "value", "spread"),
    [
        ("supply.t", 20.0, 0.7 / 1.8),
        ("supply.rh", 0.5, 0.025),
        ("reheat.stem", 0.0, 0.07),
        ("supply.airflow", 4.0, 0.24),
        ("loop.flow", 1.5e-3, 7.5e-5),
        ("fan.current", 12.0, 0.36),
        ("filter.drop", 100.0, 0.03 * 249.08891),
        ("reheat.signal", 4.4, 0.05),
        ("pump.head", 10.0, 0.5),
        ("shown.stages_called", 2.0, 0.0),
        ("shown.dehumidifying", 1.0, 0.0),
    ],
)
def test_one_standard_deviation_in_si(name: str, value: float, spread: float) -> None:
    assert sigma(name, value) == pytest.approx(spread)


def test_nothing_is_known_better_than_its_rounding() -> None:
    """A pump that stands still shows 0.0 gpm: five percent of nothing would be certainty."""
    assert sigma("loop.flow", 0.0) == pytest.approx(0.1 * 6.30902e-5 / math.sqrt(12), rel=1e-5)
    assert sigma("shown.setpoint_dew_point", 10.0) == pytest.approx(0.1 / 1.8 / math.sqrt(12))
    assert math.isnan(sigma("loop.flow", math.nan))


def test_values_are_shown_in_the_units_of_the_point() -> None:
    assert shown("strainer.drop", 5515.8058, "ip") == "0.80 psi"
    assert shown("strainer.drop", 5515.8058, "si") == "5.52 kPa"
    assert shown("filter.drop", 112.0, "ip") == "0.45 inWC"
    assert shown("pump.head", 10.0, "ip") == "32.8 ft"
    assert shown("supply.t", 20.0, "si") == "20.0 degC"
