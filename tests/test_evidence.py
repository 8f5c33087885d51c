"""Evidence: bits that add up, readings that show what they should, words that a technician can use.

The calls are made by our own machine with a known cause acting, so they test that evidence says what the
machine says; they say nothing about other machines.
"""

from __future__ import annotations

import math
import re
from datetime import timedelta

import numpy as np
import pytest

from evidence_cases import DEMO, START, made, reading, weighed
from wringout.catalogue.causes import applies, causes
from wringout.catalogue.points import POINTS, points_of
from wringout.documents.call import Call, Change, Reading
from wringout.documents.load import load_unit
from wringout.weighing.answer import Answer, weigh
from wringout.weighing.evidence import (
    best_with,
    best_without,
    doubtful,
    evidence,
    fitted,
    mended,
    polished,
    still_wrong,
    suspect,
    suspects,
)
from wringout.weighing.evidence_words import (
    difference,
    evidence_words,
    extent_words,
    in_words,
    plain,
    set_title,
    state_words,
    telling_words,
    title,
    with_spread,
)
from wringout.weighing.outlook import Outlook

# cause -> unit, severities, variant, what is read besides the walk-up, and the evidence that shows the cause
SHOWN_BY: dict[str, tuple[str, tuple[float, ...], str, tuple[str, ...], set[str]]] = {
    "strainer-plugged": ("ice_hall", (0.3,), "", ("strainer.drop", "pump.head"), {"strainer.drop"}),
    "pump-weak": ("film_vault", (0.5,), "", ("pump.head", "loop.flow"), {"pump.head", "loop.flow"}),
    "coil-leg-restricted": (
        "ice_hall",
        (0.5,),
        "",
        ("reheat.water_flow", "loop.flow", "reheat.water_out"),
        # with the valve wide open its leg is the whole loop, so the main shows it too
        {"reheat.water_flow", "reheat.water_out", "loop.flow"},
    ),
    "filter-loaded": ("film_vault", (0.4,), "", ("filter.drop",), {"filter.drop"}),
    "fan-slow": ("ice_hall", (0.5,), "", ("fan.speed", "fan.current"), {"fan.speed", "fan.current"}),
    "compressor-out": ("ice_hall", (), "stage south", ("stage.south.current",), {"stage.south.current"}),
    # stuck open at half a command: the stem says so, and so does a supply that is far too warm
    "valve-stuck": ("ice_hall", (0.95,), "", ("reheat.stem",), {"reheat.stem", "supply.t", "shown.supply_t"}),
    "signal-reversed": ("film_vault", (), "", ("reheat.signal",), {"reheat.signal"}),
    # what the valve is asked for is not read: the stem can be right only where dew point and call do not fit
    "chilled-valve-stuck": ("film_vault", (0.3,), "", ("chilled.stem",), {"chilled.stem", "modulation"}),
    "dew-sensor-low": ("film_vault", (0.6,), "", (), {"return.rh", "space.rh", "supply.rh"}),
    "supply-sensor-off": ("ice_hall", (0.5,), "reads high", (), {"shown.supply_t"}),
}
ROOM = ("room heat", "room moisture")  # these calls do not let the room come to rest


# where half a command would hide the cause: a signal upside down is right in the middle, and a valve that is
# half shut hides what its leg does
COMMAND = {"signal-reversed": 0.2, "coil-leg-restricted": 0.98}


def case(cause: str) -> Answer:
    folder, severities, variant, points, _ = SHOWN_BY[cause]
    return weighed(folder, cause, severities, points, variant, "", COMMAND.get(cause, 0.5))


@pytest.mark.parametrize("cause", SHOWN_BY)
def test_the_strongest_reading_is_one_that_shows_the_cause(cause: str) -> None:
    answer = case(cause)
    one = suspect(answer, cause)
    assert one is not None
    assert answer.marginals[cause] > 0.5
    strongest = next(e for e in one.explains if e.name not in ROOM)
    assert strongest.bits > 2.0
    assert strongest.name in SHOWN_BY[cause][4]


@pytest.mark.parametrize("cause", ["strainer-plugged", "compressor-out", "dew-sensor-low"])
def test_the_bits_of_all_readings_add_up_to_the_difference_of_the_likelihoods(cause: str) -> None:
    answer = case(cause)
    pairs = [(s.mine, s.rival, s.evidence) for s in suspects(answer, least=0.0, most=8)]
    pairs += [(s.mine, s.bare, s.explains) for s in suspects(answer, least=0.0, most=8)]
    assert len(pairs) == 16
    for mine, other, taken in pairs:
        (f, k), (g, j) = polished(answer, (mine, other))
        whole = float(f.log_likelihood[k] - g.log_likelihood[j]) / math.log(2.0)
        assert sum(e.bits for e in taken) == pytest.approx(whole, abs=1e-8)


def test_a_balance_is_the_whole_difference_of_the_posteriors() -> None:
    answer = case("strainer-plugged")
    for one in suspects(answer, least=0.0, most=6):
        whole = math.log2(float(answer.weights[one.mine] / answer.weights[one.rival]))
        assert one.balance.total == pytest.approx(whole)
        assert one.balance.readings == pytest.approx(sum(e.bits for e in one.evidence))


def test_evidence_for_one_is_evidence_against_the_other() -> None:
    answer = case("fan-slow")
    mine, rival = best_with(answer, "fan-slow"), best_without(answer, "fan-slow")
    assert mine is not None
    assert rival is not None
    there, back = evidence(answer, mine, rival), evidence(answer, rival, mine)
    assert [e.bits for e in there] == pytest.approx([-e.bits for e in back])
    assert [e.suspect for e in there] == pytest.approx([e.rival for e in back], nan_ok=True)


def test_every_reading_but_those_that_are_the_state_is_weighed_once() -> None:
    answer = case("filter-loaded")
    one = suspect(answer, "filter-loaded")
    assert one is not None
    read = [o.point for s in answer.problem.situations for o in s.observations]
    told = [e.name for e in one.evidence if e.observation is not None]
    assert sorted(told) == sorted(set(read) - {"shown.dehumidifying", "shown.stages_called"})
    assert any(e.observation is None for e in one.evidence), "relations are evidence too"


def test_the_rival_does_without_the_suspect_and_the_bare_set_is_the_suspects_own_less_it() -> None:
    answer = case("compressor-out")
    for one in suspects(answer, least=0.0, most=8):
        hypotheses = answer.weighed.hypotheses
        if one.cause:
            assert one.cause in hypotheses[one.mine].causes
            assert one.cause not in hypotheses[one.rival].causes
            assert set(hypotheses[one.bare].causes) <= set(hypotheses[one.mine].causes) - {one.cause}
        else:
            assert hypotheses[one.mine].causes == ()
            assert hypotheses[one.rival].causes != ()


def test_a_severity_is_found_with_its_spread() -> None:
    one = suspect(case("strainer-plugged"), "strainer-plugged")
    assert one is not None
    assert one.extent is not None
    assert one.extent.low < one.extent.middle < one.extent.high
    assert one.extent.middle == pytest.approx(0.3, abs=0.15)
    words = extent_words(one, one.extent, "si")
    assert words.startswith("main flow as a share of healthy: about 3")
    stage = suspect(case("compressor-out"), "compressor-out")
    assert stage is not None
    assert stage.extent is None
    assert stage.variant == "stage south"


def test_a_cause_that_no_set_holds_is_no_suspect() -> None:
    answer = case("filter-loaded")
    assert not applies("compressor-out", answer.problem.design.unit)
    assert suspect(answer, "compressor-out") is None
    with pytest.raises(IndexError, match="hypothesis"):
        fitted(answer, len(answer.weighed.hypotheses))


def test_a_slip_is_named_for_reading_again() -> None:
    answer = weighed("film_vault", "", (), ("filter.drop", "reheat.signal"), "", "supply.rh")
    assert [d.observation.point for d in doubtful(answer)] == ["supply.rh"]
    assert doubtful(answer)[0].off > 3.0


# ------------------------------------------------------------------------------- relations in words


def relation(call: Call, cause: str, name: str) -> tuple[float, str]:
    one = suspect(weigh(call, np.random.default_rng(0), checks=False), cause)
    assert one is not None
    found = next(e for e in one.explains if e.name == name)
    return found.bits, evidence_words(found, "si")


def test_a_command_that_stands_against_its_room_speaks_for_an_output_in_hand() -> None:
    call = made("ice_hall", {"output-in-hand": ()}, (), command=0.57, warmer=2.5)
    bits, words = relation(call, "output-in-hand", "reheat control")
    assert bits > 2.0
    assert re.fullmatch(
        r"the reheat command stands at 57\.\d % with the space 2\.\d degC over its set point: "
        r"fits with it, not without",
        words,
    )


def test_a_unit_that_stands_still_in_a_wet_room_speaks_for_a_lock_out() -> None:
    call = made("film_vault", {}, ())
    events = [e for e in call.events if not (isinstance(e, Reading) and e.point in STANDING)]
    events += [
        reading("shown.dehumidifying", 0.0, START + timedelta(hours=1)),
        reading("shown.stages_called", 0.0, START + timedelta(hours=1)),
        reading("shown.reheat_command", 0.0, START + timedelta(hours=1)),
        reading("shown.dew_point", call.unit.control.dew_point + 4.0, START + timedelta(hours=1)),
    ]
    standing = Call(unit=call.unit, complaint="", events=tuple(events))
    found = weigh(standing, np.random.default_rng(0), checks=False)
    assert found.sets[0].causes == ("locked-out",)
    one = suspect(found, "locked-out")
    assert one is not None
    # the rival has to take either the standing still or the dew point for a slip: what speaks is both
    told = {e.name: e.bits for e in one.explains}
    assert told["dehumidifying"] + told["shown.dew_point"] > 0.5
    _, words = relation(standing, "locked-out", "dehumidifying")
    assert re.fullmatch(
        r"the unit does not dehumidify with the dew point it sees \d\.\d degC over its set point: fits .*",
        words,
    )


STANDING = (
    "shown.dehumidifying",
    "shown.stages_called",
    "shown.reheat_command",
    "shown.dew_point",
    "supply.t",
    "supply.rh",
    "shown.supply_t",
    "return.rh",
    "space.rh",
)


def test_a_room_balance_is_told_on_both_sides() -> None:
    answer = case("filter-loaded")
    one = suspect(answer, "filter-loaded")
    assert one is not None
    room = {e.name: e for e in one.explains if e.name.startswith("room")}
    ip, si = (evidence_words(room["room moisture"], system) for system in ("ip", "si"))
    shape = (
        r"room moisture, gained / taken out by the supply air: "
        r"computed \S+ / \S+ {0} with it, \S+ / \S+ {0} without"
    )
    assert re.fullmatch(shape.format("lb/h"), ip)
    assert re.fullmatch(shape.format("kg/h"), si)
    assert "Btu/h with it" in evidence_words(room["room heat"], "ip")
    assert "kW with it" in evidence_words(room["room heat"], "si")


# --------------------------------------------------------------------------------- plain words


IDS = re.compile(
    r"(?<![\w.])(?:"
    + "|".join(re.escape(name).replace("<id>", r"(?:<id>|\w+)") for name in POINTS)
    + r")(?![\w.]*\w)|(?:reheat\.command|cooling\.call)"
)


def test_no_text_of_a_suspect_holds_an_id_of_a_point() -> None:
    for cause in SHOWN_BY:
        answer = case(cause)
        outlook_of = suspects(answer, least=0.0, most=3)
        outlook = Outlook(
            answer, [i for s in outlook_of for i in (s.mine, s.rival)], np.random.default_rng(1)
        )
        for one in outlook_of:
            for system in ("ip", "si"):
                texts = [evidence_words(e, system) for e in (*one.evidence, *one.explains)]
                texts += [telling_words(t, system) for t in outlook.tellings(one.mine, one.rival)]
                for text in texts:
                    assert not IDS.search(text), text
                    assert "nan" not in text


@pytest.mark.parametrize("id", causes())
def test_no_text_of_the_catalogue_keeps_an_id_of_a_point_once_in_words(id: str) -> None:
    cause = causes()[id]
    texts = [cause.expected, cause.verify, cause.statement, *cause.remedy, *(s.tell for s in cause.similar)]
    for text in texts:
        assert not IDS.search(in_words(text)), in_words(text)


def test_ids_in_a_text_become_places_and_states_become_what_the_hand_does() -> None:
    words = in_words("supply.t follows reheat.stem at reheat.command=0 % and 100 %.")
    assert words == (
        "Temperature of supply air behind fan and reheat coil follows position shown by the reheat actuator "
        "(0 % coil shut) at the reheat command held at 0 % and 100 %."
    )
    assert "each stage's compressor" in in_words("stage.<id>.current back at its usual value")


def test_points_at_one_place_have_names_of_their_own() -> None:
    unit = load_unit(DEMO / "ice_hall" / "unit.yaml")
    names = [plain(name) for name in points_of(unit)]
    assert len(set(names)) == len(names)
    assert plain("stage.south.current") == "current of stage south's compressor"


def test_states_and_sets_are_said_as_one_would_say_them() -> None:
    assert state_words("auto") == "as the unit runs"
    assert state_words("reheat.command=50 %") == "with the reheat command held at 50 %"
    assert state_words("cooling.call=0 %") == "with cooling held off by hand"
    assert state_words("cooling.call=100 %") == "with all cooling called by hand"
    assert set_title(()) == title("") == "Nothing wrong"
    assert set_title(("fan-slow", "pump-off")) == "Fan too slow + Loop pump stands still"
    assert title("compressor-out", "stage south") == "Compressor does not run (stage south)"


def test_a_value_ends_where_its_spread_ends() -> None:
    assert with_spread("supply.t", 20.0, 0.5, "si") == "20.0 +-0.5 degC"
    assert with_spread("supply.t", 20.0, 0.5, "ip") == "68.0 +-0.9 degF"
    assert with_spread("supply.airflow", 3.4, 0.2, "si") == "3.40 +-0.20 m3/s"
    assert with_spread("strainer.drop", 123_330.0, 12_170.0, "si") == "123 +-12 kPa"
    assert with_spread("condensate.rate", -1e-6, 2e-4, "si") == "0.00 +-0.72 kg/h"
    assert with_spread("shown.reheat_in_hand", 1.0, 0.0, "si") == "yes"
    assert with_spread("shown.stages_called", 2.0, 0.0, "ip") == "2"
    assert difference(-2.5, "si") == "2.5 degC"
    assert difference(2.5, "ip") == "4.5 degF"


# ------------------------------------------------------------------------------ after a repair


def test_after_the_repair_nothing_is_wrong_any_more() -> None:
    before = made("film_vault", {"filter-loaded": (0.4,)}, ("filter.drop",))
    after = made("film_vault", {}, ("filter.drop",), seed=8)
    change = Change(at=START + timedelta(hours=2), cause="filter-loaded", text="new filters")
    later = tuple(e.model_copy(update={"at": e.at + timedelta(hours=3)}) for e in after.events)
    call = Call(unit=before.unit, complaint="", events=(*before.events, change, *later))
    answer = weigh(call, np.random.default_rng(0), checks=False)
    assert mended(answer) == {"filter-loaded"}
    now = still_wrong(answer)
    assert now[0][0] == ()
    assert now[0][1] > 0.5
    assert answer.marginals["filter-loaded"] > 0.8, "it was wrong all the same"
    assert sum(p for _, p in now) == pytest.approx(sum(s.probability for s in answer.sets))


def test_without_a_change_still_wrong_is_what_is_wrong() -> None:
    answer = case("fan-slow")
    assert mended(answer) == frozenset()
    assert list(still_wrong(answer)) == [(s.causes, pytest.approx(s.probability)) for s in answer.sets]
