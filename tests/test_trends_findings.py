"""Each finding on data with a known answer, and on data without it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from trend_samples import DAY, SATISFIED_AT_NIGHT, START, Unit, hall, simulate, trend, with_values, without
from wringout.trends.action import Action, action_findings
from wringout.trends.changes import Changed, changed_findings
from wringout.trends.finding import Finding, shower
from wringout.trends.findings import findings_of
from wringout.trends.following import following_findings
from wringout.trends.identification import identify
from wringout.trends.moisture import too_wet_findings
from wringout.trends.sensors import (
    against_physics_findings,
    coarse_findings,
    drifting_findings,
    stuck_findings,
)
from wringout.trends.swinging import short_cycling_findings, swinging_findings
from wringout.trends.table import HOUR, TrendTable

MINUTE = 60.0


def only(findings: list, kind: type[Finding]) -> Finding:
    (found,) = findings
    assert isinstance(found, kind)
    return found


# ------------------------------------------------------------------------------- what an output does


@pytest.mark.parametrize("heat", [6.0, 18.0])
def test_the_gain_of_the_reheat_output_is_found_from_everyday_running(heat: float) -> None:
    found = only(action_findings(trend(heat=heat)), Action)
    assert isinstance(found, Action)
    assert found.verdict == "as_meant"
    assert not found.wrong
    assert found.gain == pytest.approx(heat, rel=0.15)
    assert found.sigma < 0.1 * heat
    # valve 90 s, coil 100 s, pipe 80 s, sensor 40 s
    assert 60.0 <= found.time_constant + found.dead_time <= 480.0


def test_an_output_that_acts_the_wrong_way_round() -> None:
    found = only(action_findings(trend(action=-1.0)), Action)
    assert isinstance(found, Action)
    assert found.verdict == "reversed"
    assert found.wrong
    assert found.gain == pytest.approx(-18.0, rel=0.2)
    assert found.t_value < -8.0


def test_an_output_that_moves_nothing() -> None:
    found = only(action_findings(trend(stuck_at=0.55)), Action)
    assert isinstance(found, Action)
    assert found.verdict == "nothing"
    assert found.wrong


def test_a_command_that_stands_still_tells_nothing() -> None:
    table = trend()
    still = with_values(table, shown__reheat_command=np.full(len(table.time), 1.0))
    assert action_findings(still) == []


def test_a_command_that_hardly_matters_is_not_judged() -> None:
    """A command of pure chance, in a trend that knows nothing of it."""
    table = trend()
    rng = np.random.default_rng(5)
    wander = np.clip(0.5 + 0.02 * np.cumsum(rng.normal(0.0, 0.3, len(table.time))), 0.0, 1.0)
    found = action_findings(with_values(table, shown__reheat_command=np.round(wander, 2)))
    assert all(f.verdict in {"nothing", "cannot_tell"} for f in found)


def test_steps_of_a_forced_output_are_seen_as_steps() -> None:
    minutes = np.arange(1440.0)
    command = ((minutes // 120) % 2).astype(float)
    supply, state = np.empty(1440), 12.0
    for k in range(1440):
        state += (12.0 + 15.0 * command[max(k - 2, 0)] - state) * (1.0 - np.exp(-1.0 / 4.0))
        supply[k] = state
    noise = np.random.default_rng(1).normal(0.0, 0.1, 1440)
    table = TrendTable(
        START + MINUTE * minutes, {"shown.reheat_command": command, "shown.supply_t": supply + noise}
    )
    found = identify(table, "shown.reheat_command", "shown.supply_t")
    assert found is not None
    assert found.steps >= 5
    assert found.gain == pytest.approx(15.0, rel=0.03)
    assert found.time_constant == 240.0
    assert found.dead_time in {60.0, 120.0}
    assert abs(found.gain - 15.0) < 6.0 * found.sigma + 0.4


# ----------------------------------------------------------------------------------- what swings


def test_a_reheat_loop_with_too_much_gain_swings() -> None:
    (found,) = swinging_findings(trend(gain=2.5, integral=300.0))
    assert found.driver == "reheat"
    assert found.wrong
    assert 300.0 < found.period < 1500.0
    assert found.amplitude > 0.4
    assert found.share > 0.9
    # counted by hand: upward crossings of one half
    command = trend(gain=2.5, integral=300.0)["shown.reheat_command"]
    crossings = np.count_nonzero((command[:-1] < 0.5) & (command[1:] >= 0.5))
    assert found.period == pytest.approx(2.0 * DAY / crossings, rel=0.1)


def test_since_when_it_swings() -> None:
    calm, wild = trend(days=1.0), trend(days=1.0, gain=2.5, integral=300.0)
    table = TrendTable(
        np.concatenate([calm.time, wild.time + DAY]),
        {point: np.concatenate([calm[point], wild[point]]) for point in calm.values},
    )
    (found,) = swinging_findings(table)
    assert len(found.spans) == 1
    assert abs(found.spans[0].start - (START + DAY)) <= 3.5 * HOUR
    assert found.spans[0].end == pytest.approx(START + 2.0 * DAY, abs=MINUTE)


def test_a_calm_loop_does_not_swing() -> None:
    assert swinging_findings(trend()) == []


def test_stages_that_come_and_go_are_no_swinging_reheat() -> None:
    """The command follows the stages' slow cycle: that is not a loop with too much gain."""
    table = trend(moisture=1.2, night_load=0.8)
    assert np.count_nonzero(np.diff(table["shown.stages_called"]) > 0) > 20
    assert swinging_findings(table) == []


def test_a_valve_that_swings_near_its_seat_is_worth_knowing_and_no_fault() -> None:
    minutes = np.arange(1440.0)
    command = np.clip(0.12 + 0.3 * np.sin(2.0 * np.pi * minutes / 12.0), 0.0, 1.0)
    supply = 15.0 - 6.0 * np.roll(command, 1)
    table = TrendTable(START + MINUTE * minutes, {"cooling.command": command, "shown.supply_t": supply})
    (found,) = swinging_findings(table)
    assert found.driver == "cooling"
    assert found.near_seat
    assert not found.wrong
    assert found.period == pytest.approx(720.0, rel=0.02)


def test_supply_air_that_swings_without_a_command() -> None:
    table = trend()
    swing = 3.0 * np.sin(2.0 * np.pi * table.time / 1500.0)
    (found,) = swinging_findings(with_values(table, shown__supply_t=table["shown.supply_t"] + swing))
    assert found.driver == "elsewhere"
    assert found.period == pytest.approx(1500.0, rel=0.05)


def test_short_cycling() -> None:
    minutes = np.arange(1440)
    stages = np.where((minutes > 600) & (minutes < 1000), (minutes % 6 < 3).astype(float), 1.0)
    (found,) = short_cycling_findings(TrendTable(START + MINUTE * minutes, {"shown.stages_called": stages}))
    assert found.starts_per_hour == pytest.approx(10.0, abs=1.0)
    assert found.median_run == 180.0
    assert found.spans[0].start == pytest.approx(START + 600.0 * MINUTE, abs=HOUR)
    assert found.spans[0].end == pytest.approx(START + 1000.0 * MINUTE, abs=HOUR)
    assert short_cycling_findings(trend(moisture=1.2, night_load=0.8)) == []


# --------------------------------------------------------------------------------- what follows


def test_a_display_that_is_always_the_outdoor_one() -> None:
    (found,) = following_findings(trend(dew_from_outdoor="always"))
    assert found.points == ("shown.dew_point", "shown.outdoor_dew_point")
    assert found.pattern == "always"
    assert found.share > 0.95


def test_a_display_that_is_the_outdoor_one_while_the_unit_is_satisfied() -> None:
    table = trend(dew_from_outdoor="while_off", **SATISFIED_AT_NIGHT)
    (found,) = following_findings(table)
    assert found.pattern == "while_off"
    off = table["shown.stages_called"] < 0.5
    assert found.share_off is not None
    assert found.share_off > 0.85
    assert found.share_on is not None
    assert found.share_on < 0.05
    for span in found.spans:
        inside = (table.time >= span.start) & (table.time < span.end)
        assert off[inside].mean() > 0.95


@pytest.mark.parametrize("wrong", [{}, SATISFIED_AT_NIGHT, {"moisture": 2.5}])
def test_a_display_of_its_own_follows_nothing(wrong: dict[str, float]) -> None:
    assert following_findings(trend(**wrong)) == []


def test_two_dew_points_that_cross_do_not_follow_each_other() -> None:
    table = trend()
    crossing = table["shown.outdoor_dew_point"] - 5.6
    assert np.any(crossing > table["shown.dew_point"])
    assert np.any(crossing < table["shown.dew_point"])
    assert following_findings(with_values(table, shown__outdoor_dew_point=crossing)) == []


# ------------------------------------------------------------------------------------- sensors


def test_a_sensor_that_stands_still() -> None:
    table = trend()
    stuck = table["shown.supply_t"].copy()
    stuck[900:1800] = stuck[900]
    (found,) = stuck_findings(with_values(table, shown__supply_t=stuck))
    assert found.points == ("shown.supply_t",)
    assert found.hours == pytest.approx(900.0 * MINUTE, rel=0.02)
    assert found.spans[0].start == pytest.approx(table.time[900], abs=2.0 * MINUTE)


def test_a_sensor_that_has_always_stood_still() -> None:
    table = trend()
    (found,) = stuck_findings(with_values(table, outdoor__t=np.full(len(table.time), 21.4)))
    assert found.points == ("outdoor.t",)
    assert stuck_findings(table) == []


def test_a_steady_room_in_half_degrees_is_coarse_and_not_stuck() -> None:
    table = trend()
    coarse = np.round(table["shown.space_t"] * 2.0) / 2.0
    assert stuck_findings(with_values(table, shown__space_t=coarse)) == []


def test_coarse_steps() -> None:
    table = trend()
    (found,) = coarse_findings(with_values(table, shown__supply_t=np.round(table["shown.supply_t"])))
    assert found.points == ("shown.supply_t",)
    assert found.resolution == pytest.approx(1.0)
    assert not found.wrong
    assert coarse_findings(table) == []


def test_a_sensor_that_drifts_against_its_neighbour() -> None:
    table = trend(days=10.0, extra=True)
    drift = 2.0 * (table.time - table.time[0]) / (10.0 * DAY)
    (found,) = drifting_findings(with_values(table, shown__space_t=table["shown.space_t"] + drift))
    assert found.points == ("shown.space_t", "return.t")
    assert found.total == pytest.approx(1.8, abs=0.15)
    assert drifting_findings(table) == []


def test_a_sensor_that_jumped_has_not_drifted() -> None:
    table = trend(days=10.0, extra=True)
    jump = np.where(table.time > table.time[0] + 5.0 * DAY, 2.0, 0.0)
    assert drifting_findings(with_values(table, shown__space_t=table["shown.space_t"] + jump)) == []


def test_a_dew_point_over_its_dry_bulb() -> None:
    table = trend()
    (found,) = against_physics_findings(with_values(table, shown__dew_point=table["shown.space_t"] + 2.0))
    assert found.points == ("shown.dew_point", "shown.space_t")
    assert found.excess == pytest.approx(2.0, abs=0.1)
    assert found.share > 0.95


def test_supply_air_colder_than_the_coil_leaves_it() -> None:
    table = trend(extra=True)
    (found,) = against_physics_findings(with_values(table, shown__supply_t=table["coil_leaving.t"] - 3.0))
    assert found.points == ("shown.supply_t", "coil_leaving.t")
    assert found.excess == pytest.approx(3.0, abs=0.1)


def test_mixed_air_that_return_and_outdoor_air_cannot_give() -> None:
    table = trend(extra=True)
    (found,) = against_physics_findings(with_values(table, mixed__t=table["mixed.t"] + 15.0))
    assert found.points[0] == "mixed.t"


@pytest.mark.parametrize("seed", range(3))
def test_sensors_that_agree_with_physics(seed: int) -> None:
    assert against_physics_findings(trend(seed=seed, extra=True)) == []


# --------------------------------------------------------------------------- changes and moisture


def test_when_a_valve_stuck_and_what_changed_with_it() -> None:
    table = trend(days=5.0, seed=3, change_at=2.2 * DAY)
    (found,) = changed_findings(table)
    assert isinstance(found, Changed)
    assert found.at == pytest.approx(START + 2.2 * DAY, abs=1.5 * HOUR)
    assert {"shown.supply_t", "shown.space_t"} <= set(found.points)
    assert not found.wrong


def test_a_set_point_that_was_altered() -> None:
    table = trend(days=3.0)
    setting = np.where(table.time < START + 1.5 * DAY, 11.0, 14.0)
    (found,) = changed_findings(with_values(table, shown__setpoint_dew_point=setting))
    assert found.points == ("shown.setpoint_dew_point",)
    assert found.at == pytest.approx(START + 1.5 * DAY, abs=2.0 * MINUTE)


def test_day_and_night_are_no_change() -> None:
    assert changed_findings(trend(days=4.0, **SATISFIED_AT_NIGHT)) == []
    table = trend(days=4.0)
    calendar = np.where((table.time / 3600.0) % 24.0 < 12.0, 11.0, 14.0)
    assert changed_findings(with_values(table, shown__setpoint_dew_point=calendar)) == []


def test_a_room_kept_dry_is_not_too_wet() -> None:
    assert too_wet_findings(trend(), hall()) == []


def test_a_unit_that_was_not_called() -> None:
    (found,) = too_wet_findings(trend(locked_out=True), hall())
    assert found.whose == "control"
    assert found.called == pytest.approx(0.0, abs=0.01)
    assert found.share > 0.9


def test_weather_beyond_the_design_day() -> None:
    table = trend(moisture=4.0)
    wet = with_values(
        table,
        shown__outdoor_dew_point=table["shown.outdoor_dew_point"] + 9.0,
        outdoor__t=table["outdoor.t"] + 9.0,
    )
    (found,) = too_wet_findings(wet, hall())
    assert found.whose == "weather"
    assert not found.wrong
    assert found.beyond_design is not None
    assert found.beyond_design > 0.5


def test_without_the_supply_humidity_it_says_that_it_cannot_tell() -> None:
    (found,) = too_wet_findings(trend(moisture=4.0), hall())
    assert found.whose == "unknown"
    assert found.removed is None
    assert "cannot tell" in found.means()


def test_a_dew_point_that_is_the_outdoor_one_says_nothing_about_the_room() -> None:
    table = trend(dew_from_outdoor="always")
    assert not [f for f in findings_of(table, hall()) if f.kind == "too_wet"]


# ----------------------------------------------------------------------------------- all together


@pytest.mark.parametrize("seed", range(10))
def test_healthy_days_are_quiet(seed: int) -> None:
    """Forty days in all, of two kinds: nothing may be called wrong on any of them."""
    for extra, wrong in ((False, {}), (True, SATISFIED_AT_NIGHT)):
        table = simulate(2.0, 100 + seed, Unit(**wrong), extra)
        assert [f for f in findings_of(table, hall()) if f.wrong] == []


def test_a_healthy_day_with_holes_in_it_is_quiet() -> None:
    table = trend(days=3.0)
    rng = np.random.default_rng(8)
    keep = (rng.random(len(table.time)) > 0.1) & ~(
        (table.time > START + DAY) & (table.time < START + 1.4 * DAY)
    )
    values = {p: np.where(rng.random(len(v)) < 0.05, np.nan, v)[keep] for p, v in table.values.items()}
    assert [f for f in findings_of(TrendTable(table.time[keep], values), hall()) if f.wrong] == []


CASES: dict[str, Callable[[], TrendTable]] = {
    "reversed": lambda: trend(action=-1.0),
    "swinging": lambda: trend(gain=2.5, integral=300.0),
    "following": lambda: trend(dew_from_outdoor="always"),
    "no heat": lambda: trend(heat=0.2, extra=True),
    "leaking": lambda: trend(leak=0.9, extra=True, **SATISFIED_AT_NIGHT),
    "changed": lambda: trend(days=5.0, seed=3, change_at=2.2 * DAY),
    "locked out": lambda: trend(locked_out=True),
}


@pytest.mark.parametrize("case", CASES)
def test_every_finding_speaks_and_goes_into_json(case: str) -> None:
    found = findings_of(CASES[case](), hall())
    assert found
    assert [f.wrong for f in found] == sorted((f.wrong for f in found), reverse=True)
    for finding in found:
        for system in ("ip", "si"):
            text = finding.says(shower(system))  # type: ignore[arg-type]
            assert text.endswith(".")
            assert "nan" not in text.casefold().split()
        assert finding.means().endswith((".", "?"))
        document = finding.as_document("si")
        assert document["kind"] == finding.kind
        assert set(document["figures"]) == set(finding.figures())
        assert all(v is None or {"value", "unit"} == v.keys() for v in document["figures"].values())


def test_a_trend_of_a_few_rows_or_columns_breaks_nothing() -> None:
    table = trend()
    for rows in (0, 1, 2, 5, 40):
        short = TrendTable(table.time[:rows], {p: v[:rows] for p, v in table.values.items()})
        assert [f for f in findings_of(short, hall()) if f.wrong] == []
    for point in table.values:
        findings_of(TrendTable(table.time, {point: table[point]}))
        findings_of(without(table, point))
    empty = {p: np.full(len(v), np.nan) for p, v in table.values.items()}
    assert findings_of(TrendTable(table.time, empty), hall()) == []
