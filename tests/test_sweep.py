"""The sweep as a building's owner would put it: who loses moisture control, why, since when, at what cost."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from motion_cases import UNITS, unit
from sweep_units import START, Run, fleet, frame, write
from wringout.errors import InputError
from wringout.sweep.judging import judge
from wringout.sweep.local import Given, run_local
from wringout.sweep.needless_heat import needless_heat, unwanted
from wringout.sweep.page import page
from wringout.sweep.pairing import paired
from wringout.sweep.places import found_at
from wringout.sweep.ranking import GROUPS, RULE, ranked
from wringout.sweep.running import Engine, Swept, sweep
from wringout.sweep.table import COLUMNS, parquet
from wringout.sweep.task import Choices
from wringout.trends.moisture_balance import blocks_of
from wringout.trends.table import DAY, TrendTable

KIND = "modulating reclaim"
HEALTHY, STUCK, HAND, LOCKED, DOORS, LOW = range(6)
UNWEIGHED = Choices(weigh="none")


@pytest.fixture(scope="module")
def runs() -> list[Run]:
    """Three days of six units of one kind in the same weather. They are alike but for what is wrong: a room
    that happens to gain much moisture is wet with nothing wrong, and comes before one whose doors are open.
    """
    return fleet(
        KIND,
        [[], ["valve-stuck"], ["output-in-hand"], ["locked-out"], ["doors-open"], ["setpoint-wrong/1"]],
        days=3.0,
        seed=3,
        step=40.0,
        alike=True,
    )


def judged(folder: Path, run: Run, choices: Choices = UNWEIGHED, **kwargs: Any) -> dict[str, Any]:
    """One unit from its files to its result."""
    write(folder, run, KIND, **kwargs)
    root, names = found_at(str(folder))
    (task,) = paired(root, names, choices).tasks
    result = judge(task)
    assert result["error"] is None
    return result


# --------------------------------------------------------------------------- what is said of a unit


def test_a_healthy_unit_holds_the_room_and_wastes_nothing(tmp_path: Path, runs: list[Run]) -> None:
    result = judged(tmp_path, runs[HEALTHY])
    assert result["moisture"]["state"] == "kept"
    assert result["heat"]["least"]["value"] == 0.0
    assert ranked([result])[0].group == "kept"


def test_a_unit_that_is_locked_out_loses_control_from_the_beginning(tmp_path: Path, runs: list[Run]) -> None:
    result = judged(tmp_path, runs[LOCKED])
    assert result["moisture"]["state"] == "lost"
    assert result["moisture"]["share"] > 0.9
    assert result["moisture"]["since"]["from_start"]
    assert ranked([result])[0].group == "lost"


def test_open_doors_are_not_laid_at_the_units_door(tmp_path: Path, runs: list[Run]) -> None:
    result = judged(tmp_path, runs[DOORS])
    assert result["moisture"]["state"] == "lost"
    assert result["moisture"]["whose"] in {"building", "rather_building", "unknown"}


def test_since_when_is_the_day_that_the_lock_out_came(tmp_path: Path, runs: list[Run]) -> None:
    """A day and a half of the healthy unit, then the locked-out one, in two files."""
    one, other = runs[HEALTHY].trend, runs[LOCKED].trend
    turn = START + DAY + 7.5 * 3600.0
    first = one.between(0.0, turn)
    second = other.between(turn, np.inf)
    spliced = TrendTable(
        np.concatenate([first.time, second.time]),
        {p: np.concatenate([first[p], second[p]]) for p in first.values},
    )
    result = judged(tmp_path, replace(runs[HEALTHY], trend=spliced), files=2)
    assert result["moisture"]["state"] == "lost"
    since = result["moisture"]["since"]
    assert not since["from_start"]
    assert "2027-07-02T07:30" <= since["at"] <= "2027-07-02T14:00"
    assert len(result["files"]) == 2
    days = {day["day"]: day["over"]["value"] for day in result["moisture"]["days"]}
    assert days["2027-07-01"] == 0.0
    assert days["2027-07-03"] == 24.0


@pytest.mark.parametrize("which", [STUCK, HAND])
@pytest.mark.parametrize(
    ("beside", "route"),
    [((), "moisture balance"), (("coil_leaving.t",), "logged"), (("supply.rh",), "supply humidity")],
)
def test_needless_heat_of_a_valve_held_open_lies_between_the_bounds(
    runs: list[Run], which: int, beside: tuple[str, ...], route: str
) -> None:
    """Against what exact instruments in the machine's air would have summed up to."""
    run, document = runs[which], unit(KIND)
    table = replace(run.trend, values={**run.trend.values, **{p: run.true[p] for p in beside}})
    blocks = blocks_of(table)
    found = needless_heat(blocks, document)
    exact = blocks_of(run.true)
    rise = exact.get("supply.t") - exact.get("coil_leaving.t") - document.air.supply_fan.heat_rise
    density = 101_325.0 / (287.042 * (exact.get("supply.t") + 273.15))
    watts = exact.get("supply.airflow") * density * 1015.0 * rise
    true = float(watts[unwanted(blocks, document)].sum()) * 1800.0
    assert found.route == route
    assert true > 3.6e6 * 1000.0
    assert found.least <= true <= found.most
    assert found.least > 0.5 * true
    assert found.most < 2.0 * true
    assert found.against_cooling > 0.8 * found.least, "it cooled nearly all the time"


def test_a_unit_that_dries_below_its_set_point_wastes_heat_while_it_cools(runs: list[Run]) -> None:
    found = needless_heat(blocks_of(runs[LOW].trend), unit(KIND))
    assert found.least > 0.0
    assert found.against_cooling == pytest.approx(found.least)


@pytest.mark.parametrize("which", [HEALTHY, LOCKED, DOORS])
def test_no_heat_is_called_needless_where_reheat_did_its_job(runs: list[Run], which: int) -> None:
    assert needless_heat(blocks_of(runs[which].trend), unit(KIND)).least == 0.0


def test_hours_beyond_the_design_day_are_the_weathers(tmp_path: Path) -> None:
    (run,) = fleet(KIND, [[]], days=1.0, under=-3.0, step=40.0)
    table = run.trend
    design = unit(KIND).space.design_day.outdoor_dew_point
    wet = np.asarray(table["shown.dew_point"]) + 2.5
    shown = table["shown.outdoor_dew_point"]
    hot = shown - shown.min() + design + 1.0
    beyond = replace(table, values={**table.values, "shown.dew_point": wet, "shown.outdoor_dew_point": hot})
    result = judged(tmp_path, replace(run, trend=beyond))
    assert result["moisture"]["state"] == "weather"
    assert ranked([result])[0].group == "weather"


def test_a_suspect_is_named_for_a_unit_that_loses_control_and_none_for_one_that_does_not(
    tmp_path: Path, runs: list[Run]
) -> None:
    lost = judged(tmp_path / "a", runs[LOCKED], Choices())
    assert lost["weighed"]["marginals"][0]["cause"] == "locked-out"
    kept = judged(tmp_path / "b", runs[HEALTHY], Choices())
    assert kept["weighed"] is None
    assert "keeps the room dry" in kept["not_weighed"]


# --------------------------------------------------------------------------- the list


@pytest.fixture(scope="module")
def swept(tmp_path_factory: pytest.TempPathFactory, runs: list[Run]) -> tuple[Path, Swept]:
    """A folder of the six units and of what is wrong with files, swept by two processes."""
    folder = tmp_path_factory.mktemp("fleet")
    for place, run in enumerate(runs):
        write(
            folder / f"hall-{place}", run, KIND, files=1 + place % 2, ending=(".csv", ".parquet")[place % 2]
        )
    broken(folder, runs[HEALTHY])
    return folder, sweep(str(folder), folder / "out", UNWEIGHED, Engine(workers=2))


def broken(folder: Path, run: Run) -> None:
    """Files as they come: half written, empty, without time, with a wrong document or none."""
    text = frame(run.trend).head(500).write_csv()
    bad: dict[str, dict[str, bytes]] = {
        "half-parquet": {"unit.yaml": UNITS[KIND].encode(), "log.parquet": b"PAR1" + b"x" * 4000},
        "zero-bytes": {"unit.yaml": UNITS[KIND].encode(), "log.csv": b""},
        "no-time": {"unit.yaml": UNITS[KIND].encode(), "log.csv": b"Space,Supply\n" + b"70.1,60.2\n" * 90},
        "no-columns": {"unit.yaml": UNITS[KIND].encode(), "log.csv": b"Time,Zorp\n2027-07-01 00:00,3\n" * 2},
        "noise": {"unit.yaml": UNITS[KIND].encode(), "log.csv": bytes(range(256)) * 40},
        "wrong-unit": {"unit.yaml": b"format: wringout-unit/1\nname: [1]\n", "log.csv": text.encode()},
        "bare-number": {
            "unit.yaml": re.sub(r"6200 cfm", "6200", UNITS[KIND]).encode(), "log.csv": text.encode(),
        },
        "one-of-two": {"unit.yaml": UNITS[KIND].encode(), "a.csv": text.encode(), "b.csv": b"\n\n"},
        ".": {"stray.csv": text.encode()},
    }  # fmt: skip
    for name, files in bad.items():
        (folder / name).mkdir(exist_ok=True)
        for file, data in files.items():
            (folder / name / file).write_bytes(data)
    huge = folder / "huge"
    huge.mkdir()
    (huge / "unit.yaml").write_text(UNITS[KIND])
    with (huge / "log.csv").open("wb") as stream:
        stream.truncate(400_000_000)  # a hole: it takes no place on the disk
    # rows without end in a file of some kilobytes
    many = folder / "many-rows"
    many.mkdir()
    (many / "unit.yaml").write_text(UNITS[KIND])
    pl.DataFrame({f"c{k}": pl.zeros(1_100_000, dtype=pl.Int8, eager=True) for k in range(30)}).write_parquet(
        many / "log.parquet"
    )


def test_the_worst_come_first(swept: tuple[Path, Swept]) -> None:
    listed = ranked(swept[1].results)
    names = [entry.result["unit"] for entry in listed if entry.result["unit"].startswith("hall")]
    assert names[0] == f"hall-{LOCKED}", "never dried at all"
    assert names[1] == f"hall-{DOORS}", "wet for part of the time"
    assert names[-1] == f"hall-{HEALTHY}", "nothing to go there for"
    assert {*names[2:-1]} == {f"hall-{STUCK}", f"hall-{HAND}", f"hall-{LOW}"}
    groups = [list(GROUPS).index(entry.group) for entry in listed]
    assert groups == sorted(groups)
    shares = [e.result["moisture"]["share"] for e in listed if e.group == "lost"]
    assert shares == sorted(shares, reverse=True)


def test_a_bad_file_stops_nothing_and_has_its_one_reason(swept: tuple[Path, Swept]) -> None:
    reasons = {r["unit"]: r["error"] for r in swept[1].results if r["error"] is not None}
    wanted = {
        "half-parquet": "half-parquet/log.parquet: cannot be read as a table",
        "zero-bytes": "zero-bytes/log.csv: the file is empty",
        "no-time": "no-time/log.csv: no column of dates and times",
        "no-columns": "no column was recognised|less than an hour",
        "noise": "noise/log.csv: ",
        "wrong-unit": "wrong-unit/unit.yaml, line 2: name",
        "bare-number": 'bare-number/unit.yaml, line .*"6200" is a bare number',
        "huge": "huge/log.csv: larger than 300 MB; cut it by month",
        "many-rows": "many-rows/log.parquet: 33,000,000 cells; at most 30,000,000 are taken",
    }
    assert set(reasons) == set(wanted)
    for name, pattern in wanted.items():
        assert re.search(pattern, reasons[name]), (name, reasons[name])
        assert "\n" not in reasons[name]
        assert str(swept[0]) not in reasons[name], "files are named from where the sweep begins"
    assert [(b.file, "no unit document" in b.reason) for b in swept[1].bad] == [("stray.csv", True)]


def test_a_unit_is_judged_by_its_good_files_where_one_is_bad(swept: tuple[Path, Swept]) -> None:
    (result,) = (r for r in swept[1].results if r["unit"] == "one-of-two")
    assert result["error"] is None
    assert [b["file"] for b in result["bad_files"]] == ["one-of-two/b.csv"]


def outputs(found: Swept, place: str = "here") -> tuple[bytes, bytes]:
    listed = ranked(found.results)
    failed = [r for r in found.results if r["error"] is not None]
    return parquet(listed, failed, found.bad), page(listed, failed, found.bad, place).encode()


def test_a_second_run_does_nothing_again_and_gives_the_same_bytes(swept: tuple[Path, Swept]) -> None:
    folder, first = swept
    again = sweep(str(folder), folder / "out", UNWEIGHED, Engine(workers=2))
    assert (again.judged, again.kept) == (0, len(again.results))
    assert outputs(again) == outputs(first)


def test_a_run_elsewhere_with_another_number_of_workers_gives_the_same_bytes(
    swept: tuple[Path, Swept], tmp_path: Path
) -> None:
    other = sweep(str(swept[0]), tmp_path, UNWEIGHED, Engine(workers=1))
    assert other.kept == 0
    assert outputs(other) == outputs(swept[1])
    ours = {path.name: path.read_bytes() for path in (swept[0] / "out" / "units").iterdir()}
    assert {path.name: path.read_bytes() for path in (tmp_path / "units").iterdir()} == ours


def test_only_what_changed_or_is_missing_is_judged(tmp_path: Path, runs: list[Run]) -> None:
    for place in (HEALTHY, LOCKED, DOORS):
        write(tmp_path / "fleet" / f"hall-{place}", runs[place], KIND)
    place, out, one = str(tmp_path / "fleet"), tmp_path / "out", Engine(workers=1)
    assert sweep(place, out, UNWEIGHED, one).judged == 3
    log = tmp_path / "fleet" / f"hall-{DOORS}" / "log-1.csv"
    log.write_text("".join(log.read_text().splitlines(keepends=True)[:-200]))
    document = tmp_path / "fleet" / f"hall-{LOCKED}" / "unit.yaml"
    document.write_text(
        document.read_text().replace("dew_point: 48 degF\n  dew", "dew_point: 50 degF\n  dew")
    )
    kept = next(p for p in (out / "units").iterdir() if f'"hall-{HEALTHY}"' in p.read_text())
    kept.write_bytes(kept.read_bytes()[:100])  # cut off by a full disk
    os.utime(log)
    assert sweep(place, out, UNWEIGHED, one).judged == 3
    log.touch()  # a new date alone changes nothing
    again = sweep(place, out, UNWEIGHED, one)
    assert (again.judged, again.kept) == (0, 3)


def test_a_worker_killed_in_the_middle_costs_nothing_but_time(
    swept: tuple[Path, Swept], tmp_path: Path
) -> None:
    workers: list[int] = []
    killed: list[int] = []

    def told(done: int, _count: int, _name: str) -> None:
        if done == 2 and not killed:
            killed.append(workers[-1])
            os.kill(workers[-1], signal.SIGKILL)

    found = sweep(str(swept[0]), tmp_path, UNWEIGHED, Engine(workers=2), told, workers.append)
    assert killed
    assert outputs(found) == outputs(swept[1])


def test_memory_of_a_worker_stays_far_under_its_limit(tmp_path: Path, runs: list[Run]) -> None:
    """A unit-month of minutes, from text."""
    run = runs[LOCKED]
    time = START + 60.0 * np.arange(30.0 * 1440.0)
    at = np.arange(len(time)) // 5 % len(run.trend.time)
    month = TrendTable(time, {point: values[at] for point, values in run.trend.values.items()})
    write(tmp_path, replace(run, trend=month), KIND)
    root, names = found_at(str(tmp_path))
    (outcome,) = run_local(judge, iter(paired(root, names, UNWEIGHED).tasks), 1)
    assert isinstance(outcome, Given)
    assert outcome.answer["data"]["value"] == pytest.approx(720.0, abs=0.2)
    assert 50e6 < outcome.peak < 600e6


# --------------------------------------------------------------------------- which files belong together


def test_pairing_takes_the_nearest_document_and_the_longest_stem() -> None:
    found = paired("/halls", [
        "a/unit.yaml", "a/2027/07.csv", "a/2027/06.parquet", "a/trend.yaml",
        "b/north.unit.yaml", "b/north-2.unit.json", "b/north-2 july.csv", "b/north.csv", "b/north_06.tsv",
        "b/north-2.trend.yaml", "b/northern.csv", "c/unit.yaml", "notes.csv.bak",
    ])  # fmt: skip
    told = {task.name: (task.unit, task.mapping, task.trends) for task in found.tasks}
    assert told == {
        "a": ("a/unit.yaml", "a/trend.yaml", ("a/2027/06.parquet", "a/2027/07.csv")),
        "b/north": ("b/north.unit.yaml", None, ("b/north.csv", "b/north_06.tsv")),
        "b/north-2": ("b/north-2.unit.json", "b/north-2.trend.yaml", ("b/north-2 july.csv",)),
    }
    assert [bad.file for bad in found.bad] == ["b/northern.csv", "c/unit.yaml"]


def test_a_mapping_file_has_the_last_word(tmp_path: Path, runs: list[Run]) -> None:
    write(tmp_path, runs[LOCKED], KIND)
    log = tmp_path / "log-1.csv"
    log.write_text(log.read_text().replace("Space Dew Point (degF)", "AI-7", 1))
    (tmp_path / "trend.yaml").write_text(
        'format: wringout-trend/1\nfile: log-1.csv\ntime: {column: "Date/Time", format: "%m/%d/%Y %H:%M"}\n'
        "columns:\n  AI-7: {point: shown.dew_point, unit: degF}\n"
    )
    root, names = found_at(str(tmp_path))
    (task,) = paired(root, names, UNWEIGHED).tasks
    result = judge(task)
    assert result["columns"] == {"guessed": False, "points": {"shown.dew_point": "AI-7"}}
    assert result["moisture"]["state"] == "lost"


def test_a_pattern_picks_files_and_finds_their_documents(tmp_path: Path, runs: list[Run]) -> None:
    for place in (HEALTHY, LOCKED):
        write(tmp_path / f"hall-{place}" / "logs", runs[place], KIND, files=2)
        (tmp_path / f"hall-{place}" / "logs" / "unit.yaml").rename(tmp_path / f"hall-{place}" / "unit.yaml")
    root, names = found_at(str(tmp_path / "hall-*" / "logs" / "*-2.csv"))
    found = paired(root, names)
    assert [(task.name, task.trends) for task in found.tasks] == [
        (f"hall-{place}", (f"hall-{place}/logs/log-2.csv",)) for place in (HEALTHY, LOCKED)
    ]


@pytest.fixture
def bucket(tmp_path: Path, runs: list[Run]) -> Iterator[str]:
    """An object store in memory, by fsspec."""
    fsspec = pytest.importorskip("fsspec")
    system = fsspec.filesystem("memory")
    for place in (HEALTHY, LOCKED):
        write(tmp_path / f"hall-{place}", runs[place], KIND)
    system.put(str(tmp_path), "/bucket/trends", recursive=True)
    yield "memory://bucket/trends"
    system.rm("/bucket", recursive=True)


def test_files_of_an_object_store_are_judged_as_those_of_a_folder(bucket: str, tmp_path: Path) -> None:
    root, names = found_at(bucket)
    there = [judge(task) for task in paired(root, names, UNWEIGHED).tasks]
    root, names = found_at(str(tmp_path))
    here = [judge(task) for task in paired(root, names, UNWEIGHED).tasks]
    assert len(there) == 2
    assert there == here
    assert len(found_at(f"{bucket}/hall-{LOCKED}/*.csv")[1]) == 2, "the log and its document"


def test_what_is_missing_for_an_address_is_named() -> None:
    with pytest.raises(InputError, match="install s3fs"):
        found_at("s3://nobody/trends")


@pytest.mark.parametrize(
    ("place", "words"),
    [("nowhere", "no such folder"), ("nowhere/*.csv", "no such folder"), (".", "no trend file")],
)
def test_a_place_without_trends_is_said_so(
    place: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=words):
        found_at(place)


# --------------------------------------------------------------------------- page, table, terminal


class Outline(HTMLParser):
    """Headings, ids and addresses of a page, and whether every tag is shut."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.headings: list[str] = []
        self.addresses: list[str] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag != "meta":
            self.open.append(tag)
        if tag in {"h1", "h2", "h3"}:
            self.headings.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in {"src", "href", "action"}]

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_page_stands_by_itself(swept: tuple[Path, Swept]) -> None:
    text = outputs(swept[1])[1].decode()
    outline = Outline(text)
    assert outline.open == []
    assert outline.headings.count("h1") == 1
    assert outline.headings[0] == "h1"
    assert outline.addresses == []
    assert "<script" not in text
    assert "http" not in text
    assert RULE in text.replace("&#x27;", "'")
    assert "zero-bytes" in text
    assert len(text) < 60_000
    assert "Assumed" in text or "Given" in text


def test_the_table_has_a_row_for_every_unit_and_units_in_its_names(
    swept: tuple[Path, Swept], tmp_path: Path
) -> None:
    (tmp_path / "units.parquet").write_bytes(outputs(swept[1])[0])
    table = pl.read_parquet(tmp_path / "units.parquet")
    assert table.columns == list(COLUMNS)
    assert table.height == len(swept[1].results) + len(swept[1].bad)
    first = table.row(0, named=True)
    assert (first["place"], first["unit"]) == (1, f"hall-{LOCKED}")
    assert first["limit_degC"] == pytest.approx((50.5 - 32.0) / 1.8, abs=0.05)
    assert table["error"].is_not_null().sum() == table["place"].is_null().sum() > 5


def command(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", "from wringout.cli.main import main; main()", *arguments],
        capture_output=True, text=True, check=False, env={**os.environ, "COLUMNS": "80"},
    )  # fmt: skip


def test_the_command_lists_in_eighty_columns_and_as_json(swept: tuple[Path, Swept]) -> None:
    folder, out = swept[0], str(swept[0] / "out")
    words = command("sweep", str(folder), "--out", out, "--weigh", "none", "--top", "2")
    assert words.returncode == 0, words.stderr
    assert max(map(len, words.stdout.splitlines())) <= 80
    assert f"1 hall-{LOCKED}" in words.stdout
    assert "Judged 0" in words.stdout
    told = command("sweep", str(folder), "--out", out, "--weigh", "none", "--json")
    document = json.loads(told.stdout)
    assert document["format"] == "wringout-sweep/1"
    assert document["units"][0]["unit"] == f"hall-{LOCKED}"
    assert {u["unit"] for u in document["not_judged"]} >= {"zero-bytes", "huge"}
    assert (folder / "out" / "index.html").is_file()
    nothing = command("sweep", str(folder / "out"))
    assert nothing.returncode == 2, "results are no trends"
    assert nothing.stderr.count("\n") == 1
