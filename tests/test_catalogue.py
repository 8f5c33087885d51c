"""The catalogue is complete: each cause says what, how much, how often, what looks like it and what to do."""

from __future__ import annotations

import re
from itertools import pairwise, product
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import yaml

from wringout.catalogue._package_data import read
from wringout.catalogue.cares import ALWAYS, cares, cares_for
from wringout.catalogue.cause import GROUPS, NEEDS, SIDES, URGENCIES, Cause
from wringout.catalogue.causes import (
    BEYOND_DESIGN,
    applies,
    beyond_design_share,
    causes,
    count_prior,
    prior_weights,
)
from wringout.catalogue.page import causes_page, cautions_page
from wringout.catalogue.points import KINDS as POINT_KINDS
from wringout.catalogue.points import POINTS

ROOT = Path(__file__).resolve().parent.parent
CONTRACT = ROOT.parent / "shared" / "contract"
needs_contract = pytest.mark.skipif(
    not CONTRACT.is_dir(), reason="../shared/contract is absent: the catalogue is not compared with it"
)

ALL = [pytest.param(cause, id=id) for id, cause in causes().items()]
FAULTS = [pytest.param(cause, id=id) for id, cause in causes().items() if id != BEYOND_DESIGN]
PAIRS = [pytest.param(pair, id="+".join(pair["between"])) for pair in read("causes.yaml")["look_alikes"]]


def unit_of(
    cooling: str = "dx",
    reheat: str = "hot_water",
    ways: str = "three",
    source: str | None = "reclaim",
    upstream: str | None = "none",
    modulating: bool = False,
) -> Any:
    """As much of a unit document as causes and points ask for."""
    stages = (SimpleNamespace(modulating=modulating), SimpleNamespace(modulating=False))
    return SimpleNamespace(
        air=SimpleNamespace(supply_fan=SimpleNamespace(drive="direct")),
        cooling=SimpleNamespace(kind=cooling, stages=stages if cooling == "dx" else ()),
        reheat=SimpleNamespace(kind=reheat, valve=SimpleNamespace(ways=ways)),
        source=None if source is None else SimpleNamespace(kind=source, upstream=upstream),
    )


KINDS = [
    unit_of(cooling, "hot_water", ways, source, upstream, modulating)
    for cooling, ways, (source, upstream), modulating in product(
        ("dx", "chilled_water"),
        ("three", "two"),
        (("reclaim", "service_water"), ("reclaim", "none"), ("boiler", None)),
        (True, False),
    )
] + [unit_of("dx", "hot_gas", "three", None, None, modulating) for modulating in (True, False)]


# ------------------------------------------------------------------------------- each entry


@pytest.mark.parametrize("cause", ALL)
def test_an_entry_uses_only_known_words(cause: Cause) -> None:
    assert cause.side in SIDES
    assert cause.group in GROUPS
    assert cause.urgency in URGENCIES
    assert set(cause.needs) <= set(NEEDS)
    assert {span.unit for span in cause.spans} <= {"%", "delta_degF", "x"}
    assert {span.sign for span in cause.spans} <= {"none", "up", "down", "either"}
    assert set(cause.cares) <= set(cares()) - {ALWAYS}


@pytest.mark.parametrize("cause", ALL)
def test_an_entry_says_everything_a_technician_asks(cause: Cause) -> None:
    assert 3 <= len(cause.title) <= 50
    assert cause.statement.endswith(".")
    assert cause.statement.rstrip(".").count(". ") == 0, "the statement is one sentence"
    for text in (cause.effect, cause.expected, cause.verify, cause.why):
        assert len(text) > 8
    assert len(cause.remedy) >= 2
    assert all(step[0].isupper() and step.endswith(".") for step in cause.remedy)


@pytest.mark.parametrize("cause", ALL)
def test_an_entry_looks_like_something_else_and_says_what_tells(cause: Cause) -> None:
    assert cause.similar, "nothing is so clear that nothing is taken for it"


@pytest.mark.parametrize("cause", FAULTS)
def test_how_much_is_a_span_that_has_room(cause: Cause) -> None:
    for span in cause.spans:
        low, high = span.si()
        assert 0.0 <= low < high
        assert span.means
    for choice in cause.choices:
        assert len(choice.options) == len(set(choice.options)) >= 1


def test_every_part_of_the_display_has_a_cause() -> None:
    assert {cause.group for cause in causes().values()} == set(GROUPS)
    assert {cause.side for cause in causes().values()} == set(SIDES)


def test_titles_are_told_apart() -> None:
    titles = [cause.title for cause in causes().values()]
    assert len(titles) == len(set(titles))


def test_an_id_written_twice_would_be_seen() -> None:
    """YAML keeps the last of two equal keys and says nothing."""

    class Strict(yaml.SafeLoader):
        pass

    def mapping(loader: yaml.SafeLoader, node: yaml.MappingNode) -> dict[Any, Any]:
        keys = [loader.construct_object(key, deep=True) for key, _ in node.value]
        twice = {key for key in keys if keys.count(key) > 1}
        assert not twice, f"line {node.start_mark.line + 1}: {twice} written twice"
        return {
            key: loader.construct_object(value, deep=True)
            for key, (_, value) in zip(keys, node.value, strict=True)
        }

    Strict.add_constructor(yaml.resolver.BaseResolver.DEFAULT_MAPPING_TAG, mapping)
    for name in ("causes.yaml", "cares.yaml"):
        text = (ROOT / "src/wringout/catalogue" / name).read_text(encoding="utf-8")
        assert yaml.load(text, Strict) == read(name)


# ------------------------------------------------------------------------------ spans in SI


def test_spans_come_out_in_si() -> None:
    rise = {span.name: span.si() for span in causes()["charge-low"].spans}
    assert rise["capacity"] == pytest.approx((0.5, 0.8))
    assert rise["superheat_rise"] == pytest.approx((10 / 1.8, 30 / 1.8))
    (air,) = causes()["doors-open"].spans
    assert air.si() == (2.5, 6)


# ------------------------------------------------------------------------- what looks alike


@pytest.mark.parametrize("cause", ALL)
def test_likeness_goes_both_ways(cause: Cause) -> None:
    for other in cause.similar:
        assert other.cause != cause.id
        back = [entry for entry in causes()[other.cause].similar if entry.cause == cause.id]
        assert len(back) == 1
        assert back[0].tell == other.tell
        assert back[0].points == other.points


@pytest.mark.parametrize("pair", PAIRS)
def test_a_pair_is_parted_by_points_that_the_unit_has(pair: dict[str, Any]) -> None:
    one, other = (causes()[id] for id in pair["between"])
    assert set(pair["points"]) <= set(POINTS)
    shared = [unit for unit in KINDS if applies(one, unit) and applies(other, unit)]
    assert shared, "no unit can have both, so nobody takes one for the other"
    for unit in shared:
        needed = [POINTS[point].only for point in pair["points"]]
        assert any(kind is None or POINT_KINDS[kind](unit) for kind in needed)


@pytest.mark.parametrize("pair", PAIRS)
def test_a_tell_is_one_line_that_weighs_two_sides(pair: dict[str, Any]) -> None:
    tell = pair["tell"]
    assert tell.endswith(".")
    assert len(tell) <= 160
    assert re.search(r"[;,-]", tell), "one side against the other"


@pytest.mark.parametrize("cause", ALL)
def test_points_named_in_words_exist(cause: Cause) -> None:
    for text in (cause.verify, cause.expected, *cause.remedy):
        for named in re.findall(r"\b[a-z]+\.(?:<id>\.)?[a-z_]+\b", text):
            assert named in POINTS or named in {"reheat.command", "cooling.call"}, f"{named} in: {text}"


@pytest.mark.parametrize("cause", FAULTS)
def test_a_repair_is_proven_by_a_reading(cause: Cause) -> None:
    named = [point for point in POINTS if point in cause.verify]
    assert named or "space dew point" in cause.verify


# ----------------------------------------------------------------------------------- priors


def test_single_faults_lie_within_a_factor_of_three() -> None:
    weights = [cause.weight for cause in causes().values() if cause.id != BEYOND_DESIGN]
    assert min(weights) > 0
    assert max(weights) / min(weights) <= 3.0


@pytest.mark.parametrize("cause", ALL)
def test_a_weight_says_where_it_comes_from(cause: Cause) -> None:
    """A quoted figure names who published it and whether it was remembered; the rest is judgement."""
    if re.search(r"\d+ %", cause.why):
        assert re.search(r"Proctor|Jacobs|Stouppe|IIR|Padova", cause.why)
        assert not re.search(r"Jacobs|Stouppe", cause.why) or "from memory" in cause.why
    else:
        assert "judgement" in cause.why


def test_the_number_of_faults_has_a_distribution() -> None:
    prior = count_prior()
    assert list(prior) == [0, 1, 2, 3]
    assert sum(prior.values()) == pytest.approx(1.0)
    assert all(earlier > later for earlier, later in pairwise(list(prior.values())[1:]))
    assert 0.0 < beyond_design_share() < 1.0


@pytest.mark.parametrize("unit", KINDS)
def test_weights_of_a_unit_sum_to_one_over_what_it_can_have(unit: Any) -> None:
    weights = prior_weights(unit)
    assert sum(weights.values()) == pytest.approx(1.0)
    assert set(weights) == {id for id in causes() if applies(id, unit)} - {BEYOND_DESIGN}


# ---------------------------------------------------------------------- which unit has what


@pytest.mark.parametrize("cause", ALL)
def test_every_cause_has_a_unit_and_the_needs_say_which(cause: Cause) -> None:
    having = [unit for unit in KINDS if applies(cause, unit)]
    assert having
    assert (len(having) == len(KINDS)) == (not cause.needs)


@pytest.mark.parametrize(
    ("changed", "gone", "there"),
    [
        ({"cooling": "chilled_water"}, "charge-low", "chilled-water-warm"),
        ({"ways": "two"}, "bypass-shut", "bypass-open"),
        ({"source": "boiler", "upstream": None}, "exchanger-fouled", "boiler-low"),
        ({"reheat": "hot_gas", "source": None}, "pump-off", "valve-leaks"),
        ({"upstream": "none"}, "upstream-takes-heat", "source-starved"),
        ({"upstream": "service_water"}, "boiler-low", "upstream-takes-heat"),
        ({"modulating": False}, "compressor-unloaded", "compressor-out"),
        ({"modulating": True}, "chilled-valve-stuck", "compressor-unloaded"),
    ],
)
def test_a_unit_without_the_part_cannot_have_its_fault(
    changed: dict[str, Any], gone: str, there: str
) -> None:
    unit = unit_of(**changed)
    assert not applies(gone, unit)
    assert applies(there, unit)


# ------------------------------------------------------------------------------------ cares


def test_local_rules_are_shown_with_every_advice_and_first() -> None:
    assert [care.id for care in cares_for([])] == [ALWAYS]
    shown = [care.id for care in cares_for(["hot", "live_power", "hot"])]
    assert shown == [ALWAYS, "live_power", "hot"]


def test_an_unknown_care_is_refused() -> None:
    with pytest.raises(KeyError, match="no such care: lava"):
        cares_for(["lava"])


@pytest.mark.parametrize(
    ("care", "words"),
    [
        ("local_rules", ("codes", "licensed", "alone")),
        ("moving_parts", ("lock", "tag", "belt")),
        ("live_power", ("lock", "charged", "live measurement", "trained")),
        ("live_control", ("terminals", "forced")),
        ("pressure", ("CO2", "air out", "relieve", "burn", "two valves")),
        ("hot", ("scalds", "legionella", "Gloves")),
        ("height", ("thunder", "Ladder", "fall protection")),
    ],
)
def test_the_usual_cautions_are_named(care: str, words: tuple[str, ...]) -> None:
    text = " ".join(cares()[care].text)
    assert [word for word in words if word not in text] == []


@pytest.mark.parametrize("cause", ALL)
def test_work_on_a_hazard_shows_its_caution(cause: Cause) -> None:
    steps = " ".join((*cause.remedy, " ".join(cause.parts))).lower()
    if re.search(r"gauges|refrigerant|relieve|charge\b", steps):
        assert "pressure" in cause.cares
    if re.search(r"contactor|fuses|overload|phases|motor current|lock out", steps):
        assert {"live_power", "moving_parts"} & set(cause.cares)
    if re.search(r"belt|fan start|blower|impeller|coupling", steps):
        assert "moving_parts" in cause.cares
    if re.search(r"at the (?:actuator's )?terminals|force the command|force both ends", steps):
        assert "live_control" in cause.cares


# ------------------------------------------------------------------------------------ pages


@pytest.mark.parametrize(("page", "written"), [("causes.md", causes_page), ("cautions.md", cautions_page)])
def test_the_page_is_up_to_date(page: str, written: Any) -> None:
    assert (ROOT / "docs" / page).read_text(encoding="utf-8") == written(), "run `make docs`"


# --------------------------------------------------------------------- against the contract


def _contract(name: str) -> dict[str, Any]:
    document: dict[str, Any] = yaml.safe_load((CONTRACT / name).read_text(encoding="utf-8"))
    return document


@needs_contract
def test_every_cause_of_the_contract_is_here_with_its_side_and_needs() -> None:
    listed = _contract("causes.yaml")["causes"]
    assert list(causes()) == list(listed), "same causes, same order"
    for id, entry in listed.items():
        assert causes()[id].side == entry["side"], id
        needs = set(entry.get("needs", "").split())
        # one need the contract says in words: "the modulating stage stays at its least output"
        assert set(causes()[id].needs) - {"modulating_stage"} == needs, id


@needs_contract
def test_spans_are_those_of_the_contract() -> None:
    for id, entry in _contract("causes.yaml")["causes"].items():
        # a whole stroke, an alternative of signals and "several times" are no measured span there
        found = re.findall(
            r"\+?([\d.]*\d)\.\.\+?([\d.]*\d) ?(%|delta_degF|x|V| design)", entry.get("range", "")
        )
        listed = {
            (float(low), float(high), {" design": "x"}.get(unit, unit))
            for low, high, unit in found
            if unit != "V"
        }
        ours = {(span.low, span.high, span.unit) for span in causes()[id].spans if span.source == "contract"}
        assert ours == listed, id


@needs_contract
def test_points_and_cares_are_those_of_the_contract() -> None:
    points = _contract("points.yaml")["points"]
    assert {name: entry.get("only") for name, entry in points.items()} == {
        name: entry.only for name, entry in POINTS.items()
    }
    text = (CONTRACT / "call-format.md").read_text(encoding="utf-8")
    listed = re.search(r"- care: ([a-z_, ]+)\.", text)
    assert listed is not None
    assert set(cares()) - {ALWAYS} == set(listed[1].split(", "))
