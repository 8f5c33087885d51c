"""`wringout check` says valid or what to mend, and lists what was assumed, on any terminal."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from sample_documents import CALL, HEADS, RECLAIM, TREND
from wringout.cli.main import main


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "unit.yaml").write_text(RECLAIM, encoding="utf-8")
    (tmp_path / "short.yaml").write_text(HEADS["dx reclaim"], encoding="utf-8")
    (tmp_path / "call.yaml").write_text(CALL, encoding="utf-8")
    (tmp_path / "trend.yaml").write_text(TREND, encoding="utf-8")
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(["check", *arguments])
    shown = capsys.readouterr()
    assert isinstance(ended.value.code, int)
    return ended.value.code, shown.out, shown.err


def test_a_unit_is_named_and_its_assumptions_listed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "short.yaml")
    assert (code, err) == (0, "")
    assert "valid unit document" in out
    assert "Unit A" in out
    assert "direct expansion in 2 stages; reheat by hot water from R744 reclaim" in out
    assert "8 values given, 59 assumed" in out
    assert "air.outdoor_airflow                  1200 cfm (+- 480 cfm)" in out
    assert "15 % of supply airflow" in out


def test_a_document_that_says_all_has_little_to_list(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, out, _ = run(capsys, "unit.yaml")
    assert "1 assumed" in out
    assert out.count("\n") < 12


@pytest.mark.parametrize("columns", [30, 40, 80, 200])
@pytest.mark.parametrize("name", ["short.yaml", "call.yaml", "trend.yaml"])
def test_it_fits_the_terminal(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, columns: int, name: str
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    _, out, _ = run(capsys, name)
    widest = max(len(line) for line in out.splitlines())
    assert widest <= min(columns, 100) or all(  # a single word may be wider than the narrowest screen
        len(line.split()) <= 1 for line in out.splitlines() if len(line) > columns
    )


def test_assumed_values_come_in_the_units_of_the_document_or_those_asked_for(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "4.44 kPa" not in run(capsys, "short.yaml")[1]
    assert "5.52 kPa" in run(capsys, "short.yaml", "--units", "si")[1]
    (folder / "si.yaml").write_text(HEADS["dx boiler"], encoding="utf-8")
    assert "5.52 kPa" in run(capsys, "si.yaml")[1]
    assert "0.80 psi" in run(capsys, "si.yaml", "--units", "ip")[1]


def test_a_call_lists_its_states(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "call.yaml")
    assert code == 0
    for words in (
        "valid call document",
        "The cheese sweats since Easter.",
        "10 readings, 2 forces, 1 release, 1 change, 1 note",
        "auto: 6 readings",
        "reheat.command=50 %: 1 reading\n",
        "auto, after change 1, visit 2: 1 reading\n",
        "Cellar unit",
    ):
        assert words in out


def test_a_trend_lists_its_columns(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "trend.yaml")
    assert code == 0
    assert "trend.csv (not there yet)" in " ".join(out.split())
    assert "AO 1 %: shown.reheat_command in %" in out


def test_json_holds_the_same(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    unit = json.loads(run(capsys, "short.yaml", "--json")[1])
    assert (unit["format"], unit["kind"], unit["valid"]) == ("wringout-check/1", "unit", True)
    assert (len(unit["given"]), len(unit["assumed"])) == (8, 59)
    assert {
        "field": "air.outdoor_airflow",
        "value": "1200 cfm",
        "rule": "15 % of supply airflow",
        "spread": "480 cfm",
    } in unit["assumed"]
    call = json.loads(run(capsys, "call.yaml", "--json")[1])
    assert [state["state"] for state in call["states"]][:2] == ["auto", "reheat.command=100 %"]
    assert call["unit"]["name"] == "Cellar unit"
    trend = json.loads(run(capsys, "trend.yaml", "--json")[1])
    assert trend["columns"][0] == {"column": "AI 4 Raum", "point": "shown.space_t", "unit": "degC"}


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\xff\xfe", "UTF-8"),
        (b"a: &a [*a]\n", "anchor"),
        (b"format: wringout-unit/1\nname: 4\nair: {supply_airflow: 3}\n", "line 3: air.supply_airflow"),
        (b"x" * 3_000_000, "larger than 2 MB"),
    ],
)
def test_what_is_wrong_is_one_line_and_code_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], data: bytes, words: str
) -> None:
    (tmp_path / "x.yaml").write_bytes(data)
    code, out, err = run(capsys, str(tmp_path / "x.yaml"))
    assert (code, out) == (2, "")
    assert err.startswith("wringout: ")
    assert err.count("\n") == 1
    assert words in err


def test_a_missing_file_and_a_folder_are_code_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for path in (tmp_path, tmp_path / "none.yaml"):
        assert run(capsys, str(path))[0] == 2


def test_no_traceback_from_the_outside(tmp_path: Path) -> None:
    """The installed entry point, a name that is no UTF-8, and a pipe that is no terminal."""
    done = subprocess.run(
        [sys.executable, "-c", "from wringout.cli.main import main; main()", "check", b"\xff.yaml"],
        cwd=tmp_path,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 2
    assert b"Traceback" not in done.stderr
    assert b"no such file" in done.stderr


def test_help_ends_with_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "--help")
    assert code == 0
    assert "wringout check unit.yaml" in " ".join(out.split())
