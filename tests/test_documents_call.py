"""A call is events in order of time; readings belong to a machine, a visit and an operating state."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path

import pytest
import yaml

from sample_documents import CALL, HEADS, RECLAIM
from wringout.catalogue.calls import load_call, load_document
from wringout.documents.call import Call, Change, Force, Note, Reading, Release
from wringout.documents.states import forced, operating_states, state_name
from wringout.errors import InputError

HEAD = "format: wringout-call/1\nunit: unit.yaml\nevents:\n"


def loaded(folder: Path, text: str = CALL, unit: str = RECLAIM) -> Call:
    (folder / "unit.yaml").write_text(unit, encoding="utf-8")
    (folder / "call.yaml").write_text(text, encoding="utf-8")
    return load_call(folder / "call.yaml")


def events(*lines: str) -> str:
    return HEAD + "".join(f"  - {{{line}}}\n" for line in lines)


def at(minute: int) -> str:
    return f"at: 2027-05-04T09:{minute:02d}:00"


def test_a_call_is_read_event_by_event(tmp_path: Path) -> None:
    call = loaded(tmp_path)
    assert call.complaint == "The cheese sweats since Easter."
    assert call.unit.name == "Cellar unit"
    assert [event.kind for event in call.events].count("reading") == 10
    first, humid, yes, stages, current, force, *_ = call.events
    assert isinstance(first, Reading)
    assert (first.point, first.unit_text, first.text, first.by) == (
        "supply.t",
        "degF",
        "61.5 degF",
        "handheld",
    )
    assert first.value == pytest.approx(16.3889, abs=1e-4)
    assert first.accuracy is None
    assert first.at == datetime(2027, 5, 4, 9, 0)
    assert isinstance(humid, Reading)
    assert (humid.value, humid.by) == (pytest.approx(0.62), "handheld")  # the usual instrument of the point
    assert isinstance(yes, Reading)
    assert yes.value == 1.0
    assert isinstance(stages, Reading)
    assert stages.value == 2.0
    assert isinstance(current, Reading)
    assert (current.accuracy, current.by) == (0.5, "clamp")
    assert isinstance(force, Force)
    assert (force.item, force.to) == ("reheat.command", 1.0)
    kinds = {type(event) for event in call.events}
    assert kinds == {Reading, Force, Release, Change, Note}


def test_accuracy_is_absolute_in_si(tmp_path: Path) -> None:
    readings = [event for event in loaded(tmp_path).events if isinstance(event, Reading)]
    warm = next(reading for reading in readings if reading.text == "25.6 degC")
    assert warm.accuracy == pytest.approx(1 / 1.8)
    flow = next(reading for reading in readings if reading.point == "loop.flow")
    assert flow.value == pytest.approx(1.26e-3)
    assert flow.accuracy == pytest.approx(0.04 * 1.26e-3)


def test_readings_belong_to_machine_visit_and_state(tmp_path: Path) -> None:
    snapshots = operating_states(loaded(tmp_path))
    assert [(s.machine_epoch, s.visit, s.state, len(s.readings)) for s in snapshots] == [
        (0, 0, "auto", 6),  # five before the forcing, one after the release
        (0, 0, "reheat.command=100 %", 1),
        (0, 0, "reheat.command=50 %", 1),
        (1, 0, "auto", 1),
        (1, 1, "auto", 1),
    ]
    auto = snapshots[0]
    assert (auto.first, auto.last) == (datetime(2027, 5, 4, 9, 0), datetime(2027, 5, 4, 10, 5))
    assert [r.text for r in auto.readings if r.point == "supply.t"] == ["61.5 degF", "62.0 degF"]
    assert len(operating_states(loaded(tmp_path), timedelta(days=30))) == 4


@pytest.mark.parametrize("item", ["reheat.command", "cooling.call"])
@pytest.mark.parametrize("share", [0.0, 0.125, 0.5, 1.0])
def test_a_state_has_one_name(item: str, share: float) -> None:
    assert forced(state_name(item, share)) == (item, share)


def test_states_are_named_as_the_document_format_names_them() -> None:
    assert state_name("reheat.command", 0.0) == "reheat.command=0 %"
    assert state_name("cooling.call", 1.0) == "cooling.call=100 %"
    assert forced("auto") is None


def test_the_unit_may_stand_in_the_call_itself(tmp_path: Path) -> None:
    tree = yaml.load(CALL, Loader=yaml.BaseLoader)
    tree["unit"] = yaml.load(RECLAIM, Loader=yaml.BaseLoader)
    path = tmp_path / "call.json"
    path.write_text(json.dumps(tree), encoding="utf-8")
    call = load_call(path)
    beside = loaded(tmp_path)
    assert call.events == beside.events
    assert call.unit.model_dump(exclude={"provenance"}) == beside.unit.model_dump(exclude={"provenance"})


def test_a_call_without_readings_is_a_call(tmp_path: Path) -> None:
    for text in ("format: wringout-call/1\nunit: unit.yaml\n", HEAD):
        call = loaded(tmp_path, text)
        assert call.events == ()
        assert operating_states(call) == []


def test_time_zones_everywhere_compare(tmp_path: Path) -> None:
    call = loaded(
        tmp_path,
        events(
            "at: 2027-05-04T09:00:00+02:00, kind: note, text: a",
            "at: 2027-05-04T07:30:00Z, kind: note, text: b",
        ),
    )
    assert call.events[1].at - call.events[0].at == timedelta(minutes=30)


READ = "kind: reading, point: supply.t, value: 60 degF"
# events, what the complaint must say, line it must name
WRONG: dict[str, tuple[tuple[str, ...], str, int]] = {
    "bare number": (
        (f"{at(0)}, kind: reading, point: supply.t, value: 61.5",),
        "supply.t.*bare number.*degF",
        4,
    ),
    "bare count": (
        (f"{at(0)}, kind: reading, point: shown.stages_called, value: 2",),
        "bare number.*count",
        4,
    ),
    "dimension": (
        (f"{at(0)}, kind: reading, point: supply.t, value: 61 %",),
        "unit of fraction.*degF or degC",
        4,
    ),
    "humidity": (
        (f"{at(0)}, kind: reading, point: supply.rh, value: 140 %",),
        "140.0 % is out of range.*100.0 %",
        4,
    ),
    "negative flow": ((f"{at(0)}, kind: reading, point: loop.flow, value: -3 gpm",), "out of range", 4),
    "hot air": (
        (f"{at(0)}, kind: reading, point: outdoor.t, value: 400 degF",),
        "out of range.*140.0 degF",
        4,
    ),
    "nan": ((f"{at(0)}, kind: reading, point: outdoor.t, value: nan degF",), "not a number", 4),
    "no value": ((f"{at(0)}, kind: reading, point: outdoor.t, value: ",), "empty", 4),
    "unknown point": (
        (f"{at(0)}, kind: reading, point: suply.t, value: 1 degF",),
        "no point.*nearest.*supply.t",
        4,
    ),
    "unknown stage": (
        (f"{at(0)}, kind: reading, point: stage.a9.current, value: 1 A",),
        'no stage "a9"; its stages are a1, a2',
        4,
    ),
    "any stage": (
        (f"{at(0)}, kind: reading, point: stage.<id>.current, value: 1 A",),
        "stands for one point",
        4,
    ),
    "lacking point": (
        (f"{at(0)}, kind: reading, point: chilled.stem, value: 4 %",),
        "this unit has no chilled.stem: only chilled water units have it",
        4,
    ),
    "backwards": ((f"{at(5)}, {READ}", f"{at(4)}, {READ}"), "time goes backwards.*line 4", 5),
    "zones": (
        (f"{at(5)}, {READ}", f"at: 2027-05-04T10:00:00Z, {READ}"),
        "time zone everywhere or nowhere",
        5,
    ),
    "date only": ((f"at: 2027-05-04, {READ}",), "no date with time", 4),
    "no date": ((f"at: noon, {READ}",), "no date with time.*2026-07-14T10:05:00", 4),
    "no such day": ((f"at: 2027-02-30T10:00:00, {READ}",), "no date with time", 4),
    "far away": ((f"at: 0001-01-01T00:00:00, {READ}",), "year 1 is out of range", 4),
    "no time": ((READ,), "at: missing", 4),
    "no kind": ((f"{at(0)}, point: supply.t",), "kind: missing", 4),
    "kind": ((f"{at(0)}, kind: readings, point: supply.t",), "nearest known one is reading", 4),
    "no point": ((f"{at(0)}, kind: reading, value: 3 degF",), "point: missing; a reading needs it", 4),
    "extra": ((f"{at(0)}, {READ}, valeu: 3",), "valeu: unknown field.*value", 4),
    "instrument": ((f"{at(0)}, {READ}, by: eye",), '"eye" is not taken.*handheld', 4),
    "accuracy kind": ((f"{at(0)}, {READ}, accuracy: 1 degF",), "not a difference", 4),
    "accuracy zero": ((f"{at(0)}, {READ}, accuracy: 0 delta_degF",), "no reading is exact", 4),
    "accuracy of a count": (
        (f"{at(0)}, kind: reading, point: shown.stages_called, value: 2 count, accuracy: 1 count",),
        "has no accuracy",
        4,
    ),
    "item": ((f"{at(0)}, kind: force, item: fan, to: 100 %",), "reheat.command or cooling.call", 4),
    "half a call": ((f"{at(0)}, kind: force, item: cooling.call, to: 50 %",), "0 % or 100 %", 4),
    "over": ((f"{at(0)}, kind: force, item: reheat.command, to: 120 %",), "out of range", 4),
    "two held": (
        (
            f"{at(0)}, kind: force, item: reheat.command, to: 0 %",
            f"{at(1)}, kind: force, item: cooling.call, to: 0 %",
        ),
        "reheat.command is still held",
        5,
    ),
    "release": ((f"{at(0)}, kind: release, item: reheat.command",), "was not forced before", 4),
    "other release": (
        (
            f"{at(0)}, kind: force, item: reheat.command, to: 0 %",
            f"{at(1)}, kind: release, item: cooling.call",
        ),
        "cooling.call is released but was not forced before .reheat.command is held",
        5,
    ),
    "cause": ((f"{at(0)}, kind: change, cause: strainer-pluged",), "no cause.*nearest.*strainer-plugged", 4),
    "change of nothing": ((f"{at(0)}, kind: change",), "needs a cause or a text", 4),
    "note": ((f"{at(0)}, kind: note",), "text: missing", 4),
}


@pytest.mark.parametrize("what", WRONG)
def test_what_is_wrong_is_named_with_file_line_and_event(what: str, tmp_path: Path) -> None:
    lines, words, line = WRONG[what]
    with pytest.raises(InputError, match=words) as caught:
        loaded(tmp_path, events(*lines))
    message = str(caught.value)
    assert message.startswith(f"{tmp_path / 'call.yaml'}, line {line}: events[{line - 3}]"), message
    assert "\n" not in message


TOP = {
    "format": ("wringout-call/1", "wringout-call/9", "found .wringout-call/9., wanted wringout-call/1"),
    "unknown": ("complaint", "complain", "complain: unknown field; the nearest known one is complaint"),
    "no unit": ("unit: unit.yaml\n", "", "unit: missing"),
    "unit list": ("unit.yaml", "[a]", "wanted a path or a mapping"),
    "unit elsewhere": ("unit.yaml", "../unit.yaml", "must be a path beside the call"),
    "unit absolute": ("unit.yaml", "/etc/hostname", "must be a path beside the call"),
    "unit not there": ("unit.yaml", "other.yaml", "no such file .*other.yaml"),
    "unit is a folder": ("unit.yaml", '"."', "folder"),
    "unit is a call": ("unit.yaml", "call.yaml", "wanted wringout-unit/1"),
    "events": ("events:\n", "events: none\nx:\n", "unknown field|wanted a list"),
}


@pytest.mark.parametrize("what", TOP)
def test_what_is_wrong_at_the_top_is_named(what: str, tmp_path: Path) -> None:
    old, new, words = TOP[what]
    with pytest.raises(InputError, match=words):
        loaded(tmp_path, CALL.replace(old, new, 1))


def test_a_fault_in_the_unit_names_the_units_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"unit\.yaml, line 5: air\.supply_airflow"):
        loaded(tmp_path, unit=RECLAIM.replace("6200 cfm", "6200", 1))


def test_too_many_events_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="at most 20000"):
        loaded(tmp_path, HEAD + "  - {}\n" * 20_001)


@pytest.mark.parametrize("name", HEADS)
def test_a_point_fits_the_kind_of_unit(name: str, tmp_path: Path) -> None:
    text = events(f"{at(0)}, kind: reading, point: source.water_in, value: 90 degF")
    if "hot_water" in HEADS[name]:
        assert len(loaded(tmp_path, text, HEADS[name]).events) == 1
    else:
        with pytest.raises(InputError, match="only hot water units have it, and Unit C is dx, hot gas"):
            loaded(tmp_path, text, HEADS[name])


def test_a_document_tells_its_kind(tmp_path: Path) -> None:
    loaded(tmp_path)
    assert isinstance(load_document(tmp_path / "call.yaml"), Call)
    for text, words in (
        ("a: b\n", "format: missing"),
        ("format: [a]\n", "no word"),
        ("format: x/1\n", '"x/1"'),
    ):
        (tmp_path / "x.yaml").write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match=words):
            load_document(tmp_path / "x.yaml")
