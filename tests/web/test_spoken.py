"""The entry line: what a technician would say, in figures or in words, and what must be asked instead."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sample_documents import HEADS, RECLAIM
from wringout.catalogue.points import point, points_of
from wringout.documents.load import unit_from_text
from wringout.documents.unit import Unit
from wringout.quantity import Dimension, from_si, units_of
from wringout.web.spoken.numbers import number_at, tokens
from wringout.web.spoken.understand import understand
from wringout.web.spoken.understood import Understood

UNIT = unit_from_text(RECLAIM)
UNITS = [UNIT, *(unit_from_text(text) for text in HEADS.values())]


def said(line: str, unit: Unit = UNIT, system: str = "ip") -> dict[str, str]:
    found = understand(line, unit, "si" if system == "si" else "ip")
    assert found.questions == (), found.questions
    assert found.unknown == (), found.unknown
    return {s.point: s.value for s in found.said}


def asked(line: str, unit: Unit = UNIT) -> Understood:
    found = understand(line, unit, "ip")
    assert found.questions or found.unknown
    return found


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("58.5", 58.5),
        ("58 and a half", 58.5),
        ("fifty eight and a half", 58.5),
        ("fifty-eight and a half", 58.5),
        ("58 1/2", 58.5),
        ("58½", 58.5),
        ("58 and 3/4", 58.75),
        ("58 and three quarters", 58.75),
        ("three quarters", 0.75),
        ("3/4", 0.75),
        ("half", 0.5),
        (".42", 0.42),
        ("zero point four two", 0.42),
        ("four point four", 4.4),
        ("4 point 4", 4.4),
        ("one oh four", 104),
        ("one twenty", 120),
        ("one hundred and four", 104),
        ("a hundred", 100),
        ("nine thousand two hundred", 9200),
        ("ninety five hundred", 9500),
        ("9 thousand", 9000),
        ("minus four", -4),
        ("-4", -4),
        ("nineteen", 19),
        ("point two eight", 0.28),
        ("point 28", 0.28),
    ],
)
def test_a_number_in_any_of_its_forms(words: str, value: float) -> None:
    found = tokens(words)
    number = number_at(found, 0)
    assert number is not None
    assert number.value == pytest.approx(value)
    assert number.after == len(found), "all of it"
    assert not number.doubt


def test_a_comma_in_a_number_is_doubted_and_never_taken_for_one_or_the_other() -> None:
    assert "two ways" in asked("supply airflow 9,200 cfm").questions[0].why
    assert "two ways" in asked("supply 58,5").questions[0].why


def test_the_line_of_the_trade() -> None:
    line = "supply 58 and a half, return 71 and 48 percent, valve signal 4.4 volts, water into the coil 104"
    expected = {
        "supply.t": "58.5 degF",
        "return.t": "71 degF",
        "return.rh": "48 %",
        "reheat.signal": "4.4 V",
        "reheat.water_in": "104 degF",
    }
    assert said(line) == expected
    in_words = (
        "supply fifty-eight and a half, return seventy one and forty eight percent, "
        "valve signal four point four volts, water into the coil one oh four"
    )
    assert said(in_words) == expected


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("outside 88 and 55 percent", {"outdoor.t": "88 degF", "outdoor.rh": "55 %"}),
        ("71 in the return", {"return.t": "71 degF"}),
        ("supply humidity 62", {"supply.rh": "62 %"}),
        ("return 71 humidity 48", {"return.t": "71 degF", "return.rh": "48 %"}),
        ("supply 58 return 71", {"supply.t": "58 degF", "return.t": "71 degF"}),
        ("coil leaving 51", {"coil_leaving.t": "51 degF"}),
        ("off the coil 51.5 degrees", {"coil_leaving.t": "51.5 degF"}),
        ("mixed air 73", {"mixed.t": "73 degF"}),
        ("filter 0.42 inches", {"filter.drop": "0.42 inWC"}),
        ("filter 105 pascals", {"filter.drop": "105 Pa"}),
        ("fan 52 hertz and 13.2 amps", {"fan.speed": "52 Hz", "fan.current": "13.2 A"}),
        ("condensate 61 pounds an hour", {"condensate.rate": "61 lb/h"}),
        ("supply airflow nine thousand two hundred cfm", {"supply.airflow": "9200 cfm"}),
        ("stage one 27 amps, stage two 21 amps", {"stage.a1.current": "27 A", "stage.a2.current": "21 A"}),
        ("compressor 2 current 21", {"stage.a2.current": "21 A"}),
        ("second stage superheat 14 degrees", {"stage.a2.superheat": "14 delta_degF"}),
        ("a1 condensing over outdoor 22", {"stage.a1.condensing_over_outdoor": "22 delta_degF"}),
        ("signal 12 milliamps, stem 40 percent", {"reheat.signal": "12 mA", "reheat.stem": "40 %"}),
        ("loop flow 22.4 gpm, pump head 38 feet", {"loop.flow": "22.4 gpm", "pump.head": "38 ft"}),
        ("strainer 1 1/2 psi", {"strainer.drop": "1.5 psi"}),
        ("flow through the coil 8 gallons a minute", {"reheat.water_flow": "8 gpm"}),
        ("hot water into the coil 104, out 92",
         {"reheat.water_in": "104 degF", "reheat.water_out": "92 degF"}),
        ("water into the exchanger 88, water out of the exchanger 112",
         {"source.water_in": "88 degF", "source.water_out": "112 degF"}),
        ("gas in 180, gas out 120", {"reclaim.gas_in": "180 degF", "reclaim.gas_out": "120 degF"}),
        ("dehumidifying yes", {"shown.dehumidifying": "yes"}),
        ("not dehumidifying", {"shown.dehumidifying": "no"}),
        ("two stages called", {"shown.stages_called": "2 count"}),
        ("reheat in hand", {"shown.reheat_in_hand": "yes"}),
        ("reheat command 100 percent", {"shown.reheat_command": "100 %"}),
        ("dew point set point 53", {"shown.setpoint_dew_point": "53 degF"}),
        ("outdoor dew point 71", {"shown.outdoor_dew_point": "71 degF"}),
        ("supply.t 58.5 degF; stage.a1.current 12 A", {"supply.t": "58.5 degF", "stage.a1.current": "12 A"}),
        ("minus 4 outside", {"outdoor.t": "-4 degF"}),
    ],
)  # fmt: skip
def test_words_of_the_trade(line: str, expected: dict[str, str]) -> None:
    assert said(line) == expected


def test_after_a_display_is_named_its_own_values_are_meant() -> None:
    line = "display dew point 54, space 74.2, supply 61, two stages called, reheat command 100 percent"
    assert said(line) == {
        "shown.dew_point": "54 degF",
        "shown.space_t": "74.2 degF",
        "shown.supply_t": "61 degF",
        "shown.stages_called": "2 count",
        "shown.reheat_command": "100 %",
    }
    assert said("display space 74; supply 58") == {"shown.space_t": "74 degF", "supply.t": "58 degF"}


def test_without_a_unit_the_reader_s_own_is_taken_and_noted() -> None:
    assert said("supply 14.5", system="si") == {"supply.t": "14.5 degC"}
    assert "degF" in understand("supply 58", UNIT, "ip").said[0].note
    assert understand("supply 58 degrees fahrenheit", UNIT, "si").said[0].note == ""


@pytest.mark.parametrize(
    ("line", "choices"),
    [
        ("stage two 21", {"stage.a2.current", "stage.a2.superheat"}),
        ("supply 58, 60", {"supply.rh", "supply.airflow"}),
        ("reheat 40", {"reheat.stem", "reheat.water_in", "reheat.water_out", "reheat.water_flow"}),
        ("water 104", {"reheat.water_in", "reheat.water_out", "source.water_in", "source.water_out"}),
    ],
)
def test_what_can_mean_two_things_is_asked(line: str, choices: set[str]) -> None:
    found = asked(line)
    assert {c.point for q in found.questions for c in q.choices} >= choices


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("12", "where was it read"),
        ("supply 58 volts", "not in V"),
        ("return dew point 55", "no such point"),
        ("chilled water in 45", "no such point"),
        ("space 74 degrees celsius", "slip"),
        ("supply", "no value"),
        ("hold cooling at 50 percent", "nothing between"),
    ],
)
def test_what_cannot_be_is_told_and_not_kept(line: str, why: str) -> None:
    found = understand(line, UNIT, "ip")
    assert found.said == ()
    assert any(word in q.why for q in found.questions for word in why.split("|")), found


def test_a_number_behind_words_that_were_not_understood_is_not_put_somewhere() -> None:
    found = asked("outside 85 and 60 percent, flimflam 3")
    assert {s.point for s in found.said} == {"outdoor.t", "outdoor.rh"}
    assert found.unknown == ("flimflam",)


def test_what_cannot_be_read_is_noted_as_such() -> None:
    found = understand("supply airflow not readable, stage 1 superheat can't be read", UNIT, "ip")
    assert [u.point for u in found.unreadable] == ["supply.airflow", "stage.a1.superheat"]
    assert found.clear


def test_what_is_held_by_hand() -> None:
    held = understand("reheat command forced to 100 percent", UNIT, "ip").held
    assert [(h.item, h.to) for h in held] == [("reheat.command", "100 %")]
    held = understand("released the reheat command", UNIT, "ip").held
    assert [(h.item, h.to) for h in held] == [("reheat.command", "")]


def test_chilled_water_units_have_their_own_words() -> None:
    unit = unit_from_text(HEADS["chilled boiler two-way"])
    assert said("chilled water in 45 and out 55", unit) == {
        "chilled.water_in": "45 degF",
        "chilled.water_out": "55 degF",
    }
    both = understand("water into the coil 104", unit, "ip")
    assert {c.point for q in both.questions for c in q.choices} == {"chilled.water_in", "reheat.water_in"}


# ------------------------------------------------------------------------------------ for all of them


@st.composite
def readings(draw: st.DrawFn) -> tuple[Unit, list[tuple[str, str]]]:
    unit = draw(st.sampled_from(UNITS))
    names = draw(st.lists(st.sampled_from(points_of(unit)), min_size=1, max_size=6, unique=True))
    found = []
    for name in names:
        entry = point(name)
        if entry.dimension is Dimension.YES_NO:
            found.append((name, draw(st.sampled_from(["yes", "no"]))))
            continue
        units = [u for u in units_of(entry.dimension) if u not in ("psig", "barg")]
        written = draw(st.sampled_from(units))
        share = draw(st.floats(0.02, 0.98))
        number = float(from_si(entry.low + share * (entry.high - entry.low), written, entry.dimension))
        text = f"{number:.0f}" if entry.dimension is Dimension.COUNT else f"{number:.3f}"
        found.append((name, f"{text} {written}"))
    return unit, found


@settings(max_examples=150, deadline=None)
@given(readings())
def test_every_reading_of_every_unit_comes_back_as_it_was_said(
    drawn: tuple[Unit, list[tuple[str, str]]],
) -> None:
    unit, wanted = drawn
    line = ", ".join(f"{name} {value}" for name, value in wanted)
    found = understand(line, unit, "ip")
    assert found.questions == ()
    assert found.unknown == ()
    assert [s.point for s in found.said] == [name for name, _ in wanted]
    for s, (_, value) in zip(found.said, wanted, strict=True):
        number, _, written = value.partition(" ")
        if written:
            assert s.value.partition(" ")[2] == written
            assert float(s.value.partition(" ")[0]) == pytest.approx(float(number))
        else:
            assert s.value == value


WORDS = (
    "supply return valve water into the coil 58 and a half 4.4 volts percent , ; not readable hold reheat "
    "at 100 stage one two dehumidifying yes no display dew point - / 1/0 3,5 ½ release in out chilled"
)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.sampled_from(WORDS.split()),
            st.text(max_size=8),
        ),
        max_size=25,
    )
)
def test_no_line_is_an_error_and_whatever_is_kept_can_be_kept(words: list[str]) -> None:
    from wringout.quantity import parse

    for unit in UNITS[:2]:
        found = understand(" ".join(words), unit, "ip")
        for s in found.said:
            entry = point(s.point)
            assert s.point in points_of(unit)
            assert entry.low <= parse(s.value, entry.dimension).value <= entry.high


@pytest.mark.parametrize(
    ("line", "values"),
    [
        # sounds between, decimals without a nought, what goes in at one place and comes out
        ("um the return is about 58 uh 70 percent", {"return.t": "58 degF", "return.rh": "70 %"}),
        ("filter is point two eight inches", {"filter.drop": "0.28 inWC"}),
        ("water off the coil 88 and a quarter", {"reheat.water_out": "88.25 degF"}),
        (
            "gas into the exchanger 165, out 104",
            {"reclaim.gas_in": "165 degF", "reclaim.gas_out": "104 degF"},
        ),
        (
            "display says dew point 47, both stages on, reheat at 55",
            {"shown.dew_point": "47 degF", "shown.stages_called": "2 count", "shown.reheat_command": "55 %"},
        ),
        ("supply is 64, no, make that 66", {"supply.t": "66 degF"}),
        ("return 58 and 70 percent, I mean 68 percent", {"return.t": "58 degF", "return.rh": "68 %"}),
    ],
)
def test_talk_as_it_comes(line: str, values: dict[str, str]) -> None:
    assert said(line) == values


def test_a_slip_put_right_without_its_value_is_asked_and_not_kept() -> None:
    found = asked("supply 64, make that")
    assert found.said == ()


def test_what_cannot_be_read_may_be_said_before_its_place() -> None:
    found = understand("can't read the loop flow, supply 64", UNIT, "ip")
    assert [u.point for u in found.unreadable] == ["loop.flow"]
    assert [s.point for s in found.said] == ["supply.t"]
    assert found.clear


@pytest.mark.parametrize(
    ("line", "held"),
    [
        ("I put the reheat at 100", [("reheat.command", "100 %")]),
        ("put the reheat command to zero", [("reheat.command", "0 %")]),
        ("reheat back to auto", [("reheat.command", "")]),
    ],
)
def test_a_state_may_be_put_and_given_back_in_plain_words(line: str, held: list[tuple[str, str]]) -> None:
    found = understand(line, UNIT, "ip")
    assert [(h.item, h.to) for h in found.held] == held
    assert found.clear


def test_a_probe_that_was_put_somewhere_holds_nothing() -> None:
    found = understand("put the probe on the reheat water in, 98", UNIT, "ip")
    assert found.held == ()
