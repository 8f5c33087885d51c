"""Proof of a repair: days made with the machine in time, mended or not, in weather asking much or little."""

from __future__ import annotations

import json
from datetime import time
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from answered_once import answered_once, once
from motion_cases import machine, nominal, one_cause, unit
from motion_trends import DAY, START, loads_of, made, weather_of
from proof_samples import END, FAULT, KIND, MENDED, MENDED_AT, days, in_per_cent, written
from trend_samples import with_values, without
from wringout.cli.main import group
from wringout.documents.call import Call, Change
from wringout.errors import InputError
from wringout.machine.motion import Hold, Release
from wringout.proof.acceptance import Proof, prove
from wringout.proof.criteria import Criterion, Settings, condensation, dew_point_held
from wringout.proof.working import stages_working, weather_that_calls
from wringout.trends.moisture_balance import moisture_of
from wringout.trends.table import HOUR, TrendTable


def call_of(cause: str | None = FAULT) -> Call:
    change = Change(at=MENDED_AT, cause=cause, text="" if cause else "moved a cable")
    return Call(unit=unit(KIND), complaint="", events=(change,))


@once
def answer(left: tuple[str, ...] = (), asks: bool = True, cause: str | None = FAULT) -> Proof:
    return prove(call_of(cause), days(left, asks), Settings.of(unit(KIND)), np.random.default_rng(0))


def of(found: Proof, name: str) -> Criterion:
    (criterion,) = [c for c in found.criteria if c.name == name]
    return criterion


# ------------------------------------------------------------------------------------------ the answer


def test_a_unit_that_is_healthy_after_its_repair_is_proven() -> None:
    found = answer()
    assert found.verdict == "proven", [(c.name, c.verdict, c.why) for c in found.criteria]
    assert {c.name for c in found.criteria} == {
        "dew point", "condensation", "control at rest", "stage a1", "stage a2", "reheat", "before and after",
    }  # fmt: skip
    assert found.comparison is not None
    assert found.comparison.before > 0.95
    assert found.comparison.after < 0.05
    assert found.comparison.loads_from_before


def test_a_cause_that_is_still_there_is_not_proven() -> None:
    found = answer((FAULT,))
    assert found.verdict == "not_proven"
    assert of(found, "dew point").verdict == "fails"
    assert of(found, "before and after").why == "as_before"
    assert of(found, "dew point").spans


def test_mild_weather_proves_nothing_and_says_which_weather_would() -> None:
    found = answer((), False)
    assert found.verdict == "not_yet_testable"
    assert of(found, "dew point").why == "mild"
    day = unit(KIND).space.design_day.outdoor_dew_point
    assert unit(KIND).control.dew_point < of(found, "dew point").weather < day
    same = of(found, "before and after")
    assert same.why == "same"
    assert same.figures["expected"] < np.log(10.0)
    # settled machines in that weather are told apart: it is wetter than the days that were logged
    logged = float(np.nanmean(days((), False)["shown.outdoor_dew_point"]))
    assert logged < same.weather <= day


def test_a_repair_that_leaves_control_swinging_is_not_proven() -> None:
    found = answer(("control-hunting",))
    assert found.verdict == "not_proven"
    assert of(found, "control at rest").why == "swings"


def test_a_repair_that_leaves_the_reheat_the_wrong_way_round_is_not_proven() -> None:
    found = answer(("signal-reversed",))
    assert found.verdict == "not_proven"
    # supply air as warm as if nothing cooled: too little cold or too much heat, and it says both
    warm = [c for c in found.criteria if c.verdict == "fails" and c.why in {"warm", "heat_uncommanded"}]
    assert warm
    assert all(c.figures["supply_off"] > 10.0 for c in warm)


def test_the_days_since_are_set_against_what_the_unmended_machine_would_have_done_in_them() -> None:
    """The truth is run apart: the same days with the fault left in."""
    seen = answer().comparison
    assert seen is not None
    truth = days((FAULT,))
    since = truth.time >= MENDED + 3.0 * HOUR
    dew = float(truth["shown.dew_point"][since].mean())
    _, unmended, mended = seen.means["shown.dew_point"]
    assert unmended.low - 0.3 <= dew <= unmended.high + 0.3
    healthy = float(days()["shown.dew_point"][since].mean())
    assert mended.low - 0.1 <= healthy <= mended.high + 0.1
    assert unmended.low > mended.high, "with their uncertainty, the two are apart"


def test_a_change_that_names_no_cause_is_set_against_healthy_machines() -> None:
    found = answer((), True, None)
    assert of(found, "before and after").why.startswith("no_cause")
    assert found.comparison is not None
    assert np.isnan(found.comparison.odds)


def test_without_days_from_before_the_loads_are_assumed_and_it_says_so() -> None:
    late = days().between(MENDED + 0.1 * DAY, END + 60.0)
    found = prove(call_of(), late, Settings.of(unit(KIND)), np.random.default_rng(0))
    assert found.comparison is not None
    assert not found.comparison.loads_from_before
    assert np.isnan(found.comparison.before)
    assert found.verdict in {"proven", "not_yet_testable"}


# ----------------------------------------------------------------------------------- one thing at a time


def plain(dew: np.ndarray, outdoor_dew: float = 20.0, supply: float = 15.0) -> TrendTable:
    """Minutes with a given dew point in a room of 18 degC."""
    count = len(dew)
    flat = {
        "shown.outdoor_dew_point": outdoor_dew, "outdoor.t": 26.0, "shown.space_t": 18.0,
        "shown.supply_t": supply, "shown.stages_called": 1.0,
    }  # fmt: skip
    values = {name: np.full(count, value) for name, value in flat.items()}
    return TrendTable(START + 60.0 * np.arange(count), {"shown.dew_point": dew, **values})


def held(dew: np.ndarray, outdoor_dew: float = 20.0, **wanted: object) -> Criterion:
    settings = Settings(set_point=9.0, band=1.0, **wanted)  # type: ignore[arg-type]
    return dew_point_held(plain(dew, outdoor_dew), unit(KIND), settings, 101_325.0)


def test_the_share_is_that_of_the_hours() -> None:
    dew = np.full(2880, 9.0)
    dew[:288] = 12.0
    found = held(dew)
    assert found.figures["share"] == pytest.approx(0.9, abs=0.004)
    assert found.figures["hours"] == pytest.approx(48.0)
    assert found.verdict == "fails"
    assert found.spans == ((START, START + 288 * 60.0 + 120.0),) or len(found.spans) == 1
    assert held(dew, share=0.85).verdict == "holds"


def test_a_dew_point_as_near_the_limit_as_its_sensor_can_err_is_too_close_to_call() -> None:
    found = held(np.full(2880, 10.0))
    assert found.why == "too_close"
    assert found.figures["chance"] == pytest.approx(0.5, abs=0.05)
    assert held(np.full(2880, 9.4)).verdict == "holds"
    assert held(np.full(2880, 10.6)).verdict == "fails"


def test_only_occupied_hours_count() -> None:
    minute = np.arange(2880)
    night = (minute % 1440 < 420) | (minute % 1440 >= 1320)
    dew = np.where(night, 12.0, 9.0)
    assert held(dew).verdict == "fails"
    found = held(dew, occupied=(time(7, 0), time(22, 0)))
    assert found.verdict == "holds"
    assert found.figures["hours"] == pytest.approx(30.0)
    assert held(dew, occupied=(time(22, 0), time(7, 0)), hours=12.0).figures["share"] == 0.0


def test_hours_beyond_the_design_day_do_not_count() -> None:
    day = unit(KIND).space.design_day.outdoor_dew_point
    found = held(np.full(2880, 12.0), day + 2.0)
    assert (found.verdict, found.why) == ("untested", "no_hours")


def test_dry_weather_asks_for_nothing() -> None:
    assert held(np.full(2880, 9.0), 8.0).why == "mild"


def test_water_on_the_coldest_surface() -> None:
    settings = Settings.of(unit(KIND))
    table = plain(np.full(600, 9.0))
    assert condensation(table, unit(KIND), settings).verdict == "holds"
    # cold cases at 8 degC, dew point 9 degC
    found = condensation(table, unit(KIND), Settings(9.0, 1.0, surface=8.0))
    assert (found.verdict, found.why) == ("fails", "surface given")
    assert found.figures["least_gap"] == pytest.approx(-1.0)
    # outlets: 6 degC of supply air in a room of 18 degC, a face of 9 degC, dew point 10 degC
    found = condensation(plain(np.full(600, 10.0), supply=6.0), unit(KIND), settings)
    assert (found.verdict, found.why) == ("fails", "outlets")
    # glazing at 0.7: -15 degC outside, 18 degC inside: 8.1 degC
    cold = with_values(table, outdoor__t=np.full(600, -15.0))
    found = condensation(cold, unit(KIND), settings)
    assert (found.verdict, found.why) == ("fails", "glazing")
    assert found.figures["least_gap"] == pytest.approx(8.1 - 9.0, abs=1e-6)
    moment = np.full(600, 7.0)
    moment[100:110] = 12.0
    short = condensation(plain(moment), unit(KIND), Settings(9.0, 1.0, surface=8.0))
    assert short.verdict == "holds", "a door opened"


@cache
def forced(cause: str = "") -> TrendTable:
    """Half a day in mild weather with every stage held on for half an hour, three times."""
    d = machine(KIND)
    values = nominal(d)
    values = one_cause(d, values, cause, way=1) if cause else values
    schedule = []
    for k in range(3):
        at = (3.0 + 3.0 * k) * HOUR
        schedule += [Hold(at, "cooling.call", 1.0), Release(at + 0.6 * HOUR, "cooling.call")]
        schedule += [Hold(at - 0.4 * HOUR, "cooling.call", 0.0)]
    weather = weather_of(d, 1.0, 8.0, 10.0)
    return made(KIND, (), 0.5, weather, loads_of(1.0, 0.5), schedule, values=values)


def test_stages_that_are_held_on_are_seen_working() -> None:
    found = stages_working(forced(), unit(KIND), machine(KIND), None)
    assert [c.name for c in found] == ["stage a1", "stage a2"]
    assert all(c.verdict == "holds" and c.why == "step" for c in found), [(c.why, c.figures) for c in found]
    assert all(c.figures["step"] == pytest.approx(1.0, abs=0.25) for c in found)


def test_a_stage_that_draws_no_current_is_not_seen_working() -> None:
    found = {c.name: c for c in stages_working(forced("compressor-out"), unit(KIND), machine(KIND), None)}
    assert found["stage a2"].verdict != "holds"


def test_the_weather_that_calls_a_stage_is_wetter_for_the_later_one() -> None:
    first, second = (weather_that_calls(unit(KIND), machine(KIND), k) for k in (1, 2))
    day = unit(KIND).space.design_day.outdoor_dew_point
    assert first <= day
    assert np.isnan(second) or first <= second <= day


def test_what_is_not_logged_is_open_and_not_failed() -> None:
    bare = without(days(), "outdoor.t", "shown.outdoor_dew_point", "shown.supply_t")
    found = prove(call_of(), bare, Settings.of(unit(KIND)), np.random.default_rng(0))
    assert found.verdict == "not_yet_testable"
    assert of(found, "before and after").why == "not_logged"
    assert moisture_of(bare, unit(KIND)) is None


# ------------------------------------------------------------------------------------------ refusals


@pytest.mark.parametrize(
    ("table", "match"),
    [
        (lambda: days().between(START, MENDED), "ends before the repair"),
        (lambda: days().between(START, MENDED + 0.2 * DAY), "h after the repair"),
        (lambda: without(days(), "shown.dew_point"), "does not log shown.dew_point"),
    ],
)
def test_a_trend_that_cannot_prove_anything_is_refused(table, match: str) -> None:
    with pytest.raises(InputError, match=match):
        prove(call_of(), table(), Settings.of(unit(KIND)), np.random.default_rng(0))


def test_a_display_of_the_outdoor_dew_point_proves_nothing() -> None:
    swapped = with_values(days(), shown__dew_point=days()["shown.outdoor_dew_point"])
    found = prove(call_of(), swapped, Settings.of(unit(KIND)), np.random.default_rng(0))
    assert found.verdict == "not_proven"
    assert found.criteria[0].why == "shows_outdoor"


# ----------------------------------------------------------------------------------------- the command


def test_the_command_says_it_in_words_and_as_json(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = written(tmp_path, in_per_cent(days((FAULT,))))
    for columns in (80, 36):
        monkeypatch.setenv("COLUMNS", str(columns))
        with answered_once():
            result = CliRunner().invoke(group, asked)
        assert result.exit_code == 0, result.output
        assert max(len(line) for line in result.output.splitlines()) <= columns
        assert result.output.startswith("Not proven")
        assert "FAILS dew point" in " ".join(result.output.split())
    with answered_once():
        document = json.loads(CliRunner().invoke(group, [*asked, "--json", "--units", "si"]).output)
    assert document["format"] == "wringout-proof/1"
    assert document["verdict"] == "not_proven"
    assert document["repair"]["cause"] == FAULT
    assert document["settings"]["share"] == {"value": 95.0, "unit": "%"}
    assert document["comparison"]["share_over_limit"]["after"]["value"] > 90.0


def test_settings_come_from_the_document_and_from_options(tmp_path: Path) -> None:
    asked = written(tmp_path, in_per_cent(days()))
    wanted = [
        "--share",
        "90 %",
        "--band",
        "2 delta_degF",
        "--occupied",
        "07:00-21:00",
        "--surface",
        "48 degF",
    ]
    document = json.loads(CliRunner().invoke(group, [*asked, *wanted, "--json"]).output)
    settings = document["settings"]
    assert settings["share"]["value"] == 90.0
    assert settings["band"]["value"] == pytest.approx(2.0)
    assert settings["occupied"] == ["07:00", "21:00"]
    assert settings["surface"]["value"] == pytest.approx(48.0)
    assert settings["set_point"]["value"] == pytest.approx(48.0), "from the unit document"


@pytest.mark.parametrize(
    ("wanted", "match"),
    [
        (["--share", "95"], "--share"),
        (["--share", "2 %"], "--share"),
        (["--surface", "10 delta_degC"], "--surface"),
        (["--occupied", "all day"], "07:00-22:00"),
        (["--cause", "gremlins"], "no cause"),
        (["--hours", "one"], "--hours"),
    ],
)
def test_a_setting_that_is_none_is_named(tmp_path: Path, wanted: list[str], match: str) -> None:
    asked = written(tmp_path, in_per_cent(days().between(MENDED, MENDED + DAY)))
    result = CliRunner().invoke(group, [*asked, *wanted])
    assert isinstance(result.exception, InputError)
    assert match in str(result.exception)
