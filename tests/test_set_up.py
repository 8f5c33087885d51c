"""``wringout set-up``: inside a call and alone, with uncertainty that is right, and errors that name the
option."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from sample_documents import CALL, RECLAIM
from units import BOILER_DIVERTING, CHILLED_TWO_WAY, HOT_GAS, RECLAIM_MIXING
from wringout.cli.main import group, main
from wringout.documents.load import unit_from_text
from wringout.errors import InputError
from wringout.machine.design import design
from wringout.machine.parameters import spreads
from wringout.setting_up.answer import Answer, Value, worked
from wringout.setting_up.big_enough import margins
from wringout.setting_up.inputs import Known
from wringout.setting_up.keep_three_way import kept, legs_from
from wringout.setting_up.known import with_dew_points
from wringout.setting_up.subjects import SUBJECTS, set_up

PAGE = Path(__file__).resolve().parent.parent / "docs" / "setting-up.md"
ALONE = {
    "fan-speed": {
        "airflow": "9000 cfm",
        "airflow-now": "7600 cfm",
        "speed-now": "44 Hz",
        "current-now": "9 A",
    },
    "output-scaling": {"low": "2 V", "high": "10 V"},
    "balancing": {"flow": "25 gpm", "pump-head": "42 ft"},
    "keep-three-way": {"legs": "office 12 gpm two, hall 25 gpm two"},
    "loop-fill": {"length": "220 ft", "size": "2 in", "flow": "25 gpm", "coldest": "10 degF"},
    "reclaim-heat": {
        "airflow": "9000 cfm",
        "coil-t": "52 degF",
        "supply-t": "74 degF",
        "plant-heat": "400 MBH",
        "gas-in": "220 degF",
        "return-t": "95 degF",
    },
    "cold-surface": {"surface-t": "48 degF", "room-t": "74 degF"},
    "moisture-sources": {"people": "90 count", "outdoor-dew-point": "74 degF", "space-dew-point": "53 degF"},
}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "unit.yaml").write_text(RECLAIM)
    (tmp_path / "call.yaml").write_text(CALL)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(group, ["set-up", *words])


# ------------------------------------------------------------------------------------------ answers


@pytest.mark.parametrize("id", ALONE)
def test_an_answer_stands_alone_and_is_whole(id: str) -> None:
    found = set_up(id, ALONE[id])
    assert found.subject == id
    assert found.results
    assert found.formula
    assert len(found.source) > 15
    assert found.do
    assert {one.mark for one in found.inputs} <= {"given", "assumed", "computed"}
    for one in found.inputs:
        if one.mark == "assumed":
            assert one.source, f"{one.name} is assumed without a reason"
    for value in found.results:
        assert np.isfinite(value.value)
        assert value.sigma >= 0.0


@pytest.mark.parametrize("text", [RECLAIM, RECLAIM_MIXING, CHILLED_TWO_WAY, BOILER_DIVERTING, HOT_GAS])
def test_a_unit_answers_what_its_kind_has(text: str) -> None:
    known = Known(unit_from_text(text))
    for id in ("big-enough", "output-scaling", "moisture-sources"):
        assert set_up(id, {}, known).results
    if known.unit is not None and known.unit.loop is not None:
        assert set_up("loop-fill", {}, known).results
        kept_flow = {} if known.unit.reheat.valve.ways == "three" else {"bypass-flow": "1 gpm"}
        assert set_up("balancing", kept_flow, known).results
    else:
        with pytest.raises(InputError, match="--flow"):
            set_up("balancing", {}, known)


@pytest.mark.parametrize("id", ["fan-speed", "loop-fill", "reclaim-heat", "moisture-sources", "cold-surface"])
def test_the_uncertainty_is_that_of_many_drawn_inputs(id: str) -> None:
    """First order (JCGM 100) against Monte Carlo (JCGM 101): within a tenth for laws as smooth as these."""
    generator = np.random.default_rng(5)
    base = set_up(id, ALONE[id])
    numbers = [v for v in base.inputs if isinstance(v, Value) and v.mark == "given" and v.sigma > 0.0]
    assert numbers
    value = base.results[0]
    asks = {ask.key: ask for ask in SUBJECTS[id].asks}
    drawn = []
    for _ in range(300):
        written = dict(ALONE[id])
        for number in (v for v in base.inputs if isinstance(v, Value) and v.sigma > 0.0 and v.key in asks):
            ask = asks[number.key]
            if number.key == "concentration":
                continue  # plain water: its doubt has one side only and moves nothing here
            one = float(np.clip(generator.normal(number.value, number.sigma), ask.low, ask.high))
            written[number.key] = _si_text(one, str(number.dimension))
        drawn.append(set_up(id, written).results[0].value)
    spread = float(np.std(drawn))
    # what the laws themselves are worth is not drawn, so the answer may claim more doubt, never less
    assert value.sigma > 0.85 * spread
    if id != "moisture-sources" and id != "reclaim-heat":
        assert value.sigma < 1.2 * spread


def _si_text(value: float, dimension: str) -> str:
    units = {
        "airflow": "m3/s",
        "water_flow": "m3/s",
        "frequency": "Hz",
        "current": "A",
        "length": "m",
        "small_length": "in",
        "volume": "m3",
        "fraction": "%",
        "temperature": "degC",
        "temperature_difference": "K",
        "power": "W",
        "pressure": "Pa",
        "mass_flow": "kg/s",
        "area": "m2",
        "count": "count",
        "heat_transfer": "W/m2K",
    }
    unit = units[dimension]
    scale = {"%": 100.0, "in": 1.0 / 0.0254}.get(unit, 1.0)
    value = round(max(value, 0.0)) if unit == "count" else value * scale
    return f"{value:.9f} {unit}" if unit != "count" else f"{value} count"


def test_worked_propagates_a_product_as_the_textbook_does() -> None:
    # JCGM 100, 5.1.6: relative variances of a product add
    a = Value("a", "a", 10.0, 0.3, None, "given")
    b = Value("b", "b", 5.0, 0.2, None, "given")
    ((value, sigma, mostly),) = worked([a, b], lambda x, y: [x * y])
    assert value == pytest.approx(50.0)
    assert sigma / value == pytest.approx(np.hypot(0.03, 0.04), rel=1e-9)
    assert mostly == "b"


def test_an_accuracy_behind_the_value_is_taken() -> None:
    loose = set_up("fan-speed", {**ALONE["fan-speed"], "airflow-now": "7600 cfm +- 10 %"[:-4] + "760 cfm"})
    tight = set_up("fan-speed", {**ALONE["fan-speed"], "airflow-now": "7600 cfm +- 76 cfm"})
    assert loose.result("speed").sigma > 5.0 * tight.result("speed").sigma


def test_a_held_pressure_asks_for_less_than_the_fan_law_of_speed() -> None:
    """Part of the pressure does not grow with the airflow, so the speed need not grow as much."""
    plain = set_up("fan-speed", ALONE["fan-speed"]).result("ratio").value
    held = {**ALONE["fan-speed"], "pressure-now": "2 inWC", "held": "1 inWC"}
    assert 1.0 < set_up("fan-speed", held).result("ratio").value < plain


# --------------------------------------------------------------------------------- three-way leg


def test_the_outermost_leg_that_carries_enough_keeps_its_bypass() -> None:
    legs = legs_from("office 12 gpm two, hall 25 gpm three, store 6 gpm two")
    gpm = 6.30902e-5
    assert [leg.name for leg in kept(legs, 10.0 * gpm)] == ["hall"]
    assert [leg.name for leg in kept(legs, 5.0 * gpm)] == ["store"]
    assert [leg.name for leg in kept(legs, 30.0 * gpm)] == ["hall", "store"]
    assert len(kept(legs, 100.0 * gpm)) == 3


def test_a_loop_with_two_way_valves_alone_loses_its_flow() -> None:
    found = set_up("keep-three-way", ALONE["keep-three-way"])
    assert found.result("now").value == 0.0
    assert any("loses its flow" in words for words in found.warnings)
    safe = set_up("keep-three-way", {"legs": "office 12 gpm two, hall 25 gpm three"})
    assert not safe.warnings


@pytest.mark.parametrize(
    "text", ["hall", "hall 25 three", "hall 25 gpm four", "hall 0 gpm two", "a 1 gpm two, a 2 gpm two"]
)
def test_a_leg_that_cannot_be_read_is_named(text: str) -> None:
    with pytest.raises(InputError, match=r"leg|flow|name"):
        legs_from(text)


# --------------------------------------------------------------------------------------- weather


def test_a_drier_day_leaves_more_to_spare_and_the_limit_lies_between() -> None:
    known = Known(unit_from_text(RECLAIM_MIXING))
    dry = set_up("big-enough", {"outdoor-t": "80 degF", "outdoor-dew-point": "40 degF"}, known)
    wet = set_up("big-enough", {"outdoor-t": "95 degF", "outdoor-dew-point": "82 degF"}, known)
    assert dry.result("spare").value > 0.0 > wet.result("spare").value
    assert dry.result("chance").value > 0.75 > 0.25 > wet.result("chance").value
    limit = set_up("big-enough", {"outdoor-t": "90 degF", "outdoor-dew-point": "60 degF"}, known)
    at = limit.result("weather").value
    text = {"outdoor-t": "90 degF", "outdoor-dew-point": f"{at} degC"}
    assert set_up("big-enough", text, known).result("spare").value == pytest.approx(0.0, abs=2e-5)


def test_the_chance_is_the_share_of_healthy_machines_that_hold() -> None:
    """First order (JCGM 100) against drawn machines and weather (JCGM 101)."""
    unit = unit_from_text(RECLAIM_MIXING)
    found = set_up("big-enough", {"outdoor-t": "84 degF", "outdoor-dew-point": "62 degF"}, Known(unit))
    asked = [v for v in found.inputs if isinstance(v, Value)]
    machine = design(unit)
    generator = np.random.default_rng(11)
    z = generator.standard_normal((4000, len(spreads(machine))))
    drawn = [generator.normal(v.value, v.sigma, 4000) for v in asked]
    removed, gained, _, _ = margins(machine, z, *drawn)
    assert found.result("chance").value == pytest.approx(float(np.mean(removed > gained)), abs=0.06)
    assert found.result("spare").sigma == pytest.approx(float(np.std(removed - gained)), rel=0.15)


def test_only_what_the_answer_rests_on_is_told() -> None:
    glass = {"kind": "glass", "room-t": "74 degF", "behind-t": "34 degF", "u-value": "1.8 W/m2K"}
    keys = {one.key for one in set_up("cold-surface", glass).inputs}
    assert keys == {"kind", "room-t", "behind-t", "u-value", "altitude"}
    told = set_up("moisture-sources", ALONE["moisture-sources"]).inputs
    assert not {"ice-t", "water-use"} & {one.key for one in told}


def test_what_stands_in_for_the_plant_s_heat_is_told_and_near_the_rating() -> None:
    """1.3 times the rating's gas, cooled a little further: for any refrigerant between 1.2 and 2 times its
    heat."""
    for text in (RECLAIM, RECLAIM_MIXING):
        unit = unit_from_text(text)
        found = set_up("reclaim-heat", {"return-t": "95 degF"}, Known(unit))
        stands_in = next(one for one in found.inputs if isinstance(one, Value) and one.key == "plant-heat")
        assert stands_in.mark == "assumed"
        assert unit.source is not None
        assert 1.2 < stands_in.value / unit.source.rated.heat < 2.0
        assert any(one.key == "pressure" and one.mark == "assumed" for one in found.inputs)


def test_it_needs_the_unit() -> None:
    with pytest.raises(InputError, match="needs the unit"):
        set_up(
            "big-enough",
            {
                "outdoor-t": "80 degF",
                "outdoor-dew-point": "60 degF",
                "space-t": "74 degF",
                "space-dew-point": "53 degF",
            },
        )


# ------------------------------------------------------------------------------------------- call


def test_the_readings_of_the_call_go_before_the_unit(folder: Path) -> None:
    result = run("fan-speed", "call.yaml", "--airflow-now", "5800 cfm", "--json")
    assert result.exit_code == 0, result.output
    told = json.loads(result.output)
    sources = {one["key"]: one["source"] for one in told["inputs"]}
    assert sources["airflow"].startswith("unit document")
    assert sources["airflow-now"] == "written"
    assert told["format"] == "wringout-set-up/1"
    assert {"live_power", "moving_parts"} <= set(told["cautions"])


def test_a_pair_of_readings_gives_a_dew_point_with_its_doubt() -> None:
    # references: 75 degF and 45 % rh: 52.25 degF; +-2 %rh is +-1.18 delta_degF, +-0.5 degF is +-0.45
    readings = {"space.t": (23.889, 0.5 / 1.8, "75 degF"), "space.rh": (0.45, 0.02, "45 %")}
    value, sigma, text = with_dew_points(readings, 101325.0, "ip")["space.dew_point"]
    assert value * 1.8 + 32.0 == pytest.approx(52.25, abs=0.05)
    assert sigma * 1.8 == pytest.approx(np.hypot(1.18, 0.45), rel=0.03)
    assert "75 degF" in text


# -------------------------------------------------------------------------------------------- cli


@pytest.mark.parametrize("id", ALONE)
def test_cautions_stand_before_the_answer_and_lines_fit_eighty_columns(id: str) -> None:
    words = [word for key, text in ALONE[id].items() for word in (f"--{key}", text)]
    result = run(id, *words)
    assert result.exit_code == 0, result.output
    assert result.output.index("Local codes") < result.output.index("ANSWER") < result.output.index("FORMULA")
    assert max(len(line) for line in result.output.splitlines()) <= 80


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["fan-speed"], "--airflow: missing"),
        (["fan-speed", "--airflow", "9000"], "bare number"),
        (["fan-speed", "--airflow", "9000 gpm"], "water flow"),
        (
            ["fan-speed", "--airflow", "9000 cfm +- x", "--airflow-now", "8000 cfm"],
            "does not begin with a number",
        ),
        (["output-scaling", "--low", "10 V", "--high", "2 V"], "--high: must lie above"),
        (["output-scaling", "--low", "2 V", "--high", "10 V", "--opens-at", "up"], "write high or low"),
        (["cold-surface", "--kind", "glass", "--room-t", "74 degF"], "--behind-t"),
        (
            ["loop-fill", "--length", "10 ft", "--size", "2 in", "--flow", "5 gpm", "--coldest", "-60 degF"],
            "--coldest",
        ),
        (["balancing", "--flow", "5 gpm", "--pump-head", "4 ft", "--coil-drop", "9 psi"], "--coil-drop"),
        (["fan-speed", "nowhere.yaml", "--airflow", "9000 cfm"], "there is no such file"),
    ],
)
def test_what_cannot_be_read_names_the_option(
    words: list[str], complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["set-up", *words])
    assert ended.value.code == 2
    assert complaint in " ".join(capsys.readouterr().err.split())


def test_the_page_names_every_subject_and_its_commands_run(folder: Path) -> None:
    text = PAGE.read_text(encoding="utf-8")
    for subject in SUBJECTS.values():
        assert f"`{subject.id}`" in text
    lines = re.findall(r"^wringout set-up .*$", text, flags=re.M)
    assert {shlex.split(line)[2] for line in lines} >= set(SUBJECTS)
    for line in lines:
        result = CliRunner(env={"COLUMNS": "80"}).invoke(group, shlex.split(line)[1:])
        assert result.exit_code == 0, (line, result.output, result.exception)


def test_the_example_of_the_page_is_what_comes_out(folder: Path) -> None:
    text = PAGE.read_text(encoding="utf-8")
    for line, told in re.findall(r"```text\n\$ (wringout set-up [^\n]+)\n(.*?)```", text, flags=re.S):
        result = CliRunner(env={"COLUMNS": "80"}).invoke(group, shlex.split(line)[1:])
        assert result.output == told


def test_both_unit_systems_tell_the_same() -> None:
    found: list[Answer] = [set_up("loop-fill", ALONE["loop-fill"])]
    held = found[0].result("contents")
    gallons, litres = (float(held.shown(system).split()[0]) for system in ("ip", "si"))  # type: ignore[arg-type]
    assert litres / gallons == pytest.approx(3.785, rel=2e-3)
