"""A report with a log: its verdict, its findings and its figures are those that the commands print."""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from click import unstyle
from click.testing import CliRunner

from answered_once import answered_once
from motion_trends import DAY, START
from proof_samples import FAULT, MENDED, MENDED_AT, days, in_per_cent, written
from wringout.catalogue.calls import load_call
from wringout.cli.main import group
from wringout.cli.prove_text import proof_lines
from wringout.machine.design import design
from wringout.proof.working import weather_that_calls
from wringout.report.findings import Findings, as_found, findings, judged
from wringout.report.write import report_of
from wringout.showing.words import pretty
from wringout.trends.evidence import trend_evidence
from wringout.weighing.answer import weigh
from wringout.weighing.document import answer_document

FOUND = (
    "shown.dew_point: 61 degF",
    "shown.space_t: 75 degF",
    "shown.dehumidifying: yes",
    "shown.stages_called: 2 count",
    "shown.reheat_command: 0 %",
    "supply.t: 66 degF",
    "stage.a1.current: 0.3 A",
)
LEFT = ("shown.dew_point: 48.4 degF", "supply.t: 55 degF", "stage.a1.current: 24 A")
DEMO = Path(__file__).resolve().parent.parent / "src" / "wringout" / "demo"


def read(readings: tuple[str, ...], minutes: int) -> str:
    lines = ""
    for k, words in enumerate(readings):
        name, _, value = words.partition(": ")
        at = MENDED_AT + timedelta(minutes=minutes + k)
        lines += f"  - {{at: {at.isoformat()}, kind: reading, point: {name}, value: {value}}}\n"
    return lines


def run(*arguments: str) -> str:
    with answered_once():
        done = CliRunner().invoke(group, list(arguments), env={"COLUMNS": "80"}, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def shown(path: Path) -> str:
    """The words of a report in HTML, as one line."""
    text = re.sub(r"<style>.*?</style>|<[^>]+>", " ", path.read_text(encoding="utf-8"), flags=re.S)
    return flat(unescape(text))


def flat(text: str) -> str:
    return " ".join(pretty(" ".join(text.split())).replace("+/-", "±").split())


def sentences(printed: str) -> Iterator[str]:
    """Each sentence of what a command printed that holds a figure, without its list marks."""
    body = printed.partition("\n\n")[2].replace("Moisture in the days since\n", "\n\n")
    for part in re.split(r"\n(?= *(?:-|holds|FAILS|open|When) )|\n\n", body):
        words = flat(re.sub(r"^ *(?:-|holds|FAILS|open) (?:[a-z0-9 ]+: )?", "", part.strip("\n")))
        yield from (one for one in re.split(r"(?<=\.) (?=[A-Z])", words) if re.search(r"\d", one))


def test_the_verdict_is_that_of_prove(tmp_path: Path) -> None:
    asked = written(tmp_path, in_per_cent(days()), before=read(FOUND, -60), after=read(LEFT, 45))
    printed = run(*asked, "--units", "si")
    run("report", asked[1], "--trend", asked[3], "-o", str(tmp_path / "r.html"), "--units", "si")
    told = shown(tmp_path / "r.html")
    assert printed.splitlines()[0] == "Proven"
    first = told[: told.index("Cautions")]
    assert "h since the repair: proven." in first
    assert "Proof over days" not in first
    assert "By the log of the days since: proven." in told
    checked = [flat(printed[printed.index("Looked at") :].partition("\n\n")[0]), *sentences(printed)]
    assert len(checked) > 12
    for one in checked:
        assert one in told, one
    assert "Moisture in the days since" in told
    assert " a day brought in" in told
    # and the pages of the log hold what the log's own command says
    trends = list(sentences(run("trend", asked[3], "--unit", str(tmp_path / "unit.yaml"), "--units", "si")))
    assert len([one for one in trends if one in told]) >= 3, trends


@pytest.fixture(scope="module")
def repaired(tmp_path_factory: pytest.TempPathFactory) -> Findings:
    """A report's contents in inch-pound units without a log."""
    folder = tmp_path_factory.mktemp("repaired")
    asked = written(
        folder,
        in_per_cent(days()).between(START, START + 1.0),
        before=read(FOUND[:2], -60),
        after=read(LEFT[:2], 45),
    )
    return findings(load_call(asked[1]), "ip")


def test_what_was_found_is_weighed_with_the_days_before_the_repair_alone(repaired: Findings) -> None:
    log = days()
    f = findings(repaired.call, "ip", log)
    before = as_found(repaired.call)
    evidence = trend_evidence(log.between(-np.inf, MENDED), repaired.call.unit)
    then = weigh(before, np.random.default_rng(0), checks=False, trend=evidence)
    assert f.found["document"]["marginals"] == answer_document(then, 0.0)["marginals"]
    assert f.found["document"]["marginals"] != repaired.found["document"]["marginals"]
    assert f.logged_before == "2027-07-08"
    assert f.logged == "2027-07-08 to 2027-07-10"
    told = told_by(f)
    assert "probable on the readings taken and the log, 2027-07-08." in told
    assert "What is wrong now, on all readings and the log, 2027-07-08 to 2027-07-10" in told
    assert "and the log" not in told_by(repaired)


def told_by(f: Findings) -> str:
    return " ".join(flat(text) for text in report_of(f, "x").texts())


def test_a_repair_that_has_not_held_is_told_so_in_inches_and_pounds(repaired: Findings) -> None:
    f = replace(repaired, proof=judged(repaired.call, days((FAULT,)))[0])
    assert f.proof is not None
    printed = unstyle("\n".join(proof_lines(f.proof, f.call.unit, "ip")))
    told = told_by(f)
    assert "By the log of the days since: not proven." in told
    assert "the log shows what does not hold" in told
    assert "over it for " in told
    checked = list(sentences(printed))
    assert len(checked) > 12
    assert any("°F" in one for one in checked)
    for one in checked:
        assert one in told, one


def test_a_log_that_ends_before_the_repair_proves_nothing_and_says_what_would(repaired: Findings) -> None:
    proof, why = judged(repaired.call, days().between(START, MENDED - 0.5 * DAY))
    assert proof is None
    told = told_by(replace(repaired, unproven=why))
    assert "Not yet proven over days" in told
    assert "ends before the repair" in told
    since = MENDED_AT + timedelta(hours=3)
    assert f"Log the unit from {since:%Y-%m-%d %H:%M} on. It takes 24 h" in told
    stage = weather_that_calls(repaired.call.unit, design(repaired.call.unit), 1)
    assert (
        f"Stage a1 is called by a healthy unit from an outdoor dew point of {1.8 * stage + 32:.1f} °F on"
        in told
    )


def test_a_call_of_the_record_gives_the_figures_of_its_document(tmp_path: Path) -> None:
    call = DEMO / "film_vault" / "call-final.yaml"
    store = str(tmp_path / "record.sqlite")
    run("import", str(call), "--store", store)
    (listed,) = json.loads(run("calls", "--json", "--store", store))["calls"]
    out, bundle = tmp_path / "r.html", tmp_path / "r.zip"
    run("report", listed["id"], "--store", store, "-o", str(out), "--bundle", str(bundle))
    with zipfile.ZipFile(bundle) as archive:
        kept = {name.rpartition("/")[2]: archive.read(name) for name in archive.namelist()}
    pages = [data for name, data in kept.items() if name.endswith("report.html")]
    assert pages == [out.read_bytes()]
    told = shown(out)
    printed = run("ledger", str(call), "--units", "ip").split("What does not add up")[0]
    amounts = re.findall(r"-?[\d.]+ ± [\d.]+ (?:MBH|lb/h)", flat(printed))
    assert len(amounts) > 5
    for amount in amounts:
        assert amount in told, amount
    answer = json.loads(run("weigh", str(call), "--json"))
    (weighed,) = [json.loads(data) for name, data in kept.items() if name.endswith("weighing.json")]
    assert {**weighed, "seconds": 0} == {**answer, "seconds": 0}
