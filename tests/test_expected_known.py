"""What is expected of a unit that proven visits made known is narrower than of any of its kind, and holds.

Machines are invented: each is looked over healthy once, a month before, and once more in other weather. Of
all that was expected the share within one and within two standard deviations must be what these words
promise, within the standard error of so many machines.
"""

from __future__ import annotations

import numpy as np
import pytest

from expected_tools import LOOKS, Tally, briefly, held_wait, proven, tallied, within
from units import HOT_GAS, RECLAIM_MIXING, UNITS, machine
from weighing_tools import FIRST_DAY
from wringout.ledger.expectation import expect, filled
from wringout.machine.known import KnownMachine, healthy
from wringout.machine.parameters import healthy_values, spreads

ONE, TWO = 0.683, 0.954


@pytest.mark.parametrize("look", LOOKS)
def test_what_is_expected_of_a_known_unit_is_narrower(look: str) -> None:
    narrower = tallied()[look].narrower()
    assert float(np.exp(np.mean(np.log(list(narrower.values()))))) < 0.97
    # what no visit tells (weather, people, the instrument) stays as wide as it was, within the draw
    assert max(narrower.values()) < 1.08
    where = {"bands": "filter.drop", "ledger": "reheat heat", "chart": "supply t"}[look]
    assert narrower[where] < 0.93


@pytest.mark.parametrize("look", LOOKS)
def test_and_it_holds_as_often_as_it_says(look: str) -> None:
    """The ledger expects its equations' error too, which the machine's own flows do not have: more than the
    share may hold there, and never less."""
    tally = tallied()[look]
    for made in (tally.kind, tally.itself):
        one, off, two, off_two = within(made)
        print(look, f"{one:.3f} +- {off:.3f} within one, {two:.3f} +- {off_two:.3f} within two")  # noqa: T201
        assert one > ONE - 3.0 * off
        assert two > TWO - 3.0 * off_two
        if look == "bands":
            assert one < ONE + 3.0 * off
            assert two < TWO + 3.0 * off_two


def test_it_holds_where_the_visit_told_most_and_one_who_is_too_sure_is_found_out() -> None:
    """Points whose band is narrower by a twelfth, and the same with a twentieth of the variance left."""
    tally = tallied()["bands"]
    told = [name for name, ratio in tally.narrower().items() if ratio < 11.0 / 12.0]
    assert len(told) >= 4
    one, off, two, off_two = within(tally.itself, told)
    print(f"{one:.3f} +- {off:.3f} within one, {two:.3f} +- {off_two:.3f} within two")  # noqa: T201
    assert abs(one - ONE) < 3.0 * off
    assert abs(two - TWO) < 3.0 * off_two
    one, off, two, off_two = within(tally.too_sure, told)
    assert one < ONE - 3.0 * off
    assert two < TWO - 3.0 * off_two


def test_what_is_to_be_read_after_a_wait_is_narrower_and_holds() -> None:
    tally = Tally()
    for kind in list(UNITS)[:3]:
        before, _ = proven(kind, 0)
        known = before.known(FIRST_DAY)
        assert known is not None
        any_of_kind, itself = held_wait(before, (None, known))
        tally.kind.append(any_of_kind)
        tally.itself.append(itself)
    narrower = tally.narrower()
    assert float(np.exp(np.mean(np.log(list(narrower.values()))))) < 0.985
    assert narrower["filter.drop"] < 0.95
    for made in (tally.kind, tally.itself):
        nine_in_ten, *_ = within(made)
        # three machines cannot tell their own standard error; one machine's share strays by 0.03
        assert nine_in_ten == pytest.approx(0.9, abs=0.05)


# ------------------------------------------------------------------------------- how machines are drawn


def test_of_a_unit_without_proven_visits_nothing_is_drawn_otherwise() -> None:
    """To the last bit: what was expected of it before is expected of it still."""
    for text in (RECLAIM_MIXING, HOT_GAS):
        rows = spreads(machine(text))
        z = np.random.default_rng(3).standard_normal((50, len(rows)))
        drawn, plain = healthy(rows).values(z), healthy_values(rows, z)
        assert all(np.array_equal(drawn[name], plain[name]) for name in plain)
        assert drawn.keys() == plain.keys()


def some(deviations: list[float], together: float = 0.0) -> KnownMachine:
    covariance = np.diag(np.square(deviations))
    covariance[0, 1] = covariance[1, 0] = together * deviations[0] * deviations[1]
    return KnownMachine(("pump", "pipe", "filter"), np.array([0.8, -0.5, 0.0]), covariance)


def test_a_filled_value_of_which_nothing_was_told_keeps_its_doubt() -> None:
    wider = some([1.0, 1.0, 1.0]).beside({"filter": 2.0})
    np.testing.assert_allclose(np.diag(wider.covariance), [1.0, 1.0, 5.0])
    assert some([0.5, 0.4, 1.0]).beside({}).covariance[2, 2] == 1.0


def test_a_filled_value_that_was_told_exactly_has_none_left() -> None:
    wider = some([0.02, 0.4, 1.0]).beside({"pump": 3.0})
    assert np.sqrt(wider.covariance[0, 0]) == pytest.approx(0.02, rel=0.01)
    assert wider.mean[0] == pytest.approx(0.8, rel=0.01)


def test_beside_a_wider_kind_the_same_readings_tell_what_they_tell_by_the_law_of_bayes() -> None:
    """Readings of a pump and of pump and pipe together, worked out beside either prior."""
    told = np.array([[4.0, 0.0, 0.0], [3.0, 3.0, 0.0]])
    read = np.array([2.0, 1.0])

    def beside(prior: list[float]) -> KnownMachine:
        covariance = np.linalg.inv(np.diag(1.0 / np.array(prior)) + told.T @ told)
        return KnownMachine(("pump", "pipe", "filter"), covariance @ told.T @ read, covariance)

    found, wanted = beside([1.0, 1.0, 1.0]).beside({"pump": 2.0, "filter": 1.5}), beside([5.0, 1.0, 3.25])
    np.testing.assert_allclose(found.covariance, wanted.covariance, atol=1e-12)
    np.testing.assert_allclose(found.mean, wanted.mean, atol=1e-12)


def test_a_brief_document_leaves_a_known_unit_no_less_in_doubt_than_its_visits_do() -> None:
    """A fingerprint that tells nothing leaves the ledger as wide as none does; one that tells of outdoor air
    and pump narrows what rests on them, though a rule filled both in."""
    d = machine(briefly(RECLAIM_MIXING))
    names = tuple(row.name for row in spreads(d))
    assert {"outdoor_ratio", "pump_ratio"} <= filled(d).keys()
    told = np.array([0.1 if name in ("outdoor_ratio", "pump_ratio") else 1.0 for name in names])

    def spread(known: KnownMachine | None) -> dict[str, float]:
        columns = expect(d, {}, "auto", np.random.default_rng(5), 2000, known).columns
        return {name: float(np.std(np.log(columns[f"parameter {name}"]))) for name in filled(d)}

    anything = spread(None)
    nothing = spread(KnownMachine(names, np.zeros(len(names)), np.eye(len(names))))
    something = spread(KnownMachine(names, np.zeros(len(names)), np.diag(np.square(told))))
    assert nothing == pytest.approx(anything, rel=0.06)
    for name, width in something.items():
        assert width < 0.2 * anything[name] if told[names.index(name)] < 1.0 else width > 0.9 * anything[name]
