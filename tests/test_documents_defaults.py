"""What is assumed is stated, hangs together, and never contradicts what was given."""

from __future__ import annotations

import math

import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sample_documents import HEADS, RECLAIM
from wringout.documents.load import unit_from_text
from wringout.documents.overview import overview, system_of
from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.quantity import from_si


@pytest.fixture(params=HEADS, ids=lambda name: name.replace(" ", "-"))
def unit(request: pytest.FixtureRequest) -> Unit:
    return unit_from_text(HEADS[request.param])


def test_every_field_has_a_source(unit: Unit) -> None:
    paths = [entry.path for entry in overview(unit, "ip")]
    assert set(paths) == set(unit.provenance)
    assert len(paths) == len(set(paths))
    for source in unit.provenance.values():
        assert (source.kind == "given") == bool(source.text)
        assert (source.kind == "assumed") == bool(source.rule)
        assert source.sigma >= 0.0
        assert source.kind == "assumed" or source.sigma == 0.0


def test_a_kind_has_its_own_fields_and_no_others(unit: Unit) -> None:
    dx, water = unit.cooling.kind == "dx", unit.reheat.kind == "hot_water"
    rated = unit.cooling.rated
    assert bool(unit.cooling.stages) == dx
    assert (unit.cooling.superheat is not None) == dx
    assert (rated.outdoor_t is not None) == dx
    assert (rated.water_in is None) == (rated.water_flow is None) == dx
    assert (unit.loop is not None) == (unit.source is not None) == water
    assert (unit.reheat.rated.water_flow is not None) == water
    assert (unit.reheat.rated.condensing_t is not None) == (not water)
    assert (unit.reheat.valve.placement is None) == (unit.reheat.valve.ways == "two")
    if unit.source is not None:
        reclaim = unit.source.kind == "reclaim"
        assert (unit.source.refrigerant is not None) == (unit.source.gas is not None) == reclaim


def test_rated_cooling_is_a_state_that_moist_air_can_have(unit: Unit) -> None:
    """The air leaving the rated coil is nearly saturated, not beyond it (psychrolib 2, sea level)."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    rated = unit.cooling.rated
    flow = 1.2 * rated.airflow
    before = psychrolib.GetHumRatioFromTWetBulb(rated.entering_t, rated.entering_wb, 101325.0)
    enthalpy = psychrolib.GetMoistAirEnthalpy(rated.entering_t, before) - rated.total / flow
    leaving = rated.entering_t - rated.sensible / (flow * 1026.0)
    after = psychrolib.GetHumRatioFromEnthalpyAndTDryBulb(enthalpy, leaving)
    assert 0.80 < psychrolib.GetRelHumFromHumRatio(leaving, after, 101325.0) < 1.0


@pytest.mark.parametrize("tons", [12, 16, 20, 24])
def test_the_sensible_share_follows_the_air_a_ton_gets(tons: int) -> None:
    text = HEADS["dx reclaim"].replace(
        "{id: c2}]", f"{{id: c2}}], rated: {{total: {tons} ton, airflow: 4800 cfm}}"
    )
    test_rated_cooling_is_a_state_that_moist_air_can_have(unit_from_text(text))


@pytest.mark.parametrize("head", [name for name, text in HEADS.items() if "hot_water" in text])
def test_coil_loop_and_source_carry_the_same_heat(head: str) -> None:
    unit = unit_from_text(HEADS[head])
    rated, loop, source = unit.reheat.rated, unit.loop, unit.source
    assert loop is not None
    assert source is not None
    assert rated.water_flow is not None
    assert rated.water_in is not None
    drop = rated.heat / (rated.water_flow * 990.0 * 4180.0)
    assert 8.0 < drop < 20.0
    air = rated.entering_t + rated.heat / (rated.airflow * 1.2 * 1006.0)
    assert air < rated.water_in - drop + 5.0
    assert source.rated.heat == pytest.approx(1.15 * rated.heat)
    assert source.rated.water_out == rated.water_in
    bypass = loop.flow / rated.water_flow
    assert bypass == pytest.approx(7 / 6 if unit.reheat.valve.ways == "two" else 1.0)
    assert 5.0 < loop.pump_head < 25.0
    if source.gas is not None:
        assert source.gas.in_ > source.rated.water_out
        assert source.gas.out > source.rated.water_out - source.rated.heat / (loop.flow * 990 * 4180)


def test_stage_shares_left_out_divide_what_is_left() -> None:
    stages = "[{id: c1, share: 40 %, current: 20 A}, {id: c2}, {id: c3}]"
    unit = unit_from_text(HEADS["dx reclaim"].replace("[{id: c1}, {id: c2}]", stages))
    assert [stage.share for stage in unit.cooling.stages] == pytest.approx([0.4, 0.3, 0.3])
    assert [stage.current for stage in unit.cooling.stages] == pytest.approx([20.0, 15.0, 15.0])


def test_a_speed_tells_of_a_variable_drive() -> None:
    air = "air: {supply_airflow: 8000 cfm"
    with_speed = HEADS["dx reclaim"].replace(air, f"{air}, supply_fan: {{speed: 50 Hz}}")
    assert unit_from_text(with_speed).air.supply_fan.drive == "variable"
    plain = unit_from_text(HEADS["dx reclaim"]).air.supply_fan
    assert (plain.drive, plain.speed) == ("belt", None)


def test_set_points_and_design_stand_in_for_one_another() -> None:
    one = unit_from_text(HEADS["dx reclaim"] + "control: {space_t: 84 degF, dew_point: 66 degF}\n")
    other = unit_from_text(HEADS["dx reclaim"] + "space: {design: {t: 84 degF, dew_point: 66 degF}}\n")
    assert one.space.design == other.space.design
    assert one.control == other.control


@pytest.mark.parametrize(
    "lines",
    [
        "control: {dew_point: 72 degF}",  # a swimming hall, no space temperature given
        "control: {space_t: 50 degF}",
        "space: {design_day: {outdoor_dew_point: 81 degF}}",
        "space: {design_day: {outdoor_t: 70 degF}}",
        "loop: {flow: 4 gpm}",
        "loop: {flow: 400 gpm}",
        "loop: {fluid: ethylene_glycol}",
    ],
)
def test_one_unusual_value_does_not_set_the_rest_against_it(lines: str) -> None:
    unit_from_text(HEADS["dx reclaim"] + lines + "\n")


@pytest.mark.parametrize(
    "source",
    [
        "rated: {heat: 40 MBH}",
        "rated: {heat: 4000 MBH}",
        "rated: {water_out: 80 degF}",
        "rated: {water_out: 170 degF}",
        "gas: {in: 112 degF}",
        "gas: {in: 300 degF}",
        "refrigerant: R513A",
    ],
)
def test_one_unusual_source_does_not_set_the_rest_against_it(source: str) -> None:
    unit_from_text(HEADS["dx reclaim"].replace("reclaim}", f"reclaim, {source}}}"))


# every single number of the sample, given alone with the head of its kind, must be enough
PATHS = [
    (entry.path, entry.shown)
    for entry in overview(unit_from_text(RECLAIM), "ip")
    if entry.given and entry.path.split(".")[0] in ("air", "loop", "source", "space", "control", "site")
]


@given(data=st.data())
@settings(max_examples=150, deadline=None)
def test_any_part_of_a_good_document_is_a_good_document(data: st.DataObject) -> None:
    tree: dict[str, object] = {}
    for path, shown in [*data.draw(st.lists(st.sampled_from(PATHS))), *HEAD]:
        place = tree
        *parents, leaf = path.split(".")
        for parent in parents:
            place = place.setdefault(parent, {})  # type: ignore[assignment]
        place[leaf] = shown
    if "concentration" in tree.get("loop", {}):  # type: ignore[operator]
        tree["loop"]["fluid"] = "propylene_glycol"  # type: ignore[index]
    unit = unit_from_text(repr(tree).replace("'", '"').replace('"[', "[").replace(']"', "]"))
    for path, source in unit.provenance.items():
        assert source.kind == "assumed" or path.startswith("cooling.stages") or source.line == 1


HEAD = [
    ("format", "wringout-unit/1"),
    ("name", "Part of a document"),
    ("air.supply_airflow", "6200 cfm"),
    ("cooling.kind", "dx"),
    ("cooling.stages", "[{id: a1}, {id: a2}]"),
    ("reheat.kind", "hot_water"),
    ("reheat.valve.ways", "three"),
    ("source.kind", "reclaim"),
]


@given(
    airflow=st.floats(200, 150_000),
    cooling=st.sampled_from(["dx, stages: [{id: c1}]", "chilled_water"]),
    source=st.sampled_from(["reclaim", "boiler"]),
    ways=st.sampled_from(["three", "two"]),
)
@settings(max_examples=60, deadline=None)
def test_assumptions_scale_with_the_unit(airflow: float, cooling: str, source: str, ways: str) -> None:
    unit = unit_from_text(
        f"{{format: wringout-unit/1, name: x, air: {{supply_airflow: {airflow:.1f} cfm}}, "
        f"cooling: {{kind: {cooling}}}, reheat: {{kind: hot_water, valve: {{ways: {ways}}}}}, "
        f"source: {{kind: {source}}}}}"
    )
    assert from_si(unit.cooling.rated.total, "ton", "power") == pytest.approx(airflow / 350.0, rel=1e-3)
    assert unit.loop is not None
    velocity = unit.loop.flow / (math.pi / 4 * unit.loop.pipe.size**2)
    assert velocity < 1.5


def test_a_document_in_si_is_shown_in_si() -> None:
    assert system_of(unit_from_text(HEADS["dx boiler"])) == "si"
    assert system_of(unit_from_text(HEADS["dx reclaim"])) == "ip"


def test_contradictions_name_what_was_assumed() -> None:
    text = HEADS["dx reclaim"] + "control: {dew_point: 90 degF}\nspace: {design: {t: 75 degF}}\n"
    with pytest.raises(InputError, match="must be below"):
        unit_from_text(text)
