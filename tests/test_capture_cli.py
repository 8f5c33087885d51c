"""``wringout listen`` as a technician has it: the demo, a call, a crash in the middle, and mistakes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from sample_documents import RECLAIM
from wringout.capture import session
from wringout.capture.attaching import Writer, attach_recording, note_begun
from wringout.capture.clock import Clock
from wringout.capture.recording import append, go_on, read, usual_offset
from wringout.capture.simulated_process import SimulatedProcess, start
from wringout.catalogue.calls import vocabulary
from wringout.cli.main import main
from wringout.records.logs import logs_of
from wringout.records.store import open_store
from wringout.trends.mapping import load_table

UNIT = files("wringout") / "demo" / "ice_hall" / "unit.yaml"
PATIENCE = 400.0  # s: the tests may share a busy machine


def command(*words: str) -> list[str]:
    return [sys.executable, "-c", "from wringout.cli.main import main; main()", "listen", *words]


@pytest.fixture(scope="module")
def site() -> SimulatedProcess:  # type: ignore[misc]
    running = start(str(UNIT), ("bypass-shut",))
    yield running
    running.stop()


def asked(site: SimulatedProcess, path: Path) -> list[str]:
    return [
        str(path), "--bacnet", site.bacnet, "--modbus", f"{site.modbus}/{site.unit_id}",
        "--registers", str(site.registers), "--every", "1 s", "--watch", "1 s",
    ]  # fmt: skip


def test_a_recording_that_is_killed_goes_on(site: SimulatedProcess, tmp_path: Path) -> None:
    path = tmp_path / "live.csv"
    running = subprocess.Popen(command(*asked(site, path)), stdout=subprocess.DEVNULL)
    end = time.monotonic() + PATIENCE
    while not (path.exists() and path.read_bytes().count(b"\n") >= 4):
        assert running.poll() is None, "it ended by itself"
        assert time.monotonic() < end, "no rows came"
        time.sleep(0.1)
    os.kill(running.pid, signal.SIGKILL)
    running.wait()
    before = path.read_bytes()
    with path.open("ab") as stream:
        stream.write(b"2027-01-01 00:0")  # as a loss of power would leave it
    again = subprocess.run(
        command(*asked(site, path), "--for", "3 s"),
        capture_output=True, text=True, encoding="utf-8", check=False, timeout=PATIENCE,
    )  # fmt: skip
    assert again.returncode == 0, again.stderr
    assert "Going on with" in again.stdout
    after = path.read_bytes()
    assert after.startswith(before[: before.rfind(b"\n") + 1]), "what was there stays as it was"
    assert b"2027-01-01" not in after
    at, values = read(path)
    assert np.all(np.diff(at) > 0.0)
    assert len(at) > before.count(b"\n") - 1
    assert np.isfinite(values["shown.space_t"]).any()
    table, _, _ = load_table(None, path.with_suffix(".yaml"))
    assert table.time.tolist() == at.tolist()


def test_the_demo_records_into_a_call(tmp_path: Path) -> None:
    place = tmp_path / "record.sqlite"
    with open_store(place) as store:
        unit = store.save_unit(RECLAIM, author="Ana", device="van")
        call = store.open_call(unit, "fog", author="Ana", device="van")
    words = ["--demo", "--speed", "60", "--watch", "1 min", "--every", "30 s", "--for", "4 min", "--json"]
    words += ["--call", call, "--store", str(place), "--by", "Ana"]
    done = subprocess.run(
        command(str(tmp_path / "live.csv"), *words),
        capture_output=True, text=True, encoding="utf-8", check=False, timeout=PATIENCE,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert told[0]["format"] == "wringout-demo-site/1"
    rows = [row for row in told if row["format"] == "wringout-listen-row/1"]
    assert rows
    assert rows[-1]["values"]["shown.space_t"]["unit"] == "degF"
    assert {d["address"] for d in rows[-1]["devices"]} == {told[0]["bacnet"], told[0]["modbus"]}
    assert set(rows[-1]["devices"][0]) >= {"values_per_second", "age", "lost", "polls", "why"}
    path, ben = tmp_path / "live.csv", Writer("Ben", "tablet")
    at, _ = read(path)
    with open_store(place, create=False) as store:
        before = store.call(call).attachments
        assert f"{len(at)} rows" in before[0].body["text"]
        with go_on(path) as recording:
            note_begun(store, call, ben, recording, 30.0, ["unit"])
            append(recording, at[-1] + 30.0, {"shown.space_t": 14.0})
        assert f"{len(at) + 1} rows" in attach_recording(store, call, ben, path)
        folded, _, document = store.standing(call, vocabulary())
    notes = [line.body["text"] for line in folded.lines if line.body.get("text")]
    assert [note.split(":")[0] for note in notes] == ["live recording begins", "live recording goes on"]
    assert [line.body["name"] for line in folded.attachments] == ["live.csv", "live.yaml"]
    (log,) = logs_of(folded)
    assert log.mapping is not None, "the mapping belongs to its recording"
    assert log.mapping.body["name"] == "live.yaml"
    assert f"{len(at) + 1} rows" in folded.attachments[0].body["text"]
    assert {line.id for line in folded.withdrawn} == {line.id for line in before}, "the shorter one gives way"
    assert len(document.events) == 2


def test_the_clock_of_a_demo_goes_on_after_what_is_recorded() -> None:
    last = time.time() + usual_offset() + 7200.0
    clock = Clock.faster(10.0, last)
    assert 0.0 < clock.now() - last < 300.0
    assert abs(Clock.faster(10.0).now() - time.time() - usual_offset()) < 300.0


def test_the_site_takes_orders_and_ends_with_its_parent(site: SimulatedProcess) -> None:
    site.order("force cooling.call 0 %")
    site.order("nonsense")
    end = time.monotonic() + PATIENCE
    while len(site.said) < 2:
        assert time.monotonic() < end
        time.sleep(0.05)
    assert site.said[0] == "cooling.call is held at 0 %"
    assert site.said[1].startswith('not done: "nonsense" means nothing here')
    assert site.process.poll() is None


def said(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    with pytest.raises(SystemExit) as ended:
        main(["listen", *words])
    assert ended.value.code == 2
    lines = capsys.readouterr().err.strip().splitlines()
    assert len(lines) == 1, lines
    return lines[0]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ([], "nothing to listen to"),
        (["live.txt", "--demo"], "ends in .csv"),
        (["--bacnet", "nowhere.invalid"], "nowhere.invalid: there is no such address"),
        (["--bacnet", "127.0.0.9", "--local", "192.0.2.77"], "name an address of this machine"),
        (["--bacnet", "127.0.0.9", "--every", "0.5 s"], "--every: 0.5 s is out of range"),
        (["--bacnet", "127.0.0.9", "--every", "5"], "--every"),
        (["--modbus", "127.0.0.9"], "--registers: 1 Modbus devices and 0 register maps"),
        (["--modbus", "127.0.0.9/x", "--registers", "R"], 'no unit id'),
        (["--modbus", "127.0.0.9:1", "--registers", "R"], "127.0.0.9:1: does not answer"),
        (["--modbus", "127.0.0.9", "--registers", "none.yaml"], "none.yaml: there is no such file"),
        (["--cause", "pump-off"], "--cause: is for --demo"),
        (["--serve-only"], "--serve-only: is for --demo"),
        (["--demo", "--cause", "gremlins"], "--cause: this unit cannot have"),
        (["--demo", "--bacnet", "127.0.0.9"], "--demo: has devices of its own"),
        (["--call", "0000", "--store", "none.sqlite", "--bacnet", "127.0.0.9"], "none.sqlite"),
    ],
)  # fmt: skip
def test_a_mistake_gets_one_line(
    words: list[str],
    message: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    from test_capture_devices import MAP

    monkeypatch.chdir(tmp_path)
    Path("R").write_text(MAP, encoding="utf-8")
    assert message in said(words, capsys)
    assert not Path("live.csv").exists()


def test_a_silent_device_is_said_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    line = said(["--bacnet", "127.0.0.9:47999"], capsys)
    assert "127.0.0.9:47999: no BACnet device answers there" in line


def test_a_missing_extra_is_named(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(session, "NEEDED", ("pymodbus", "no_such_library"))
    assert 'pip install "wringout[field]"' in said(["--demo"], capsys)


def test_another_file_is_no_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("live.csv").write_text("Date/Time,Temp\n2027-07-08 00:00,70\n", encoding="utf-8")
    assert "live.csv: is no recording" in said(["--demo"], capsys)
    with pytest.raises(Exception, match="is no recording"):
        go_on("live.csv")
