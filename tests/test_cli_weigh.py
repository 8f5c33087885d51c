"""`wringout weigh` and `wringout next`: what matters first, on any terminal; JSON as the contract has it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import unicodedata
from functools import cache
from pathlib import Path

import pytest

from answered_once import answered_once
from sample_documents import CALL, RECLAIM
from wringout.catalogue.cares import cares
from wringout.catalogue.causes import causes
from wringout.catalogue.points import POINTS
from wringout.cli.layout import chance, item, listed, paragraph
from wringout.cli.main import main
from wringout.weighing.next_check import STATES

DEMO = Path(__file__).resolve().parent.parent / "src" / "wringout" / "demo"
WALK_UP = DEMO / "film_vault" / "call-1-walk-up.yaml"
ICE = DEMO / "ice_hall" / "call-2.yaml"
MENDED = DEMO / "film_vault" / "call-final.yaml"


def run(*arguments: str, columns: int = 80) -> tuple[int, str, str]:
    """The command in this process, with what it wrote."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", str(columns))
        return _captured(arguments)


def _captured(arguments: tuple[str, ...]) -> tuple[int, str, str]:
    import contextlib
    import io

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as ended:
        main(list(arguments))
    assert isinstance(ended.value.code, int)
    return ended.value.code, out.getvalue(), err.getvalue()


@cache
def good(*arguments: str, columns: int = 80) -> str:
    """What a command writes that must succeed and complain of nothing."""
    with answered_once():
        code, out, err = run(*arguments, columns=columns)
    assert (code, err) == (0, "")
    return out


def headings(text: str) -> list[str]:
    return re.findall(r"^(?:[A-Z][A-Z ]{4,})", text, flags=re.M)


# ------------------------------------------------------------------------------------------- json


def test_json_is_the_document_of_the_contract_and_nothing_else() -> None:
    document = json.loads(good("weigh", str(WALK_UP), "--json"))
    assert list(document) == ["format", "marginals", "healthy", "unexplained", "sets", "next", "seconds"]
    assert document["format"] == "wringout-weighing/1"
    assert set(document["marginals"]) <= set(causes())
    assert all(0.0 <= p <= 1.0 for p in document["marginals"].values())
    assert all(set(one) == {"causes", "probability"} for one in document["sets"])
    ranked = [one["probability"] for one in document["sets"]]
    assert ranked == sorted(ranked, reverse=True)
    assert 0.98 < sum(ranked) + document["unexplained"] <= 1.001
    for check in document["next"]:
        assert set(check) == {"state", "point", "minutes", "gain_bits"}
        assert check["state"] in STATES
        assert check["point"] in POINTS
        assert check["minutes"] > 0.0


def test_the_same_call_has_the_same_answer() -> None:
    first, second = (json.loads(run("weigh", str(ICE), "--json")[1]) for _ in range(2))
    first.pop("seconds")
    second.pop("seconds")
    assert first == second


def test_json_takes_as_many_checks_as_asked() -> None:
    assert len(json.loads(good("weigh", str(WALK_UP), "--json", "--checks", "2"))["next"]) == 2
    assert json.loads(good("weigh", str(WALK_UP), "--json", "--checks", "0"))["next"] == []


def test_words_and_json_tell_the_same() -> None:
    document = json.loads(good("weigh", str(WALK_UP), "--json"))
    best = document["sets"][0]
    first = good("weigh", str(WALK_UP)).split("MOST PROBABLE\n")[1].split("\n")[0]
    assert first.split(" % ")[0].strip() == f"{100 * best['probability']:.0f}"
    for cause in best["causes"]:
        assert causes()[cause].title in first


# ------------------------------------------------------------------------------------------ words


def test_what_matters_comes_first() -> None:
    text = good("weigh", str(WALK_UP))
    found = headings(text)
    wanted = ["MOST PROBABLE", "SUSPECTS", "NEXT CHECKS", "ASSUMED"]
    assert [h.strip() for h in found if h.strip() in wanted] == wanted
    assert text.index("Complaint:") < text.index("MOST PROBABLE")


def test_next_checks_come_with_cautions_before_the_first_and_what_each_would_tell() -> None:
    text = good("weigh", str(ICE))
    checks = text.split("NEXT CHECKS")[1].split("ASSUMED")[0]
    assert checks.index(cares()["local_rules"].text[0][:30]) < checks.index("\n1. ")
    assert len(re.findall(r"^\d\. ", checks, flags=re.M)) == 3
    assert re.search(r"\d+ min; expected to tell \d\.\d\d bits", checks.replace("\n     ", " "))
    assert re.search(r"- \S+ \+-\S+ \S+: ", checks)


def test_as_many_checks_as_asked_or_none() -> None:
    one = good("weigh", str(ICE), "--checks", "1")
    assert len(re.findall(r"^\d\. ", one.split("NEXT CHECKS")[1], flags=re.M)) == 1
    assert "NEXT CHECKS" not in good("weigh", str(ICE), "--checks", "0")


def test_given_assumed_and_computed_are_told_apart() -> None:
    text = " ".join(good("weigh", str(WALK_UP)).split())
    assert "Readings given: 13 as the unit runs" in text
    assert re.search(r"read \S+ \+-\S+ \S+; computed \S+ with it, \S+ without", text)
    assert re.search(r"\d+ of \d+ values of the unit: loop\.concentration", text)


def test_numbers_are_in_the_readers_units() -> None:
    assert "degF" in good("weigh", str(WALK_UP)), "the unit document is in inch-pound units"
    si = good("weigh", str(WALK_UP), "--units", "si")
    assert "degC" in si
    assert "degF" not in si
    final = str(ICE.with_name("call-final.yaml"))
    assert "degC" in good("weigh", final, "--explain", "all"), "this one is in SI"


@pytest.mark.parametrize("columns", [45, 80])
@pytest.mark.parametrize(
    "arguments",
    [
        ("weigh", str(WALK_UP)),
        ("weigh", str(ICE), "--explain", "all"),
        ("weigh", str(MENDED)),
        ("next", str(ICE), "-n", "5"),
    ],
    ids=["walk-up", "explain", "mended", "next"],
)
def test_it_fits_a_terminal_and_a_phone(arguments: tuple[str, ...], columns: int) -> None:
    lines = [
        line
        for line in good(*arguments, columns=columns).splitlines()
        if str(DEMO) not in line  # the path of the call is as long as it is
    ]
    too_long = [line for line in lines if len(line) > columns - 1 and len(line.split()) > 1]
    assert too_long == []


def test_no_gauges_no_pictures_and_no_colour_where_nobody_sees_it() -> None:
    for text in (
        good("weigh", str(WALK_UP)),
        good("next", str(ICE)),
        good("weigh", str(ICE), "--explain", "all"),
    ):
        assert "\x1b" not in text
        assert not [c for c in text if unicodedata.category(c) in ("So", "Sk", "Cf") or ord(c) >= 0x2500]


def test_probabilities_are_plain_numbers_and_never_certain() -> None:
    assert chance(0.836) == "84 %"
    assert chance(0.9999) == "over 99 %"
    assert chance(0.0) == "under 1 %"
    assert not re.search(r"\b(?:100|0) % [A-Z]", good("weigh", str(MENDED)).split("SUSPECTS")[0])


# ----------------------------------------------------------------------------- one cause in full


def test_a_cause_in_full_has_its_evidence_then_cautions_then_steps() -> None:
    text = good("weigh", str(WALK_UP), "--explain", "coil-dirty")
    order = [
        "Evidence in bits",
        "In all against the rival",
        "If true",
        "As a rule",
        "CAUTIONS FIRST",
        "WHAT TO DO",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    cause = causes()["coil-dirty"]
    flat = " ".join(text.split())
    for step in cause.remedy:
        assert step.split(" - ")[0][:40] in flat
    for id in ("local_rules", *cause.cares):
        assert all(words in flat for words in cares()[id].text)
    assert "Proven when:" in text
    assert "kind: change, cause: coil-dirty" in flat


def test_every_suspect_can_be_told_at_once() -> None:
    document = json.loads(good("weigh", str(WALK_UP), "--json"))
    text = good("weigh", str(WALK_UP), "--explain", "all")
    named = [id for id, p in document["marginals"].items() if p >= 0.05][:4]
    assert named
    for id in named:
        assert f"\n{id}: " in text


def test_a_cause_that_the_unit_cannot_have_is_said_to_be_so() -> None:
    text = " ".join(good("weigh", str(WALK_UP), "--explain", "compressor-out").split())
    assert "this unit cannot have Compressor does not run" in text


def test_after_a_repair_it_says_first_what_is_wrong_now() -> None:
    text = good("weigh", str(MENDED))
    assert text.index("WRONG NOW") < text.index("WHAT WAS WRONG") < text.index("SUSPECTS")
    now = text.split("dealt with\n")[1].split("\n")[0]
    assert now.endswith("Nothing wrong")


# ------------------------------------------------------------------------------------------- next


def test_next_tells_where_how_why_and_how_long_with_the_cautions_first() -> None:
    text = good("next", str(ICE), "-n", "4")
    assert text.startswith("CAUTIONS FIRST")
    assert text.index("Local rules") < text.index("\n1. ")
    assert re.search(r"Read [a-z][^.]*\([a-z.]+\)\s+by ", text.replace("\n", " "))
    assert "Why:" in text
    assert re.search(r"\d min; expected to\s+tell", text)


def test_next_as_json() -> None:
    document = json.loads(good("next", str(ICE), "--json", "-n", "40"))
    assert document["format"] == "wringout-next/1"
    assert document["next"]
    assert len({check["point"] for check in document["next"]}) == len(document["next"])
    for check in document["next"]:
        assert set(check) == {
            "state",
            "point",
            "what",
            "by",
            "care",
            "minutes",
            "gain_bits",
            "again",
            "steps",
        }
        assert set(check["care"]) <= cares().keys()
    forced = [check for check in document["next"] if check["state"] != "auto"]
    for check in forced:
        first, second, third, last = check["steps"]
        assert "hold" in first
        assert "kind: force" in first
        assert "Wait 15 min" in second
        assert third.startswith("Read ")
        assert "Release" in last
        assert "live_control" in check["care"]
        assert check["minutes"] >= 15


def test_steps_of_a_held_state_begin_with_holding_and_end_with_releasing() -> None:
    from wringout.cli.next_check import _steps

    steps = _steps("cooling.call=100 %", ["coil_leaving.t", "condensate.rate"])
    assert len(steps) == 5
    assert "item: cooling.call, to: 100 %" in steps[0]
    assert steps[-1] == "Release it to control again (kind: release, item: cooling.call)."
    assert _steps("auto", ["supply.t"]) == [
        "Read temperature of supply air behind fan and reheat coil (supply.t) by a handheld instrument, "
        "where the air is well mixed."
    ]
    assert "once more by" in _steps("auto", ["supply.t"], frozenset({"supply.t"}))[0]


# ----------------------------------------------------------------------------------------- errors


@pytest.mark.parametrize("command", ["weigh", "next"])
def test_a_call_without_a_reading_is_told_where_to_begin(command: str, tmp_path: Path) -> None:
    (tmp_path / "unit.yaml").write_text(RECLAIM, encoding="utf-8")
    call = tmp_path / "call.yaml"
    call.write_text("format: wringout-call/1\nunit: unit.yaml\nevents: []\n", encoding="utf-8")
    code, out, err = run(command, str(call))
    assert (code, out) == (2, "")
    assert "no reading yet" in err
    assert "shown.dew_point" in err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("weigh", "nowhere.yaml"), "there is no such file"),
        (("weigh", str(WALK_UP), "--explain", "strainer-pluged"), "strainer-plugged"),
        (("weigh", str(WALK_UP), "--json", "--explain", "all"), "--json"),
        (("weigh", str(WALK_UP), "--units", "imperial"), "units"),
        (("weigh", str(WALK_UP), "--checks", "-1"), "checks"),
        (("next", str(WALK_UP), "-n", "0"), "-n"),
        (("next", "nowhere.yaml"), "there is no such file"),
    ],
)
def test_what_is_wrong_with_the_input_is_said_with_exit_code_2(
    arguments: tuple[str, ...], words: str
) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert words in err
    assert "Traceback" not in err


def test_a_call_of_several_states_visits_and_a_change_is_weighed(tmp_path: Path) -> None:
    (tmp_path / "unit.yaml").write_text(RECLAIM, encoding="utf-8")
    call = tmp_path / "call.yaml"
    call.write_text(CALL, encoding="utf-8")
    text = good("weigh", str(call))
    flat = " ".join(text.split())
    assert "with the reheat command held at 100 %" in flat
    assert "on visit 2 after change 1" in flat
    assert "WRONG NOW" in text


@pytest.mark.parametrize("command", ["weigh", "next"])
def test_help_tells_the_exit_codes_and_ends_with_an_example(command: str) -> None:
    code, out, _ = run(command, "--help")
    assert code == 0
    flat = " ".join(out.split())
    assert "Exit codes: 0" in flat
    assert re.search(rf"Example: wringout {command} call\.yaml[^.]*$", flat)


def test_a_fresh_start_brings_no_more_than_it_must() -> None:
    """Help and the list of commands come without numpy, pydantic and yaml."""
    lines = (
        "import sys",
        "from wringout.cli import weigh, next_check",
        "heavy = {'numpy', 'pydantic', 'yaml', 'wringout.weighing.answer'} & sys.modules.keys()",
        "sys.exit(', '.join(sorted(heavy)) or 0)",
    )
    done = subprocess.run(
        [sys.executable, "-c", "\n".join(lines)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


# ----------------------------------------------------------------------------------------- layout


def test_text_stacks_under_its_mark(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "30")
    assert item("-", "one two three four five six seven", 2).split("\n") == [
        "  - one two three four five",
        "    six seven",
    ]
    assert listed([("3 %", "a"), ("55 %", "b")]) == [" 3 % a", "55 % b"]
    assert paragraph("alpha beta gamma delta epsilon", 2, 2).split("\n") == [
        "  alpha beta gamma delta",
        "    epsilon",
    ]
