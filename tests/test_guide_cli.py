"""``wringout guide``: from a recording to readings in the call, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from sample_documents import HEADS
from wringout.capture.recording import append, begin, time_heading
from wringout.catalogue.calls import load_call
from wringout.cli.guide import added
from wringout.cli.main import group
from wringout.documents.call import Force, Note, Reading
from wringout.errors import InputError

START = 1_800_000_000.0
MAPPING = f"""\
format: wringout-trend/1
file: live.csv
time: {{column: "{time_heading(0.0)}", format: "%Y-%m-%d %H:%M:%S"}}
columns:
  Cmd: {{point: shown.reheat_command, unit: "%"}}
  Hand: {{point: shown.reheat_in_hand, unit: "yes/no"}}
  SAT: {{point: shown.supply_t, unit: degC}}
"""
CALL = """\
# an invented call
format: wringout-call/1
unit: unit.yaml
complaint: Wet floor.
events:
  - {at: 2026-10-01T10:00:00, kind: note, text: arrived}
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Ten minutes at 40 %, twenty at 100 %, the supply air following in two minutes."""
    (tmp_path / "unit.yaml").write_text(HEADS["dx reclaim"])
    (tmp_path / "call.yaml").write_text(CALL)
    rng = np.random.default_rng(1)
    with begin(tmp_path / "live.csv", ["Cmd", "Hand", "SAT"], MAPPING, 0.0) as recording:
        for at in np.arange(0.0, 1801.0, 10.0):
            later = at >= 600.0
            supply = 18.0 + 9.0 * (1.0 - np.exp(-(at - 600.0) / 120.0)) * later
            row = {
                "shown.reheat_command": 1.0 if later else 0.4,
                "shown.reheat_in_hand": float(later),
                "shown.supply_t": float(supply + rng.normal(0.0, 0.03)),
            }
            append(recording, START + at, row)
    return tmp_path


def run(folder: Path, *options: str, state: str = "reheat.command=100 %") -> tuple[int, str]:
    found = CliRunner().invoke(
        group,
        [
            "guide",
            str(folder / "call.yaml"),
            "--recording",
            str(folder / "live.csv"),
            "--state",
            state,
            *options,
        ],
    )
    return found.exit_code, found.output if found.exception is None else str(found.exception)


def test_readings_go_into_the_call_with_their_state_and_accuracy(folder: Path) -> None:
    code, words = run(folder, "--units", "si")
    assert code == 0, words
    assert words.index("Local rules") < words.index("Hold the reheat command at 100 %")
    assert "Taken: 2 readings" in words
    text = (folder / "call.yaml").read_text()
    assert text.startswith(CALL), "what stood there stands"
    _, force, *readings = load_call(folder / "call.yaml").events
    assert isinstance(force, Force)
    assert (force.item, force.to, force.at.isoformat()) == ("reheat.command", 1.0, "2027-01-15T08:10:00")
    found = {event.point: event for event in readings if isinstance(event, Reading)}
    assert set(found) == {"shown.reheat_command", "shown.supply_t"}
    # the way is known: 18 K + 9 K
    supply = found["shown.supply_t"]
    assert supply.accuracy is not None
    assert abs(supply.value - 27.0) <= 2.0 * supply.accuracy
    assert not (folder / "call.yaml.new").exists()


def test_a_look_writes_nothing(folder: Path) -> None:
    code, words = run(folder, "--once", "--json")
    told = json.loads(words)
    assert code == 0
    assert (told["format"], told["phase"]) == ("wringout-guide/1", "ready")
    assert told["shown"]["since"] == "2027-01-15T08:10:00"
    assert (folder / "call.yaml").read_text() == CALL


def test_readings_by_hand_are_marked(folder: Path) -> None:
    lines = (folder / "live.csv").read_text().splitlines()
    (folder / "live.csv").write_text("\n".join(lines[:80]) + "\n")  # three minutes after it was forced
    code, _ = run(folder, "--now")
    assert code == 0
    note = load_call(folder / "call.yaml").events[-1]
    assert isinstance(note, Note)
    assert note.text.startswith("taken before it had settled: shown.supply_t")


@pytest.mark.parametrize("state", ["auto", "fan=100 %", "cooling.call=50 %", "reheat.command=200 %"])
def test_a_state_that_is_none_is_refused(folder: Path, state: str) -> None:
    assert "state" in run(folder, state=state)[1] or "held" in run(folder, state=state)[1]


def test_a_point_that_is_not_live_is_refused(folder: Path) -> None:
    assert "not among the live points" in run(folder, "--point", "loop.flow")[1]


def test_a_call_without_events_gets_its_first_and_one_in_flow_style_is_left_alone() -> None:
    events = [("note", {"at": "2026-01-01T10:00:00", "text": "a: b"})]
    assert added("format: x\n", events) == (
        'format: x\nevents:\n  - {at: 2026-01-01T10:00:00, kind: note, text: "a: b"}\n'
    )
    for text in ("events: [{at: x}]\n", "events:\n  - {a: b}\ncomplaint: late\n"):
        with pytest.raises(InputError):
            added(text, events)
