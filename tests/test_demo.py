"""The demo: invented buildings, advice that was followed, an answer beside what was planted; and the quick
start of README.md and docs/using.md, run on the demo's files."""

from __future__ import annotations

import contextlib
import io
import re
import shutil
from datetime import UTC, datetime
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import yaml

from answered_once import WEIGHED, answered_once
from logged_units import logged
from wringout.catalogue.causes import causes
from wringout.cli.main import main
from wringout.demo.story import STORIES, Story, story
from wringout.demo.telling import told
from wringout.documents.call import Change, Force, Reading
from wringout.documents.load import load_unit
from wringout.trends.table import TrendTable
from wringout.weighing.answer import Answer
from wringout.weighing.evidence import mended, still_wrong

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "src" / "wringout" / "demo"
PRACTICE = ROOT.parent / "shared" / "practice" / "calls"
AGAIN = "`make retell`: the weighing has changed since the demo's advice was followed"


@cache
def answers(name: str) -> tuple[Story, tuple[Answer, ...], Answer]:
    one = story(name)
    steps = tuple(WEIGHED(step.call, np.random.default_rng(0)) for step in one.steps)
    return one, steps, WEIGHED(one.final.call, np.random.default_rng(0))


@pytest.mark.parametrize(
    "path", sorted(DEMO.glob("*/*.yaml")), ids=lambda path: f"{path.parent.name}-{path.stem}"
)
def test_every_file_says_that_it_is_invented(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.startswith("# invented data")
    assert not re.search(r"R-?744|CO2", text), "recovered heat of a CO2 plant is for other calls"


def test_there_are_two_stories_and_one_of_them_has_two_causes() -> None:
    stories = [story(name) for name in STORIES]
    assert len(stories) == 2
    assert sorted(len(one.planted) for one in stories) == [1, 2]
    kinds = {
        (one.steps[0].call.unit.cooling.kind, one.steps[0].call.unit.reheat.valve.ways) for one in stories
    }
    assert kinds == {("dx", "three"), ("chilled_water", "two")}
    for one in stories:
        assert set(one.planted) <= causes().keys()
        assert "(invented)" in one.steps[0].call.unit.site.name


@pytest.mark.skipif(not PRACTICE.is_dir(), reason="the practice calls are not beside this repository")
def test_no_name_of_the_practice_buildings_is_used_again() -> None:
    taken = set()
    for path in PRACTICE.glob("*/unit.yaml"):
        unit = yaml.safe_load(path.read_text(encoding="utf-8"))
        taken |= {unit["name"], unit["site"]["name"], str(unit["air"]["supply_airflow"])}
    assert taken
    for name in STORIES:
        unit = story(name).steps[0].call.unit
        own = {unit.name, unit.site.name, unit.provenance["air.supply_airflow"].text}
        assert not own & taken


@pytest.mark.parametrize("name", STORIES)
def test_calls_grow_event_by_event(name: str) -> None:
    one = story(name)
    calls = [step.call for step in (*one.steps, one.final)]
    for before, after in pairwise(calls):
        assert after.events[: len(before.events)] == before.events
        assert len(after.events) > len(before.events)
    assert len(one.steps[0].new) >= 12
    assert all(isinstance(event, Reading) for event in one.steps[0].new)


@pytest.mark.parametrize("name", STORIES)
def test_the_advice_was_followed(name: str) -> None:
    """The first reading of each step is among the first three that the tool asks for on the step before."""
    one, steps, _ = answers(name)
    for before, step in zip(steps[:-1], one.steps[1:], strict=True):
        held = next((e for e in step.new if isinstance(e, Force)), None)
        state = f"{held.item}={100.0 * held.to:.6g} %" if held else None
        first = next(e for e in step.new if isinstance(e, Reading))
        asked = [(c.state, c.point) for c in before.next[:3]]
        assert first.point in [point for at, point in asked if state is None or at == state], AGAIN


@pytest.mark.parametrize("name", STORIES)
def test_the_answer_is_what_was_planted(name: str) -> None:
    one, steps, _ = answers(name)
    best = steps[-1].sets[0]
    assert set(best.causes) == set(one.planted)
    assert best.probability >= 0.6, AGAIN
    assert steps[0].sets[0].probability < best.probability, "the walk-up readings alone do not tell"


@pytest.mark.parametrize("name", STORIES)
def test_after_the_repair_it_is_healthy(name: str) -> None:
    one, _, after = answers(name)
    changes = {e.cause for e in one.final.new if isinstance(e, Change)}
    assert changes == set(one.planted) == mended(after)
    assert any(isinstance(e, Reading) for e in one.final.new)
    now = still_wrong(after)
    assert now[0][0] == ()
    assert now[0][1] >= 0.5, AGAIN


def test_the_story_is_told_in_order_and_fits_a_terminal() -> None:
    with answered_once():
        text = "\n".join(told(("film_vault",)))
    assert max(len(line) for line in text.split("\n")) < 80
    order = [
        "The readings were computed once by this package's own machine",
        "Complaint:",
        "-- The walk-up readings",
        "Next, says the tool:",
        "-- Step 2: the advice followed",
        "$ wringout weigh call-",
        "MOST PROBABLE",
        "-- The repair, and the readings after it",
        "mended:",
        "Still wrong now:",
        "The answers against what was planted",
    ]
    flat = " ".join(text.split())
    places = [flat.index(" ".join(words.split())) for words in order]
    assert places == sorted(places)
    assert flat.endswith("right.")


# ---------------------------------------------------------------------------- the pages, held true


def page(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def commands(name: str) -> list[str]:
    """Commands of a page: lines of its text blocks that begin with `wringout`, without their remarks."""
    found = []
    for block in re.findall(r"```(?:text|sh|console)\n(.*?)```", page(name), flags=re.S):
        found += re.findall(r"^(?:\$ )?(wringout [a-z]+[^\n]*)$", block, flags=re.M)
    return [re.split(r"\s{2,}", line)[0] for line in found]


def write_log(path: Path, table: TrendTable, start: datetime) -> None:
    """A log as a controller writes it, moved to begin at a time."""
    moments = pl.Series(table.time - table.time[0] + start.timestamp()).cast(pl.Int64) * 1_000_000
    columns = {"Time": moments.cast(pl.Datetime("us")).dt.strftime("%Y-%m-%d %H:%M")}
    shown = {name: 100.0 * v if name == "shown.reheat_command" else v for name, v in table.values.items()}
    pl.DataFrame(columns | {name: pl.Series(v) for name, v in shown.items()}).write_csv(path)


def _logged_in(name: str) -> str:
    return {"shown.reheat_command": '"%"', "shown.stages_called": "count"}.get(name, "degC")


def mapping(log: str, table: TrendTable) -> str:
    """Which column is what."""
    lines = [f'  "{name}": {{point: {name}, unit: {_logged_in(name)}}}' for name in table.values]
    time = '{column: "Time", format: "%Y-%m-%d %H:%M"}'
    head = f"format: wringout-trend/1\nfile: {log}\ntime: {time}\ncolumns:\n"
    return head + "\n".join(lines) + "\n"


@cache
def days_of_the_vault() -> TrendTable:
    """A day of the demo's unit with nothing wrong: as long a log as every command of the pages takes."""
    return logged(load_unit(DEMO / "film_vault" / "unit.yaml"), [()], seed=1, days=1.0)[0].trend


@pytest.fixture
def visit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder as a technician has it: a unit document and a call beside it."""
    for path in (DEMO / "film_vault").glob("*.yaml"):
        shutil.copy(path, tmp_path)
    shutil.copy(DEMO / "film_vault" / "call-3.yaml", tmp_path / "call.yaml")
    log = days_of_the_vault()
    write_log(tmp_path / "log.csv", log, datetime(2029, 6, 10, 12, tzinfo=UTC))
    (tmp_path / "trend.yaml").write_text(mapping("log.csv", log), encoding="utf-8")
    write_log(tmp_path / "week.csv", log, datetime(2029, 6, 12, 12, tzinfo=UTC))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


def ran(command: str) -> str:
    out = io.StringIO()
    words = command.split()[1:]
    if words[0] in ("wait", "prove"):  # the call of the page is not mended yet
        words[1] = "call-final.yaml"
    if words[0] == "history":  # the calls of other years are not of the demo
        words[1:] = ["call-final.yaml"]
    if words[0] == "new":  # asks its questions of a terminal; here it is to take what it would propose
        words += ["--yes", "-o", "new-unit.yaml"]
    with answered_once(), contextlib.redirect_stdout(out), pytest.raises(SystemExit) as ended:
        main(words)
    assert ended.value.code == 0, command
    return out.getvalue()


@pytest.mark.parametrize("name", ["README.md", "docs/using.md"])
def test_the_commands_of_the_page_run(name: str, visit: Path) -> None:
    found = commands(name)
    assert {line.split()[1] for line in found} >= {"check", "weigh", "next"}
    for line in found:
        # what is learned from other visits runs in tests/test_history_cli.py
        if "-o " not in line and "--fingerprint" not in line:
            assert ran(line)


@pytest.mark.parametrize("name", ["README.md", "docs/using.md"])
def test_the_call_of_the_page_is_read_and_weighed(name: str, visit: Path) -> None:
    written = [b for b in re.findall(r"```yaml\n(.*?)```", page(name), flags=re.S) if "wringout-call/1" in b]
    assert written
    for block in written:
        (visit / "call.yaml").write_text(block, encoding="utf-8")
        assert "MOST PROBABLE" in ran("wringout weigh call.yaml --checks 0")


def test_the_capture_in_the_readme_is_what_the_command_answers() -> None:
    """Numbers may move a little from machine to machine; what is named and asked for must not."""
    block = re.search(r"```console\n\$ (wringout weigh [^\n]+)\n(.*?)```", page("README.md"), flags=re.S)
    assert block
    name = block[1].split()[2]
    paths = list(DEMO.glob(f"film_vault/{name}"))
    assert paths, f"{name} is a call of the demo"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", "80")
        patch.chdir(paths[0].parent)
        now = ran(block[1])
    shown = block[2]
    for text in (shown, now):
        assert "MOST PROBABLE" in text
    assert first_set(shown) == first_set(now), AGAIN
    assert re.findall(r"^\d\. ([A-Z][^,]+),", shown, flags=re.M) == re.findall(
        r"^\d\. ([A-Z][^,]+),", now, flags=re.M
    ), AGAIN


def first_set(text: str) -> str:
    return re.sub(r"^\s*\d+ % ", "", text.split("MOST PROBABLE\n")[1].split("\n")[0])
