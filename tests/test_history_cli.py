"""``wringout history`` and ``--fingerprint``: visits told, learned from and used, and what is refused."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import yaml

from test_cli_weigh import good, run
from wringout.history.fingerprint import fingerprint_from_text
from wringout.records.store import open_store

DEMO = Path(__file__).resolve().parent.parent / "src" / "wringout" / "demo"
VAULT = DEMO / "film_vault" / "call-final.yaml"
ICE = DEMO / "ice_hall" / "call-final.yaml"


@pytest.fixture(scope="module")
def learned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the visit after the repair of a demo's story tells of its unit."""
    path = tmp_path_factory.mktemp("learned") / "vault.fingerprint.json"
    good("history", str(VAULT), "--learn", "-o", str(path))
    return path


def later(folder: Path, step: str = "call-1-walk-up", days: float = 90.0) -> Path:
    """The vault as it was found, so many days after its repair."""
    call = yaml.safe_load((DEMO / "film_vault" / f"{step}.yaml").read_text(encoding="utf-8"))
    for event in call["events"]:
        event["at"] += timedelta(days=days)
    call["unit"] = yaml.safe_load((DEMO / "film_vault" / "unit.yaml").read_text(encoding="utf-8"))
    path = folder / "later.yaml"
    path.write_text(yaml.safe_dump(call), encoding="utf-8")
    return path


def days_of_the_vault() -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Events of the demo's two days."""
    events = yaml.safe_load(VAULT.read_text(encoding="utf-8"))["events"]
    first = events[0]["at"].date()
    return [e for e in events if e["at"].date() == first], [e for e in events if e["at"].date() > first]


def test_visits_are_told_with_what_was_changed_and_how_the_unit_was_left() -> None:
    text = good("history", str(VAULT), "--units", "si")
    found, _ = days_of_the_vault()
    assert f"{found[0]['at']:%Y-%m-%d %H:%M} to {found[-1]['at']:%H:%M}" in text
    assert "changed: Filter loaded, new filters, frame sealed" in text
    assert "nothing read after the last change" in text
    assert "left: dew-point set point in the controller 7.2 degC" in text
    assert "Nothing to compare" in text


def test_two_calls_are_told_in_order_with_what_the_later_found_otherwise(tmp_path: Path) -> None:
    text = " ".join(good("history", str(later(tmp_path)), str(VAULT)).split())
    _, left = days_of_the_vault()
    assert text.index(f"{left[0]['at']:%Y-%m-%d %H:%M}") < text.index("2029-09-10 09:21")
    assert "Found on 2029-09-10, against as left on 2029-06-13 - rh of return air" in text
    assert "other points within 2.5 standard deviations." in text


def test_what_differs_from_as_left_is_told_with_both_numbers(tmp_path: Path) -> None:
    again = str(later(tmp_path, "call-3"))
    document = json.loads(good("history", str(VAULT), again, "--json"))
    assert document["format"] == "wringout-history/1"
    assert [len(visit["changes"]) for visit in document["visits"]] == [2, 0, 0]
    assert document["compared_with"].startswith("2029-06-13")
    worst = document["differences"][0]
    # the filters are loaded again; as left they took a sixth of it
    assert worst["point"] == "filter.drop"
    assert worst["differs"]
    _, left = days_of_the_vault()
    found = yaml.safe_load(Path(again).read_text(encoding="utf-8"))["events"]
    now, drop = (next(e["value"] for e in es if e.get("point") == "filter.drop") for es in (found, left))
    assert now != drop
    assert (worst["now"], worst["left"]) == (now, drop)
    assert "over what the machine as left would read now" in worst["says"]


def test_a_unit_of_the_record_is_told_by_its_name(tmp_path: Path) -> None:
    store = str(tmp_path / "record.sqlite")
    good("import", str(VAULT), "--store", store)
    text = good("history", "--unit", "Vault conditioner", "--store", store)
    assert "changed: Filter loaded" in text
    code, _, err = run("history", "--unit", "Vault", "--store", store)
    assert (code, err.count("\n")) == (2, 1)
    assert "there are: Vault conditioner" in err


def test_what_was_learned_is_used_by_weigh_and_next(learned: Path, tmp_path: Path) -> None:
    call = str(later(tmp_path))
    plain = json.loads(good("weigh", call, "--json", "--checks", "0"))
    known = json.loads(good("weigh", call, "--json", "--checks", "0", "--fingerprint", str(learned)))
    assert known["marginals"] != plain["marginals"]
    assert "as proven visits told of it" in good("weigh", call, "--fingerprint", str(learned))
    # the sensor reads low in both; a fingerprint does not make it so
    assert max(known["marginals"], key=known["marginals"].__getitem__) == "dew-sensor-low"
    following = json.loads(good("next", call, "--json", "--fingerprint", str(learned)))
    assert following["next"]


def test_learning_again_adds_nothing_and_loses_nothing(learned: Path, tmp_path: Path) -> None:
    path = tmp_path / "again.json"
    path.write_bytes(learned.read_bytes())
    good("history", str(VAULT), "--learn", "-o", str(path))
    assert path.read_bytes() == learned.read_bytes()
    assert len(fingerprint_from_text(path.read_text(encoding="utf-8"), path.name).visits) == 1


def refused(*arguments: str) -> str:
    code, out, err = run(*arguments)
    assert (code, out, err.count("\n")) == (2, "", 1), err
    return err


def test_a_visit_that_is_not_proven_teaches_nothing_until_the_days_after_it_prove_it(tmp_path: Path) -> None:
    output = tmp_path / "ice.json"
    told = refused("history", str(ICE), "--learn", "-o", str(output))
    assert "no proven visit to learn from" in told
    assert not output.exists()
    proof = tmp_path / "proof.json"
    days = {"repair": None, "from": "2029-08-22T00:00:00", "to": "2029-08-29T00:00:00"}
    document = {"format": "wringout-proof/1", "verdict": "proven", **days}
    proof.write_text(json.dumps(document), encoding="utf-8")
    text = good("history", str(ICE), "--learn", "-o", str(output), "--proof", str(proof))
    assert "proven by the days after it" in text
    assert fingerprint_from_text(output.read_text(encoding="utf-8"), "x").visits[0].proven == "days"
    # kept with the call in the record, the proof need not be named, and teaches the same
    record, again = tmp_path / "record.sqlite", tmp_path / "again.json"
    good("import", str(ICE), "--store", str(record))
    with open_store(record, create=False) as store:
        (call,) = store.calls()
        data = proof.read_bytes()
        store.attach(data, name="proof.json", call_id=call.call_id, author="Ann", device="phone")
    good("history", call.call_id, "--store", str(record), "--learn", "-o", str(again))
    assert again.read_bytes() == output.read_bytes()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"verdict": "not_proven"}, "its verdict is not_proven"),
        ({"format": "wringout-history/1"}, "wanted wringout-proof/1"),
        ({"to": "next week"}, "from when to when"),
        ({"from": "2031-01-01T00:00:00", "to": "2031-01-08T00:00:00"}, "it proves other visits"),
    ],
)
def test_a_proof_that_proves_nothing_here_is_refused(
    tmp_path: Path, change: dict[str, str], words: str
) -> None:
    document = {"format": "wringout-proof/1", "verdict": "proven", "repair": None}
    document |= {"from": "2029-08-22T00:00:00", "to": "2029-08-29T00:00:00"}
    proof = tmp_path / "proof.json"
    proof.write_text(json.dumps(document | change), encoding="utf-8")
    assert words in refused(
        "history", str(ICE), "--learn", "-o", str(tmp_path / "f.json"), "--proof", str(proof)
    )


def test_a_fingerprint_that_does_not_fit_is_refused(learned: Path, tmp_path: Path) -> None:
    call = str(later(tmp_path))
    assert "is the fingerprint of" in refused("weigh", str(ICE), "--fingerprint", str(learned))
    assert "a reading would count twice" in refused("weigh", str(VAULT), "--fingerprint", str(learned))
    assert "cannot be read" in refused("next", call, "--fingerprint", str(tmp_path / "none.json"))
    broken = tmp_path / "broken.json"
    broken.write_bytes(b"\xff\xfe\x00")
    assert "no text" in refused("weigh", call, "--fingerprint", str(broken))
    broken.write_text(learned.read_text(encoding="utf-8")[:400], encoding="utf-8")
    assert "this is no fingerprint" in refused("weigh", call, "--fingerprint", str(broken))
    newer = learned.read_text(encoding="utf-8").replace("fingerprint/1", "fingerprint/2")
    broken.write_text(newer, encoding="utf-8")
    assert "a later version of wringout wrote it" in refused("weigh", call, "--fingerprint", str(broken))
    # nothing is written over a file that is no fingerprint of this unit
    assert "later version" in refused("history", str(VAULT), "--learn", "-o", str(broken))
    assert broken.read_text(encoding="utf-8") == newer


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "give calls, or --unit"),
        ((str(VAULT), "--learn"), "name the file to write"),
        ((str(VAULT), "-o", "x.json"), "goes with --learn"),
        ((str(VAULT), str(ICE)), "different units"),
    ],
)
def test_a_command_that_cannot_be_meant_is_refused(arguments: tuple[str, ...], words: str) -> None:
    assert words in refused("history", *arguments)


def test_a_call_in_which_nothing_happened_has_no_visit(tmp_path: Path) -> None:
    call = yaml.safe_load(VAULT.read_text(encoding="utf-8"))
    call |= {"events": [], "unit": yaml.safe_load((VAULT.parent / "unit.yaml").read_text(encoding="utf-8"))}
    path = tmp_path / "empty.yaml"
    path.write_text(yaml.safe_dump(call), encoding="utf-8")
    assert "no visit" in refused("history", str(path))


def test_a_report_tells_earlier_visits_and_what_was_found_otherwise(tmp_path: Path) -> None:
    output = tmp_path / "report.html"
    good("report", str(later(tmp_path)), "--earlier", str(VAULT), "-o", str(output))
    text = output.read_text(encoding="utf-8")
    section = text[text.index("Earlier visits") : text.index("<h2", text.index("Earlier visits"))]
    assert "new filters, frame sealed" in section
    assert "2029-06-13" in section
    assert "2029-09-10" not in section  # its own visit is the rest of the report
    assert "over what the machine as left would read now" in section
    alone = tmp_path / "alone.html"
    good("report", str(later(tmp_path)), "-o", str(alone))
    assert "Earlier visits" not in alone.read_text(encoding="utf-8")
    told = refused("report", str(VAULT), "-o", str(tmp_path / "no.html"), "--proof", "proof.json")
    assert "this goes with --earlier" in told
