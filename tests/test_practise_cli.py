"""The command `practise`: its lines, its file, and what it says of a slip."""

from __future__ import annotations

import io
import json
import re
import sys
from collections import Counter
from datetime import datetime
from pathlib import Path

import pytest

from practise_sessions import HOMES, practise
from wringout.catalogue.calls import load_call
from wringout.catalogue.points import points_of
from wringout.cli.main import main
from wringout.documents.load import load_unit
from wringout.errors import InputError
from wringout.practising.session import (
    WALK_UP,
)
from wringout.quantity import Dimension, parse


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The text of a session that has waited a minute after the walk-up readings."""
    folder = tmp_path_factory.mktemp("kept")
    assert practise(folder, "wait 1\n", "--seed", "2").exit_code == 0
    return (folder / "a.yaml").read_text(encoding="utf-8")


def test_half_now_and_half_later_is_the_whole(tmp_path: Path) -> None:
    first, second = (
        "read filter.drop\nforce reheat.command 100 %\n",
        "read supply.t\nrelease\nread supply.t\n",
    )
    practise(tmp_path, first, "--seed", "8", name="half.yaml")
    practise(tmp_path, second, name="half.yaml")
    practise(tmp_path, first + second, "--seed", "8", name="whole.yaml")
    assert (tmp_path / "half.yaml").read_text() == (tmp_path / "whole.yaml").read_text()


def test_each_answer_is_a_line_of_json(tmp_path: Path) -> None:
    done = practise(
        tmp_path, "read space.t\nforce cooling.call 100 %\npoints\ncauses\n", "--seed", "8", "--json"
    )
    beginning, reading, forcing, points, wrong = (json.loads(line) for line in done.output.splitlines())
    assert beginning["format"] == "wringout-practise/1"
    assert beginning["about"] == "Invented, for learning"
    assert beginning["minutes"] == sum(one["minutes"] for one in beginning["acts"])
    assert reading["total_minutes"] == beginning["minutes"] + reading["minutes"] == 15.5 + 3.0
    assert parse(reading["shown"], Dimension.TEMPERATURE).value > -40.0
    assert (forcing["act"], forcing["state"]) == ("force", "cooling.call=100 %")
    unit = load_unit(HOMES / "ice_hall" / "unit.yaml")
    assert [row["point"] for row in points["points"]] == points_of(unit)
    assert "strainer-plugged" in [row["cause"] for row in wrong["causes"]]


def test_a_call_of_any_session_is_a_call_document(tmp_path: Path) -> None:
    acts = (
        "force reheat.command 0 %",
        "read supply.t",
        "release",
        "mend filter-loaded",
        "wait 600",
        "read supply.t",
    )
    out = tmp_path / "made.yaml"
    assert practise(tmp_path, "\n".join((*acts, f"call {out}")), "--seed", "9").exit_code == 0
    call = load_call(out)
    kinds = Counter(event.kind for event in call.events)
    assert kinds == {"note": 1, "reading": len(WALK_UP) + 2, "force": 1, "release": 1, "change": 1}
    assert "Invented, for learning" in call.complaint
    assert out.read_text().startswith("# Invented, for learning")
    assert call.events[-1].at > datetime(2030, 7, 1, 19, 0)
    refused = practise(tmp_path, "", "--call", str(out))
    assert isinstance(refused.exception, InputError)
    assert "--force" in str(refused.exception)


def test_cautions_come_before_the_reading_that_needs_them(tmp_path: Path) -> None:
    done = practise(tmp_path, "read fan.current\nread fan.current\n", "--seed", "8")
    after = done.output[done.output.index("15.5 min so far") :]
    assert after.index("! Live measurement" if "! Live measurement" in after else "! ") < after.index(
        "(fan.current)"
    )
    assert after.count("Local codes") == 1


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("reed supply.t", '"reed" is not known here; the nearest known one is read'),
        ("read suply.t", "the nearest known one is supply.t"),
        ("read", "read what?"),
        ("read stage.c9.current", "its stages are"),
        ("force reheat.command", "write item and share"),
        ("force reheat.command 140 %", "held at 0 % to 100 %"),
        ("force cooling.call 50 %", "held at 0 % or 100 %"),
        ("force fan 50 %", '"fan" cannot be held'),
        ("release", "nothing is held"),
        ("wait long", '"long" is no number of minutes'),
        ("wait -5", "out of range"),
        ("wait nan", "out of range"),
        ("mend", "name one cause"),
        ("mend gremlins", 'there is no cause "gremlins"'),
        ("mend chilled-valve-stuck", "this unit cannot have"),
        ("name", "name nothing"),
        ("name strainer-plugged pump", 'there is no cause "pump"'),
        ("call", "name the file"),
        ("call here.txt", "ends in .yaml"),
    ],
)
def test_a_slip_is_told_with_its_line_and_nothing_is_lost(
    tmp_path: Path,
    kept: str,
    line: str,
    told: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.yaml").write_text(kept)
    lines = f"wait 3\n{line}\nwait 2\n".encode()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(lines), encoding="utf-8"))
    with pytest.raises(SystemExit) as stopped:
        main(["practise", "a.yaml"])
    error = capsys.readouterr().err
    assert stopped.value.code == 2
    assert error.count("\n") == 1
    assert "line 2 of the input" in error
    assert told in error
    # what was done before the slip is kept, what comes after it is not done
    assert (tmp_path / "a.yaml").read_text() == kept + "  - {wait: 3 min}\n"


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("format: wringout-practice/1", "format: wringout-practice/9", "wanted wringout-practice/1"),
        ("level: 2", "level: two", "level: "),
        ("seed: 2", "sead: 2", "the nearest known one is seed"),
        ("seed: 2", "seed: 4", "another one"),
        ("supply_airflow: 3.4", "supply_airflow: 3.9", "another one"),
        ("wait: 1 min", "wait: soon", "acts[14].wait"),
        ("read: supply.t, shown: ", "read: supply.t, shown: x", "acts[10].read"),
        ("wait: 1 min", "dance: 1 min", "wanted one of read, force"),
    ],
)
def test_a_session_that_was_altered_is_refused_by_line_and_field(
    tmp_path: Path, kept: str, old: str, new: str, told: str
) -> None:
    assert old in kept
    (tmp_path / "a.yaml").write_text(kept.replace(old, new, 1))
    done = practise(tmp_path, "")
    assert isinstance(done.exception, InputError)
    assert told in str(done.exception)
    assert "a.yaml" in str(done.exception)


def test_options_of_a_session_that_has_begun_are_refused(tmp_path: Path) -> None:
    practise(tmp_path, "", "--seed", "2")
    done = practise(tmp_path, "", "--level", "3")
    assert isinstance(done.exception, InputError)
    assert "has begun" in str(done.exception)
    missing = practise(tmp_path, "", "--call", str(tmp_path / "c.yaml"), name="none.yaml")
    assert isinstance(missing.exception, InputError)
    assert "no such session" in str(missing.exception)


def test_the_page_shows_what_the_program_answers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The session on the docs page, up to the look back, which takes long and is shown there too."""
    page = (Path(__file__).resolve().parent.parent / "docs" / "practise.md").read_text(encoding="utf-8")
    lines = re.findall(r"```text\n(.*?)```", page, re.S)[0]
    told = re.findall(r"```console\n(.*?)```", page, re.S)[0]
    (options,) = re.findall(r"`wringout practise monday\.yaml (.*?) < lines`", page)
    monkeypatch.setenv("COLUMNS", "80")
    acts = "".join(line for line in lines.splitlines(keepends=True) if not line.startswith("name"))
    done = practise(tmp_path, acts, *options.split())
    answers = done.output.partition("Kept in")[0]
    assert answers.count("\n") > 40
    assert told.startswith(answers)
    assert "WHAT WAS HIDDEN" in told
    assert "THE WAY OF THE NEXT CHECK" in told
