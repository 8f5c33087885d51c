"""A unit's history: visits, what differs from as left, and what proven visits tell of the machine."""

from __future__ import annotations

import itertools
import json
from datetime import datetime, timedelta
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import units
from history_tools import Life, life, moved, tallied, weighed_twice
from weighing_tools import WALK_UP, Look, altered, hypotheses_of, reading, simulate, thorough, unit_of
from wringout.documents.call import Call, Change, Event, Force, Release
from wringout.errors import InputError
from wringout.history.differences import Difference, differences
from wringout.history.drift import YEARLY, share
from wringout.history.fingerprint import (
    LearnedSpread,
    LearnedVisit,
    check_unit,
    fingerprint_from_text,
    fingerprint_text,
    merged,
)
from wringout.history.learning import combined, information, judged
from wringout.history.spread_words import _WORDS
from wringout.history.visits import Visit, fitted, left_readings, visits_of
from wringout.machine.design import design
from wringout.machine.parameters import Array, spreads
from wringout.showing.known_unit import told_for
from wringout.weighing.hypothesis import HEALTHY

UNIT = unit_of(units.RECLAIM_MIXING)
DESIGN = design(UNIT)
ROWS = spreads(DESIGN)
NAMES = [row.name for row in ROWS]
MORNING = datetime(2027, 7, 6, 9, 0)


def call_of(*events: Event, complaint: str = "It will not dry out.") -> Call:
    return Call(unit=UNIT, complaint=complaint, events=events)


def at(minutes: float) -> datetime:
    return MORNING + timedelta(minutes=minutes)


def visits_in_a_call() -> tuple[Visit, ...]:
    return visits_of(
        [
            call_of(
                reading("supply.t", 15.0, at(0)),
                Change(at=at(5), cause="strainer-plugged", text="cleaned it"),
                reading("supply.t", 20.0, at(10)),
                reading("supply.t", 21.0, at(12)),
                Force(at=at(14), item="reheat.command", to=1.0),
                reading("supply.t", 30.0, at(30)),
                reading("supply.t", 22.0, at(9 * 60)),
                Release(at=at(9 * 60 + 1), item="reheat.command"),
                reading("supply.t", 23.0, at(9 * 60 + 20)),
            )
        ]
    )


# ------------------------------------------------------------------------------------------ visits


def test_a_pause_of_some_hours_parts_two_visits() -> None:
    first, second = visits_in_a_call()
    assert (len(first.readings), len(second.readings)) == (4, 2)
    assert [change.cause for change in first.changes] == ["strainer-plugged"]


def test_as_found_ends_and_as_left_begins_with_the_changes() -> None:
    first, second = visits_in_a_call()
    assert [e.value for e in first.as_found().events if e.kind == "reading"] == [15.0]
    assert [(o.state, o.reading.value) for o in left_readings(first)] == [
        ("auto", 21.0),
        ("reheat.command=100 %", 30.0),
    ]
    assert second.as_found().events == second.as_left().events


def test_what_was_left_held_by_hand_is_held_when_the_next_visit_begins() -> None:
    first, second = visits_in_a_call()
    assert first.left_held is not None
    assert first.left_held.to == 1.0
    assert second.left_held is None
    assert [(o.state, o.reading.value) for o in left_readings(second)] == [
        ("reheat.command=100 %", 22.0),
        ("auto", 23.0),
    ]


def test_calls_come_in_any_order_and_the_same_one_twice_counts_once() -> None:
    one = call_of(reading("supply.t", 15.0, at(0)))
    two = moved(one, 30.0)
    found = visits_of([two, one, two])
    assert [visit.first for visit in found] == [at(0), at(30 * 24 * 60)]


def test_calls_with_and_without_a_time_zone_stand_in_one_history() -> None:
    zoned = call_of(reading("supply.t", 15.0, datetime.fromisoformat("2027-07-01T09:00:00+02:00")))
    found = visits_of([call_of(reading("supply.t", 16.0, at(0))), zoned])
    assert [visit.first.day for visit in found] == [1, 6]


def test_a_history_is_of_one_unit() -> None:
    other = Call(unit=unit_of(units.HOT_GAS), complaint="", events=(reading("supply.t", 15.0, at(0)),))
    with pytest.raises(InputError, match="different units"):
        visits_of([call_of(reading("supply.t", 15.0, at(0))), other])


def test_another_set_point_is_the_same_machine_and_another_fan_is_not() -> None:
    control = UNIT.control.model_copy(update={"dew_point": UNIT.control.dew_point - 2.0})
    assert fitted(UNIT.model_copy(update={"control": control})) == fitted(UNIT)
    air = UNIT.air.model_copy(update={"supply_airflow": 1.2 * UNIT.air.supply_airflow})
    assert fitted(UNIT.model_copy(update={"air": air})) != fitted(UNIT)


# ------------------------------------------------------------------------------------ what differs


@cache
def two_visits() -> tuple[Call, Call]:
    """A healthy machine read with care, and a month later on another day, by a good instrument."""
    rng = np.random.default_rng(5)
    machine = 0.7 * rng.standard_normal(len(ROWS))
    one = simulate(UNIT, [HEALTHY], [Look(thorough(UNIT))], rng, machine=machine)
    two = simulate(UNIT, [HEALTHY], [Look(thorough(UNIT))], rng, machine=machine)
    return one.call, moved(two.call, 30.0)


def compared(now: Call) -> dict[str, Difference]:
    first, second = visits_of([two_visits()[0], now])
    return {one.point: one for one in differences(first, second, np.random.default_rng(0))}


def test_another_day_is_no_difference() -> None:
    found = compared(two_visits()[1])
    assert len(found) > 15
    assert [name for name, one in found.items() if one.differs] == []


@pytest.mark.parametrize(("name", "by"), [("shown.space_t", 4.0), ("loop.flow", -0.0009)])
def test_a_point_that_reads_otherwise_than_the_machine_as_left_would_now_is_told_first(
    name: str, by: float
) -> None:
    found = compared(altered(two_visits()[1], name, by))
    assert found[name].differs
    assert np.sign(found[name].off) == np.sign(by)
    assert abs(found[name].off - by) < 3.0 * found[name].spread


@pytest.mark.parametrize(("step", "differs"), [(0.0, False), (0.1, True), (-2.0, True)])
def test_a_set_point_is_compared_one_to_one_and_any_step_counts(step: float, differs: bool) -> None:
    left = call_of(reading("shown.setpoint_dew_point", 10.0, at(0)))
    found = call_of(reading("shown.setpoint_dew_point", 10.0 + step, at(3 * 1440)))
    first, second = visits_of([left, found])
    one = differences(first, second, np.random.default_rng(0))[0]
    assert (one.kind, one.left, one.expected, one.differs) == ("setting", 10.0, None, differs)
    assert one.off == pytest.approx(step)


def test_without_readings_as_left_nothing_is_compared() -> None:
    bare = call_of(Change(at=at(0), text="turned a screw"))
    first, second = visits_of([bare, two_visits()[1]])
    assert differences(first, second, np.random.default_rng(0)) == ()


# -------------------------------------------------------------------------- what is learned of it


def visit_of(seed: int, count: int = 6, days: float = 0.0, names: list[str] | None = None) -> LearnedVisit:
    """What some readings of mixed sums of a machine's spreads would tell, exact but for rounding."""
    rng = np.random.default_rng(seed)
    names = names or NAMES
    rows = [row for row in ROWS if row.name in names]
    told = rng.standard_normal((count, len(rows))) * 1.5
    whole = np.linalg.inv(told.T @ told + np.eye(len(rows)))
    mean = whole @ told.T @ rng.standard_normal(count)
    deviation = np.sqrt(np.diag(whole))
    together = whole / np.outer(deviation, deviation)
    return LearnedVisit(
        first=at(days * 1440),
        last=at(days * 1440 + 60),
        readings=count,
        nothing_wrong=0.9,
        proven="readings",
        spreads=tuple(
            LearnedSpread(
                name=row.name,
                kind="ratio" if row.kind == "ratio" else "shift",
                mean=row.sigma * mean[k],
                deviation=row.sigma * deviation[k],
                usual=row.sigma,
            )
            for k, row in enumerate(rows)
        ),
        correlation=tuple(tuple(together[k, :k]) for k in range(len(rows))),
    )


def least(matrix: Array) -> float:
    return float(np.linalg.eigvalsh(matrix).min())


@given(
    st.lists(
        st.tuples(st.integers(0, 999), st.integers(1, 25), st.floats(0.0, 3000.0)), min_size=1, max_size=6
    )
)
@settings(max_examples=25, deadline=None)
def test_a_fingerprint_never_widens_what_is_known_of_any_machine(made: list[tuple[int, int, float]]) -> None:
    known = combined([visit_of(*one) for one in made], DESIGN)
    assert least(np.eye(len(NAMES)) - known.covariance) > -1e-9


@given(st.integers(0, 999), st.integers(1, 8))
@settings(max_examples=15, deadline=None)
def test_however_many_visits_what_is_of_the_day_stays_unknown(seed: int, visits: int) -> None:
    known = combined([visit_of(seed + k, 40, 10.0 * k) for k in range(visits)], DESIGN)
    assert least(known.covariance - np.diag(share(NAMES))) > -1e-9


def test_one_visit_is_never_taken_for_more_than_its_readings_tell() -> None:
    one = visit_of(3, 12)
    told, _ = information(one, ROWS)
    by_itself = np.diag(np.linalg.inv(told + np.eye(len(NAMES))))
    assert (np.diag(combined([one], DESIGN).covariance) >= by_itself - 1e-9).all()


def test_the_order_in_which_visits_are_combined_does_not_matter() -> None:
    visits = [visit_of(seed, 8, 40.0 * seed) for seed in range(3)]
    first = combined(visits, DESIGN)
    for order in itertools.permutations(visits):
        other = combined(order, DESIGN)
        np.testing.assert_allclose(other.covariance, first.covariance, atol=1e-10)
        np.testing.assert_allclose(other.mean, first.mean, atol=1e-10)


def test_a_second_visit_tells_more_and_the_same_ambiguity_twice_stays_one() -> None:
    """Two visits that each tell only the sum of two spreads tell nothing of their difference."""
    pair = ["pump_ratio", "main_resistance_ratio"]
    rows = [row for row in ROWS if row.name in pair]
    whole = np.linalg.inv(np.eye(2) + 50.0 * np.ones((2, 2)))
    made = visit_of(0, 2, names=pair)
    deviation = np.sqrt(np.diag(whole))
    one = made.model_copy(
        update={
            "spreads": tuple(
                spread.model_copy(update={"mean": 0.0, "deviation": row.sigma * deviation[k]})
                for k, (spread, row) in enumerate(zip(made.spreads, rows, strict=True))
            ),
            "correlation": ((), (float(whole[0, 1] / (deviation[0] * deviation[1])),)),
        }
    )
    places = [NAMES.index(row.name) for row in rows]

    def spread_of(visits: int, direction: tuple[float, float]) -> float:
        covariance = combined([one] * visits, DESIGN).covariance[np.ix_(places, places)]
        return float(np.array(direction) @ covariance @ np.array(direction))

    assert spread_of(5, (1.0, 1.0)) < spread_of(1, (1.0, 1.0)) < 0.4
    assert spread_of(5, (1.0, -1.0)) == pytest.approx(2.0, abs=1e-6)


def test_years_make_a_visit_tell_less_and_in_the_end_next_to_nothing() -> None:
    one = visit_of(4, 20)
    traces = [
        float(np.trace(combined([one], DESIGN, one.last + timedelta(days=365.25 * years)).covariance))
        for years in (0.0, 1.0, 5.0, 80.0)
    ]
    assert sorted(traces) == traces
    assert traces[0] < traces[1]
    assert len(NAMES) - traces[-1] < 0.35 * (len(NAMES) - traces[0])
    assert YEARLY > 0.0


def test_every_spread_of_every_kind_of_unit_has_its_share_and_its_words() -> None:
    for text in units.UNITS.values():
        names = [row.name for row in spreads(design(unit_of(text)))]
        assert (share(names) < 1.0).all()
        assert (share(names) > 0.0).all()
        assert {name.partition(".")[0] for name in names} <= set(_WORDS)


def test_what_was_read_stays_the_same_where_a_version_holds_machines_for_wider() -> None:
    one = visit_of(6, 10)
    told, pull = information(one, ROWS)
    # the same readings beside a usual deviation twice as wide, in the same unit
    wide = np.linalg.inv(np.linalg.inv(0.25 * np.eye(len(NAMES))) * 0.0 + told + 0.25 * np.eye(len(NAMES)))
    deviation = np.sqrt(np.diag(wide))
    together = wide / np.outer(deviation, deviation)
    mean = wide @ pull
    other = one.model_copy(
        update={
            "spreads": tuple(
                s.model_copy(
                    update={
                        "mean": row.sigma * mean[k],
                        "deviation": row.sigma * deviation[k],
                        "usual": 2.0 * row.sigma,
                    }
                )
                for k, (s, row) in enumerate(zip(one.spreads, ROWS, strict=True))
            ),
            "correlation": tuple(tuple(together[k, :k]) for k in range(len(NAMES))),
        }
    )
    again, pulled = information(other, ROWS)
    np.testing.assert_allclose(again, told, atol=1e-6)
    np.testing.assert_allclose(pulled, pull, atol=1e-6)


def test_a_document_comes_back_as_it_was_written() -> None:
    odd = visit_of(1).model_copy(update={"complaint": '@0@ "@@1@@" \\ wet'})
    print_of = merged([odd, visit_of(2, days=30.0)], UNIT)
    again = fingerprint_from_text(fingerprint_text(print_of), "unit.fingerprint.json")
    check_unit(again, UNIT, "unit.fingerprint.json")
    assert fingerprint_text(again) == fingerprint_text(print_of)
    before, after = (combined(p.visits, DESIGN) for p in (print_of, again))
    np.testing.assert_allclose(after.covariance, before.covariance, atol=1e-5)
    np.testing.assert_allclose(after.mean, before.mean, atol=1e-4)


def test_a_visit_learned_twice_counts_once() -> None:
    one, two = visit_of(1), visit_of(2, days=30.0)
    assert merged([two, one, two, one], UNIT) == merged([one, two], UNIT)


@pytest.mark.parametrize(
    ("words", "put"),
    [
        (
            "wanted wringout-fingerprint/1: a later version",
            lambda t: t | {"format": "wringout-fingerprint/2"},
        ),
        ("missing, wanted wringout-fingerprint/1", lambda t: {k: v for k, v in t.items() if k != "format"}),
        ("Extra inputs are not permitted", lambda t: t | {"more": 1}),
        ("at least 1 item", lambda t: t | {"visits": []}),
        ("over the usual one", lambda t: _spread(t, deviation=9.0)),
        ("greater than 0", lambda t: _spread(t, deviation=0.0)),
        ("eight usual deviations", lambda t: _spread(t, mean=9.0)),
        ("stands there twice", lambda t: _spread(t, name=NAMES[1])),
        ("one row a spread", lambda t: _visit(t, correlation=[[]])),
        ("less than or equal to 1", lambda t: _row(t, 1.5)),
        ("no deviations can go together", lambda t: _visit(t, correlation=_impossible(len(NAMES)))),
    ],
)
def test_a_broken_fingerprint_gets_one_clear_error(words: str, put: object) -> None:
    tree = json.loads(fingerprint_text(merged([visit_of(1)], UNIT)))
    assert callable(put)
    with pytest.raises(InputError, match=words):
        fingerprint_from_text(json.dumps(put(tree)), "unit.fingerprint.json")


@pytest.mark.parametrize("text", ["", "format: x", '{"format": NaN}', "[1, 2", "[" * 5000, "7"])
def test_what_is_no_fingerprint_at_all_gets_one_clear_error(text: str) -> None:
    with pytest.raises(InputError, match=r"^unit\.fingerprint\.json"):
        fingerprint_from_text(text, "unit.fingerprint.json")


def _visit(tree: dict[str, object], **fields: object) -> dict[str, object]:
    visits = tree["visits"]
    assert isinstance(visits, list)
    return tree | {"visits": [visits[0] | fields]}


def _spread(tree: dict[str, object], **fields: object) -> dict[str, object]:
    visits = tree["visits"]
    assert isinstance(visits, list)
    return _visit(tree, spreads=[visits[0]["spreads"][0] | fields, *visits[0]["spreads"][1:]])


def _row(tree: dict[str, object], value: float) -> dict[str, object]:
    visits = tree["visits"]
    assert isinstance(visits, list)
    rows = visits[0]["correlation"]
    return _visit(tree, correlation=[[], [value], *rows[2:]])


def _impossible(count: int) -> list[list[float]]:
    return [[-0.9] * k for k in range(count)]


def test_the_fingerprint_of_another_unit_is_refused() -> None:
    with pytest.raises(InputError, match="fingerprint of"):
        check_unit(merged([visit_of(1)], UNIT), unit_of(units.HOT_GAS), "x.json")
    air = UNIT.air.model_copy(update={"supply_airflow": 1.2 * UNIT.air.supply_airflow})
    with pytest.raises(InputError, match="other things of the machine"):
        check_unit(merged([visit_of(1)], UNIT), UNIT.model_copy(update={"air": air}), "x.json")


def test_a_spread_that_this_kind_of_machine_lacks_is_refused() -> None:
    with pytest.raises(InputError, match='there is no spread "'):
        combined([visit_of(1)], design(unit_of(units.HOT_GAS)))


def test_a_reading_never_counts_twice() -> None:
    """A visit that is in the call itself is left out, and where none is left, nothing is known."""
    one, two = visit_of(1), visit_of(2, days=30.0)
    call = call_of(*(reading("supply.t", 15.0, t) for t in (two.first + timedelta(minutes=10), two.last)))
    told = told_for(merged([one, two], UNIT), call)
    assert told is not None
    np.testing.assert_allclose(told.known.covariance, combined([one], DESIGN, two.last).covariance)
    assert [visit.first for visit in told.visits] == [one.first]
    assert told_for(merged([two], UNIT), call) is None


# ------------------------------------------------------------------------------- proven, or not


def test_a_visit_that_leaves_something_wrong_or_held_or_unread_is_not_learned_from() -> None:
    rng = np.random.default_rng(8)
    wrong = simulate(UNIT, hypotheses_of(UNIT, "pump-off"), [Look(thorough(UNIT))], rng).call
    assert judged(visits_of([wrong])[0], np.random.default_rng(0)).learned is None
    few = call_of(*two_visits()[0].events[:5])
    assert "8 are the least" in judged(visits_of([few])[0], np.random.default_rng(0)).why
    held = Force(at=wrong.events[-1].at, item="reheat.command", to=1.0)
    left = wrong.model_copy(update={"events": (*wrong.events, held)})
    assert "left held" in judged(visits_of([left])[0], np.random.default_rng(0)).why


def test_a_proven_visit_brings_the_machine_nearer_to_what_it_is() -> None:
    """Over machines of two kinds, means move to the truth and deviations stay as wide as the errors left."""
    before, after, squares = 0.0, 0.0, []
    for number in range(3):
        unit = (UNIT, unit_of(units.CHILLED_TWO_WAY))[number % 2]
        one = lives(unit.name, number)
        learned = [v.learned for v in one.verdicts if v.learned is not None]
        if not learned:
            continue
        known = combined(learned, design(unit), one.call.events[0].at)
        off = one.machines[-1] - known.mean
        kept = share(list(known.names)) < 0.5
        before += float(np.square(one.machines[-1][kept]).sum())
        after += float(np.square(off[kept]).sum())
        squares.append(float(off @ np.linalg.solve(known.covariance, off)) / off.size)
    assert len(squares) >= 2
    assert after < 0.95 * before
    # chi-square over some 100 spreads: three tenths of it are two standard deviations
    assert 0.7 < float(np.mean(squares)) < 1.4


@cache
def lives(name: str, number: int) -> Life:
    unit = {unit_of(text).name: unit_of(text) for text in units.UNITS.values()}[name]
    truth = hypotheses_of(unit, "fan-slow")
    return life(unit, number, WALK_UP, truth=truth)


def test_what_was_learned_is_used_and_no_answer_becomes_surer_of_what_is_not_there() -> None:
    for number in range(2):
        unit = (UNIT, unit_of(units.CHILLED_TWO_WAY))[number % 2]
        one = lives(unit.name, number)
        without, known = weighed_twice(one)
        assert known.problem.known is not None
        assert without.problem.known is None
        assert sum(s.probability for s in known.sets) + known.unexplained == pytest.approx(1.0, abs=1e-6)
        assert not tallied(known, one.truth).accused
