"""A trend is weighed by the same causes as readings are: alone, beside readings, and never as a certainty.

Trends and calls are made by the machine in time, of invented units: the tests say what weighing makes of
what our own machine does. What it makes of another simulator's units stands in docs/validation.md.
"""

from __future__ import annotations

import contextlib
import io
import json
import math
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import units
from answered_once import once
from logged_units import START, Logged, logged
from weighing_tools import Look, hypotheses_of, simulate, thorough
from wringout.catalogue.points import sigma
from wringout.cli.main import main
from wringout.documents.call import Call, Change, Event, Force, Release
from wringout.documents.load import unit_from_text
from wringout.trends.evidence import Moment, TrendEvidence, trend_evidence
from wringout.weighing.answer import Answer, weigh
from wringout.weighing.evidence import doubtful, evidence, suspect
from wringout.weighing.evidence_words import evidence_words
from wringout.weighing.hypothesis import HEALTHY, Hypothesis, Part
from wringout.weighing.situation import problem
from wringout.weighing.trend import most_different, with_moments
from wringout.weighing.trend_signs import FOLLOW_OFF, FOLLOW_ON, STILL, SWING, Sign, signs_of

BOILER = unit_from_text(units.BOILER_DIVERTING)
WRONG: tuple[tuple[str, ...], ...] = (
    (),
    ("control-hunting",),
    ("boiler-low",),
    ("signal-reversed",),
    ("dew-source-swapped",),
    ("output-in-hand",),
)


EACH = 4  # machines of each kind that are run, for one among them whose day shows what is wrong
CLEAR = 2.0  # nat by which its sign then speaks


def day_shows(one: Logged) -> bool:
    """Whether a trend has the sign of what is wrong, if there is one.

    Not every day has: where gains are low a hunting control hardly swings, and where they are high a healthy
    one does a little.
    """
    worth = {s.name: s.with_cause - s.without for s in signs_of(trend_evidence(one.trend, BOILER))}
    speaks = {
        (): -worth.get(SWING, 0.0),
        ("control-hunting",): worth.get(SWING, 0.0),
        ("dew-source-swapped",): worth.get(FOLLOW_ON, 0.0),
        ("output-in-hand",): worth.get(STILL, 0.0),
    }
    return speaks.get(one.wrong, CLEAR) >= CLEAR


@cache
def made() -> dict[tuple[str, ...], Logged]:
    """A day of each of some units, and the walk-up after it.

    A dew point taken from the outdoor sensor equals the one shown for outdoors, errors and all: the two
    displays have one offset.
    """
    drawn = logged(BOILER, WRONG * EACH, seed=4, days=1.0, severity=0.5, sensors_alike=True)
    return {wrong: next(one for one in drawn if one.wrong == wrong and day_shows(one)) for wrong in WRONG}


def shown(*wrong: str) -> TrendEvidence:
    return trend_evidence(made()[wrong].trend, BOILER)


@once
def answer(wrong: tuple[str, ...], readings: bool, trend: bool) -> Answer:
    one = made()[wrong]
    call = one.call if readings else Call(unit=BOILER)
    told = trend_evidence(one.trend, BOILER) if trend else None
    return weigh(call, np.random.default_rng(0), checks=False, trend=told)


def chance(found: Answer, wrong: tuple[str, ...]) -> float:
    """Probability of exactly the set that is wrong."""
    return sum(s.probability for s in found.sets if s.causes == tuple(sorted(wrong)))


# --------------------------------------------------------------------------------- what a trend finds


def test_hunting_is_found_from_the_trend_and_not_without_it() -> None:
    wrong = ("control-hunting",)
    assert answer(wrong, readings=False, trend=True).marginals["control-hunting"] > 0.6
    assert answer(wrong, readings=True, trend=True).marginals["control-hunting"] > 0.6
    assert answer(wrong, readings=True, trend=False).marginals["control-hunting"] < 0.2


@pytest.mark.parametrize("seed", [9, 10])
def test_careful_readings_of_one_moment_do_not_talk_a_logged_swing_away(seed: int) -> None:
    wrong = hypotheses_of(BOILER, "control-hunting")[:1]
    call = simulate(BOILER, wrong, [Look(thorough(BOILER))], np.random.default_rng(seed)).call
    swing = shown("control-hunting")
    assert weigh(call, np.random.default_rng(0), checks=False, trend=swing).marginals["control-hunting"] > 0.9


def test_a_steady_trend_clears_hunting() -> None:
    before = answer((), readings=True, trend=False).marginals["control-hunting"]
    after = answer((), readings=True, trend=True).marginals["control-hunting"]
    assert after < 0.3 * before


@pytest.mark.parametrize("readings", [False, True])
def test_healthy_stays_healthy(readings: bool) -> None:
    found = answer((), readings, trend=True)
    assert found.sets[0].causes == ()
    assert found.healthy > 2.0 * found.sets[1].probability


@pytest.mark.parametrize("wrong", ["control-hunting", "dew-source-swapped", "output-in-hand"])
def test_a_trend_alone_names_what_it_shows(wrong: str) -> None:
    found = answer((wrong,), readings=False, trend=True)
    assert max(found.marginals, key=lambda c: found.marginals[c]) == wrong


def test_a_trend_and_readings_say_more_than_either() -> None:
    """Mean logarithm of the probability given to what is truly wrong, over a handful of units."""
    worth = {
        (readings, trend): float(
            np.mean([math.log(max(chance(answer(w, readings, trend), w), 1e-6)) for w in WRONG])
        )
        for readings, trend in ((True, False), (False, True), (True, True))
    }
    assert worth[True, True] > worth[True, False] + 0.3
    assert worth[True, True] > worth[False, True] + 0.05


@pytest.mark.parametrize("wrong", WRONG)
def test_a_trend_makes_nothing_certain(wrong: tuple[str, ...]) -> None:
    found = answer(wrong, readings=False, trend=True)
    assert found.sets[0].probability < 0.995
    assert sum(s.probability for s in found.sets) + found.unexplained == pytest.approx(1.0, abs=1e-6)


# ------------------------------------------------------------------------------ moments as situations


@dataclass(frozen=True)
class Bare:
    """The parts of a trend's summary that signs are read from."""

    start: float = START
    end: float = START + 48.0 * 3600.0
    hours: float = 48.0
    share_on: float = 1.0
    command_low: float = 0.0
    command_high: float = 0.0
    command_travel: float = math.nan
    command_median: float = math.nan
    swing_command: float = math.nan
    swing_period: float = math.nan
    follows_on: float = math.nan
    follows_off: float = math.nan
    moments: tuple[Moment, ...] = ()


def moment(hours: float, command: float = 0.5, on: bool = True, **more: float) -> Moment:
    values = {
        "shown.supply_t": 18.0 + 10.0 * command,
        "shown.reheat_command": command,
        "shown.stages_called": 1.0 if on else 0.0,
        "shown.space_t": BOILER.control.space_t,
    }
    values |= {name.replace("__", "."): value for name, value in more.items()}
    return Moment(START + 3600.0 * hours, values, dict.fromkeys(values, 0.1), on)


def call_of(*events: Event) -> Call:
    return Call(unit=BOILER, events=events)


def run(*arguments: str) -> tuple[int, str, str]:
    """The command in this process, with what it wrote."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), pytest.raises(SystemExit) as ended:
        main(list(arguments))
    assert isinstance(ended.value.code, int)
    return ended.value.code, out.getvalue(), err.getvalue()


def at(hours: float) -> datetime:
    return datetime.fromtimestamp(START, UTC).replace(tzinfo=None) + timedelta(hours=hours)


def test_each_moment_stands_in_weather_of_its_own_before_the_visit() -> None:
    trend = Bare(moments=(moment(1.0, 0.2), moment(9.0, 0.8)))
    call = made()[()].call
    what = with_moments(problem(call, sigma), call, trend, sigma)
    assert [s.logged for s in what.situations] == [at(1.0), at(9.0), None]
    assert [s.visit for s in what.situations] == [1, 2, 0]
    assert [s.tolerance for s in what.situations] == pytest.approx([math.sqrt(2.0)] * 2 + [1.0])
    indices = [o.index for s in what.situations for o in s.observations]
    assert len(set(indices)) == len(indices)


def test_the_moments_that_are_taken_differ() -> None:
    moments = [moment(h, command) for h, command in ((1, 0.5), (2, 0.52), (3, 0.9), (4, 0.1), (5, 0.5))]
    commands = [m.values["shown.reheat_command"] for m in most_different(moments, 3)]
    assert commands == [0.9, 0.1, 0.5]


def test_what_a_person_held_by_hand_is_no_picture_of_the_unit_by_itself() -> None:
    moments = tuple(moment(h, 0.1 * h) for h in range(1, 9))
    call = call_of(
        Force(at=at(4.5), item="reheat.command", to=1.0), Release(at=at(5.5), item="reheat.command")
    )
    trend = Bare(moments=moments)
    what = with_moments(problem(call, sigma), call, trend, sigma)
    times = {s.logged for s in what.situations}
    assert not times & {at(5.0), at(6.0)}
    held = call_of(Force(at=at(0.5), item="cooling.call", to=0.0))
    assert all(s.logged is None for s in with_moments(problem(held, sigma), held, trend, sigma).situations)


def test_a_cause_that_was_mended_acts_in_the_moments_before_alone() -> None:
    call = call_of(Change(at=at(5.0), cause="strainer-plugged"))
    trend = Bare(moments=(moment(2.0, 0.2), moment(8.0, 0.8)))
    what = with_moments(problem(call, sigma), call, trend, sigma)
    assert [s.mended for s in what.situations[:2]] == [frozenset(), frozenset({"strainer-plugged"})]


def test_a_log_that_ends_after_a_cause_was_dealt_with_says_nothing_of_whether_it_had_been_there() -> None:
    """A hunting control that was tuned stands still in the days after: that does not clear it of before."""
    calm = shown()
    assert any(sign.cause == "control-hunting" and sign.with_cause < sign.without for sign in signs_of(calm))
    found = {}
    for hours in (2.0, 30.0):
        call = call_of(Change(at=at(hours), cause="control-hunting"))
        found[hours] = weigh(call, np.random.default_rng(0), checks=False, trend=replace(calm, moments=()))
    told = {hours: {sign.cause for sign in answer.signs} for hours, answer in found.items()}
    assert "control-hunting" not in told[2.0]
    assert "control-hunting" in told[30.0]
    alone = weigh(call_of(), np.random.default_rng(0), checks=False).marginals["control-hunting"]
    assert found[2.0].marginals["control-hunting"] > 0.9 * alone
    assert found[30.0].marginals["control-hunting"] < 0.5 * alone


def test_stages_in_a_room_that_is_too_warm_say_nothing_of_drying() -> None:
    warm = BOILER.control.space_t + 1.5
    trend = Bare(
        moments=(moment(1.0, 0.0, shown__space_t=warm), moment(5.0, 0.4), moment(8.0, 0.0, on=False))
    )
    call = call_of()
    what = with_moments(problem(call, sigma), call, trend, sigma)
    assert [s.read("shown.dehumidifying") for s in what.situations[:3]] == [None, 1.0, 0.0]


def test_more_moments_of_one_kind_make_it_no_surer() -> None:
    """Ten times the same picture is one picture: what the equations miss they miss in each."""
    shown_once = shown("signal-reversed")
    spread = {}
    for count in (1, 3):
        trend = replace(shown_once, moments=(shown_once.moments[-1],) * count)
        found = weigh(Call(unit=BOILER), np.random.default_rng(0), checks=False, trend=trend)
        spread[count] = chance(found, ("signal-reversed",))
    assert spread[3] < spread[1] + 0.15


# ----------------------------------------------------------------------------------------- signs


def sign(trend: Bare, name: str) -> Sign | None:
    return next((s for s in signs_of(trend) if s.name == name), None)


def worth(trend: Bare, name: str) -> float:
    """Log likelihood ratio of the cause that a sign speaks of."""
    found = sign(trend, name)
    assert found is not None
    return found.with_cause - found.without


def test_the_wider_and_quicker_the_swing_the_more_it_speaks_for_hunting() -> None:
    steps = [
        worth(Bare(swing_command=s, swing_period=p), SWING)
        for s, p in ((0.02, 2000.0), (0.07, 2500.0), (0.15, 900.0), (0.3, 800.0))
    ]
    assert steps == sorted(steps)
    # no more than this: a quarter of the hunting controls is tamed (tests/study/test_swings.py)
    assert -3.0 < steps[0] < -2.0
    assert steps[-1] > 4.0


@pytest.mark.parametrize("swing", [0.001, 0.01, 0.03, 0.1, 0.3, 0.5])
@pytest.mark.parametrize("period", [120.0, 700.0, 3000.0, 20000.0])
def test_no_swing_is_worth_more_than_ten_bits(swing: float, period: float) -> None:
    assert abs(worth(Bare(swing_command=swing, swing_period=period), SWING)) < 10.0 * math.log(2.0)


def test_a_command_at_its_stop_hides_a_swing() -> None:
    assert sign(Bare(swing_command=0.0, command_high=0.95), SWING) is None
    assert sign(Bare(swing_command=0.0, share_on=0.02), SWING) is None
    half = worth(Bare(swing_command=0.15, swing_period=800.0, command_high=0.5), SWING)
    assert half > worth(Bare(swing_command=0.15, swing_period=800.0), SWING)


def test_a_command_that_stands_still_between_its_stops_is_in_somebody_s_hand() -> None:
    assert worth(Bare(command_travel=0.0, command_median=0.4), STILL) > 4.0
    assert -1.5 < worth(Bare(command_travel=0.0, command_median=1.0), STILL) < 0.0
    assert worth(Bare(command_travel=0.5, command_median=0.4), STILL) < -2.0
    assert sign(Bare(command_travel=0.4, command_median=0.4, share_on=0.5), STILL) is None


def test_a_dew_point_that_follows_outdoors_speaks_for_the_swapped_source() -> None:
    assert worth(Bare(follows_on=1.0), FOLLOW_ON) > 4.0
    assert worth(Bare(follows_on=0.0), FOLLOW_ON) < -3.0
    assert sign(Bare(follows_off=1.0, share_on=0.99), FOLLOW_OFF) is None


def test_it_matters_when_the_dew_point_follows() -> None:
    """Swapped while satisfied, it follows in that state alone."""
    parts = {part.variant.sign: part for part in swapped()}
    always, satisfied = (Hypothesis((parts[way],)) for way in (1.0, -1.0))
    trend = Bare(follows_on=0.0, follows_off=1.0, share_on=0.5)
    total = {h: sum(s.log_likelihood(h) for s in signs_of(trend)) for h in (HEALTHY, always, satisfied)}
    assert total[satisfied] > total[HEALTHY] + 4.0
    assert total[satisfied] > total[always] + 4.0


def swapped() -> tuple[Part, ...]:
    from wringout.weighing.hypothesis import parts_of

    return parts_of(BOILER, ["dew-source-swapped"])


# ------------------------------------------------------------------------------ evidence and command


def test_the_evidence_names_what_in_the_trend_moved_a_suspect() -> None:
    found = answer(("control-hunting",), readings=True, trend=True)
    one = suspect(found, "control-hunting")
    assert one is not None
    strongest = one.evidence[0]
    assert strongest.name == SWING
    words = evidence_words(strongest, "ip")
    assert words.startswith("trend: the reheat command swings by ")
    assert words.endswith(" minutes")


def test_the_bits_of_readings_moments_and_signs_add_up() -> None:
    found = answer(("signal-reversed",), readings=True, trend=True)
    one = suspect(found, "signal-reversed")
    assert one is not None
    pieces = evidence(found, one.mine, one.rival)
    total = sum(e.bits for e in pieces)
    fits = [f.log_likelihood for f in found.weighed.fits]
    likelihood = np.concatenate(fits)
    likelihood = likelihood + np.array(
        [sum(s.log_likelihood(h) for s in found.signs) for h in found.weighed.hypotheses]
    )
    assert total == pytest.approx((likelihood[one.mine] - likelihood[one.rival]) / math.log(2.0), abs=1e-6)
    logged_words = [evidence_words(e, "si") for e in pieces if e.logged is not None]
    assert logged_words
    assert all("trend 30 Jun" in words or "trend 01 Jul" in words for words in logged_words)


def test_nobody_is_sent_to_read_a_log_again() -> None:
    for wrong in WRONG:
        assert all(d.state == "auto" for d in doubtful(answer(wrong, readings=False, trend=True)))
        assert not doubtful(answer(wrong, readings=False, trend=True))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A unit, a call without any reading, and a trend with its mapping file."""
    (tmp_path / "unit.yaml").write_text(units.BOILER_DIVERTING, encoding="utf-8")
    (tmp_path / "call.yaml").write_text(
        "format: wringout-call/1\nunit: unit.yaml\ncomplaint: Damp.\n", encoding="utf-8"
    )
    table = made()[("control-hunting",)].trend
    names = list(table.values)
    rows = ["Time," + ",".join(f"C{k}" for k in range(len(names)))]
    for i, second in enumerate(table.time):
        when = datetime.fromtimestamp(float(second), UTC)
        cells = [
            f"{100.0 * table[n][i]:.0f}" if n == "shown.reheat_command" else f"{table[n][i]:.1f}"
            for n in names
        ]
        rows.append(f"{when:%Y-%m-%d %H:%M}," + ",".join(cells))
    (tmp_path / "trend.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    units_of = {"shown.reheat_command": "%", "shown.stages_called": "count"}
    columns = "\n".join(
        f'  "C{k}": {{point: {n}, unit: "{units_of.get(n, "degC")}"}}' for k, n in enumerate(names)
    )
    (tmp_path / "trend.yaml").write_text(
        'format: wringout-trend/1\nfile: trend.csv\ntime: {column: "Time", format: "%Y-%m-%d %H:%M"}\n'
        f"columns:\n{columns}\n",
        encoding="utf-8",
    )
    return tmp_path


def test_a_trend_file_alone_can_be_weighed(folder: Path) -> None:
    arguments = ["weigh", str(folder / "call.yaml"), "--trend", str(folder / "trend.yaml")]
    code, out, err = run(*arguments, "--json", "--checks", "3")
    assert (code, err) == (0, "")
    document = json.loads(out)
    assert document["marginals"]["control-hunting"] > 0.8
    assert len(document["next"]) == 3
    code, words, err = run(*arguments, "--checks", "0")
    assert (code, err) == (0, "")
    assert "Readings given: none" in words
    assert "the swing of its reheat command" in words
    assert "trend: the reheat command swings by" in words


def test_without_reading_and_trend_there_is_nothing_to_weigh(folder: Path) -> None:
    code, _, err = run("weigh", str(folder / "call.yaml"))
    assert code == 2
    assert "--trend" in err


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("format: wringout-trend/1\n", "missing"),
        ("time;x\n2027-06-01 00:00;1\n", ""),
    ],
)
def test_a_trend_that_cannot_be_read_is_one_clear_error(folder: Path, text: str, said: str) -> None:
    bad = folder / ("bad.yaml" if text.startswith("format") else "bad.csv")
    bad.write_text(text, encoding="utf-8")
    code, _, err = run("weigh", str(folder / "call.yaml"), "--trend", str(bad))
    assert code == 2
    assert said in err
    assert bad.name in err
    assert "Traceback" not in err


def test_a_trend_that_is_not_there_is_named(folder: Path) -> None:
    code, _, err = run("weigh", str(folder / "call.yaml"), "--trend", str(folder / "no.csv"))
    assert code == 2
    assert "no.csv" in err
