"""What is said of an output whose command stands at its stop, or was only ever seen near it."""

from __future__ import annotations

import numpy as np
import pytest

from motion_cases import UNITS, healthy, machine, one_cause, unit
from motion_trends import loads_of, made, weather_of
from trend_samples import DAY, START, Unit, hall, simulate, with_values
from wringout.trends.action import action_findings
from wringout.trends.at_stop import AtStop, at_stop_findings
from wringout.trends.evidence import trend_evidence
from wringout.trends.finding import shower
from wringout.trends.findings import findings_of
from wringout.trends.table import HOUR, TrendTable
from wringout.weighing.trend_signs import STILL, SWING, signs_of


def standing(command: float, days: float = 2.0) -> TrendTable:
    """A drying unit whose reheat command stands still, in everyday weather."""
    table = simulate(days, 1, Unit())
    return with_values(table, shown__reheat_command=np.full(len(table.time), command))


def only(table: TrendTable) -> AtStop:
    (found,) = at_stop_findings(table, hall())
    return found


@pytest.mark.parametrize(("command", "full"), [(0.0, False), (1.0, True)])
def test_a_command_at_its_stop_is_told_with_its_hours_and_nothing_is_said_of_what_it_does(
    command: float, full: bool
) -> None:
    table = standing(command)
    found = only(table)
    assert found.full == full
    assert not found.wrong
    cooled = float((table["shown.stages_called"] > 0.5).sum()) / 60.0
    assert found.hours == pytest.approx(cooled * HOUR, rel=0.01)
    assert f"stood at {100.0 * command:.0f} %" in found.says(shower("si"))
    assert action_findings(table) == []


@pytest.mark.parametrize("command", [0.02, 0.5, 0.97])
def test_a_command_that_stands_between_its_stops_is_no_stop(command: float) -> None:
    assert at_stop_findings(standing(command), hall()) == []


def test_a_command_that_left_its_stop_for_a_good_part_of_the_time_is_no_stop() -> None:
    table = standing(1.0)
    command = table["shown.reheat_command"].copy()
    command[: len(command) // 4] = 0.6
    assert at_stop_findings(with_values(table, shown__reheat_command=command), hall()) == []


def test_all_the_heat_there_is_and_a_cold_room_matter_more_than_a_room_that_is_as_asked() -> None:
    asked = hall().control.space_t
    here = standing(1.0)
    cold, right = (
        only(with_values(here, shown__space_t=np.full(len(here.time), asked - k))) for k in (2.5, 0.0)
    )
    assert cold.short
    assert not right.short
    assert cold.weight > right.weight
    assert cold.space_off == pytest.approx(-2.5)
    assert "stays cold" in cold.means()


def test_it_says_how_long_the_room_was_too_wet_meanwhile() -> None:
    table = standing(1.0)
    limit = hall().control.dew_point + hall().control.dew_point_band
    found = only(with_values(table, shown__dew_point=np.full(len(table.time), limit + 1.0)))
    assert found.too_wet == 1.0
    assert found.short
    assert "too wet for 100 %" in found.says(shower("si"))


def test_a_heating_valve_shut_all_summer_in_an_air_handler_is_nothing_to_tell() -> None:
    minutes = np.arange(1440.0)
    shut = {"shown.reheat_command": np.zeros(1440), "cooling.command": np.full(1440, 0.5)}
    assert at_stop_findings(TrendTable(START + 60.0 * minutes, shut)) == []
    found = at_stop_findings(TrendTable(START + 60.0 * minutes, {"cooling.command": np.ones(1440)}))
    assert [(f.points, f.full) for f in found] == [(("cooling.command",), True)]
    assert found[0].hours == pytest.approx(DAY, rel=0.01)
    assert "the fan ran" in found[0].says(shower("si"))


def test_hours_without_a_log_are_no_hours_at_the_stop() -> None:
    table = standing(1.0)
    kept = (table.time < START + 0.5 * DAY) | (table.time >= START + 1.5 * DAY)
    part = TrendTable(table.time[kept], {p: v[kept] for p, v in table.values.items()})
    assert only(part).hours <= DAY
    assert all(s.hours <= 13.0 for s in only(part).spans)


# --------------------------------------------------------------- an output that was only seen near its stop


def flat_end(low: float, high: float, seed: int) -> TrendTable:
    """A sound hot-water valve whose heat comes in the first half of its travel (a linear plug on a coil that
    needs little water), its command wandering between two marks; 15 K over the whole travel."""
    rng = np.random.default_rng(seed)
    minutes = np.arange(2.0 * 1440.0)
    knots = rng.uniform(low, high, len(minutes) // 40 + 2)
    command = np.round(np.interp(minutes, 40.0 * np.arange(len(knots)), knots), 2)
    heat = 15.0 * (1.0 - np.exp(-command / 0.12)) / (1.0 - np.exp(-1.0 / 0.12))
    supply = np.empty(len(minutes))
    state = 10.0 + heat[0]
    for k in range(len(minutes)):
        state += (10.0 + heat[k] - state) * (1.0 - np.exp(-60.0 / 150.0))
        supply[k] = state
    supply = np.round(supply + rng.normal(0.0, 0.05, len(supply)), 1)
    return TrendTable(START + 60.0 * minutes, {"shown.reheat_command": command, "shown.supply_t": supply})


def test_a_sound_output_seen_only_in_the_flat_end_of_its_valve_is_never_told_to_move_nothing() -> None:
    told = [
        f.verdict
        for seed in range(24)
        for low in (0.4, 0.6)
        for f in action_findings(flat_end(low, 1.0, seed))
    ]
    assert "nothing" not in told
    assert "reversed" not in told


def test_the_same_output_seen_over_its_travel_acts_as_meant() -> None:
    told = [f.verdict for seed in range(24) for f in action_findings(flat_end(0.0, 1.0, seed))]
    assert told.count("as_meant") >= 22


@pytest.mark.parametrize("low", [0.0, 0.2])
def test_an_output_that_moves_nothing_is_told_where_its_command_was_seen_low_enough(low: float) -> None:
    """The command wanders, the supply air of a stuck valve has its own life."""
    told = []
    for seed in range(24):
        plain = flat_end(low, 1.0, seed)
        other = flat_end(0.5, 0.55, 100 + seed)  # as good as still
        stuck = with_values(plain, shown__supply_t=other["shown.supply_t"])
        told += [f.verdict for f in action_findings(stuck)]
    assert told.count("nothing") >= 22


@pytest.mark.parametrize("kind", sorted(UNITS))
def test_no_sound_output_of_a_machine_with_its_reheat_short_or_needless_is_told_to_move_nothing(
    kind: str,
) -> None:
    """Rooms that bring far too little or far too much heat of their own drive the command to its stops."""
    d = machine(kind)
    sign = np.sign(d.unit.space.sensible) or 1.0
    for seed, sensible in enumerate((-1.5, -0.8, 1.8, 2.6)):
        rng = np.random.default_rng(400 + seed)
        table = made(
            kind, days=1.0, weather=weather_of(d, 1.0, 4.0, 4.0, seed), seed=seed, values=healthy(d, 1, rng),
            loads=loads_of(1.0, 0.8, sign * sensible),
        )  # fmt: skip
        found = findings_of(table, unit(kind))
        assert [f.verdict for f in found if f.kind == "action" and f.wrong] == [], (kind, seed)


def test_a_command_at_its_stop_is_no_evidence_of_swings_nor_of_a_hand() -> None:
    """What weighing takes from such a trend: nothing for hunting, and rather less for an output in hand."""
    for command in (0.0, 1.0):
        found = {
            s.name: s.with_cause - s.without for s in signs_of(trend_evidence(standing(command), hall()))
        }
        assert SWING not in found
        assert -1.5 < found[STILL] < 0.0


def test_a_calm_control_that_moves_by_one_count_is_in_nobody_s_hand() -> None:
    """A hand leaves the output where it put it; a good control on an even day moves by the last digit."""
    table = standing(0.4)
    command = np.full(len(table.time), 0.4)
    held = {s.name: s.with_cause - s.without for s in signs_of(trend_evidence(table, hall()))}
    assert held[STILL] > 4.0
    command[len(command) // 3 :: 2] = 0.41
    calm = trend_evidence(with_values(table, shown__reheat_command=command), hall())
    assert STILL not in {s.name for s in signs_of(calm)}


def test_a_reheat_coil_that_gives_nothing_at_full_command_is_told_by_the_air() -> None:
    """No word on the action, and yet the fault is not lost: it shows where the command stands."""
    kind = "modulating reclaim"
    d = machine(kind)
    values = one_cause(d, healthy(d, 1, np.random.default_rng(3)), "pump-off")
    table = made(
        kind, days=1.0, loads=loads_of(1.0, 0.8, -0.4), extra=("mixed.t", "coil_leaving.t"), values=values
    )
    told = {(f.kind, getattr(f, "what", "")) for f in findings_of(table, unit(kind))}
    assert ("coil_against_command", "heat_missing") in told
    assert not any(name == "action" for name, _ in told)
    assert any(name == "at_stop" for name, _ in told)
