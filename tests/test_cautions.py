"""No step that can hurt lacks its caution: hazards are told from properties, not from a list of names."""

from __future__ import annotations

import re

import numpy as np
import pytest

from units import (
    BOILER_DIVERTING,
    CHILLED_TWO_WAY,
    RECLAIM_MIXING,
    RECLAIM_UPSTREAM,
    at_design,
    healthy,
    machine,
)
from wringout.catalogue.cares import ALWAYS, cares
from wringout.catalogue.cause import Cause
from wringout.catalogue.causes import causes
from wringout.catalogue.points import POINTS, point, points_of
from wringout.catalogue.steps import Step, care_ids, cautions_of, work_of, works
from wringout.machine.steady import read_points, settle
from wringout.quantity import Dimension
from wringout.setting_up.subject import Subject
from wringout.setting_up.subjects import SUBJECTS

# ISO 13732-1 (from memory): bare metal burns within a minute from about 51 degC and within ten from 48 degC
BURNS = 48.0
ALL = [pytest.param(cause, id=id) for id, cause in causes().items()]
TOUCHED = {"strap_on", "gauges", "clamp_on_ultrasonic"}


def test_the_hazards_of_the_trade_all_have_words() -> None:
    text = {id: f"{care.title} {care.when} {' '.join(care.text)}".lower() for id, care in cares().items()}
    for id, words in {
        "live_power": ("lock", "stored energy", "charged", "live measurement"),
        "live_control": ("measure", "forc"),
        "moving_parts": ("rotating", "lock"),
        "hot": ("hot surfaces", "scald", "burn"),
        "pressure": ("co2", "air out", "pressure"),
        "height": ("roof", "lightning", "thunder"),
        ALWAYS: ("local codes", "licensed"),
    }.items():
        assert [word for word in words if word not in text[id]] == [], id


def hottest(name: str) -> float:
    """The hottest that the medium at a place gets in any of the sample units at design, coil open [degC]."""
    found = [-np.inf]
    for text in (RECLAIM_MIXING, RECLAIM_UPSTREAM, CHILLED_TWO_WAY, BOILER_DIVERTING):
        design = machine(text)
        if name not in points_of(design.unit):
            continue
        points = read_points(settle(design, healthy(design), at_design(design)))
        found += [float(np.max(points[p])) for p in _medium_of(name) if p in points]
    return max(found)


def _medium_of(name: str) -> tuple[str, ...]:
    """Points that give the temperature of what flows at a place: its own, else those of the same circuit."""
    if point(name).dimension is Dimension.TEMPERATURE:
        return (name,)
    circuits = {
        "reheat": ("reheat.water_in",),
        "loop": ("source.water_out", "reheat.water_in"),
        "pump": ("source.water_in", "reheat.water_out"),
        "strainer": ("source.water_in", "reheat.water_out"),
    }
    return circuits.get(name.split(".")[0], ())


@pytest.mark.parametrize(
    "name", [n for n, entry in POINTS.items() if entry.by in TOUCHED and "<id>" not in n]
)
def test_a_probe_on_something_that_burns_shows_hot_surfaces(name: str) -> None:
    if hottest(name) >= BURNS:
        assert "hot" in care_ids(Step(points=(name,)))


def test_places_that_burn_are_there_to_be_looked_at() -> None:
    assert sum(hottest(n) >= BURNS for n in ("reheat.water_in", "loop.flow", "reclaim.gas_in")) == 3


@pytest.mark.parametrize("name", POINTS)
def test_the_instrument_brings_its_caution(name: str) -> None:
    entry, ids = point(name), care_ids(Step(points=(name,)))
    if entry.dimension is Dimension.CURRENT:
        assert "live_power" in ids
    if entry.dimension is Dimension.SIGNAL:
        assert "live_control" in ids
    if entry.by == "gauges":
        assert "pressure" in ids
    if name.startswith("outdoor."):
        assert "height" in ids
    assert set(entry.care) <= set(ids), "what the entry itself names is kept"


@pytest.mark.parametrize("state", ["reheat.command=0 %", "reheat.command=100 %", "cooling.call=100 %"])
def test_whatever_is_held_by_hand_brings_live_control(state: str) -> None:
    for name in POINTS:
        assert "live_control" in care_ids(Step(points=(name,), state=state))


@pytest.mark.parametrize("cause", ALL)
def test_no_remedy_lacks_the_caution_of_what_it_touches(cause: Cause) -> None:
    ids = set(care_ids(Step(cause=cause.id)))
    words = " ".join((*cause.remedy, *cause.parts)).lower()
    hazards = {
        "moving_parts": r"\bbelts?\b|sheave|blower|impeller|fan wheel|\bblades\b",
        "live_power": r"contactor|\bfuses?\b|overload|motor current|locked? out\b|capacitor",
        "live_control": r"terminals|\bforce\b|force both",
        "pressure": r"refrigerant|\bgauges\b|relieve|nitrogen",
        "hot": r"scald|strainer basket|vent the",
        "height": r"\broof\b|ladder|condenser coil",
    }
    for id, pattern in hazards.items():
        if re.search(pattern, words):
            assert id in ids, (cause.id, id)
    if "hot_water" in cause.needs and cause.group == "water":
        assert "hot" in ids
    if cause.group == "heat_source":
        assert ids & {"hot", "pressure"}
    assert set(cause.cares) <= ids


@pytest.mark.parametrize("subject", SUBJECTS.values(), ids=lambda subject: subject.id)
def test_setting_up_shows_the_cautions_of_what_it_reads_and_sets(subject: Subject) -> None:
    shown = {care.id for care in cautions_of(Step(work=subject.work))}
    assert ALWAYS in shown
    assert set(subject.work) <= set(works())
    wording = " ".join((subject.title, *(ask.words for ask in subject.asks))).lower()
    if re.search(r"motor|nameplate", wording):
        assert {"live_power", "moving_parts"} <= shown
    if re.search(r"actuator|output", wording):
        assert "live_control" in shown
    if re.search(r"glycol|hot gas|refrigerant", wording):
        assert {"pressure", "hot"} & shown
    if re.search(r"ceiling|roof|outdoor air through", wording):
        assert "height" in shown


def test_cautions_of_several_steps_come_once_and_local_rules_first() -> None:
    found = [
        care.id for care in cautions_of(Step(points=("pump.head", "fan.current")), Step(cause="pump-off"))
    ]
    assert found[0] == ALWAYS
    assert len(found) == len(set(found))
    assert {"hot", "pressure", "live_power"} <= set(found)


def test_an_unknown_work_is_refused() -> None:
    with pytest.raises(KeyError, match="no such work: lava"):
        work_of(Step(work=("lava",)))


def test_every_work_of_the_catalogue_brings_a_caution_that_exists() -> None:
    for work in works().values():
        assert work.means
        assert set(work.cares) <= set(cares())
        assert work.cares
