"""Coils and dampers against their commands: on data with a known answer, and on data without it."""

from __future__ import annotations

import numpy as np
import pytest

from trend_samples import SATISFIED_AT_NIGHT, START, trend, with_values
from wringout.trends.coils import CoilAgainstCommand, coil_findings, fighting_findings
from wringout.trends.dampers import damper_findings
from wringout.trends.table import HOUR, TrendTable

MINUTE = 60.0


def _what(findings: list[CoilAgainstCommand]) -> set[tuple[str, bool]]:
    return {(found.what, found.fights) for found in findings}


def test_reheat_that_adds_nothing_is_seen_between_the_coils() -> None:
    found = coil_findings(trend(heat=0.2, extra=True))
    assert _what(found) == {("heat_missing", False)}
    assert found[0].rise == pytest.approx(1.2, abs=0.3)  # the fan's heat and next to nothing


def test_reheat_that_adds_nothing_is_seen_by_the_dew_point_alone() -> None:
    assert _what(coil_findings(trend(heat=0.2))) == {("heat_missing", False)}


def test_heat_that_nobody_calls_for() -> None:
    found = coil_findings(trend(leak=0.9, extra=True, **SATISFIED_AT_NIGHT))
    assert _what(found) == {("heat_uncommanded", False)}
    assert found[0].rise == pytest.approx(1.0 + 0.9 * 18.0, abs=0.5)


def test_cooling_that_nobody_calls_for() -> None:
    found = coil_findings(trend(cool_stuck_on=True, extra=True, **SATISFIED_AT_NIGHT))
    assert {what for what, _ in _what(found)} == {"cold_uncommanded"}


@pytest.mark.parametrize("extra", [False, True])
@pytest.mark.parametrize(
    "wrong", [{}, SATISFIED_AT_NIGHT, {"moisture": 2.0}, {"gain": 2.5, "integral": 300.0}]
)
def test_coils_that_do_as_told_are_not_named(extra: bool, wrong: dict[str, float]) -> None:
    assert coil_findings(trend(extra=extra, **wrong)) == []


def _air_handler(heating: float, cooling: float, rise: float) -> TrendTable:
    """Eight hours of an ordinary air handler at set commands, mixed air 20 degC."""
    minutes = np.arange(480.0)
    noise = np.random.default_rng(2).normal(0.0, 0.1, (2, 480))
    return TrendTable(
        START + MINUTE * minutes,
        {
            "shown.reheat_command": np.full(480, heating),
            "cooling.command": np.full(480, cooling),
            "mixed.t": 20.0 + noise[0],
            "shown.supply_t": 20.0 + rise + noise[1],
        },
    )


@pytest.mark.parametrize(
    ("heating", "cooling", "rise", "expected"),
    [
        (0.0, 0.0, 1.0, set()),
        (0.0, 0.0, 6.0, {("heat_uncommanded", False)}),
        (0.0, 0.0, -6.0, {("cold_uncommanded", False)}),
        (1.0, 0.0, 15.0, set()),
        (1.0, 0.0, 0.6, {("heat_missing", False)}),
        (1.0, 0.0, -13.0, {("cold_uncommanded", True)}),
        (0.0, 1.0, -9.0, set()),
        (0.0, 1.0, -0.5, {("cold_missing", False)}),
        (0.0, 1.0, 9.0, {("heat_uncommanded", True)}),
        (0.4, 0.0, 4.0, set()),
        (0.0, 0.5, -4.0, set()),
    ],
)
def test_what_the_air_says_about_coils(
    heating: float, cooling: float, rise: float, expected: set[tuple[str, bool]]
) -> None:
    assert _what(coil_findings(_air_handler(heating, cooling, rise))) == expected


def test_heating_and_cooling_commanded_together_fight_in_an_air_handler() -> None:
    (found,) = fighting_findings(_air_handler(0.5, 0.6, 2.0))
    assert found.hours == pytest.approx(8.0 * HOUR)
    assert found.heating == pytest.approx(0.5)
    assert fighting_findings(_air_handler(0.5, 0.0, 2.0)) == []


def test_heating_and_cooling_together_is_how_a_unit_dries() -> None:
    assert fighting_findings(trend()) == []
    table = trend()
    off = np.zeros(len(table.time))
    (found,) = fighting_findings(with_values(table, shown__dehumidifying=off))
    assert found.share > 0.9, "but not while it is not dehumidifying"


@pytest.mark.parametrize(
    ("command", "share", "named"),
    [
        (0.0, 0.03, False),
        (0.0, 0.4, True),
        (1.0, 0.97, False),
        (1.0, 0.2, True),
        (0.8, 0.05, True),
        (0.4, 0.3, False),
    ],
)
def test_outdoor_air_against_its_damper(command: float, share: float, named: bool) -> None:
    minutes = np.arange(480.0)
    noise = np.random.default_rng(2).normal(0.0, 0.1, (3, 480))
    table = TrendTable(
        START + MINUTE * minutes,
        {
            "outdoor.damper": np.full(480, command),
            "return.t": 22.0 + noise[0],
            "outdoor.t": 32.0 + noise[1],
            "mixed.t": 22.0 + 10.0 * share + noise[2],
        },
    )
    found = damper_findings(table)
    assert bool(found) is named
    if named:
        assert found[0].share == pytest.approx(share, abs=0.02)


def test_without_a_difference_to_outdoors_nothing_is_said_about_the_damper() -> None:
    minutes = np.arange(480.0)
    values = {
        "outdoor.damper": np.zeros(480),
        "return.t": np.full(480, 22.0),
        "outdoor.t": np.full(480, 24.0),
    }
    assert (
        damper_findings(TrendTable(START + MINUTE * minutes, {**values, "mixed.t": np.full(480, 23.5)})) == []
    )
