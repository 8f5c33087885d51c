"""``wringout ledger``: readable on a wide terminal and on a phone, as JSON, and clear about what to mend."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from sample_documents import CALL, HEADS, RECLAIM
from test_ledger_truth import WALK_UP, Case, cases
from units import UNITS
from wringout.catalogue.points import point, sigma
from wringout.cli.main import main
from wringout.quantity import format

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run ``wringout ledger`` in a terminal of so many columns."""

    def ran(*arguments: str, columns: int = 80) -> tuple[int, str, str]:
        monkeypatch.setenv("COLUMNS", str(columns))
        with pytest.raises(SystemExit) as end:
            main(["ledger", *arguments])
        out, err = capsys.readouterr()
        assert isinstance(end.value.code, int)
        return end.value.code, out, err

    return ran


def reading(name: str, value: float) -> str:
    entry = point(name)
    return format(value, entry.dimension, "si", decimals=5)


def written(case: Case, folder: Path, unit: str, points: tuple[str, ...] | None = None) -> str:
    """A call of exact readings."""
    (folder / "unit.yaml").write_text(unit, encoding="utf-8")
    events = [
        {"at": f"2027-05-04T09:{k:02d}:00", "kind": "reading", "point": name, "value": reading(name, value)}
        for k, (name, value) in enumerate(case.shown.items())
        if points is None or name in points
    ]
    call = {"format": "wringout-call/1", "unit": "unit.yaml", "events": events}
    path = folder / "call.json"
    path.write_text(json.dumps(call), encoding="utf-8")
    return str(path)


@pytest.fixture(params=list(UNITS))
def call(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    unit = UNITS[request.param]
    return written(next(cases(unit, 1, 3)), tmp_path, unit)


@pytest.fixture
def states(tmp_path: Path) -> str:
    """A call of four states, a change and a second visit."""
    (tmp_path / "unit.yaml").write_text(RECLAIM, encoding="utf-8")
    path = tmp_path / "call.yaml"
    path.write_text(CALL, encoding="utf-8")
    return str(path)


# ------------------------------------------------------------------------------------------ readable


@pytest.mark.parametrize("columns", [80, 45, 30])
@pytest.mark.parametrize("units", ["ip", "si"])
def test_no_line_runs_over_the_edge(run: Run, call: str, columns: int, units: str) -> None:
    code, out, err = run(call, "--units", units, columns=columns)
    assert (code, err) == (0, "")
    assert [line for line in out.splitlines() if len(line) > columns - 1] == []
    assert "\u00a0" not in out


@pytest.mark.parametrize("columns", [80, 45])
def test_every_amount_has_its_unit_and_its_uncertainty(run: Run, call: str, columns: int) -> None:
    _, out, _ = run(call, "--units", "ip", columns=columns)
    table = out.split("What does not add up")[0]
    amounts = re.findall(r"-?[\d.]+ \+- [\d.]+ (\S+)", table)
    assert len(amounts) == table.count("+-") > 10
    assert {amount.strip(",") for amount in amounts} == {"MBH", "lb/h"}
    bands = re.findall(r"-?[\d.]+ \(-?[\d.]+\.\.-?[\d.]+\) (\S+)", table)
    assert len(bands) == table.count("..") >= 8


def test_both_layouts_tell_the_same(run: Run, call: str) -> None:
    """Word for word and number for number; only the breaks differ, and a comma between heat and moisture."""
    wide, narrow = (run(call, columns=columns)[1].replace(",", "").split() for columns in (80, 45))
    assert sorted(wide) == sorted(narrow)


def test_the_units_are_those_of_the_unit_unless_told(run: Run, states: str) -> None:
    own, ip = (run(states, *more)[1] for more in ((), ("--units", "ip")))
    assert own == ip
    assert " MBH" in own
    si = run(states, "--units", "si")[1]
    assert " kW" in si
    assert not re.search(r"MBH|degF|cfm|lb/h|gpm", si.split("+- is one")[0])


def test_given_computed_and_assumed_are_told_apart_and_explained(run: Run, tmp_path: Path) -> None:
    unit = UNITS["recovered heat, mixing valve"]
    path = written(next(cases(unit, 1, 3)), tmp_path, unit, (*WALK_UP, "condensate.rate", "mixed.t"))
    _, out, _ = run(path)
    assert re.search(r"^  condensate +\d", out, re.M), "given: no mark"
    assert re.search(r"^  air side +\* ", out, re.M), "assumed"
    assert re.search(r"^  supply airflow 84\d\d \+- \d+ cfm \(unit document", out, re.M)
    assert "to read: supply.airflow" in out
    for word in ("given", "computed", "assumed", "sigma"):
        assert word in out.split("+- is one")[1], word


def test_colour_is_decoration_alone(run: Run, call: str) -> None:
    """Through a pipe there is none, and nothing is missing."""
    _, out, _ = run(call)
    assert "\x1b" not in out
    for title in ("Outdoor air", "Cooling, sensible", "Cooling, latent", "Reheat", "Fan", "Room"):
        assert f"{title}:" in out


def test_a_route_that_cannot_be_had_says_why(run: Run, states: str) -> None:
    out = " ".join(run(states)[1].split())
    assert "condensate (needs condensate.rate)" in out
    assert "gas side (a drop of gas temperature tells no heat: the gas flow is no reading)" in out


# ------------------------------------------------------------------------------------------- states


def test_every_operating_state_has_a_ledger_of_its_own(run: Run, states: str) -> None:
    _, out, _ = run(states)
    heads = re.findall(r"^State (.*): \d+ reading", out, re.M)
    assert heads == [
        "auto",
        "reheat.command=100 %",
        "reheat.command=50 %",
        "auto, after change 1",
        "auto, after change 1, visit 2",
    ]


def test_one_state_alone(run: Run, states: str) -> None:
    code, out, _ = run(states, "--state", "reheat.command=100%")
    assert code == 0
    assert re.findall(r"^State (.*): ", out, re.M) == ["reheat.command=100 %"]


# --------------------------------------------------------------------------------------------- json


def test_json_holds_the_ledger_in_si_with_units(run: Run, call: str) -> None:
    code, out, err = run(call, "--json")
    assert (code, err) == (0, "")
    document = json.loads(out)
    assert document["format"] == "wringout-ledger/1"
    (ledger,) = document["ledgers"]
    assert ledger["state"] == "auto"
    amounts = list(_with_unit(ledger))
    assert len(amounts) > 20
    assert {amount["unit"] for amount in amounts} <= {"W", "kg/s", "K", "degC", "kg/kg", "m3/s", "1"}
    for line in ledger["lines"]:
        assert line["routes"], line["transfer"]
        assert line["expected"]["heat"]["low"] <= line["expected"]["heat"]["high"]
        for route in line["routes"]:
            assert route["mark"] in ("given", "computed", "assumed") if route["possible"] else route["why"]
    given = {item["name"]: item for item in ledger["inputs"] if item["mark"] == "given"}
    assert given["supply.t"]["written"].endswith("degC")


def _with_unit(node: Any) -> Any:
    if isinstance(node, dict):
        if "unit" in node and "sigma" in node:
            yield node
        for part in node.values():
            yield from _with_unit(part)
    elif isinstance(node, list):
        for part in node:
            yield from _with_unit(part)


def test_json_and_table_tell_the_same_reheat(run: Run, tmp_path: Path) -> None:
    unit = UNITS["recovered heat, mixing valve"]
    case = next(cases(unit, 1, 3))
    path = written(case, tmp_path, unit)
    lines = {line["transfer"]: line for line in json.loads(run(path, "--json")[1])["ledgers"][0]["lines"]}
    routes = {route["route"]: route for route in lines["reheat"]["routes"]}
    water = routes["water side"]["heat"]
    assert abs(water["value"] - case.truth["reheat heat"]) < 0.02 * abs(case.truth["reheat heat"]) + 50.0
    assert f"{water['value'] / 1000.0:.1f} +- " in run(path, "--units", "si")[1]


def test_the_same_call_gives_the_same_ledger_twice(run: Run, call: str) -> None:
    assert run(call, "--json") == run(call, "--json")


def test_a_mismatch_is_told_in_words_with_its_figures(run: Run, tmp_path: Path) -> None:
    unit = UNITS["chilled water, boiler, two-way valve"]
    case = next(c for c in cases(unit, 30, 3) if c.truth["reheat heat"] > 20e3)
    case.shown["reheat.water_flow"] *= 3.0
    path = written(case, tmp_path, unit)
    _, out, _ = run(path, "--units", "si")
    told = " ".join(out.split("What does not add up")[1].split("Assumed")[0].split())
    assert re.search(r"water side [\d.]+ \+- [\d.]+ kW", told)
    assert re.search(r"apart by [\d.]+ \+- [\d.]+ kW, \d+\.\d sigma\.", told)
    (ledger,) = json.loads(run(path, "--json")[1])["ledgers"]
    assert {item["kind"] for item in ledger["mismatches"]} >= {"routes"}
    assert all(item["words"][0] and item["words"][1] for item in ledger["mismatches"])


def test_readings_that_agree_are_told_to(run: Run, tmp_path: Path) -> None:
    unit = UNITS["hot gas"]
    path = written(next(cases(unit, 1, 3)), tmp_path, unit, ("condensate.rate",))
    _, out, _ = run(path)
    assert "Nothing among these readings." in out
    assert re.search(r"\d+ differences? looked at", out)


# ------------------------------------------------------------------------------------------- mending


def test_a_call_without_readings_says_so(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "call.yaml"
    path.write_text("format: wringout-call/1\nunit: unit.yaml\nevents: []\n", encoding="utf-8")
    (tmp_path / "unit.yaml").write_text(HEADS["dx boiler"], encoding="utf-8")
    code, out, err = run(str(path))
    assert (code, out) == (2, "")
    assert "there is no reading yet" in err


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("format: wringout-call/1\nunit: nowhere.yaml\n", "nowhere.yaml"),
        ("format: wringout-call/2\n", "wanted wringout-call/1"),
        ("- not\n- a call\n", "call.yaml"),
        (CALL.replace("61.5 degF", "61.5"), "bare number"),
        (CALL.replace("supply.rh, value: 62 %", "supply.rh, value: 162 %"), "out of range"),
    ],
)
def test_a_bad_call_ends_with_code_2_and_one_line(run: Run, tmp_path: Path, text: str, words: str) -> None:
    (tmp_path / "unit.yaml").write_text(RECLAIM, encoding="utf-8")
    path = tmp_path / "call.yaml"
    path.write_text(text, encoding="utf-8")
    code, out, err = run(str(path))
    assert (code, out) == (2, "")
    assert words in err
    assert "Traceback" not in err
    assert err.startswith("wringout: ")


def test_a_file_that_is_not_there_ends_with_code_2(run: Run, tmp_path: Path) -> None:
    code, out, err = run(str(tmp_path / "gone.yaml"))
    assert (code, out) == (2, "")
    assert "gone.yaml" in err


def test_a_state_without_readings_names_those_that_have_some(run: Run, states: str) -> None:
    code, out, err = run(states, "--state", "cooling.call=0 %")
    assert (code, out) == (2, "")
    assert "auto, reheat.command=100 %, reheat.command=50 %" in err


def test_help_ends_with_an_example(run: Run) -> None:
    code, out, _ = run("--help")
    assert code == 0
    assert "Example: wringout ledger call.yaml" in " ".join(out.split())


# ---------------------------------------------------------------------------------------------- page

PAGE = Path(__file__).resolve().parent.parent / "docs" / "ledger.md"


def test_the_example_of_the_page_is_what_comes_out(run: Run, tmp_path: Path) -> None:
    """Line by line but for digits: those follow every change of the machine."""
    text = PAGE.read_text(encoding="utf-8")
    unit, call = re.findall(r"```yaml\n(.*?)```", text, flags=re.S)
    (told,) = re.findall(r"```text\n\$ wringout ledger call.yaml\n(.*?)```", text, flags=re.S)
    (tmp_path / "unit.yaml").write_text(unit, encoding="utf-8")
    (tmp_path / "call.yaml").write_text(call, encoding="utf-8")
    code, out, err = run(str(tmp_path / "call.yaml"))
    assert (code, err) == (0, "")

    def table(page: str) -> list[str]:
        lines = page.split("What does not add up")[0].splitlines()
        return [re.sub(r"\s+", " ", re.sub(r"-?\d[\d.]*\d|-?\d", "#", line)) for line in lines]

    assert table(told) == table(out)
    assert re.search(r"\d\. Reheat: water side", out), "what the page says of the example"


# ------------------------------------------------------------------------------------ any readings at all


@pytest.mark.parametrize("kind", HEADS)
def test_one_reading_of_any_point_makes_a_ledger(run: Run, tmp_path: Path, kind: str) -> None:
    """A document of a few lines and a single reading: much is assumed, nothing breaks."""
    case = next(cases(HEADS[kind], 1, 3, restless=True))
    for name in case.shown:
        if name.startswith("shown.reheat_in"):
            continue
        code, out, err = run(written(case, tmp_path, HEADS[kind], (name,)))
        assert (code, err) == (0, ""), name
        assert " nan" not in out.lower(), name
        assert sigma(name, case.shown[name]) >= 0.0


@pytest.mark.parametrize("outdoor", [("-60 degF", "1 %"), ("-20 degF", "100 %"), ("130 degF", "2 %")])
def test_any_weather_makes_a_ledger(run: Run, tmp_path: Path, outdoor: tuple[str, str]) -> None:
    (tmp_path / "unit.yaml").write_text(UNITS["hot gas"], encoding="utf-8")
    names, values = ("outdoor.t", "outdoor.rh", "supply.t", "supply.rh"), (*outdoor, "50 degF", "99.9 %")
    rows = [
        f"  - {{at: 2027-01-04T09:0{k}:00, kind: reading, point: {name}, value: {value}}}"
        for k, (name, value) in enumerate(zip(names, values, strict=True))
    ]
    path = tmp_path / "call.yaml"
    lines = ["format: wringout-call/1", "unit: unit.yaml", "events:", *rows]
    path.write_text("\n".join(lines), encoding="utf-8")
    code, out, err = run(str(path))
    assert (code, err) == (0, "")
    assert "nan" not in out.lower()


def test_the_command_starts_without_arrays_and_models() -> None:
    """Help and completion must not wait for numpy."""
    heavy = "[name for name in ('numpy', 'pydantic', 'yaml') if name in sys.modules]"
    code = f"import sys, wringout.cli.ledger; print({heavy})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
