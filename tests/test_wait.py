"""``wringout wait``: how long after a change, what then, and what can already be told."""

from __future__ import annotations

import json
import re
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from sample_documents import CALL, RECLAIM
from wringout.catalogue.calls import load_call
from wringout.catalogue.points import points_of, sigma
from wringout.cli.main import group, main
from wringout.errors import InputError
from wringout.proof.settling import Waiting, settling_time, waiting

VISIT = "\n".join(
    line for line in CALL.splitlines() if not re.search(r"at: 2027-05-(11|04T10:(20|35|36))", line)
)
MENDED = CALL.replace("  - {at: 2027-05-11T10:00:00, kind: reading, point: supply.t, value: 65.1 degF}\n", "")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "unit.yaml").write_text(RECLAIM)
    (tmp_path / "call.yaml").write_text(VISIT)
    (tmp_path / "mended.yaml").write_text(MENDED)
    return tmp_path


WAITED: dict[tuple[str, int, datetime | None], Waiting] = {}  # by a call's text; its unit is always the same


def answer(path: Path, samples: int = 10, at: datetime | None = None) -> Waiting:
    asked = path.read_text(encoding="utf-8"), samples, at
    if asked not in WAITED:
        call = load_call(path)
        WAITED[asked] = waiting(
            call,
            points_of(call.unit),
            sigma,
            lambda point, predicted, s: 0.01 * np.abs(predicted),
            np.random.default_rng(0),
            at,
            samples,
        )
    return WAITED[asked]


# ------------------------------------------------------------------------------------- times of one series


@pytest.mark.parametrize(("share", "constants"), [(0.63, 0.9943), (0.95, 2.9957), (0.632, 0.9997)])
def test_a_first_order_way_takes_its_time_constants(share: float, constants: float) -> None:
    # identity: -ln(1 - share) time constants
    time = np.arange(0.0, 3000.0, 1.0)
    tau = np.array([30.0, 120.0, 300.0])
    series = 5.0 + 10.0 * (1.0 - np.exp(-time / tau[:, None]))
    end, least = np.full(3, 15.0), np.zeros(3)
    for for_good in (True, False):
        found = settling_time(time, series, end, share, least, for_good)
        assert found == pytest.approx(constants * tau, rel=2e-3)


def test_an_overshoot_is_there_early_and_settled_late() -> None:
    time = np.arange(0.0, 600.0, 1.0)
    series = (1.0 - np.exp(-time / 60.0) * np.cos(time / 20.0))[None, :]
    end, least = np.ones(1), np.zeros(1)
    first = settling_time(time, series, end, 0.95, least, for_good=False)[0]
    for_good = settling_time(time, series, end, 0.95, least)[0]
    assert first < 40.0
    # the last time the wave is 5 % off lies on its envelope: under 3 time constants, over 2
    assert 120.0 < for_good < 180.0


def test_what_does_not_move_has_settled_and_what_has_not_come_is_not_there() -> None:
    time = np.arange(0.0, 100.0, 1.0)
    rows = np.stack([np.full(100, 7.0), time, np.full(100, np.nan)])
    end, least = np.array([7.0, 500.0, 1.0]), np.full(3, 0.1)
    for for_good in (True, False):
        found = settling_time(time, rows, end, 0.95, least, for_good)
        assert found[0] == 0.0
        assert np.isinf(found[1])
        assert np.isnan(found[2])


# --------------------------------------------------------------------------------------------- a whole call


def test_signal_before_stem_before_water_before_room(folder: Path) -> None:
    rows = {row.point: row for row in answer(folder / "call.yaml").points}
    assert set(rows) == set(points_of(load_call(folder / "call.yaml").unit))
    for row in rows.values():
        assert row.to_63 <= row.to_95 + 1e-9 <= row.late_95 + 2e-9, row.point
        assert row.low < row.high or row.low == row.high
        assert row.low <= row.settled <= row.high or row.point.startswith("shown."), row.point
    assert rows["shown.reheat_in_hand"].to_95 == 0.0
    assert rows["space.t"].to_95 > 300.0  # a room takes its time
    assert rows["space.t"].to_95 < 6 * 3600.0


def test_what_can_be_told_grows_with_the_time_that_has_passed(folder: Path) -> None:
    soon = answer(folder / "call.yaml", at=datetime(2027, 5, 4, 9, 53))
    later = answer(folder / "call.yaml", at=datetime(2027, 5, 4, 18, 0))
    assert set(soon.told) < set(later.told)
    assert set(soon.told) | set(soon.open) == set(later.told) | set(later.open)
    before = answer(folder / "call.yaml", at=datetime(2027, 5, 4, 9, 40))
    assert before.told == ()


def test_a_reading_taken_before_its_point_settled_is_named(folder: Path) -> None:
    found = answer(folder / "call.yaml")
    assert [reading.point for reading in found.early] == ["supply.t"]  # 14 minutes after the release


def test_a_change_that_names_a_cause_is_its_cure(folder: Path) -> None:
    found = answer(folder / "mended.yaml")
    assert found.visit.last.kind == "change"
    assert not found.visit.unnamed
    rows = {row.point: row for row in found.points}
    # a cleaned strainer: the main's flow is back and the drop over it gone, at once
    assert rows["loop.flow"].before < 0.7 * rows["loop.flow"].settled
    assert rows["strainer.drop"].before > 2.0 * rows["strainer.drop"].settled
    assert rows["loop.flow"].to_95 < 60.0
    assert rows["reheat.water_out"].late_95 > rows["loop.flow"].late_95


def test_a_change_without_a_cause_says_so(folder: Path) -> None:
    text = MENDED.replace("cause: strainer-plugged, text: cleaned the loop strainer", "text: moved a cable")
    (folder / "call.yaml").write_text(text)
    assert answer(folder / "call.yaml", 4).visit.unnamed


def test_a_call_in_which_nothing_happened_is_refused(folder: Path) -> None:
    (folder / "call.yaml").write_text(
        "format: wringout-call/1\nunit: unit.yaml\nevents:\n"
        "  - {at: 2027-05-04T09:00:00, kind: reading, point: supply.t, value: 61.5 degF}\n"
    )
    with pytest.raises(InputError, match="nothing was held, released or changed"):
        answer(folder / "call.yaml", 2)


def test_healthy_machines_that_were_not_drawn_fall_into_the_band(folder: Path) -> None:
    found = answer(folder / "call.yaml", 24)
    call = load_call(folder / "call.yaml")
    other = waiting(
        call, points_of(call.unit), sigma, lambda point, predicted, s: 0.01 * np.abs(predicted),
        np.random.default_rng(77), None, 24,
    )  # fmt: skip
    rows = {row.point: row for row in other.points}
    inside = [row.low <= rows[row.point].settled <= row.high for row in found.points]
    assert np.mean(inside) > 0.95


# ------------------------------------------------------------------------------------------- the command


def test_it_answers_in_words_on_a_wide_and_on_a_narrow_screen(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for columns in (80, 36):
        monkeypatch.setenv("COLUMNS", str(columns))
        points = [
            "--point",
            "supply.t",
            "--point",
            "loop.flow",
            "--point",
            "stage.a1.condensing_over_outdoor",
        ]
        result = CliRunner().invoke(group, ["wait", str(folder / "call.yaml"), *points])
        assert result.exit_code == 0, result.output
        assert max(len(line) for line in result.output.splitlines()) <= columns
        assert "reheat.command released" in " ".join(result.output.split())
        assert "supply.t" in result.output
        assert "degF" in result.output


def test_it_answers_as_one_json_document(folder: Path) -> None:
    result = CliRunner().invoke(group, ["wait", str(folder / "call.yaml"), "--json"])
    document = json.loads(result.output)
    assert document["format"] == "wringout-wait/1"
    assert document["after"] == {
        "at": "2027-05-04T09:51:00",
        "kind": "release",
        "what": "reheat.command released",
    }
    assert document["passed_seconds"] == 840.0
    rows = {row["point"]: row for row in document["points"]}
    assert set(document["told"]) | set(document["open"]) == set(rows)
    assert rows["supply.t"]["seconds_95"]["late"] >= rows["supply.t"]["seconds_95"]["median"] > 0.0
    low, high = rows["supply.t"]["band_si"]
    assert 5.0 < low < high < 30.0


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        (["--at", "noon"], "is no date with time"),
        (["--at", "2027-05-04T10:05:00+02:00"], "time zone exactly where"),
        (["--point", "supply.temp"], "there is no point"),
        (["--point", "chilled.stem"], "only chilled water units"),
    ],
)
def test_what_is_to_be_mended_is_said_with_exit_code_2(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], match: str
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["wait", str(folder / "call.yaml"), *arguments])
    assert stop.value.code == 2
    assert match in capsys.readouterr().err


def test_a_call_that_is_not_there_is_exit_code_2(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["wait", "no-such-call.yaml"])
    assert stop.value.code == 2
    assert "no-such-call.yaml" in capsys.readouterr().err


def test_its_help_ends_with_an_example() -> None:
    result = CliRunner().invoke(group, ["wait", "--help"])
    assert result.exit_code == 0
    assert "Example: wringout wait call.yaml" in " ".join(result.output.split())
