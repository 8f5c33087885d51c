"""The numbers that a trend gives to weighing move when what they stand for moves, and only then."""

from __future__ import annotations

import dataclasses
import math
from functools import cache

import numpy as np
import pytest

from trend_samples import SPACE_T, START, Unit, hall, simulate, with_values, without
from wringout.trends.evidence import TrendEvidence, trend_evidence
from wringout.trends.table import DAY, HOUR, TrendTable

Wrong = float | str | bool


@cache
def evidence(**wrong: Wrong) -> TrendEvidence:
    return trend_evidence(simulate(2.0, 6, Unit(**wrong)), hall())  # type: ignore[arg-type]


def test_a_healthy_trend_in_numbers() -> None:
    e = evidence()
    assert e.hours == pytest.approx(48.0, abs=0.1)
    assert e.share_on == 1.0
    assert e.gain == pytest.approx(18.0, rel=0.15)
    assert e.gain_t > 20.0
    assert e.swing_command < 0.06
    assert e.follows_on == 0.0
    assert math.isnan(e.follows_off)
    assert e.over_set_point == 0.0
    assert abs(e.space_error) < 0.3
    assert e.command_low == e.command_high == 0.0
    assert math.isnan(e.cold_at_full)
    assert 1.0 < e.stages_mean < 2.0


@pytest.mark.parametrize(
    ("wrong", "number", "low", "high"),
    [
        ({"gain": 2.5, "integral": 300.0}, "swing_command", 0.25, 0.6),
        ({"gain": 2.5, "integral": 300.0}, "swing_period", 400.0, 1200.0),
        ({"action": -1.0}, "gain_t", -1e6, -8.0),
        ({"stuck_at": 0.55}, "gain_t", -4.0, 4.0),
        ({"dew_from_outdoor": "always"}, "follows_on", 0.95, 1.0),
        ({"dew_from_outdoor": "while_off", "night_load": -0.5, "moisture": 0.8}, "follows_off", 0.85, 1.0),
        ({"locked_out": True}, "over_set_point", 0.9, 1.0),
        ({"locked_out": True}, "share_on", 0.0, 0.01),
        ({"heat": 0.2}, "command_high", 0.7, 1.0),
        ({"heat": 0.2}, "cold_at_full", -4.0, 1.0),
        ({"stuck_at": 1.0}, "command_low", 0.7, 1.0),
        ({"moisture": 4.0}, "excess", 1.6, 10.0),
        ({"moisture": 1.2, "night_load": 0.8}, "starts_per_hour", 0.3, 1.5),
    ],
)
def test_what_a_cause_moves(
    wrong: dict[str, float | str | bool], number: str, low: float, high: float
) -> None:
    assert low <= getattr(evidence(**wrong), number) <= high
    healthy = getattr(evidence(), number)
    assert not low <= healthy <= high


def test_moments_are_settled_apart_and_different() -> None:
    table = simulate(2.0, 6)
    e = trend_evidence(table, hall())
    assert 4 <= len(e.moments) <= 6
    times = [moment.at for moment in e.moments]
    assert times == sorted(times)
    assert min(np.diff(times)) >= HOUR - 60.0
    outdoor = [moment.values["outdoor.t"] for moment in e.moments]
    assert max(outdoor) - min(outdoor) > 0.6 * np.ptp(table["outdoor.t"])
    for moment in e.moments:
        part = (table.time >= moment.at - 5 * 60.0) & (table.time <= moment.at + 5 * 60.0)
        assert np.ptp(table["shown.stages_called"][part]) == 0.0
        assert np.ptp(table["shown.reheat_command"][part]) <= 0.06
        assert moment.values["shown.supply_t"] == pytest.approx(
            table["shown.supply_t"][part].mean(), abs=0.15
        )
        assert moment.spread["shown.supply_t"] < 0.5
        assert moment.dehumidifying
        assert moment.values.keys() == table.values.keys()


def test_only_the_last_two_days_count() -> None:
    wild, calm = simulate(2.0, 6, Unit(gain=2.5, integral=300.0)), simulate(2.0, 7)
    both = TrendTable(
        np.concatenate([wild.time, calm.time + 2.0 * DAY]),
        {point: np.concatenate([wild[point], calm[point]]) for point in calm.values},
    )
    e = trend_evidence(both, hall())
    assert e.hours == pytest.approx(48.0, abs=0.1)
    assert e.swing_command < 0.06


@pytest.mark.parametrize(
    "point",
    ["shown.dew_point", "shown.outdoor_dew_point", "shown.supply_t", "shown.reheat_command", "outdoor.t"],
)
def test_a_trend_that_lacks_a_point_says_so_with_nan(point: str) -> None:
    e = trend_evidence(without(simulate(2.0, 6), point), hall())
    numbers = [getattr(e, f.name) for f in dataclasses.fields(e) if f.name != "moments"]
    assert any(math.isnan(n) for n in numbers)
    assert all(point not in moment.values for moment in e.moments)


def test_empty_cells_and_short_trends_break_nothing() -> None:
    table = simulate(1.0, 6)
    rng = np.random.default_rng(1)
    holes = {p: np.where(rng.random(len(v)) < 0.2, np.nan, v) for p, v in table.values.items()}
    e = trend_evidence(TrendTable(table.time, holes), hall())
    assert e.gain == pytest.approx(18.0, rel=0.3)
    for rows in (0, 1, 20, 50):
        short = TrendTable(table.time[:rows], {p: v[:rows] for p, v in table.values.items()})
        assert isinstance(trend_evidence(short, hall()), TrendEvidence)


def test_the_room_s_error_is_against_the_document() -> None:
    table = simulate(2.0, 6)
    warm = with_values(table, shown__space_t=np.full(len(table.time), SPACE_T + 1.5))
    assert trend_evidence(warm, hall()).space_error == pytest.approx(1.5)
    assert table.time[0] == START
