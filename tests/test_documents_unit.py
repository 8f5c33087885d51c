"""A unit document is read whole, in SI, or refused with the line and field that must be mended."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import yaml
from pydantic import BaseModel, ValidationError

from sample_documents import HEADS, RECLAIM
from wringout.documents.load import load_unit, unit_from_text
from wringout.documents.unit import Unit
from wringout.errors import InputError


def test_every_field_is_read_into_si() -> None:
    unit = unit_from_text(RECLAIM)
    assert unit.site.altitude == pytest.approx(94.488)
    assert unit.air.supply_airflow == pytest.approx(2.92607, rel=1e-5)
    assert unit.air.supply_fan.speed == 49.0
    assert unit.air.filter_drop == pytest.approx(94.654, rel=1e-4)
    assert unit.stage_ids == ("a1", "a2")
    assert [stage.share for stage in unit.cooling.stages] == [0.4, 0.6]
    assert [stage.modulating for stage in unit.cooling.stages] == [True, False]
    assert unit.cooling.rated.total == pytest.approx(70337.06, rel=1e-6)
    assert unit.cooling.rated.water_in is None
    assert unit.cooling.superheat == pytest.approx(11 / 1.8)
    assert unit.reheat.valve.signal.low == pytest.approx(2.0)
    assert unit.reheat.valve.signal.high == pytest.approx(10.0)
    assert unit.reheat.valve.signal.coil_open_at == "low"
    assert unit.reheat.valve.travel_time == 90.0
    assert unit.loop is not None
    assert unit.loop.concentration == pytest.approx(0.3)
    assert unit.loop.pump_head == pytest.approx(14 * 0.70307, rel=1e-4)
    assert unit.loop.pipe.insulation == pytest.approx(0.01905)
    assert unit.source is not None
    assert unit.source.gas is not None
    assert unit.source.gas.in_ == pytest.approx((178 - 32) / 1.8)
    assert unit.refrigerant == "R448A"
    assert unit.space.people == 12.0
    assert unit.space.sensible == pytest.approx(-5861.42, rel=1e-5)
    assert unit.control.dew_point_band == pytest.approx(2.5 / 1.8)


def test_a_document_that_says_all_leaves_nothing_to_assume_but_off() -> None:
    unit = unit_from_text(RECLAIM)
    assumed = [path for path, source in unit.provenance.items() if source.kind == "assumed"]
    assert assumed == ["cooling.stages.a2.modulating"]
    assert unit.given("source.gas.in")
    assert not unit.given("source.gas.sideways")
    assert unit.provenance["reheat.valve.travel_time"].text == "1.5 min"
    assert unit.provenance["name"].line == 2


def test_json_and_yaml_hold_the_same_unit(tmp_path: Path) -> None:
    tree = yaml.load(RECLAIM, Loader=yaml.BaseLoader)
    path = tmp_path / "unit.json"
    path.write_text(json.dumps(tree, indent="\t"), encoding="utf-8")
    ours, theirs = load_unit(path), unit_from_text(RECLAIM)
    assert ours.model_dump(exclude={"provenance"}) == theirs.model_dump(exclude={"provenance"})


def test_si_and_inch_pound_make_the_same_machine() -> None:
    inch_pound = unit_from_text(HEADS["dx reclaim"] + "control: {space_t: 68 degF, dew_point: 50 degF}\n")
    si = unit_from_text(
        HEADS["dx reclaim"].replace("8000 cfm", "3.775579545600 m3/s")
        + "control: {space_t: 20 degC, dew_point: 10 degC}\n"
    )
    a, b = (unit.model_dump(exclude={"provenance"}) for unit in (inch_pound, si))
    for path, value in leaves(a):
        other = dict(leaves(b))[path]
        assert other == (pytest.approx(value, rel=1e-9) if isinstance(value, float) else value), path


def leaves(tree: object, path: str = "") -> list[tuple[str, object]]:
    if isinstance(tree, dict):
        return [leaf for key, value in tree.items() for leaf in leaves(value, f"{path}.{key}")]
    if isinstance(tree, (list, tuple)):
        return [leaf for key, value in enumerate(tree) for leaf in leaves(value, f"{path}.{key}")]
    return [(path, tree)]


def test_a_unit_cannot_be_altered() -> None:
    unit = unit_from_text(RECLAIM)
    with pytest.raises(ValidationError, match="frozen"):
        unit.air.supply_airflow = 1.0  # type: ignore[misc]


def test_models_take_no_unknown_field() -> None:
    def parts(model: type[BaseModel]) -> set[type[BaseModel]]:
        return {model, *(sub for kid in model.__subclasses__() for sub in parts(kid))}

    for model in parts(Unit.__mro__[1]):  # the common base of all documents
        assert model.model_config.get("extra") == "forbid"
        assert model.model_config.get("frozen") is True


@pytest.mark.parametrize("blank", ["", " ~", " null"])
def test_a_field_left_blank_is_a_field_left_out(blank: str) -> None:
    text = HEADS["dx reclaim"] + f"loop:{blank}\nsite:\n  altitude:{blank}\n"
    unit = unit_from_text(text)
    assert unit.provenance["site.altitude"].kind == "assumed"


SITE = "{name: Alder Court Cheese Cellar (invented), altitude: 310 ft}"
STAGES = RECLAIM[RECLAIM.index("\n    - {id: a1") : RECLAIM.index("\n  rated: {total")]
# what is changed in the sample, what the complaint must say, and where the named line is another
WRONG: dict[str, tuple[str, str, str] | tuple[str, str, str, str]] = {
    "bare number": ("supply_airflow: 6200 cfm", "supply_airflow: 6200", "air.supply_airflow: .*bare.*cfm"),
    "wrong dimension": ("outdoor_airflow: 700 cfm", "outdoor_airflow: 700 gpm", "water flow.*cfm, m3/s"),
    "difference": ("heat_rise: 1.4 delta_degF", "heat_rise: 1.4 degF", "not a difference"),
    "unknown field": ("filter_drop", "filterdrop", "air.filterdrop: unknown field.*nearest.*filter_drop"),
    "unknown block": ("space:", "spaces:", "spaces: unknown field.*space"),
    "unknown word": ("kind: dx", "kind: dxx", '"dxx" is not taken.*nearest.*is dx.*dx or chilled_water'),
    "upper case": ("upstream: none", "upstream: None", "service_water or none"),
    "refrigerant": ("R448A", "R22", "R744.*R507A"),
    "list for one": ("people: 12", "people: [12]", "wanted one quantity"),
    "mapping for one": ("superheat: 11 delta_degF", "superheat: {x: 1}", "wanted one quantity"),
    "word for a block": (SITE, "here", "found .here., wanted a mapping"),
    "stages no list": (STAGES, " 2 count", "wanted a list of stages", "stages: 2"),
    "stage no mapping": ("- {id: a2, share: 60 %, current: 24 A}", "- a2", "found .a2., wanted a mapping"),
    "out of range": ("310 ft", "310000 ft", "310000.0 ft is out of range.*-1640.4 ft to"),
    "shares": ("share: 40 %", "share: 50 %", r"add up to 100 %; found 50 % \+ 60 % = 110 %"),
    "same id": ("id: a2", "id: a1", '"a1" is given twice'),
    "bad id": ("id: a2", "id: A 2", "id of lower-case letters"),
    "late modulating": ("id: a2, share", "id: a2, modulating: yes, share", "only the first stage"),
    "yes or no": ("modulating: yes", "modulating: maybe", "neither yes nor no"),
    "sensible": ("sensible: 14 ton", "sensible: 21 ton", "21 ton must be at most cooling.rated.total"),
    "wet bulb": ("entering_wb: 67 degF", "entering_wb: 81 degF", "81 degF must be at most .*80 degF"),
    "signal": ("low: 4 mA", "low: 20 mA", "signal.low: 20 mA must be below .*20 mA"),
    "dew point": ("dew_point: 48 degF}", "dew_point: 63 degF}", "63 degF must be below"),
    "outdoor air": ("outdoor_airflow: 700 cfm", "outdoor_airflow: 7000 cfm", "7000 cfm must be at most"),
    "coil flow": (
        "  flow: 20 gpm",
        "  flow: 15 gpm",
        "20 gpm must be at most loop.flow",
        "water_flow: 20 gpm",
    ),
    "gas": ("in: 178 degF", "in: 100 degF", "must be below source.gas.in"),
    "gas and water": (
        "{in: 178 degF, out: 112 degF}",
        "{in: 110 degF, out: 90 degF}",
        "118 degF must",
        "water_out:",
    ),
    "heat": ("heat: 190000 Btu/h", "heat: 1900 MBH", "would bring the air to .* degF"),
    "cold water": (
        "water_flow: 20 gpm",
        "water_flow: 5 gpm",
        "would leave at .*colder than the entering air",
    ),
    "glycol in water": ("fluid: propylene_glycol", "fluid: water", "plain water has no", "concentration:"),
    "two-way": ("ways: three", "ways: two", "a two-way valve has no such field", "placement:"),
    "boiler": ("kind: reclaim", "kind: boiler", "a boiler has no such field", "refrigerant:"),
    "hot gas": ("kind: hot_water", "kind: hot_gas", "hot-gas reheat has no such field", "fluid:"),
    "format": ("wringout-unit/1", "wringout-unit/2", 'found "wringout-unit/2", wanted wringout-unit/1'),
    "empty name": ("name: Cellar unit", 'name: ""', "name: empty"),
    "long name": ("name: Cellar unit", "name: " + "n" * 300, "at most 200"),
    "unprintable": ("name: Cellar unit", 'name: "bell \\a"', "cannot be printed"),
}


@pytest.mark.parametrize("what", WRONG)
def test_what_is_wrong_is_named_with_its_line(what: str) -> None:
    old, new, words, *elsewhere = WRONG[what]
    assert RECLAIM.count(old) >= 1
    text = RECLAIM.replace(old, new, 1)
    if elsewhere:
        place = text.index(elsewhere[0])
    else:
        place = next(i for i, (a, b) in enumerate(zip(RECLAIM, text, strict=False)) if a != b)
    with pytest.raises(InputError, match=words) as caught:
        unit_from_text(text, "u.yaml")
    message = str(caught.value)
    line = text.count("\n", 0, place) + 1
    assert message.startswith(f"u.yaml, line {line}: "), message
    assert "\n" not in message


MISSING = {
    "format": ("format: wringout-unit/1\n", "format: missing"),
    "name": ("name: Unit A\n", "name: missing"),
    "air": ("air: {supply_airflow: 8000 cfm}\n", "air.supply_airflow: missing"),
    "cooling": ("cooling: {kind: dx, stages: [{id: c1}, {id: c2}]}\n", "cooling.kind: missing"),
    "stages": (", stages: [{id: c1}, {id: c2}]", "cooling.stages: missing"),
    "reheat": ("reheat: {kind: hot_water, valve: {ways: three}}\n", "reheat.kind: missing"),
    "valve": (", valve: {ways: three}", "reheat.valve.ways: missing.*three or two"),
    "source": ("source: {kind: reclaim}\n", "source.kind: missing.*reclaim or boiler"),
}


@pytest.mark.parametrize("what", MISSING)
def test_what_cannot_be_assumed_must_be_there(what: str) -> None:
    part, words = MISSING[what]
    assert part in HEADS["dx reclaim"]
    with pytest.raises(InputError, match=words):
        unit_from_text(HEADS["dx reclaim"].replace(part, "", 1), "u.yaml")


def test_dx_without_a_stage_is_no_cooling() -> None:
    with pytest.raises(InputError, match="at least one stage"):
        unit_from_text(HEADS["dx reclaim"].replace("[{id: c1}, {id: c2}]", "[]"))


def test_hot_gas_needs_stages_of_its_own() -> None:
    text = HEADS["dx hot gas"].replace(
        "kind: dx, stages: [{id: c1}, {id: c2}, {id: c3}]", "kind: chilled_water"
    )
    with pytest.raises(InputError, match="chilled water has none"):
        unit_from_text(text)


@pytest.mark.parametrize("field", ["stages: [{id: c1}]", "superheat: 6 K", "condensing_over_outdoor: 12 K"])
def test_chilled_water_has_no_stages(field: str) -> None:
    text = HEADS["chilled boiler two-way"].replace("chilled_water}", f"chilled_water, {field}}}")
    with pytest.raises(InputError, match="chilled-water cooling has no such field"):
        unit_from_text(text)


def test_water_flow_and_rise_must_be_about_the_rated_power() -> None:
    rated = "rated: {total: 40 ton, water_in: 44 degF, water_out: 54 degF, water_flow: 9.6 gpm}"
    text = HEADS["chilled boiler two-way"].replace("chilled_water}", f"chilled_water, {rated}}}")
    with pytest.raises(InputError, match=r"9\.6 gpm warming .* takes up .* but total is 40 ton"):
        unit_from_text(text)


def test_a_capacity_that_would_freeze_the_air_is_a_slip() -> None:
    rated = "rated: {total: 120 ton, sensible: 80 ton}"
    text = HEADS["dx boiler"].replace("modulating: yes}]", "modulating: yes}], " + rated)
    with pytest.raises(InputError, match=r"80 ton would bring .* of air to -"):
        unit_from_text(text)
