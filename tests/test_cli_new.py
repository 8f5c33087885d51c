"""`wringout new` writes a unit document that is valid as it stands and shows what to fill in next."""

from __future__ import annotations

import re
from itertools import product
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from wringout.cli.main import main
from wringout.cli.new import command
from wringout.documents.draft import QUESTIONS, asked, checked, draft
from wringout.documents.load import load_unit, unit_from_text
from wringout.errors import InputError

KINDS = [
    {"cooling": "dx", "reheat": "hot_gas", "modulating": "yes", "stages": "3"},
    {"cooling": "dx", "reheat": "hot_gas", "airflow": "1.4 m3/s"},
    *(
        {"cooling": cooling, "valve": valve, "source": source}
        for cooling, valve, source in product(
            ["dx", "chilled_water"], ["three_mixing", "three_diverting", "two"], ["reclaim", "boiler"]
        )
    ),
]


def run(*arguments: str, answers: str = "") -> Result:
    return CliRunner().invoke(command, list(arguments), input=answers)


@pytest.mark.parametrize("answers", KINDS, ids=lambda answers: "-".join(answers.values()))
def test_every_kind_of_unit_can_be_drafted(answers: dict[str, str]) -> None:
    text = draft(answers)
    unit = unit_from_text(text)
    assert unit.cooling.kind == answers["cooling"]
    assert unit.reheat.kind == answers.get("reheat", "hot_water")
    if unit.source is not None:
        assert unit.source.kind == answers["source"]
        valve = unit.reheat.valve
        assert answers["valve"] == (f"three_{valve.placement}" if valve.ways == "three" else "two")
    assert max(len(line) for line in text.splitlines()) < 120


@pytest.mark.parametrize("answers", KINDS, ids=lambda answers: "-".join(answers.values()))
def test_the_commented_lines_open_into_the_same_unit(answers: dict[str, str]) -> None:
    """Taking the # away keeps the value: the machine stays the same, within what the digits shown hold."""
    text = draft(answers)
    opened = re.sub(r"^# (?= +\w+: )", "", text, flags=re.M)
    assert opened.count("\n# ") < 5
    before, after = unit_from_text(text), unit_from_text(opened)
    assert sum(source.kind == "assumed" for source in after.provenance.values()) < len(after.provenance) / 3
    for name, one in before.model_dump(exclude={"provenance"}).items():
        close(one, after.model_dump()[name])


def close(one: object, other: object) -> None:
    if isinstance(one, dict):
        assert isinstance(other, dict)
        for key, value in one.items():
            close(value, other[key])
    elif isinstance(one, tuple):
        assert isinstance(other, tuple)
        for a, b in zip(one, other, strict=True):
            close(a, b)
    else:
        assert other == (pytest.approx(one, rel=0.02, abs=0.06) if isinstance(one, float) else one)


def test_about_ten_questions_are_asked() -> None:
    for answers in KINDS:
        known = {key: value for key, value in answers.items() if key in ("cooling", "reheat", "source")}
        count = len(known)
        while (question := asked(known)) is not None:
            known[question.key] = question.default
            count += 1
        assert 9 <= count <= 13


def test_questions_are_asked_again_until_the_answer_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "unit.yaml"
    building = "Rink unit\nHarbour Ice Hall (invented)\n900\n900 ft\n"
    machine = "\nice\ndx\n4\nyes\n\ntwo\nboiler\n58 degF\n45 degF\n"
    done = run("-o", str(path), answers=building + machine)
    assert done.exit_code == 0
    assert "bare number" in done.stderr
    assert "dx or chilled_water" in done.stderr
    unit = load_unit(path)
    assert (unit.name, unit.site.name) == ("Rink unit", "Harbour Ice Hall (invented)")
    assert unit.site.altitude == pytest.approx(274.32)
    assert len(unit.cooling.stages) == 4
    assert unit.cooling.stages[0].modulating
    assert unit.reheat.valve.ways == "two"
    assert unit.control.dew_point == pytest.approx(7.2222, abs=1e-4)


def test_yes_asks_nothing(tmp_path: Path) -> None:
    path = tmp_path / "unit.yaml"
    done = run("-o", str(path), "--yes", "--answer", "airflow=12000 cfm", "--answer", "source=reclaim")
    assert done.exit_code == 0
    assert "lists what was assumed" in done.output
    unit = load_unit(path)
    assert unit.air.supply_airflow == pytest.approx(5.6634, abs=1e-4)
    assert unit.refrigerant == "R744"


def test_it_can_go_to_the_screen() -> None:
    done = run("-o", "-", "--yes")
    assert unit_from_text(done.stdout).name == "Unit 1"


def test_a_file_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "unit.yaml"
    path.write_text("mine", encoding="utf-8")
    done = run("-o", str(path), "--yes")
    assert isinstance(done.exception, InputError)
    assert "not overwritten" in str(done.exception)
    assert path.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--answer", "airflow"], "KEY=VALUE"),
        (["--answer", "airflw=9000 cfm"], "no such question.*airflow"),
        (["--answer", "airflow=9000"], "airflow: .*bare number"),
        (["--answer", "stages=none"], "a number from 1 to 12"),
        (["--answer", "stages=99"], "a number from 1 to 12"),
        (["--answer", "name="], "a line of words"),
        (["--answer", "cooling=chilled_water", "--answer", "reheat=hot_gas"], "no discharge gas"),
        (["--answer", "cooling=chilled_water", "--answer", "stages=2"], "does not fit the other answers"),
        (["--answer", "dew_point=80 degF"], "must be below"),
        (["-o", "no/such/folder/unit.yaml"], "the folder is not there"),
    ],
)
def test_what_is_not_taken_is_said(
    arguments: list[str], words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run("--yes", *arguments)
    assert isinstance(done.exception, InputError)
    assert re.search(words, str(done.exception))
    assert not list(tmp_path.iterdir())


def test_errors_end_with_code_2(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["new", "--yes", "--answer", "x=y"])
    assert ended.value.code == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_the_questions_can_be_listed() -> None:
    done = run("--questions")
    assert [line.partition(":")[0] for line in done.output.splitlines()] == [q.key for q in QUESTIONS]


def test_no_more_answers_is_no_file(tmp_path: Path) -> None:
    done = run("-o", str(tmp_path / "unit.yaml"), answers="Unit\n")
    assert done.exit_code != 0
    assert not list(tmp_path.iterdir())


@given(name=st.text(min_size=1, max_size=40), site=st.text(min_size=1, max_size=40))
@settings(max_examples=100, deadline=None)
def test_any_name_survives(name: str, site: str) -> None:
    try:
        taken = {key: checked(key, text) for key, text in (("name", name), ("site", site))}
    except InputError:
        return
    unit = unit_from_text(draft(taken))
    assert (unit.name, unit.site.name) == (" ".join(name.split()), " ".join(site.split()))


def test_help_ends_with_an_example() -> None:
    shown = click.unstyle(run("--help").output)
    assert "wringout new -o unit.yaml" in " ".join(shown.split())


def test_an_altitude_that_nobody_gave_stands_as_assumed() -> None:
    assert "#   altitude: 0.0 ft" in draft({})
    assert "\n  altitude: 500 ft" in draft({"altitude": "500 ft"})
