"""The call as it now stands: the same whatever the order of arrival, and nothing that was written is lost."""

from __future__ import annotations

import json
import random

from hypothesis import given, settings
from hypothesis import strategies as st

from record_samples import (
    ANN,
    BO,
    CALL,
    OTHER_CALL,
    VOCABULARY,
    at,
    corrected,
    event,
    histories,
    opened,
    reading,
    withdrawn,
)
from sample_documents import RECLAIM
from wringout.documents.call import Force, Reading, Release, call_from_tree
from wringout.documents.source import tree_of
from wringout.records.events import Event
from wringout.records.fold import Folded, fold_call, fold_names
from wringout.records.plain import plain_tree

UNIT_TREE = plain_tree(tree_of(RECLAIM, "unit"))


def read(folded: Folded) -> tuple[object, ...]:
    """The events of the folded call as the rest of the house reads them."""
    text = json.dumps(folded.document(UNIT_TREE))
    return call_from_tree(tree_of(text, "call"), "call", None, VOCABULARY).events


def places(folded: Folded) -> list[str]:
    """Identifiers of every event and where it ended, acts under their lines."""
    found = []
    for line in folded.all_lines():
        found += [line.id, *(act.id for act in line.acts)]
    return found


# ------------------------------------------------------------------------------- whatever the order


@given(histories(), st.randoms(use_true_random=False))
@settings(deadline=None)
def test_the_order_of_arrival_does_not_matter(history: tuple[Event, ...], chance: random.Random) -> None:
    shuffled = [*history, *history[: len(history) // 2]]
    chance.shuffle(shuffled)
    assert fold_call(CALL, shuffled) == fold_call(CALL, history)


@given(histories())
@settings(deadline=None)
def test_every_event_ends_in_exactly_one_place(history: tuple[Event, ...]) -> None:
    folded = fold_call(CALL, history)
    found = places(folded)
    reported = {line.id for line in folded.set_aside if line.event.kind in ("corrected", "withdrawn")}
    once = [i for i in found if i not in reported]
    assert len(once) == len(set(once))
    assert set(found) == {e.id for e in history}


@given(histories())
@settings(deadline=None)
def test_what_is_folded_can_always_be_read_as_a_call_document(history: tuple[Event, ...]) -> None:
    folded = fold_call(CALL, history)
    assert len(read(folded)) == len(folded.lines)


@given(histories())
@settings(deadline=None)
def test_events_of_another_call_change_nothing(history: tuple[Event, ...]) -> None:
    strangers = (opened(50, call_id=OTHER_CALL), reading(51, call_id=OTHER_CALL))
    assert fold_call(CALL, [*history, *strangers]) == fold_call(CALL, history)


# -------------------------------------------------------------------------------------- corrections


def test_a_correction_replaces_the_value_and_keeps_both_people() -> None:
    first = reading(1, "61.5 degF", **ANN)
    second = corrected(2, first, value="62.5 degF", **BO)
    (line,) = fold_call(CALL, [opened(), first, second]).lines
    assert line.body["value"] == "62.5 degF"
    assert line.event.body["value"] == "61.5 degF"
    assert [line.event.author, *(act.author for act in line.acts)] == ["Ann Sample", "Bo Sample"]


def test_of_two_corrections_made_apart_the_later_one_counts() -> None:
    first = reading(1)
    acts = [corrected(2, first, value="50 degF", **ANN), corrected(3, first, value="51 degF", **BO)]
    for order in (acts, acts[::-1]):
        (line,) = fold_call(CALL, [*order, first, opened()]).lines
        assert line.body["value"] == "51 degF"


def test_a_correction_that_is_withdrawn_counts_no_more() -> None:
    first = reading(1, "61.5 degF")
    wrong = corrected(2, first, value="16.5 degF")
    (line,) = fold_call(CALL, [opened(), first, wrong, withdrawn(3, wrong)]).lines
    assert line.body["value"] == "61.5 degF"


def test_a_withdrawal_that_is_withdrawn_brings_the_reading_back() -> None:
    first = reading(1)
    away = withdrawn(2, first)
    assert fold_call(CALL, [opened(), first, away]).lines == ()
    (line,) = fold_call(CALL, [opened(), first, away, withdrawn(3, away)]).lines
    assert line.body == first.body


def test_a_withdrawn_reading_is_still_told_with_its_reason() -> None:
    first = reading(1)
    folded = fold_call(CALL, [opened(), first, withdrawn(2, first, "read at the neighbour's unit", **BO)])
    (line,) = folded.withdrawn
    assert (line.event, line.why) == (first, "read at the neighbour's unit")


def test_a_corrected_time_moves_the_line() -> None:
    early, late = reading(1, at=at(1)), reading(2, "15 degC", at=at(2))
    moved = corrected(3, early, at=at(5))
    folded = fold_call(CALL, [opened(), early, late, moved])
    assert [line.id for line in folded.lines] == [late.id, early.id]


def test_the_complaint_can_be_corrected() -> None:
    folded = fold_call(CALL, [first := opened(complaint="Fog"), corrected(1, first, complaint="Fog at noon")])
    assert folded.complaint == "Fog at noon"


def test_a_correction_into_something_else_is_set_aside_and_the_reading_stands() -> None:
    first = reading(1)
    odd = event(2, "corrected", {"of": first.id, "body": {"text": "no reading at all"}})
    folded = fold_call(CALL, [opened(), first, odd])
    assert folded.lines[0].body == first.body
    (line,) = folded.set_aside
    assert line.event == odd
    assert "not a correction of reading" in line.why


def test_a_correction_that_arrives_before_what_it_corrects_waits_for_it() -> None:
    first = reading(1)
    act = corrected(2, first, value="50 degF")
    before = fold_call(CALL, [opened(), act])
    assert [line.event for line in before.set_aside] == [act]
    (line,) = fold_call(CALL, [opened(), act, first]).lines
    assert line.body["value"] == "50 degF"


def test_a_chain_of_ten_thousand_acts_is_no_trouble() -> None:
    chain = [reading(1)]
    for number in range(2, 10_002):
        chain.append(withdrawn(number, chain[-1]))
    folded = fold_call(CALL, [opened(), *chain])
    assert len(folded.lines) == 1  # an even number of withdrawals, each undoing the one before
    assert len(folded.lines[0].acts) == 10_000


def test_acts_in_a_circle_are_set_aside() -> None:
    one = event(1, "withdrawn", {"of": withdrawn(2, reading(9)).id})
    two = event(2, "withdrawn", {"of": one.id})
    folded = fold_call(CALL, [opened(), one, two])
    assert {line.event for line in folded.set_aside} == {one, two}


# ---------------------------------------------------------------------------------------- held items


def test_two_devices_that_force_different_items_at_once_leave_one_standing_and_say_so() -> None:
    mine = event(1, "force", {"at": at(1), "item": "reheat.command", "to": "100 %"}, **ANN)
    yours = event(2, "force", {"at": at(2), "item": "cooling.call", "to": "100 %"}, **BO)
    let_go = event(3, "release", {"at": at(3), "item": "cooling.call"}, **BO)
    done = event(4, "release", {"at": at(4), "item": "reheat.command"}, **ANN)
    folded = fold_call(CALL, [opened(), mine, yours, let_go, done])
    assert [type(e) for e in read(folded)] == [Force, Release]
    assert {line.event: line.why for line in folded.set_aside} == {
        yours: "another item was still held at that time",
        let_go: "another item was held at that time, not this one",
    }


def test_a_release_of_nothing_is_set_aside() -> None:
    folded = fold_call(CALL, [opened(), event(1, "release", {"at": at(1), "item": "reheat.command"})])
    assert [line.why for line in folded.set_aside] == ["nothing was held at that time"]


# --------------------------------------------------------------------------------------------- times


def test_times_with_a_zone_stand_in_the_order_of_the_moments() -> None:
    later = reading(1, at="2027-05-04T09:00:00-05:00")
    earlier = reading(2, "15 degC", at="2027-05-04T10:00:00+01:00")
    folded = fold_call(CALL, [opened(), later, earlier])
    assert [line.id for line in folded.lines] == [earlier.id, later.id]
    assert [e["at"] for e in folded.document()["events"]] == [earlier.body["at"], later.body["at"]]


def test_where_one_time_has_no_zone_all_are_taken_as_the_clock_of_the_place() -> None:
    phone = reading(1, at="2027-05-04T09:30:00-05:00")
    typed = reading(2, "15 degC", at="2027-05-04T09:20:00")
    folded = fold_call(CALL, [opened(), phone, typed])
    assert [e["at"] for e in folded.document()["events"]] == ["2027-05-04T09:20:00", "2027-05-04T09:30:00"]
    assert all(isinstance(e, Reading) for e in read(folded))


# -------------------------------------------------------------------------------------------- people


def test_the_last_naming_of_a_person_counts() -> None:
    named = [
        event(n, "person_named", {"person": "p1", "name": name}, call_id=None)
        for n, name in ((1, "A"), (2, "B"))
    ]
    assert fold_names(named[::-1]) == {"p1": "B"}


def test_everyone_who_wrote_is_named_in_order() -> None:
    folded = fold_call(CALL, [opened(0, **BO), reading(1, **ANN), reading(2, **BO)])
    assert folded.authors == ("Bo Sample", "Ann Sample")


def test_a_call_whose_opening_has_not_arrived_has_no_unit_yet() -> None:
    folded = fold_call(CALL, [reading(1)])
    assert (folded.opening, folded.unit_id) == (None, None)
    assert len(folded.lines) == 1
