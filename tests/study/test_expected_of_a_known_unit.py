"""What is expected of a known unit, on many machines: how much narrower, and how often it holds.

Run it with ``-s`` to see the table of docs/validation.md."""

from __future__ import annotations

import numpy as np
import pytest

from expected_tools import LOOKS, Tally, held_wait, proven, tallied, within
from units import UNITS
from weighing_tools import FIRST_DAY

pytestmark = pytest.mark.study
EACH, WAITED = 24, 4  # machines of each of five kinds


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("visits", [1, 3])
def test_it_is_narrower_and_holds_as_often(visits: int, look: str) -> None:
    tally = tallied(EACH, visits)[look]
    narrower = tally.narrower()
    mean = float(np.exp(np.mean(np.log(list(narrower.values())))))
    told = [name for name, ratio in tallied(EACH, 3)["bands"].narrower().items() if ratio < 0.9]
    print(visits, look, f"width {mean:.3f}", len(tally.itself), "machines")  # noqa: T201 - the study's table
    groups = {"all": ()} if look != "bands" else {"all": (), "told": tuple(told)}
    for group, names in groups.items():
        for which, made in (("kind", tally.kind), ("itself", tally.itself)):
            one, off, two, off_two = within(made, names)
            print(  # noqa: T201
                " ", group, which, f"{one:.3f} +- {off:.3f} within one, {two:.3f} +- {off_two:.3f} within two"
            )
            assert one > 0.683 - 3.0 * off
            assert two > 0.954 - 3.0 * off_two
    if look == "bands":
        print("  told:", {name: round(narrower[name], 2) for name in told})  # noqa: T201
    assert mean < 0.97


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("visits", [1, 3])
def test_of_a_brief_document_it_is_narrower_and_holds_as_often(visits: int, look: str) -> None:
    """Where rules filled in much; the ledger alone reckons with how far they may be off."""
    tally = tallied(EACH, visits, brief=True)[look]
    narrower = tally.narrower()
    mean = float(np.exp(np.mean(np.log(list(narrower.values())))))
    print(visits, look, f"width {mean:.3f}", len(tally.itself), "machines")  # noqa: T201
    held = {}
    for which, made in (("kind", tally.kind), ("itself", tally.itself)):
        one, off, two, off_two = held[which] = within(made)
        print(  # noqa: T201
            " ", which, f"{one:.3f} +- {off:.3f} within one, {two:.3f} +- {off_two:.3f} within two"
        )
        if look == "ledger":
            assert one > 0.683 - 3.0 * off
            assert two > 0.954 - 3.0 * off_two
    assert mean < 0.98
    assert held["itself"][0] > held["kind"][0] - 3.0 * held["itself"][1]
    assert held["itself"][2] > held["kind"][2] - 3.0 * held["itself"][3]


def test_what_is_to_be_read_after_a_wait_is_narrower_and_holds_as_often() -> None:
    tally = Tally()
    for kind in UNITS:
        for number in range(WAITED):
            before, _ = proven(kind, number)
            known = before.known(FIRST_DAY)
            if known is not None:
                any_of_kind, itself = held_wait(before, (None, known))
                tally.kind.append(any_of_kind)
                tally.itself.append(itself)
    narrower = tally.narrower()
    print(  # noqa: T201
        f"width {np.exp(np.mean(np.log(list(narrower.values())))):.3f}", len(tally.itself), "machines"
    )
    for which, made in (("kind", tally.kind), ("itself", tally.itself)):
        nine_in_ten, off, *_ = within(made)
        print(" ", which, f"{nine_in_ten:.3f} +- {off:.3f}")  # noqa: T201
        assert abs(nine_in_ten - 0.9) < 3.0 * off
