"""Practise: an invented machine with hidden causes answers, keeps time, and shows the best way afterwards."""

from __future__ import annotations

import itertools
import json
import re
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import psychrolib
import pytest
from click.testing import CliRunner

from answered_once import answered_once
from practise_sessions import begun, chance, practise
from wringout.catalogue.causes import causes, count_prior
from wringout.catalogue.points import point, sigma
from wringout.cli.main import group
from wringout.cli.practise_review import review_document, review_lines
from wringout.documents.call import Reading
from wringout.documents.source import tree_of
from wringout.errors import InputError
from wringout.machine.steady import read_points, settle
from wringout.practising import session as sessions
from wringout.practising.call import call_of, call_tree
from wringout.practising.document import session_from_tree, session_tree
from wringout.practising.hidden import Hidden, draw, values_with
from wringout.practising.review import ENOUGH, Step, best_way, first_said
from wringout.practising.session import (
    NOT_HAD,
    REPAIR_MINUTES,
    WALK_UP,
    Act,
    Session,
    act,
    exact,
    minutes_of,
    spent,
    walked_up,
)
from wringout.quantity import parse
from wringout.records.plain import plain_tree, yaml_of
from wringout.weighing.hypothesis import HEALTHY
from wringout.weighing.next_check import SETTLE_MINUTES

PLAIN = 2  # with level 1 and the ice hall: a fault of the water that the next checks find
# numbers of level 2 whose machines differ: faults of control, water, sensor, fan, filter and building
SOME = range(6)


def value_of(one: Act) -> float:
    return float(parse(one.shown, point(one.what).dimension).value)


# ---------------------------------------------------------------------------------------- what is hidden


def test_one_number_gives_one_machine_and_another_number_another() -> None:
    for level in (2, 3):
        first, second = (begun(11, level)[1] for _ in range(2))
        other = begun(13, level)[1]
        assert (first.causes, first.severities) == (second.causes, second.severities)
        assert values_with(first, frozenset()).keys() == values_with(second, frozenset()).keys()
        assert all(
            np.array_equal(value, values_with(second, frozenset())[name], equal_nan=True)
            for name, value in values_with(first, frozenset()).items()
        )
        assert (first.outdoor_t, first.severities) != (other.outdoor_t, other.severities)


def test_as_many_causes_as_the_catalogue_holds_likely() -> None:
    # 150 draws; four standard deviations of a binomial share
    unit = begun(0)[0].unit
    drawn = Counter(len(draw(unit, seed, chance, 2).causes.parts) for seed in range(150))
    for count, share in count_prior().items():
        assert abs(drawn[count] / 150 - share) < 4.0 * np.sqrt(share * (1 - share) / 150)


def test_levels_and_counts_hide_what_they_say() -> None:
    unit = begun(0)[0].unit
    assert {len(draw(unit, seed, chance, 3).causes.parts) for seed in range(30)} == {2, 3}
    for count in range(4):
        assert {len(draw(unit, seed, chance, 2, count).causes.parts) for seed in range(10)} == {count}
    for seed in (PLAIN, 5, 10):
        hidden = begun(seed, 1)[1]
        assert len(hidden.causes.causes) == 1
        assert not hidden.slips
    assert begun(PLAIN, 3)[1].slips
    with pytest.raises(InputError, match="no level 4"):
        draw(unit, 1, chance, 4)
    with pytest.raises(InputError, match="4 causes"):
        draw(unit, 1, chance, 2, 4)


def test_the_file_does_not_tell_what_is_hidden(tmp_path: Path) -> None:
    """Neither file nor call names a cause or a severity; the number it is drawn by has to be drawn again."""
    for seed in SOME:
        session, hidden = begun(seed)
        text = yaml_of(session_tree(session, hidden)) + json.dumps(call_tree(session, hidden))
        for cause in causes():
            assert cause not in text
        again = session_from_tree(
            tree_of(yaml_of(session_tree(session, hidden)), "a"), "a", plain_tree, chance
        )[1]
        assert (again.causes, again.severities) == (hidden.causes, hidden.severities)


# --------------------------------------------------------------------------------- answers and their time


def test_the_same_number_and_acts_give_the_same_answers() -> None:
    session, hidden = begun(5)
    acts = (Act("read", "supply.t"), Act("force", "reheat.command", 1.0), Act("read", "supply.t"))
    one, other = session, session
    for each in acts:
        one, other = act(one, hidden, each), act(other, hidden, each)
    assert one == other
    assert one.acts[0].shown != one.acts[2].shown


def test_minutes_add_up_to_what_the_catalogue_says() -> None:
    session, hidden = begun(4)
    session = walked_up(session, hidden)
    walk = sum(point(name).minutes for name in WALK_UP)
    assert spent(session) == walk
    session = act(session, hidden, Act("force", "reheat.command", 0.0))
    session = act(session, hidden, Act("read", "supply.airflow"))
    session = act(session, hidden, Act("release"))
    session = act(session, hidden, Act("wait", "12.5"))
    session = act(session, hidden, Act("mend", "filter-loaded"))
    expected = walk + SETTLE_MINUTES + 25.0 + SETTLE_MINUTES + 12.5 + REPAIR_MINUTES
    assert spent(session) == pytest.approx(expected)
    call = call_of(session, hidden)
    # the call's clock is the same: from its first event to the end of the repair
    assert call.events[-1].at - call.events[0].at == timedelta(minutes=expected)


@pytest.mark.parametrize("seed", SOME)
def test_at_rest_the_machine_answers_as_the_settled_machine_does(seed: int) -> None:
    """After four quiet hours every point is within half an instrument error of steady.settle."""
    session, hidden = begun(seed)
    session = act(session, hidden, Act("wait", "240"))
    trace = sessions._run(session, hidden)
    seen = trace.machine(trace.segments[-1], np.array([len(trace.time) - 1])).conditions
    fields = {name: np.ravel(getattr(seen, name)) for name in seen.__dataclass_fields__}
    rest = read_points(settle(hidden.design, values_with(hidden, frozenset()), replace(seen, **fields)))
    now = exact(session, hidden)
    assert len(now) > 30
    for name in now.keys() & rest.keys():
        assert abs(now[name] - float(np.ravel(rest[name])[0])) <= 0.5 * max(sigma(name, now[name]), 1e-9), (
            name
        )


def test_instruments_err_as_the_catalogue_says() -> None:
    """160 answers against what an exact instrument would read: mean 0 and spread 1, four deviations wide."""
    names = (
        "supply.t",
        "supply.rh",
        "outdoor.t",
        "filter.drop",
        "return.t",
        "space.rh",
        "mixed.t",
        "fan.current",
    )
    session, hidden = begun(6)
    errors = []
    for name in names:
        truth = exact(replace(session, acts=(Act("read", name),)), hidden)[name]
        for seed in range(20):
            shown = value_of(act(replace(session, seed=seed), hidden, Act("read", name)).acts[-1])
            errors.append((shown - truth) / sigma(name, truth))
    assert abs(float(np.mean(errors))) < 4.0 / np.sqrt(len(errors))
    assert float(np.std(errors)) == pytest.approx(1.0, abs=4.0 / np.sqrt(2 * len(errors)))


def test_answered_air_states_are_moist_air_by_another_library() -> None:
    """Dew points that psychrolib 2 (ASHRAE Fundamentals 2017, ch. 1) makes of answered t and rh stand where
    the machine's vapour is: cooling that drips leaves less of it, reheat changes none.

    Errors: 0.5 K and 2 % beside the control sensor are about 0.65 K of dew point, the display 0.3 K, the
    controller's own sensor 0.35 K: together some 0.8 K, four of which are 3.2 K.
    """
    psychrolib.SetUnitSystem(psychrolib.SI)
    apart = []
    for seed in range(8):
        session, hidden = begun(seed, count=0)
        for name in ("space.t", "space.rh", "shown.dew_point", "supply.t", "supply.rh"):
            session = act(session, hidden, Act("read", name))
        t, rh, dew, supply_t, supply_rh = (value_of(one) for one in session.acts)
        apart.append(psychrolib.GetTDewPointFromRelHum(t, rh) - dew)
        assert abs(apart[-1]) < 3.2
        pressure = hidden.design.pressure
        room, supply = (
            psychrolib.GetHumRatioFromRelHum(a, b, pressure) for a, b in ((t, rh), (supply_t, supply_rh))
        )
        now = exact(session, hidden)
        if now["condensate.rate"] > 1e-4:
            assert supply < room + 4e-4
        exactly = psychrolib.GetHumRatioFromRelHum(now["supply.t"], now["supply.rh"], pressure)
        mixed = psychrolib.GetHumRatioFromRelHum(now["mixed.t"], now["mixed.rh"], pressure)
        flow = now["supply.airflow"] / psychrolib.GetMoistAirVolume(now["supply.t"], exactly, pressure)
        # water lost by the air is what drips, but for what the coil is just storing
        assert flow * (mixed - exactly) == pytest.approx(now["condensate.rate"], abs=1.2e-3)
    assert 0.2 < float(np.std(apart)) < 1.6


def test_gauges_on_a_stage_that_stands_still_show_nothing() -> None:
    session, hidden = begun(PLAIN, 1)
    session = act(session, hidden, Act("force", "cooling.call", 0.0))
    session = act(session, hidden, Act("read", "stage.north.superheat"))
    assert session.acts[-1].shown == NOT_HAD
    assert minutes_of(session.acts[-1]) == point("stage.<id>.superheat").minutes
    assert not [event for event in call_of(session, hidden).events if isinstance(event, Reading)]


# -------------------------------------------------------------------------------------------- repairs


# faults that show as the unit runs, in rooms that are dry again within a day, with healthy machines whose
# stages do not take turns: a machine that does is at another moment of its turn than the one beside it
@pytest.mark.parametrize("seed", [3, 6, 8])
def test_mending_what_is_hidden_brings_the_healthy_readings_back(seed: int) -> None:
    session, hidden = begun(seed)
    well = replace(hidden, causes=HEALTHY, severities=())
    before = exact(act(session, hidden, Act("wait", "30")), hidden)
    for part in hidden.causes.parts:
        session = act(session, hidden, Act("mend", part.cause))
    quiet = Act("wait", "1440")
    after = exact(act(session, hidden, quiet), hidden)
    healthy = exact(replace(session, acts=(*session.acts, quiet)), well)

    def apart(these: dict[str, float]) -> int:
        return sum(
            abs(value - healthy[name]) > sigma(name, healthy[name]) + 1e-9
            for name, value in these.items()
            if name in healthy
        )

    assert apart(before) >= 3
    assert apart(after) == 0


def test_mending_what_is_whole_changes_nothing_but_the_time() -> None:
    session, hidden = begun(PLAIN, 1)
    mended = act(session, hidden, Act("mend", "pump-weak"))
    waited = act(session, hidden, Act("wait", f"{REPAIR_MINUTES:g}"))
    assert exact(mended, hidden) == exact(waited, hidden)


# --------------------------------------------------------------------------------------------- the review


@pytest.fixture(scope="module")
def way() -> tuple[Session, Hidden, list[Step]]:
    session, hidden = begun(PLAIN, 1)
    with answered_once():
        return session, hidden, list(best_way(session, hidden))


def test_the_best_way_takes_the_next_check_each_time(way: tuple[Session, Hidden, list[Step]]) -> None:
    session, hidden, steps = way
    assert len(steps) > 1
    for before, after in itertools.pairwise(steps):
        assert before.following is not None
        assert after.act is not None
        assert (after.state, after.act.what) == (before.following.state, before.following.point)
        assert before.probability < ENOUGH
    assert steps[-1].probability >= ENOUGH
    assert steps[-1].likeliest == hidden.causes.causes
    assert steps[-1].minutes == spent(walked_up(session, hidden)) + sum(
        minutes_of(step.act) for step in steps if step.act is not None and step.state == "auto"
    )


def test_the_review_weighs_as_the_other_commands_do(
    tmp_path: Path, way: tuple[Session, Hidden, list[Step]]
) -> None:
    """The call that practise writes, through `wringout weigh`: the same probability, the same next check."""
    assert practise(tmp_path, "", "--seed", str(PLAIN), "--level", "1").exit_code == 0
    out = tmp_path / "call.yaml"
    assert practise(tmp_path, "", "--call", str(out)).exit_code == 0
    done = CliRunner().invoke(group, ["weigh", str(out), "--json"])
    answer = json.loads(done.stdout)
    first = way[2][0]
    assert answer["sets"][0]["causes"] == list(first.likeliest)
    assert answer["sets"][0]["probability"] == pytest.approx(first.probability, abs=1e-3)
    assert first.following is not None
    assert (answer["next"][0]["state"], answer["next"][0]["point"]) == (
        first.following.state,
        first.following.point,
    )


def test_what_was_said_first_is_what_stays_said() -> None:
    steps = [Step(float(k), None, "auto", p, (), p, None) for k, p in enumerate((0.6, 0.3, 0.55, 0.9))]
    at_half, at_most = first_said(steps, 0.5), first_said(steps, 0.95)
    assert at_half is not None
    assert at_half.minutes == 2.0
    assert at_most is None


def test_a_whole_session_ends_with_what_was_hidden_and_no_marks(tmp_path: Path) -> None:
    (cause,) = begun(PLAIN, 1)[1].causes.causes
    lines = "read strainer.drop\nname pump-weak\n"
    done = practise(tmp_path, lines, "--seed", str(PLAIN), "--level", "1")
    assert done.exit_code == 0
    flat = " ".join(done.output.split())
    assert f"Hidden and not named: {cause}." in flat
    assert "Named and not hidden: pump-weak." in flat
    assert "INVENTED, FOR LEARNING" in flat
    assert "You took 21.5 min" in flat
    found = re.escape(causes()[cause].title)
    assert re.search(rf"The way of the next check took [\d.]+ min and came to {found}", flat)
    assert not re.search(r"\bscore|\bgrade|out of ten|well done|correct!|congrat", flat, re.I)
    over = (tmp_path / "a.yaml").read_text()
    assert over.endswith("  - {name: pump-weak}\n")


def test_the_review_as_a_document_holds_the_same_figures(way: tuple[Session, Hidden, list[Step]]) -> None:
    session, hidden, steps = way
    (cause,) = hidden.causes.causes
    ended = act(walked_up(session, hidden), hidden, Act("name", cause))
    review = review_document(ended, hidden, steps[:1], steps)
    assert review["format"] == "wringout-practise-review/1"
    assert [one["cause"] for one in review["hidden"]] == review["named"] == [cause]
    assert review["minutes"] == review["own"][0]["minutes"] == 15.5
    assert review["more_likely_than_not_at"] is None
    assert review["best_minutes"] == steps[-1].minutes
    assert [step["hidden"] for step in review["best"]] == [round(step.hidden, 4) for step in steps]
    words = " ".join(" ".join(review_lines(ended, hidden, steps[:1], steps)).split())
    assert "That is what was hidden." in words
    with pytest.raises(InputError, match="session is over"):
        act(ended, hidden, Act("wait", "1"))
